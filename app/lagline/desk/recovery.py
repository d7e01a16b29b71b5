"""The questions about work that a crash left behind. What is not wanted now is set aside, never deleted."""

from __future__ import annotations

from collections.abc import Sequence

from lagline.desk.questions import Questions
from lagline.session.autosave import Kept, LeftBehind, set_aside


def wanted(kept: Sequence[Kept], name: str, ask: Questions) -> tuple[Kept | None, str]:
    """Which of these to go on with, the newest asked about first, and a sentence on what became of others.

    `name`: of the session, if it has one. Those after the one that is wanted are left for the next time.
    """
    told: list[str] = []
    for one in kept:
        if ask.yes(
            "Unsaved work was found",
            f"Lagline ended before the last changes to {name or one.session.name} were saved.",
            f"They were kept on {one.when.astimezone():%Y-%m-%d at %H:%M}. "
            "Go on with them, or set them aside as a session of their own?",
            "Recover them",
            "Set them aside",
        ):
            return one, " ".join(told)
        try:
            told.append(f"Set aside as {set_aside(one.file)}.")
        except OSError as error:
            told.append(f"{one.file} could not be set aside ({error.strerror}); it stays where it is.")
    return None, " ".join(told)


def put_out_of_the_way(left: LeftBehind) -> list[str]:
    """Set aside what can't be read, so that it is in nobody's way; a sentence on each."""
    told = []
    for file, reason in left.unreadable:
        try:
            where = f"It was set aside as {set_aside(file)}; nothing else is touched."
        except OSError as error:
            where = f"It could not be set aside ({error.strerror}) and stays where it is."
        told.append(f"Work kept safe from a crash can’t be used: {reason} {where}")
    return told
