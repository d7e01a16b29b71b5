"""What the desk knows of playback at one moment: the value that strip, ruler and lanes are shown."""

from __future__ import annotations

from msgspec import Struct

from lagline.session.values import ORIGINAL_ID
from lagline.units import SILENCE_DB


class TransportState(Struct, frozen=True):
    """Levels are dB re full scale, loudness LUFS; None where nothing is known yet."""

    position_samples: float = 0.0
    is_playing: bool = False
    heard_id: str | None = ORIGINAL_ID  # None while a blind trial hides it
    is_difference: bool = False
    is_mono: bool = False
    is_matching: bool = True
    peak_dbfs: tuple[float, float] | None = None  # left, right
    true_peak_dbtp: float | None = None
    reduction_db: float = 0.0  # what the limiter takes away, >= 0
    held_db: float = 0.0  # what the hearing guard takes away, >= 0
    monitor_gain_db: float = SILENCE_DB
    is_dim: bool = False
    is_same_moment: bool = False  # switching keeps the moment of the music, not the clock's
    is_hidden: bool = False  # a blind trial runs
    loudness_lufs: dict[str, float] = {}
    match_db: dict[str, float] = {}
    device: str = ""
    has_device: bool = True  # False: time is kept by a silent clock
    dropouts: int = 0  # times the sound ran dry
