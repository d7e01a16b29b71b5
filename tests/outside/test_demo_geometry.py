"""The demo's rooms against pyroomacoustics: the same mirrored sources, the same direct sound."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from scipy.signal import firwin, freqz
from tests.support import demo

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import pyroomacoustics

RATE_HZ = demo.room.RATE_HZ


def outside_room(take: str, order: int) -> pyroomacoustics.ShoeBox:
    scene = demo.make_demo.TAKES[take].SCENE
    return pyroomacoustics.ShoeBox(
        scene.room.size_m, fs=RATE_HZ, materials=pyroomacoustics.Material(0.3), max_order=order
    )


@pytest.mark.parametrize("take", demo.TAKES)
def test_early_reflections_come_from_the_same_places(take: str) -> None:
    scene = demo.make_demo.TAKES[take].SCENE
    order, reach_m = 5, 1.4 * max(scene.room.size_m)
    for lane in scene.lanes:
        if lane.ear is None:
            continue
        for instrument in scene.instruments:
            outside = outside_room(take, order)
            outside.add_source(instrument.at_m)
            outside.add_microphone(lane.ear.at_m)
            outside.image_source_model()
            theirs = np.linalg.norm(outside.sources[0].images.T - lane.ear.at_m, axis=1)
            theirs = np.sort(theirs[theirs < reach_m])
            at, bounces = demo.room.images(scene.room, instrument.at_m, reach_m, lane.ear.at_m)
            ours = np.sort(np.linalg.norm(at - np.asarray(lane.ear.at_m), axis=1)[bounces <= order])
            np.testing.assert_allclose(ours, theirs, atol=1e-5)  # theirs are float32


@pytest.mark.parametrize("take", demo.TAKES)
def test_arrivals_follow_from_their_direct_ways(take: str) -> None:
    table = demo.truth(take)
    by_name = {lane["name"]: lane for lane in table["lanes"]}
    kelvin = table["temperature_c"] + 273.15
    metres_per_sample = 343.2 * math.sqrt(kelvin / 293.15) / RATE_HZ  # ISO 9613-1:1993
    for lane in table["lanes"]:
        if lane["place_m"] is None:
            continue
        outside = outside_room(take, 0)
        outside.add_source(next(i["place_m"] for i in table["instruments"] if i["name"] == lane["follows"]))
        outside.add_microphone(lane["place_m"])
        outside.add_microphone(by_name[table["anchor"]]["place_m"])
        outside.image_source_model()
        near, far = (math.dist(outside.sources[0].images[:, 0], at) for at in outside.mic_array.R.T)
        assert lane["arrival_samples"] == pytest.approx((near - far) / metres_per_sample, abs=1e-3)


@pytest.mark.parametrize("at_samples", [200.0, 231.37, 231.5, 231.93])
def test_direct_sound_lies_at_its_fraction(at_samples: float) -> None:
    """Against exp(-j w D) up to 20 kHz (Laakso et al., IEEE SP Magazine 13(1), 1996)."""
    train = np.zeros(512)
    demo.room.place(train, np.array([at_samples]), np.array([1.0]))
    hz = np.linspace(50, 20_000, 400)
    _, response = freqz(train, worN=hz, fs=RATE_HZ)
    error = np.abs(response - np.exp(-2j * np.pi * hz / RATE_HZ * at_samples)).max()
    assert 20 * np.log10(error + 1e-15) < -115


def test_the_rooms_die_away_as_planned() -> None:
    """Reverberation time by backward integration (Schroeder, 1965), -5 to -25 dB, at 1 kHz."""
    for take, ear in (("chapel", "far"), ("kit", "room")):
        scene = demo.make_demo.TAKES[take].SCENE
        lane = next(lane for lane in scene.lanes if lane.name == ear)
        assert lane.ear is not None
        response = demo.room.impulse_response(
            scene.room,
            scene.instruments[0].at_m,
            lane.ear,
            body_m=0.1,
            seconds=scene.reverb_s,
            seed=(1, 2, 3),
        )
        band = np.convolve(response, firwin(1025, [710, 1420], pass_zero=False, fs=RATE_HZ))
        left = np.cumsum(band[::-1] ** 2)[::-1]
        decay_db = 10 * np.log10(left / left[0] + 1e-12)
        first, last = np.argmax(decay_db < -5), np.argmax(decay_db < -25)
        rt60_s = 3 * (last - first) / RATE_HZ
        planned = scene.room.rt60_at(np.array([1000.0]))[0]
        assert rt60_s == pytest.approx(planned, rel=0.2), take
