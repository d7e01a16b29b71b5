"""The blind trial dialog, by keyboard alone; nothing in it may give the answer away."""

from __future__ import annotations

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QPushButton, QRadioButton, QSpinBox, QWidget
from tests.support.invented_session import RATE_HZ
from tests.support.invented_session import session as invented

from lagline.desk.panels.blind_trial import BlindTrialDialog
from lagline.desk.panels.text_box import TextBox
from lagline.playback.state import PlayState
from lagline.playback.trial import BlindTrial
from lagline.session.values import Session, run_key

ORDER = [0, 1, 1, 0, 1]
READY = PlayState(levels_known=True, match_db={"original": 0.0, "v1": 0.0})


def session() -> Session:
    """With the loop that a trial goes round."""
    return replace(invented(), loop=(RATE_HZ, 4 * RATE_HZ))


def drawn(order: list[int]):
    """Draws this order: abx, whether X is the second version; preference, whether button 1 is."""

    def draw(mode, version_ids, planned) -> BlindTrial:
        assert planned == len(order)
        return BlindTrial(mode, version_ids, tuple(order))

    return draw


@pytest.fixture
def dialog(qtbot) -> BlindTrialDialog:
    dialog = BlindTrialDialog(session(), draw=drawn(ORDER))
    qtbot.addWidget(dialog)
    dialog.findChild(QSpinBox).setValue(len(ORDER))
    dialog.show_playback(READY)
    dialog.show()
    dialog.activateWindow()
    qtbot.waitUntil(dialog.isActiveWindow)
    return dialog


def key(qtbot, dialog, *keys) -> None:
    for one in keys:
        qtbot.keyClick(dialog, one)


def seen(dialog: QWidget) -> list[str]:
    """Every text in the window, tooltips and accessible names included."""
    texts = [dialog.windowTitle(), dialog.accessibleName()]
    for kind in (QLabel, QPushButton):
        for one in dialog.findChildren(kind):
            if one.isVisibleTo(dialog):
                texts += [one.text(), one.toolTip(), one.accessibleName(), one.accessibleDescription()]
    return texts


def listen(qtbot, dialog, one, seconds=0.5, playing=True) -> None:
    """Choose what to hear; then time goes on, as the player tells it while everything is hidden."""
    key(qtbot, dialog, one)
    for step in range(2):
        position = round(step * seconds * RATE_HZ)
        dialog.show_playback(PlayState(version_id=None, playing=playing, position=position))


def listen_to_all(qtbot, dialog, count=3, **more) -> None:
    for one in (Qt.Key.Key_1, Qt.Key.Key_2, Qt.Key.Key_3)[:count]:
        listen(qtbot, dialog, one, **more)


def test_abx_by_keyboard_alone(qtbot, dialog) -> None:
    heard, told, hidden = [], [], []
    dialog.hear_requested.connect(heard.append)
    dialog.trial_finished.connect(told.append)
    dialog.hidden_changed.connect(lambda *given: hidden.append(given))
    key(qtbot, dialog, Qt.Key.Key_Return)
    assert hidden == [(True, ("original", "v1"))]
    for number, truth in enumerate(ORDER):
        listen_to_all(qtbot, dialog)
        assert heard[-3:] == ["original", "v1", ("original", "v1")[truth]]
        wrong = number == 2
        key(qtbot, dialog, Qt.Key.Key_Right if truth != wrong else Qt.Key.Key_Left, Qt.Key.Key_Return)
    assert hidden[-1] == (False, ())
    assert any("4 of 5 right" in text for text in seen(dialog))
    qtbot.keyClicks(dialog.findChild(TextBox), "on speakers")
    keep = next(one for one in dialog.findChildren(QPushButton) if one.text() == "Keep with the session")
    qtbot.keyClick(keep, Qt.Key.Key_Return)
    assert told[0].answers == (True, True, False, True, True)
    assert told[0].note == "on speakers"
    assert told[0].probability == pytest.approx(6 / 32)
    assert not dialog.isVisible()


def test_preference_by_keyboard(qtbot, dialog) -> None:
    told = []
    dialog.trial_finished.connect(told.append)
    dialog.findChildren(QRadioButton)[2].click()
    key(qtbot, dialog, Qt.Key.Key_Return)
    for truth in ORDER:
        listen_to_all(qtbot, dialog, 2)
        key(qtbot, dialog, Qt.Key.Key_Left if truth == 1 else Qt.Key.Key_Right, Qt.Key.Key_Return)
    assert any("Shifted was chosen 5 times" in text for text in seen(dialog))


