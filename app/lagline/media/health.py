"""What is wrong with a recording, measured while its overview is built, and said in plain words.

Thresholds are common practice (no source) unless a source stands beside them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from msgspec import Struct

from lagline.media.probe import RecordingInfo
from lagline.units import gain_to_db

QUIET_DB = -70.0  # a lane whose peak stays below is called silent
LOW_DB = -40.0  # ... recorded very low
OFFSET = 0.002  # a constant part of the signal worth a word, -54 dBFS
CLIPPED_RUN_SAMPLES = 3  # so many samples in a row at full scale are clipping
FLAT_TOPS = 3  # so many flat tops at one level below full scale are clipping before the converter


class Health(Struct, frozen=True):
    """What was measured of one channel. Amplitudes have full scale 1.0."""

    frames: int
    rate_hz: int
    peak: float = 0.0
    true_peak: float = 0.0  # between the samples too: 4x oversampled around the loudest places
    rms: float = 0.0
    offset: float = 0.0  # mean
    clipped_runs: int = 0  # of at least CLIPPED_RUN_SAMPLES
    longest_clipped_samples: int = 0
    flat_tops: int = 0  # at the peak, where that lies below full scale
    broken_samples: int = 0  # not a number, or far beyond full scale; silence was put there
    damaged_samples: int = 0  # that cannot be decoded; silence stands there
    first_damage_s: float = 0.0
    gaps: int = 0  # stretches of exact zeros in the middle of a sounding signal
    first_gap_s: float = 0.0
    repeats: int = 0  # stretches that play twice in a row, sample for sample
    first_repeat_s: float = 0.0
    bits_used: int | None = None  # of the sample format's bits, the ones that ever change
    hum_hz: int | None = None  # 50 or 60
    hum_db: float | None = None  # level of the hum's tones together, dBFS (rms of a full-scale sine = -3)
    fingerprint: str = ""  # equal for channels with the same samples
    inverted_fingerprint: str = ""  # equal to the fingerprint of the same samples upside down

    @property
    def peak_db(self) -> float:
        """Highest sample in dBFS; -inf for silence."""
        return gain_to_db(self.peak)

    @property
    def true_peak_db(self) -> float:
        """Highest value between the samples too, in dBTP; -inf for silence."""
        return gain_to_db(self.true_peak)

    @property
    def is_silent(self) -> bool:
        """Whether the peak lies below QUIET_DB."""
        return self.peak_db < QUIET_DB


class Remark(Struct, frozen=True):
    """One sentence about a recording: what is so, and what to do."""

    grade: Literal["problem", "note"]
    text: str


def remarks(name: str, info: RecordingInfo, health: Health) -> tuple[Remark, ...]:
    """What there is to say of one lane, problems first; empty when all is well."""
    found: list[Remark] = []
    if info.warning:
        found.append(Remark("problem", info.warning))
    if health.peak == 0.0:
        found.append(_problem(f"{name} is digital silence. Check that the right channel was exported."))
    elif health.is_silent:
        found.append(
            _problem(
                f"{name} is as good as silent: it never rises above {health.peak_db:.0f} dBFS. "
                f"Check that the right channel was exported."
            )
        )
    else:
        found += _about_sound(name, health)
    if health.broken_samples:
        found.append(
            _problem(
                f"{name} holds {_count(health.broken_samples, 'sample')} without a valid value; "
                f"silence was put there. Export it again from where it was made."
            )
        )
    if health.damaged_samples:
        found.append(
            _problem(
                f"{name} cannot be decoded around {health.first_damage_s:.2f} s: "
                f"{health.damaged_samples / health.rate_hz:.2f} s are lost in all. Copy it again if you can."
            )
        )
    found += _about_format(name, info, health)
    return tuple(sorted(found, key=lambda remark: remark.grade != "problem"))


def sentences(name: str, info: RecordingInfo, health: Health) -> tuple[str, ...]:
    """The texts of `remarks`."""
    return tuple(remark.text for remark in remarks(name, info, health))


def twin_sentences(healths: Mapping[str, Health]) -> tuple[str, ...]:
    """A sentence for each set of lanes that hold the same samples, upside down too, but for silent ones."""
    sets: dict[str, list[str]] = {}
    for name, health in healths.items():
        if health.peak > 0.0 and health.fingerprint:
            sets.setdefault(health.fingerprint, []).append(name)
    same = [
        f"{' and '.join(names)} hold exactly the same samples. Leave {names[-1]} out, or check whether the "
        f"wrong file was copied."
        for names in sets.values()
        if len(names) > 1
    ]
    upside_down = [
        f"{name} is {other} upside down, sample for sample: together they are silent. Leave one out."
        for name, health in healths.items()
        for other in sets.get(health.inverted_fingerprint, ())
        if other < name and health.inverted_fingerprint != health.fingerprint  # a tone may be its own mirror
    ]
    return (*same, *upside_down)


def _about_peaks(name: str, health: Health) -> list[Remark]:
    if health.clipped_runs:
        return [
            _problem(
                f"{name} is clipped in {_count(health.clipped_runs, 'place')} (the longest "
                f"{health.longest_clipped_samples} samples). Look for an unclipped export; attacks that are "
                f"clipped tell less about when they began."
            )
        ]
    if health.flat_tops >= FLAT_TOPS:
        return [
            _problem(
                f"{name} is flat at {health.peak_db:.1f} dBFS in {_count(health.flat_tops, 'place')}: it was "
                f"clipped before it was turned down. Attacks that are clipped tell less about when they "
                f"began; look for an unclipped take."
            )
        ]
    if health.true_peak_db > 0.0:
        return [
            _note(
                f"{name} peaks at {health.true_peak_db:+.1f} dBTP between its samples. "
                f"Turn it down before it is converted or delivered."
            )
        ]
    return []


def _about_sound(name: str, health: Health) -> list[Remark]:
    found = _about_peaks(name, health)
    if health.peak_db < LOW_DB:
        found.append(
            _note(
                f"{name} is recorded very low, with a peak of {health.peak_db:.0f} dBFS. "
                f"Check that this is the right lane."
            )
        )
    if abs(health.offset) > OFFSET:
        found.append(
            _note(
                f"{name} has a constant offset of {100 * health.offset:+.1f} % of full scale. "
                f"A high-pass filter takes it away."
            )
        )
    if health.gaps:
        found.append(
            _problem(
                f"{name} drops to exact zeros in {_count(health.gaps, 'place')}, first at "
                f"{health.first_gap_s:.2f} s. Listen there; if these are dropouts, copy it again."
            )
        )
    if health.repeats:
        found.append(
            _problem(
                f"{name} plays a stretch twice in {_count(health.repeats, 'place')}, first at "
                f"{health.first_repeat_s:.2f} s. Listen there; if these are dropouts, copy it again."
            )
        )
    if health.hum_hz is not None and health.hum_db is not None:
        found.append(
            _note(
                f"{name} carries mains hum: {health.hum_hz} Hz and multiples, {health.hum_db:.0f} dBFS. "
                f"Hum in several lanes looks like a common sound, so trust findings that rest on attacks."
            )
        )
    return found


def _about_format(name: str, info: RecordingInfo, health: Health) -> list[Remark]:
    if info.bits is None:
        return [
            _note(
                f"{name} is stored with loss ({info.format}), which may shift its sound by some samples. "
                f"Use the original recording if there is one."
            )
        ]
    if health.bits_used is not None and health.bits_used < info.bits:
        return [
            _note(
                f"{name} is stored with {info.bits} bits but uses {health.bits_used}: it passed through a "
                f"shorter format. Use the original recording if there is one."
            )
        ]
    return []


def _problem(text: str) -> Remark:
    return Remark("problem", text)


def _note(text: str) -> Remark:
    return Remark("note", text)


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"
