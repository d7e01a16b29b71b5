"""Drum kits of 4 to 15 lanes: spots with their bleed, overheads, rooms."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from tests.material import sounds
from tests.material.sounds import Rng, Samples, add
from tests.material.space import Microphone, Room, Source, colour, hear_apart, lag
from tests.material.take import Lane, Span, practice, several_sources, with_noise

PLACES: dict[str, tuple[float, float, float]] = {  # metres from the foot of the drummer's stool
    "kick": (0.0, 0.55, 0.30),
    "snare": (-0.25, 0.25, 0.66),
    "hat": (-0.62, 0.32, 0.90),
    "tom1": (-0.18, 0.62, 0.86),
    "tom2": (0.22, 0.62, 0.86),
    "tom3": (0.58, 0.15, 0.62),
    "crash": (-0.55, 0.85, 1.30),
    "ride": (0.60, 0.65, 1.08),
}
LOUD = {
    "kick": 1.0,
    "snare": 1.0,
    "hat": 0.22,
    "tom1": 0.8,
    "tom2": 0.8,
    "tom3": 0.9,
    "crash": 0.45,
    "ride": 0.25,
    "bottom": 0.5,
}
CLOSE = {  # spot: (instrument, from it, pattern)
    "kick_in": ("kick", (0.02, 0.12, 0.03), 0.3),
    "kick_out": ("kick", (0.0, 0.45, 0.02), 0.5),
    "snare_top": ("snare", (-0.04, 0.07, 0.05), 0.5),
    "hat": ("hat", (-0.08, 0.02, 0.12), 0.5),
    "tom1": ("tom1", (0.02, 0.06, 0.05), 0.5),
    "tom2": ("tom2", (0.02, 0.06, 0.05), 0.5),
    "tom3": ("tom3", (0.05, 0.04, 0.06), 0.5),
    "ride": ("ride", (0.03, 0.05, 0.15), 0.5),
}
SPREAD = 3.0  # frames: a tom's head is 30 cm across and tells low and high tones from other places
FAR = {
    "oh_l": ((-0.65, 0.40, 1.85), 0.5),
    "oh_r": ((0.60, 0.35, 1.85), 0.5),
    "mono": ((0.0, 1.6, 1.1), 0.0),
    "side": ((1.1, -0.1, 1.0), 0.5),
    "room_l": ((-1.5, 3.4, 1.6), 0.0),
    "room_r": ((1.4, 3.6, 1.6), 0.0),
}
LAYOUTS = {
    "four": ["oh_l", "kick_out", "snare_top", "oh_r"],
    "studio": ["oh_l", "oh_r", "kick_in", "snare_top", "snare_bottom", "hat", "tom1", "tom3", "room_l"],
    "big": [
        "oh_l",
        "oh_r",
        "kick_in",
        "kick_out",
        "snare_top",
        "snare_bottom",
        "hat",
        "tom1",
        "tom2",
        "tom3",
        "ride",
        "mono",
        "side",
        "room_l",
        "room_r",
    ],
}


def strokes(rng: Rng, seconds: float, style: str) -> list[tuple[float, str, float]]:
    """(start s, instrument, gain) of a drummer playing in `style`."""
    beat = 60 / rng.uniform(75, 150)
    out: list[tuple[float, str, float]] = []

    def hit(at: float, name: str, gain: float = 1.0) -> None:
        if 0.05 < at < seconds - 0.3:
            out.append(
                (at + float(rng.normal(0, 0.004)), name, gain * float(10 ** (rng.uniform(-6, 0) / 20)))
            )

    bars = int(seconds / (4 * beat)) + 1
    for bar in range(bars):
        t = 0.15 + bar * 4 * beat
        fill = style == "fill" or (style == "groove" and bar == bars - 2)
        if style == "snare":
            for k in range(8):
                hit(t + k * beat / 2, "snare", 1.0 if k % 2 else 0.4)
            continue
        for k in range(8):
            if style != "fill":
                hit(t + k * beat / 2, "ride" if style == "ride" else "hat", 1.0 if k % 2 == 0 else 0.6)
            if fill and k >= (0 if style == "fill" else 4):
                hit(t + k * beat / 2, str(rng.choice(["tom1", "tom1", "tom2", "tom3", "snare"])))
        if style == "rare":  # snare and hi-hat only; one kick and one low tom in the whole take
            hit(t + beat, "snare")
            hit(t + 3 * beat, "snare")
            continue
        for k in (0, 2) if rng.random() < 0.6 else (0, 1.5, 2.5):
            hit(t + k * beat, "kick")
            if style == "together":
                out.append((out[-1][0] + float(rng.normal(0, 0.0015)), "crash", 1.0))
        for k in (1, 3):
            hit(t + k * beat, "snare")
        if style == "groove" and bar % 2 == 0:
            hit(t, "crash", 0.8)
    if style == "rare":
        for name in ("kick", "tom3", "tom1"):
            for _ in range(int(rng.integers(1, 3))):
                hit(float(rng.uniform(0.3, seconds - 0.8)), name)
    return out


def played(rng: Rng, fs: int, frames: int, events: list[tuple[float, str, float]]) -> dict[str, Samples]:
    """Each instrument's strokes over the take, (4, frames); the snare's lower head as `bottom`, (frames,)."""
    out: dict[str, Samples] = {}
    pitch = [float(rng.uniform(*span)) for span in ((150, 210), (110, 150), (70, 105))]
    makers = {
        "kick": lambda: sounds.kick(rng, fs),
        "tom1": lambda: sounds.tom(rng, fs, pitch[0]),
        "tom2": lambda: sounds.tom(rng, fs, pitch[1]),
        "tom3": lambda: sounds.tom(rng, fs, pitch[2]),
        "hat": lambda: sounds.cymbal(rng, fs, "hat"),
        "crash": lambda: sounds.cymbal(rng, fs, "crash"),
        "ride": lambda: sounds.cymbal(rng, fs, "ride"),
    }
    for name in sorted({e[1] for e in events}):
        mine = [e for e in events if e[1] == name]
        lines = np.zeros((4, frames))
        under = np.zeros(frames)
        kinds = [
            sounds.snare(rng, fs) if name == "snare" else (makers[name](), None)
            for _ in range(min(3, len(mine)))
        ]
        for at, _, gain in mine:
            stroke, bottom = kinds[int(rng.integers(len(kinds)))]
            add(lines, stroke, int(at * fs), gain * LOUD[name])
            if bottom is not None:
                add(under, bottom, int(at * fs), gain * LOUD["bottom"])
        out[name] = lines
        if name == "snare":
            out["bottom"] = under
    return out


def kit(
    rng: Rng, fs: int, level: int, layout: list[str], style: str, seconds: float
) -> tuple[list[Lane], dict[str, Any]]:
    frames = int(seconds * fs)
    room = Room(
        (rng.uniform(4.5, 8), rng.uniform(5.5, 9), rng.uniform(2.7, 3.8)),
        rng.uniform(0.18, 0.2 + 0.13 * level),
    )
    shift = np.array([room.size[0] / 2, 1.2, 0.0])
    spread = {n: tuple(np.array(p) + rng.normal(0, 0.03, 3) + shift) for n, p in PLACES.items()}
    spread["bottom"] = tuple(np.array(spread["snare"]) - [0, 0, 0.14])
    mics = []
    for name in layout:
        if name == "snare_bottom":
            place = np.array(spread["bottom"]) + np.array(
                [rng.normal(0, 0.02), 0.03, -rng.uniform(0.05, 0.1)]
            )
            aim, pattern = (0.0, 0.0, 1.0), 0.5
        elif name in CLOSE:
            owner, away, pattern = CLOSE[name]
            place = np.array(spread[owner]) + np.array(away) * rng.uniform(0.7, 1.5)
            aim = tuple(np.array(spread[owner]) - place)
        else:
            at, pattern = FAR[name]
            place = np.array(at) + rng.normal(0, 0.06, 3) + shift
            aim = tuple(np.array(spread["snare"]) - place)
        place = np.clip(place, 0.12, np.array(room.size) - 0.12)
        low = 25.0 if name.startswith("kick") else 45.0
        polarity = -1 if name in ("kick_out", "hat") and rng.random() < 0.25 else 1
        sheltered = 0.3 if name in CLOSE or name == "snare_bottom" else 1.0
        response = colour(rng, fs, low=low)
        mics.append(Microphone(name, tuple(place), aim, pattern, polarity, sheltered=sheltered, sos=response))
    shadow = {m.name: (10 ** (-rng.uniform(0, 10) / 20), float(rng.uniform(2500, 6000))) for m in mics}
    own = {m.name: CLOSE[m.name][0] for m in mics if m.name in CLOSE}
    lines = played(rng, fs, frames, strokes(rng, seconds, style))
    sources = []
    for name, line in lines.items():
        # Behind a shell or a plate: spots hear what is not theirs from round a corner.
        hidden = {m: s for m, s in shadow.items() if m in CLOSE and own.get(m) != name}
        if name == "bottom":
            hidden = {m.name: (0.4, 3000.0) for m in mics if m.name != "snare_bottom"}
        elif name == "snare":
            hidden["snare_bottom"] = (0.25, 2500.0)
        else:
            hidden["snare_bottom"] = shadow.get("snare_bottom", (0.5, 4000.0))
        sources.append(Source(name, spread[name], line, hidden))
    sound, levels = hear_apart(rng, sources, mics, room, fs)
    heard = with_noise(rng, sound, fs, {1: 66.0, 2: 52.0, 3: 38.0}[level])
    heads = [s for s in sources if s.name != "bottom"]
    levels = levels[[s.name != "bottom" for s in sources]]
    order = sorted(heads, key=lambda s: -float(np.sum(s.signal[0] ** 2)))
    own = {m: o for m, o in own.items() if o in lines}
    if "snare" in lines and "snare_bottom" in layout:
        own["snare_bottom"] = "snare"
    wide = {n: SPREAD for n in lines if n.startswith("tom")}
    lanes, lags = several_sources(rng, heard, heads, mics, own, fs, [s.name for s in order], levels, wide)
    if "snare" in lines:
        for mic in mics:  # other spots hear the lower head and its wires as well as the upper
            if mic.name in CLOSE and mic.name in lags["snare"] and own.get(mic.name) != "snare":
                top = lags["snare"][mic.name]
                way = lag(spread["bottom"], mic, fs) - lag(spread["snare"], mic, fs)
                high = top.high + max(way + 0.0005 * fs, 0.0)
                lags["snare"][mic.name] = Span(top.lag, top.low + min(way, 0.0), high)
        lanes = [bottom_truth(x, spread, mics, fs, lags) if x.name == "snare_bottom" else x for x in lanes]
    return lanes, lags


def bottom_truth(
    lane: Lane, spread: dict[str, Any], mics: list[Microphone], fs: int, lags: dict[str, Any]
) -> Lane:
    """The lower head: from its own path to the wires' slow rise; inverted."""
    mic = next(m for m in mics if m.name == lane.name)
    early = lag(spread["bottom"], mic, fs) - lag(spread["snare"], mics[0], fs)
    direct = lane.offset or 0.0
    accept = (min(early, direct) - 2, max(early + 0.0008 * fs, direct) + 2)
    lags["snare"][lane.name] = Span(early + 0.00035 * fs, *accept)
    return replace(lane, offset=early + 0.00035 * fs, accept=accept, polarity=-1 * (lane.polarity or 1))