def test_the_odd_one_of_three_by_keyboard(qtbot, dialog) -> None:
    told = []
    dialog.trial_finished.connect(told.append)
    dialog.findChildren(QRadioButton)[1].click()
    key(qtbot, dialog, Qt.Key.Key_Return)
    arrows = (Qt.Key.Key_Left, Qt.Key.Key_Down, Qt.Key.Key_Right)
    for odd in ORDER:  # the odd one is the first or the second
        listen_to_all(qtbot, dialog)
        key(qtbot, dialog, arrows[odd], Qt.Key.Key_Return)
    assert any("5 of 5 right" in text and "guessing: 33 %" in text for text in seen(dialog))


@pytest.mark.parametrize("finish", [False, True], ids=["left", "not kept"])
def test_a_run_that_is_not_kept_counts_as_discarded(qtbot, dialog, finish) -> None:
    discarded, kept = [], []
    dialog.run_discarded.connect(lambda *given: discarded.append(given))
    dialog.trial_finished.connect(kept.append)
    key(qtbot, dialog, Qt.Key.Key_Return)
    for truth in ORDER if finish else ORDER[:2]:
        listen_to_all(qtbot, dialog)
        key(qtbot, dialog, Qt.Key.Key_Right if truth else Qt.Key.Key_Left, Qt.Key.Key_Return)
    key(qtbot, dialog, Qt.Key.Key_Escape)
    assert discarded == [("abx", ("original", "v1"))] and not kept


def test_leaving_before_the_start_discards_nothing(qtbot, dialog) -> None:
    with qtbot.assertNotEmitted(dialog.run_discarded):
        key(qtbot, dialog, Qt.Key.Key_Escape)


def test_what_was_discarded_before_is_said_and_kept_with_the_result(qtbot) -> None:
    counted = replace(session(), discarded_runs={run_key("abx", ("v1", "original")): 2})
    dialog = BlindTrialDialog(counted, draw=drawn(ORDER))
    qtbot.addWidget(dialog)
    dialog.findChild(QSpinBox).setValue(len(ORDER))
    dialog.show_playback(READY)
    dialog.show()
    dialog.activateWindow()
    qtbot.waitUntil(dialog.isActiveWindow)
    assert any("2 runs of this trial" in text for text in seen(dialog))
    told = []
    dialog.trial_finished.connect(told.append)
    key(qtbot, dialog, Qt.Key.Key_Return)
    for truth in ORDER:
        listen_to_all(qtbot, dialog)
        key(qtbot, dialog, Qt.Key.Key_Right if truth else Qt.Key.Key_Left, Qt.Key.Key_Return)
    keep = next(one for one in dialog.findChildren(QPushButton) if one.text() == "Keep with the session")
    qtbot.keyClick(keep, Qt.Key.Key_Return)
    assert told[0].discarded == 2


def test_no_trial_begins_before_loudness_is_known(qtbot, dialog) -> None:
    dialog.show_playback(PlayState(measuring=True))
    start = next(one for one in dialog.findChildren(QPushButton) if one.text() == "Start")
    assert not start.isEnabled()


def test_answers_wait_until_everything_was_heard(qtbot, dialog) -> None:
    key(qtbot, dialog, Qt.Key.Key_Return)
    listen(qtbot, dialog, Qt.Key.Key_1)
    key(qtbot, dialog, Qt.Key.Key_Left, Qt.Key.Key_Return)
    assert "Trial 1 of 5" in seen(dialog)
    assert any("Hear B and X before you answer" in text for text in seen(dialog))


@pytest.mark.parametrize(
    "playback", [{"playing": False}, {"seconds": 0.0}, {"seconds": 0.1}], ids=["stopped", "standing", "brief"]
)
def test_what_did_not_play_was_not_heard(qtbot, dialog, playback) -> None:
    key(qtbot, dialog, Qt.Key.Key_Return)
    listen_to_all(qtbot, dialog, **playback)
    key(qtbot, dialog, Qt.Key.Key_Left, Qt.Key.Key_Return)
    assert "Trial 1 of 5" in seen(dialog)
    assert any("Hear A and B and X before you answer" in text for text in seen(dialog))


def test_what_plays_before_anything_was_chosen_counts_for_nothing(qtbot, dialog) -> None:
    key(qtbot, dialog, Qt.Key.Key_Return)
    for position in (0, RATE_HZ, 2 * RATE_HZ):
        dialog.show_playback(PlayState(version_id=None, playing=True, position=position))
    assert any("Hear A and B and X before you answer" in text for text in seen(dialog))


def test_a_short_loop_is_heard_over_its_rounds(qtbot, dialog) -> None:
    key(qtbot, dialog, Qt.Key.Key_Return, Qt.Key.Key_1)
    for position in (0, 3_000, 1_000, 4_000) * 3:
        dialog.show_playback(PlayState(version_id=None, playing=True, position=position))
    assert any("Hear B and X before you answer" in text for text in seen(dialog))


