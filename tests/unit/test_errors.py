"""What follows from why something could not be written."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from lagline.errors import CannotWrite


@pytest.mark.parametrize(
    ("number", "step"),
    [
        (errno.ENOSPC, "Free some space"),
        (errno.EACCES, "permissions"),
        (errno.EROFS, "another folder"),
        (errno.ENAMETOOLONG, "shorter name"),
        (errno.EIO, "another folder"),
    ],
)
def test_the_next_step_follows_from_the_reason(number: int, step: str) -> None:
    message = str(CannotWrite(Path("/takes/out.wav"), OSError(number, os.strerror(number))))
    assert "/takes/out.wav" in message and os.strerror(number) in message and step in message
    assert ("Free some space" in message) == (number == errno.ENOSPC)