@practice("kit", "four", "studio", "big")
def grooves(rng: Rng, fs: int, level: int, layout: str) -> tuple[list[Lane], dict[str, Any]]:
    style = str(rng.choice(["groove", "groove", "ride"]))
    return kit(rng, fs, level, LAYOUTS[layout], style, 5.0 if layout == "big" else rng.uniform(6, 9))


@practice("kit", "fill", "rare", "together", "snare")
def phrases(rng: Rng, fs: int, level: int, style: str) -> tuple[list[Lane], dict[str, Any]]:
    """Toms only; kick and toms that play once or twice; kick never without a crash; snare alone."""
    layout = {
        "fill": ["oh_l", "snare_top", "tom1", "tom2", "tom3", "oh_r", "mono"],
        "rare": ["oh_r", "kick_in", "snare_top", "hat", "tom1", "tom3", "oh_l"],
        "together": ["oh_l", "kick_in", "snare_top", "hat", "oh_r", "room_r"],
        "snare": ["snare_top", "snare_bottom", "oh_l", "oh_r", "room_l"],
    }[style]
    return kit(rng, fs, level, layout, style, rng.uniform(6, 9))


@practice("kit", "spot_anchor")
def spot_anchor(rng: Rng, fs: int, level: int, _: str) -> tuple[list[Lane], dict[str, Any]]:
    """The snare's spot, not an overhead, is the anchor."""
    return kit(
        rng, fs, level, ["snare_top", "kick_in", "hat", "oh_l", "oh_r", "room_l"], "groove", rng.uniform(6, 9)
    )
