"""All that was measured of a take."""

from __future__ import annotations

from msgspec import Struct

from lagline.analysis.joint import JointAnswer
from lagline.analysis.measure import Cuts, Lanes
from lagline.analysis.pairs import PairAnswer


class Measured(Struct, frozen=True):
    """What was measured of a take, whichever lane the anchor will be.

    families : lanes that belong together, largest first. pairs : the close look; wide : the first one.
    passage : session samples that were asked for.
    """

    lanes: Lanes
    families: list[JointAnswer]
    pairs: list[PairAnswer]
    wide: list[PairAnswer]
    cuts: Cuts
    passage: tuple[int, int]
