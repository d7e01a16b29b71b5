"""What playback is doing, as one frozen value for whoever shows it."""

from __future__ import annotations

from msgspec import Struct, field

from lagline.playback.board import Board, Field
from lagline.playback.guard import HIGHEST_CEILING_DBFS, USUAL_RISE_DB
from lagline.playback.priority import Priority
from lagline.playback.protocol import InUse
from lagline.session.values import ORIGINAL_ID
from lagline.units import SILENCE_DB, gain_to_db


class PlayState(Struct, frozen=True):
    """A moment of playback. Levels are dBFS of what leaves for the device; None while they are hidden.

    position : session time of what is heard now, the delay of limiter and device taken off.
    version_id : what is heard; None while a blind trial hides it.
    reduction_db, held_db : what the limiter and the hearing guard take away, 0 or more.
    level_lufs : what leaves, K-weighted over 0.4 s.
    levels_known : loudness is measured, not estimated, and of the session as it is now.
    ungated : it is the K-weighted mean, because the gates of BS.1770 would leave nothing.
    loudness_lufs, match_db : by version id, as far as measured; the gains apply while `matching`.
    device_name : None while no engine runs.
    is_silent : no device is open; time is kept by a clock alone.
    priority : the engine's place before other work, as the system gave it; None while no engine runs.
    message : the last thing to tell the user; `message_count` rises with each, so that none is shown twice.
    """

    position: int = 0
    playing: bool = False
    version_id: str | None = ORIGINAL_ID
    difference: bool = False
    mono: bool = False
    peak_dbfs: tuple[float, float] | None = (SILENCE_DB, SILENCE_DB)
    true_peak_dbtp: float | None = SILENCE_DB
    reduction_db: float | None = 0.0
    held_db: float | None = 0.0
    level_lufs: float | None = SILENCE_DB
    monitor_gain_db: float = SILENCE_DB
    is_dim: bool = False
    is_same_moment: bool = False
    most_rise_db: float = USUAL_RISE_DB
    ceiling_dbfs: float = HIGHEST_CEILING_DBFS
    loudness_lufs: dict[str, float] = field(default_factory=dict)
    match_db: dict[str, float] = field(default_factory=dict)
    matching: bool = True
    measuring: bool = False
    levels_known: bool = False
    ungated: bool = False
    device_name: str | None = None
    device_rate_hz: int | None = None
    block_frames: int | None = None
    latency_s: float = 0.0
    is_silent: bool = True
    priority: Priority | None = None
    underruns: int = 0
    starved: int = 0
    late_blocks: int = 0
    message: str = ""
    message_count: int = 0


def board_part(board: Board, in_use: InUse | None, hidden: bool) -> dict[str, object]:
    """The fields of a PlayState that the engine reports."""
    names = ("peak_dbfs", "true_peak_dbtp", "reduction_db", "held_db", "level_lufs")
    levels: dict[str, object] = dict.fromkeys(names)
    if not hidden:
        peaks = (gain_to_db(board[Field.PEAK_LEFT]), gain_to_db(board[Field.PEAK_RIGHT]))
        levels = {
            "peak_dbfs": peaks,
            # Between two samples the curve may rise higher, never less high, than the samples themselves.
            "true_peak_dbtp": max(gain_to_db(board[Field.TRUE_PEAK]), *peaks),
            "reduction_db": max(0.0, board[Field.REDUCTION_DB]),
            "held_db": board[Field.HELD_DB],
            "level_lufs": board[Field.LEVEL_LUFS] if board[Field.SOUNDING] else SILENCE_DB,
        }
    return {
        **levels,
        "device_name": in_use.name if in_use else None,
        "device_rate_hz": in_use.rate_hz if in_use else None,
        "block_frames": in_use.block_frames if in_use else None,
        "latency_s": in_use.latency_s if in_use else 0.0,
        "is_silent": in_use.is_silent if in_use else True,
        "priority": in_use.priority if in_use else None,
        "underruns": int(board[Field.UNDERRUNS]),
        "starved": int(board[Field.STARVED]),
        "late_blocks": int(board[Field.LATE_BLOCKS]),
    }
