"""Which lanes are chosen, and which one keys act on first. No Qt."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct


class Selection(Struct, frozen=True):
    """`current` is the lane with the cursor (None on an empty desk); `chosen` holds it and others."""

    current: str | None = None
    chosen: tuple[str, ...] = ()

    def only(self, lane_id: str) -> Selection:
        """This lane alone."""
        return Selection(lane_id, (lane_id,))

    def toggled(self, lane_id: str) -> Selection:
        """With the lane added, or taken out when it was in; the last one stays."""
        if lane_id not in self.chosen:
            return Selection(lane_id, (*self.chosen, lane_id))
        left = tuple(other for other in self.chosen if other != lane_id)
        return Selection(left[-1], left) if left else self

    def extended(self, lane_id: str, order: Sequence[str]) -> Selection:
        """Everything from the current lane to this one, in the order they stand."""
        if self.current not in order:
            return self.only(lane_id)
        a, b = sorted((order.index(self.current), order.index(lane_id)))
        return Selection(self.current, tuple(order[a : b + 1]))

    def stepped(self, by: int, order: Sequence[str]) -> Selection:
        """The lane above (-1) or below (+1); stops at the ends."""
        if not order:
            return Selection()
        at = order.index(self.current) + by if self.current in order else 0
        return self.only(order[min(max(at, 0), len(order) - 1)])

    def within(self, order: Sequence[str]) -> Selection:
        """What is left of it when only these lanes are there; the first lane when nothing is."""
        chosen = tuple(lane_id for lane_id in self.chosen if lane_id in order)
        current = self.current if self.current in chosen else (chosen[0] if chosen else None)
        if current is None:
            return Selection().only(order[0]) if order else Selection()
        return Selection(current, chosen)
