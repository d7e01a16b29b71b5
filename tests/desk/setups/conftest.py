"""A setup, and a person who answers for setup files at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from lagline.desk.setups.asking import SetupQuestions
from lagline.session.setup import Setup, SetupLane
from lagline.session.values import Move


class FakeSetupQuestions(SetupQuestions):
    """Answers what the test has laid ready."""

    def __init__(self) -> None:
        self.setup_answer: Path | None = None
        self.save_answer: Path | None = None
        self.suggested: Path | None = None

    def setup_to_open(self, folder: Path) -> Path | None:
        return self.setup_answer

    def where_to_save_setup(self, suggestion: Path) -> Path | None:
        self.suggested = suggestion
        return self.save_answer


@pytest.fixture
def setup_questions() -> FakeSetupQuestions:
    return FakeSetupQuestions()


@pytest.fixture
def setup() -> Setup:
    """For the invented take: near agrees, the pickup moved, the balcony has no polarity, no talkback."""
    return Setup(
        "Chapel",
        48_000,
        (
            SetupLane("Near left", Move(103.0, -1)),
            SetupLane("Pickup", Move(140.5), "*pickup*"),
            SetupLane("Balcony", Move(44.0)),
            SetupLane("Spot", Move(20.0)),
            SetupLane("Room", Move(0.0)),
        ),
        "Room",
    )
