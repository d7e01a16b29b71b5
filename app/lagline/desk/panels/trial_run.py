"""What the blind trial dialog needs of the logic that runs a trial. The logic itself is in playback."""

from __future__ import annotations

from typing import Literal, Protocol

from msgspec import Struct

from lagline.session.values import Trial

Mode = Literal["abx", "preference"]


class TrialPlan(Struct, frozen=True):
    """What is fixed before the start."""

    mode: Mode
    version_ids: tuple[str, str]
    trials: int


class TrialRun(Protocol):
    """A trial under way. Knows which label hides which version, and tells nobody but the player."""

    @property
    def number(self) -> int:
        """The trial under way, from 1."""
        ...

    @property
    def is_finished(self) -> bool: ...

    def version_of(self, label: str) -> str:
        """Version id behind a label in the trial under way ("A", "B", "X"; "1", "2"). For the player only."""
        ...

    def answer(self, label: str) -> None:
        """X is "A" or "B"; or: "1" or "2" is preferred. Goes on to the next trial."""
        ...

    def result(self) -> Trial:
        """After the last answer."""
        ...
