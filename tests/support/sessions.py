"""Sessions without recordings, for tests that only need the values."""

from __future__ import annotations

from pathlib import Path

from lagline.session.values import Lane, Session, Source


def lane(name: str, *, place_samples: int = 0, frames: int = 48_000, **values: object) -> Lane:
    source = Source(
        path=Path("/take") / f"{name}.wav",
        channel=0,
        rate_hz=48_000,
        frames=frames,
        size_bytes=44 + 3 * frames,
    )
    return Lane(id=name, name=name.capitalize(), source=source, place_samples=place_samples, **values)  # type: ignore[arg-type]


def session(*names: str, frames: int = 48_000) -> Session:
    """A take at 48 kHz with one lane a name (near and room by default)."""
    lanes = tuple(lane(name, frames=frames) for name in names or ("near", "room"))
    return Session(rate_hz=48_000, lanes=lanes, name="A take", anchor_id=lanes[-1].id)
