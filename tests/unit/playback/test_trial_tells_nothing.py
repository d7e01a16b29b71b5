"""In a blind trial neither timing nor level gives anything away, and without its precautions they would."""

from __future__ import annotations

import numpy as np
import pytest
from tests.support.trial_room import BLOCK, TrialRoom, score

from lagline.playback.trial import guessing_probability

TRIALS = 60


def played(trials: int, seed: int, tells: str = "") -> tuple[int, int]:
    room, out = TrialRoom(trials, seed, tells), []
    while not room.is_over:
        block = np.zeros((BLOCK, 2), np.float32)
        room.fill(block)
        out.append(block)
    return score(np.concatenate(out), room.presses, room.mixer.delay_frames, seed)


def test_the_cheat_only_guesses():
    right, trials = played(TRIALS, 1)
    assert trials == TRIALS
    assert guessing_probability(right, trials) > 0.001


@pytest.mark.parametrize("tells", ["moment", "level"])
def test_the_cheat_would_notice(tells: str):
    right, trials = played(TRIALS, 2, tells)
    assert guessing_probability(right, trials) < 1e-6, f"{right} of {trials}"
