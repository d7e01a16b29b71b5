"""Where the demo session lies: inside the installed package, or beside it in a checkout."""

from __future__ import annotations

from pathlib import Path

import lagline


def demo_session() -> Path | None:
    package = Path(lagline.__file__).parent
    for folder in (package / "demo_sessions", package.parents[1] / "demo_sessions"):
        session = folder / "chapel" / "chapel.lagline"
        if session.is_file():
            return session
    return None
