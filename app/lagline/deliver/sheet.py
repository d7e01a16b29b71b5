"""The delay sheet: what to type into a delay unit or an editor, per lane."""

from __future__ import annotations

import math
from collections.abc import Iterable

from msgspec import Struct

from lagline.deliver.tables import Table, source_table
from lagline.session.values import Balance, Lane, Session, Version
from lagline.units import metres_to_feet, samples_to_metres, samples_to_ms

RATES_HZ = (44_100, 48_000, 88_200, 96_000, 192_000)
AUDIBLE_HZ = 20_000.0


class Rounding(Struct, frozen=True):
    """A delay as a unit takes it that knows only steps of some size, and what the rounding does."""

    step: str  # "1 sample", "0.01 ms", "0.1 ms"
    value: float  # rounded, in the unit of the step (samples or ms)
    error_ms: float  # rounded minus wanted

    @property
    def first_notch_hz(self) -> float | None:
        """Where two equal paths off by this much first cancel: 1 / (2 * error). None without error."""
        return _first_notch_hz(self.error_ms)


class WorstPair(Struct, frozen=True):
    """The two lanes that rounding to some step puts furthest apart."""

    step: str
    lanes: tuple[str, str]  # the one that comes too early, the one that comes too late
    apart_ms: float

    @property
    def first_notch_hz(self) -> float | None:
        """Where the two first cancel, 1 / (2 * apart); None when they aren't apart."""
        return _first_notch_hz(self.apart_ms)


class SheetRow(Struct, frozen=True):
    """One lane."""

    lane: str
    is_anchor: bool
    polarity: int
    balance: Balance
    shift_samples: float  # of the version, at the session's rate; negative: earlier
    delay_samples: float  # the shift less the smallest one: never negative, so a unit can do it
    delay_ms: float
    metres: float
    feet: float
    samples_at: tuple[tuple[int, float], ...]  # rate in Hz, delay in its samples
    roundings: tuple[Rounding, ...]


class DelaySheet(Struct, frozen=True):
    """A version as delays: each lane's shift less the smallest shift among them, `least_samples`."""

    take: str
    version: str
    note: str
    anchor: str
    rate_hz: int
    temperature_c: float
    least_samples: float
    has_drift: bool
    rows: tuple[SheetRow, ...]
    by_source: Table  # arrivals against the anchor, samples; without rows where no instruments are told apart
    notes: tuple[str, ...] = ()  # on the delivery it lies in

    @property
    def worst_pairs(self) -> tuple[WorstPair, ...]:
        """For each step, since lanes rounded to opposite sides lie further apart than either error says."""
        if len(self.rows) < 2:
            return ()
        pairs = []
        for number, rounding in enumerate(self.rows[0].roundings):
            early, *_, late = sorted(self.rows, key=lambda row: row.roundings[number].error_ms)
            apart_ms = late.roundings[number].error_ms - early.roundings[number].error_ms
            pairs.append(WorstPair(rounding.step, (early.lane, late.lane), apart_ms))
        return tuple(pairs)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What a reader must know to use the figures."""
        said = [
            "Delays count from the lane that is delayed least; a lane with 0 stays where it is.",
            f"Distances are of sound in air at {self.temperature_c:g} degrees C.",
            "First notch: where two equally loud paths that are off by that error first cancel.",
        ]
        if self.least_samples < 0.0:
            earlier_ms = -samples_to_ms(self.least_samples, self.rate_hz)
            said.append("This version moves lanes earlier, which a delay unit cannot.")
            said.append(f"With these delays all lanes sound {earlier_ms:.3f} ms later than in the version.")
        if self.has_drift:
            said.append("This version takes out drift between clocks, which no fixed delay does.")
        if any(row.polarity < 0 for row in self.rows):
            said.append("Flip the polarity of the lanes marked so.")
        elif not self.has_drift and not any(row.shift_samples for row in self.rows):
            said.append("This version moves nothing: the take has not been lined up in it.")
        return (*said, *self.notes)


def delay_sheet(session: Session, version: Version, notes: Iterable[str] = ()) -> DelaySheet:
    """The delays of `version`, lanes in the session's order; `notes` stand below them."""
    shifts = {lane.id: version.move(lane.id).shift_samples for lane in session.lanes}
    least = min(shifts.values(), default=0.0)
    anchor = next((lane.name for lane in session.lanes if lane.id == session.anchor_id), "")
    return DelaySheet(
        take=session.name,
        version=version.name,
        note=version.note,
        anchor=anchor,
        rate_hz=session.rate_hz,
        temperature_c=session.temperature_c,
        least_samples=least,
        has_drift=any(version.move(lane.id).rate_ppm for lane in session.lanes),
        rows=tuple(_row(session, version, lane, shifts[lane.id] - least) for lane in session.lanes),
        by_source=source_table(session),
        notes=tuple(notes),
    )


def _row(session: Session, version: Version, lane: Lane, delay_samples: float) -> SheetRow:
    move = version.move(lane.id)
    delay_ms = samples_to_ms(delay_samples, session.rate_hz)
    metres = samples_to_metres(delay_samples, session.rate_hz, session.temperature_c)
    return SheetRow(
        lane=lane.name,
        is_anchor=lane.id == session.anchor_id,
        polarity=move.polarity,
        balance=version.balance(lane.id),
        shift_samples=move.shift_samples,
        delay_samples=delay_samples,
        delay_ms=delay_ms,
        metres=metres,
        feet=metres_to_feet(metres),
        samples_at=tuple((rate_hz, delay_samples * rate_hz / session.rate_hz) for rate_hz in RATES_HZ),
        roundings=(
            _rounded_samples(delay_samples, session.rate_hz),
            _rounded_ms(delay_ms, 100, "0.01 ms"),
            _rounded_ms(delay_ms, 10, "0.1 ms"),
        ),
    )


def _first_notch_hz(error_ms: float) -> float | None:
    return None if error_ms == 0.0 else 1000.0 / (2.0 * abs(error_ms))


def _rounded_samples(delay_samples: float, rate_hz: int) -> Rounding:
    whole = _nearest(delay_samples)
    return Rounding("1 sample", whole, samples_to_ms(whole - delay_samples, rate_hz))


def _rounded_ms(delay_ms: float, steps_a_ms: int, step: str) -> Rounding:
    whole = _nearest(delay_ms * steps_a_ms) / steps_a_ms
    return Rounding(step, whole, whole - delay_ms)


def _nearest(value: float) -> float:
    """Halves go up, as one would round by hand."""
    return float(math.floor(value + 0.5))