def test_an_arrow_alone_gives_no_answer(qtbot, dialog) -> None:
    key(qtbot, dialog, Qt.Key.Key_Return)
    listen_to_all(qtbot, dialog)
    key(qtbot, dialog, Qt.Key.Key_Left, Qt.Key.Key_Right, Qt.Key.Key_Left)
    assert "Trial 1 of 5" in seen(dialog)
    key(qtbot, dialog, Qt.Key.Key_Return)
    assert "Trial 2 of 5" in seen(dialog)


def test_space_plays_and_hearing_again_is_told_again(qtbot, dialog) -> None:
    key(qtbot, dialog, Qt.Key.Key_Return)
    with qtbot.waitSignal(dialog.play_requested):
        key(qtbot, dialog, Qt.Key.Key_Space)
    heard = []
    dialog.hear_requested.connect(heard.append)
    key(qtbot, dialog, Qt.Key.Key_1, Qt.Key.Key_1)
    assert heard == ["original", "original"]


def pixels_of(dialog: QWidget) -> bytes:
    image = dialog.grab().toImage()  # kept alive while its bits are copied
    return bytes(image.constBits())


def everything_that_shows(qtbot, answers: list[bool], order: list[int]) -> list[tuple[list[str], bytes]]:
    """Texts and pixels of the window at each step of a trial with that hidden order and those answers."""
    dialog = BlindTrialDialog(session(), draw=drawn(order))
    qtbot.addWidget(dialog)
    dialog.findChild(QSpinBox).setValue(len(order))
    dialog.show_playback(READY)
    dialog.show()
    dialog.activateWindow()
    qtbot.waitUntil(dialog.isActiveWindow)
    key(qtbot, dialog, Qt.Key.Key_Return)
    steps = []
    for right, truth in list(zip(answers, order, strict=True))[:-1]:
        for one in (Qt.Key.Key_1, Qt.Key.Key_2, Qt.Key.Key_3):
            listen(qtbot, dialog, one)
            steps.append((seen(dialog), pixels_of(dialog)))
        key(qtbot, dialog, Qt.Key.Key_Right if (truth == 1) == right else Qt.Key.Key_Left, Qt.Key.Key_Return)
        steps.append((seen(dialog), pixels_of(dialog)))
    dialog.close()
    return steps


def test_nothing_shown_depends_on_the_hidden_order_or_on_being_right(qtbot) -> None:
    one = everything_that_shows(qtbot, [True] * 5, [0, 1, 0, 1, 1])
    other = everything_that_shows(qtbot, [False] * 5, [1, 0, 1, 0, 0])  # the same keys are pressed
    for (texts, pixels), (other_texts, other_pixels) in zip(one, other, strict=True):
        assert texts == other_texts
        assert pixels == other_pixels
        assert not any("right" in text.casefold().replace("right arrow", "") for text in texts)
        assert not any("Shifted" in text or "Original" in text for text in texts)


def test_leaving_in_the_middle_keeps_nothing_and_shows_things_again(qtbot, dialog) -> None:
    hidden = []
    dialog.hidden_changed.connect(lambda *given: hidden.append(given))
    key(qtbot, dialog, Qt.Key.Key_Return)
    listen_to_all(qtbot, dialog)
    with qtbot.assertNotEmitted(dialog.trial_finished):
        key(qtbot, dialog, Qt.Key.Key_Escape)
    assert hidden == [(True, ("original", "v1")), (False, ())]
    assert not dialog.isVisible()


def test_two_equal_versions_cannot_be_compared(qtbot) -> None:
    dialog = BlindTrialDialog(session(), "v1", "v1")
    qtbot.addWidget(dialog)
    dialog.show()
    start = next(one for one in dialog.findChildren(QPushButton) if one.text() == "Start")
    assert not start.isEnabled()
    assert any("two different versions" in text for text in seen(dialog))


@pytest.mark.parametrize("typed", ["3", "101", "0", "9999", ""])
def test_no_other_number_of_trials_is_started_than_the_one_that_was_typed(qtbot, dialog, typed) -> None:
    box = dialog.findChild(QSpinBox)
    box.setFocus()
    box.selectAll()
    qtbot.keyClick(box, Qt.Key.Key_Delete)
    qtbot.keyClicks(box, typed)
    start = next(one for one in dialog.findChildren(QPushButton) if one.text() == "Start")
    assert box.cleanText() == typed and not start.isEnabled()
    assert "5 to 100" in seen(dialog) and "Choose 5 to 100 trials." in seen(dialog)
    with qtbot.assertNotEmitted(dialog.hidden_changed):
        qtbot.keyClick(box, Qt.Key.Key_Return)
    qtbot.keyClick(box, Qt.Key.Key_A, Qt.KeyboardModifier.ControlModifier)
    qtbot.keyClicks(box, "5")
    assert start.isEnabled() and "Choose 5 to 100 trials." not in seen(dialog)


def test_the_setup_says_how_many_must_be_right(qtbot, dialog) -> None:
    dialog.findChild(QSpinBox).setValue(16)
    assert any("12 or more of 16" in text for text in seen(dialog))
