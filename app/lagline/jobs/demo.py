"""The demo takes: where they are, and how one starts, untouched, in a session."""

from __future__ import annotations

from pathlib import Path

import lagline
from lagline.errors import DemoMissing
from lagline.session.storage import SUFFIX, load
from lagline.session.values import Session

DEFAULT_TAKE = "chapel"


def demo_folder() -> Path:
    """Where the demo takes are: inside the installed package, or beside it in a checkout.

    Raises DemoMissing.
    """
    package = Path(lagline.__file__).parent
    for folder in (package / "demo_sessions", package.parents[1] / "demo_sessions"):
        if folder.is_dir():
            return folder
    raise DemoMissing("demo_sessions")


def demo_takes() -> tuple[str, ...]:
    """Names of the demo takes, the first newcomers should meet first. Raises DemoMissing."""
    names = sorted(path.stem for path in demo_folder().glob(f"*/*{SUFFIX}"))
    return tuple(sorted(names, key=lambda name: name != DEFAULT_TAKE))


def demo_session_path(take: str = DEFAULT_TAKE) -> Path:
    """The session file of a demo take. Raises DemoMissing."""
    path = demo_folder() / take / f"{take}{SUFFIX}"
    if not path.is_file():
        raise DemoMissing(take)
    return path


def load_demo(take: str = DEFAULT_TAKE) -> Session:
    """A demo take as recorded, nothing decided yet. Raises DemoMissing, SessionError."""
    return load(demo_session_path(take))


def is_demo(path: Path) -> bool:
    """Whether a session file is a demo take's own, which is opened to look at and saved elsewhere."""
    try:
        return path.resolve().is_relative_to(demo_folder().resolve())
    except DemoMissing:
        return False
