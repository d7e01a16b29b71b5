"""What can be asked of many takes, and what comes of it: values that are quick to load."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from msgspec import Struct

from lagline.day.values import DayTake
from lagline.deliver.names import safe_stem
from lagline.deliver.options import DeliveryOptions, Edit
from lagline.files import is_file
from lagline.jobs.find_takes import FoundTake, opened
from lagline.session.setup import Setup
from lagline.session.storage import load, stamp
from lagline.session.values import Session

Timing = Literal["own", "model", "recorded"]


class Measure(Struct, frozen=True):
    """Measure, and check the recordings' health. Nothing is moved."""

    setup: Setup | None = None  # its anchor is measured against where the take has that lane
    search_ms: float | None = None


class Accept(Struct, frozen=True):
    """Put the lanes in place: where the setup has them, in those that moved where they were measured; without
    a setup everything where it was measured."""

    setup: Setup | None = None  # which lanes of a take moved is said by `Asked.moved`


class Decide(Struct, frozen=True):
    """Make one version in each take and let it go out: the balance as in `model`.

    `timing`: each take's own as it now is, the model's, or as recorded.
    """

    model: Setup
    name: str
    timing: Timing = "own"


class Deliver(Struct, frozen=True):
    """Deliver the version that was decided, else the current one, into a folder of the take's name."""

    folder: Path
    options: DeliveryOptions = DeliveryOptions()
    report: bool = True
    edit: Edit = "none"

    def place_of(self, take: DayTake) -> Path:
        """The take's own folder."""
        return self.folder.joinpath(*(safe_stem(part) for part in take.name.split("/")))


What = Measure | Accept | Decide | Deliver


class Asked(Struct, frozen=True):
    """What is asked of one take. `session`: as it is on a desk now; it then comes back and is not saved."""

    take: DayTake
    what: What
    session: Session | None = None
    moved: frozenset[str] = frozenset()  # lanes that take what was measured, by name (`Accept`)


class Outcome(Struct, frozen=True):
    """What became of it: the take's new line, with `error` where it failed; a session for the desk."""

    take: DayTake
    session: Session | None = None


def decided_version(session: Session, take: DayTake) -> str:
    """Id of the version that goes out: the one decided on, else the current one."""
    ids = {name: version_id for version_id, name in session.version_names()}
    return ids.get(take.decided, session.current_version_id)


def session_of(take: DayTake) -> tuple[Session, str | None]:
    """The take's saved session with its stamp, or its recordings opened anew, and None.

    Raises as `storage.load` or `find_takes.opened`, TooFewLanes.
    """
    if is_file(take.session):
        known = stamp(take.session)
        return load(take.session), known
    return opened(FoundTake(take.name, take.paths)).to_line_up(), None
