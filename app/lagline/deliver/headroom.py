"""Headroom: blends leave at a true peak that no converter and no encoder makes clip.

All blends of a delivery are turned down alike, so that they stay comparable; none is ever turned up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from lagline.blend.mix import ClipLike
from lagline.deliver.delivered import Cancelled, Progress
from lagline.deliver.loudness_fields import Regrouped
from lagline.deliver.options import DeliveryOptions
from lagline.deliver.placement import Placement, as_written
from lagline.deliver.render import BLOCK_FRAMES, FloatArray, blend_blocks, watched
from lagline.media.true_peak import TruePeakMeter
from lagline.session.values import Session, Version
from lagline.units import gain_to_db

_STEP_DB = 0.01  # gains are told with two decimals, and are what is told
_ROUNDING_DB = 0.001  # a step of 16 bits with its dither, at -1 dBFS


def blend_peak_dbtp(
    session: Session,
    version: Version,
    clips: Mapping[str, ClipLike],
    where: Placement,
    options: DeliveryOptions,
    *,
    progress: Progress = lambda _: None,
    cancelled: Cancelled = lambda: False,
) -> float:
    """True peak of a version's blend as its file will hold it, before any gain; -inf for silence.

    Raises as `blend_blocks` does, and Cancelled.
    """
    meters = [TruePeakMeter() for _ in range(1 if options.mono_blend else 2)]

    def look(block: FloatArray) -> None:
        for meter, channel in zip(meters, block.T, strict=True):
            meter.add(np.ascontiguousarray(channel))

    blocks = blend_blocks(session, as_written(version, options), clips, where, mono=options.mono_blend)
    whole = Regrouped(BLOCK_FRAMES, look)  # the meter wants whole bins
    for block in watched(blocks, where.frames, progress, cancelled):
        whole.add(block)
    whole.finish()
    return gain_to_db(max(meter.finish() for meter in meters))


def headroom_db(peaks_dbtp: Sequence[float], highest_dbtp: float) -> float:
    """What blends that peak there are turned down by, all alike: 0 or less, in steps of 0.01 dB."""
    over = max(peaks_dbtp, default=-math.inf) - highest_dbtp
    return -math.ceil((over + _ROUNDING_DB) / _STEP_DB) * _STEP_DB if over > 0.0 else 0.0


def headroom_note(gain_db: float, highest_dbtp: float | None) -> str | None:
    """What is said of it, on screen, in the sheet and in the manifest."""
    if highest_dbtp is None or gain_db == 0.0:
        return None
    return (
        f"The blends are turned down by {-gain_db:.2f} dB, all alike, so that none peaks above "
        f"{highest_dbtp:g} dBTP (true peak)."
    )
