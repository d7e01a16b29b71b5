"""A take as numbers: where everything stands, what each lane hears when, and how it is rendered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.signal import fftconvolve

from generator.microphones import Response, quantised, recorded
from generator.noise import Signal
from generator.room import RATE_HZ, Ear, Point, Room, by_own_clock, distance_m, impulse_response, place


@dataclass(frozen=True)
class Instrument:
    """A place that sounds. `body_m`: its radius, for the level close by."""

    name: str
    at_m: Point
    body_m: float


@dataclass(frozen=True)
class LanePlan:
    """One lane; its name is its file's. `follows`: the instrument whose sound decides its arrival.

    A lane without an ear is a contact pickup: it hears `follows` through the wood, at once.
    `latency_samples`: fixed delay of its line. `starts_s`, `clock_ppm`: its recorder was started that much
    later, and runs that much fast. `gain_db`, `pan`: placement in the blend of the session.
    """

    name: str
    follows: str
    response: Response
    record_gain: float
    ear: Ear | None = None
    polarity: int = 1
    latency_samples: float = 0.0
    starts_s: float = 0.0
    clock_ppm: float = 0.0
    gain_db: float = 0.0
    pan: float = 0.0
    note: str = ""


@dataclass(frozen=True)
class Scene:
    name: str
    title: str
    room: Room
    instruments: tuple[Instrument, ...]
    lanes: tuple[LanePlan, ...]
    seconds: float
    reverb_s: float
    seed: int
    notes: str

    def instrument(self, name: str) -> Instrument:
        return next(instrument for instrument in self.instruments if instrument.name == name)

    def heard_at_samples(self, lane: LanePlan, instrument: str) -> float:
        """Where the direct sound of an instrument stands in the file of a lane, if made at time 0.

        By the lane's own clock, in samples; of sounds made later it drifts by `clock_ppm`.
        """
        way = 0.0 if lane.ear is None else distance_m(self.instrument(instrument).at_m, lane.ear.at_m)
        true = self.room.delay_samples(way) + lane.latency_samples - lane.starts_s * RATE_HZ
        return true * (1 + 1e-6 * lane.clock_ppm)


Sounds = Mapping[str, Mapping[str, Signal]]
"""instrument -> what of it goes where: "air" for every ear, or a lane's own name where that lane hears
another side of it. Other sides differ in level and colour, never in time."""


def render(scene: Scene, sounds: Sounds, frames: int) -> dict[str, np.ndarray]:
    """16-bit samples, shape (frames,), of every lane by name."""
    out = {}
    for number, lane in enumerate(scene.lanes):
        pressure = np.zeros(frames)
        for other, instrument in enumerate(scene.instruments):
            sound = sounds[instrument.name].get(lane.name, sounds[instrument.name].get("air"))
            if lane.ear is None:
                if instrument.name != lane.follows:
                    continue
                path = np.zeros(2048)
                place(path, np.array([lane.latency_samples]), np.array([1.0]))
            else:
                path = impulse_response(
                    scene.room,
                    instrument.at_m,
                    lane.ear,
                    body_m=instrument.body_m,
                    seconds=scene.reverb_s,
                    seed=(scene.seed, number, other),
                )
            assert sound is not None
            pressure += fftconvolve(sound, path)[:frames]
        pressure = by_own_clock(pressure, lane.starts_s, lane.clock_ppm)
        out[lane.name] = quantised(
            recorded(pressure, lane.response, lane.record_gain, lane.polarity, scene.seed * 100 + number)
        )
    return out


def truth(scene: Scene) -> dict[str, object]:
    """The table of truth. Positive arrival: the lane hears its instrument later than the anchor hears it."""

    def own(lane: LanePlan) -> float:
        return scene.heard_at_samples(lane, lane.follows)

    anchor = max(scene.lanes, key=own)
    lanes = []
    for lane in scene.lanes:
        by_instrument = {
            i.name: round(scene.heard_at_samples(lane, i.name) - scene.heard_at_samples(anchor, i.name), 6)
            for i in scene.instruments
            if lane.ear is not None or i.name == lane.follows
        }
        arrival = by_instrument[lane.follows]
        lanes.append(
            {
                "name": lane.name,
                "file": f"{lane.name}.flac",
                "follows": lane.follows,
                "arrival_samples": arrival,
                "arrival_ms": round(1000 * arrival / RATE_HZ, 6),
                "polarity": lane.polarity,
                "latency_samples": lane.latency_samples,
                "starts_s": lane.starts_s,
                "drift_ppm": round(lane.clock_ppm - anchor.clock_ppm, 6),
                "place_m": None if lane.ear is None else list(lane.ear.at_m),
                "distance_m": None
                if lane.ear is None
                else round(distance_m(scene.instrument(lane.follows).at_m, lane.ear.at_m), 6),
                "arrival_by_instrument_samples": by_instrument,
                "note": lane.note,
            }
        )
    return {
        "schema": "lagline/demo-truth/1",
        "take": scene.name,
        "rate_hz": RATE_HZ,
        "frames": int(scene.seconds * RATE_HZ),
        "temperature_c": scene.room.temperature_c,
        "room_m": list(scene.room.size_m),
        "anchor": anchor.name,
        "instruments": [{"name": i.name, "place_m": list(i.at_m)} for i in scene.instruments],
        "lanes": lanes,
        "notes": scene.notes,
    }
