"""What the desk says of what is heard; and that a blind trial cannot be looked through."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QSettings, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QComboBox, QDialog, QLabel, QPushButton, QWidget
from pytestqt.qtbot import QtBot
from tests.support.desk_hands import lane_id, press
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.desk.panels.blind_trial import BlindTrialDialog
from lagline.desk.panels.trial_texts import levels_text, passage_text
from lagline.desk.settings import DeskSettings
from lagline.desk.window import DeskWindow
from lagline.playback.protocol import DeviceChoice
from lagline.playback.state import PlayState
from lagline.session.edits import with_loop, with_shift
from lagline.session.values import ORIGINAL_ID, Balance, Session, Version

LEVELS = {
    "levels_known": True,
    "loudness_lufs": {"original": -20.0, "v1": -18.5},
    "match_db": {"original": 0.0, "v1": -1.5},
}
HIDDEN = {
    "version_id": None,
    "loudness_lufs": {},
    "match_db": {},
    "peak_dbfs": None,
    "true_peak_dbtp": None,
    "reduction_db": None,
}


class HidingPlayer(FakePlayer):
    """Tells what the real one tells: levels that depend on the version, unless they are hidden."""

    hidden = False

    def set_hidden(self, hidden: bool, version_ids: tuple[str, ...] = ()) -> None:
        super().set_hidden(hidden, version_ids)
        self.hidden = hidden

    def state(self) -> PlayState:
        peak = -12.0 if self.now.version_id == ORIGINAL_ID else -3.0
        told = replace(self.now, peak_dbfs=(peak, peak), true_peak_dbtp=peak, reduction_db=-peak, **LEVELS)
        return replace(told, **HIDDEN) if self.hidden else told


@pytest.fixture
def player() -> FakePlayer:
    return HidingPlayer()


def texts(*windows: QWidget) -> list[str]:
    found = []
    for window in windows:
        found.append(window.windowTitle())
        for widget in window.findChildren(QWidget):
            found += [widget.toolTip(), widget.accessibleName(), widget.accessibleDescription()]
            if isinstance(widget, QLabel | QAbstractButton):
                found.append(widget.text())
    return found


def try_blind(desk: DeskWindow, questions: FakeQuestions, use: Callable[[QDialog], None]) -> None:
    questions.with_dialog = use
    desk.commands.dialogs.start_trial()


def start(dialog: QDialog) -> None:
    button = next(one for one in dialog.findChildren(QPushButton) if one.text() == "Start")
    assert button.isEnabled()
    button.click()


def words(dialog: QDialog, name: str) -> str:
    return next(one.text() for one in dialog.findChildren(QLabel) if one.accessibleName() == name)


def test_a_trial_looks_the_same_whatever_is_heard(
    desk: DeskWindow, player: HidingPlayer, questions: FakeQuestions, qtbot: QtBot
) -> None:
    store = desk.parts.store
    store.apply("shift", lambda session: with_shift(session, session.lanes[0].id, 96.0))
    qtbot.waitUntil(desk.is_drawn, timeout=20_000)
    looks: dict[str, list[object]] = {}

    def look(dialog: QDialog, version_id: str) -> None:
        desk.parts.playing.hear(version_id)
        for _ in range(3):
            desk.parts.playing.poll()
            QTest.qWait(50)
        assert player.now.version_id == version_id
        looks.setdefault(version_id, []).append(
            (texts(desk, dialog), desk.grab().toImage(), dialog.grab().toImage())
        )

    def listen(dialog: QDialog) -> None:
        start(dialog)
        QTest.keyClick(dialog, Qt.Key.Key_3)  # one of them, under the name X
        for version_id in (ORIGINAL_ID, "v1", ORIGINAL_ID):
            look(dialog, version_id)

    try_blind(desk, questions, listen)
    (first, third), (second,) = looks[ORIGINAL_ID], looks["v1"]
    assert first[0] == second[0] == third[0]
    assert first[1] == second[1] == third[1], "the desk looks different"
    assert first[2] == second[2] == third[2], "the dialog looks different"


def test_without_hiding_it_would_not(desk: DeskWindow, player: HidingPlayer) -> None:
    """The comparison above sees what meters and switch show."""
    pictures = []
    for version_id in (ORIGINAL_ID, "v1"):
        desk.parts.playing.hear(version_id)
        desk.parts.playing.poll()
        QTest.qWait(50)
        pictures.append((texts(desk), desk.grab().toImage()))
    assert pictures[0][0] != pictures[1][0] and pictures[0][1] != pictures[1][1]


def test_each_version_says_how_loud_it_is_and_what_equal_loudness_takes_from_it(
    desk: DeskWindow, player: HidingPlayer
) -> None:
    desk.resize(1920, 1080)
    desk.parts.playing.hear("v1")
    desk.parts.playing.poll()
    original, shifted = desk.parts.strip.switch.buttons
    assert original.text() == "1  Original\n\u221220.0 LUFS · 0.0 dB"
    assert shifted.text() == "2  Shifted · heard\n\u221218.5 LUFS · \u22121.5 dB"
    assert shifted.accessibleDescription() == "\u221218.5 LUFS · \u22121.5 dB"
    player.now = replace(player.now, matching=False)
    desk.parts.playing.poll()
    assert shifted.text() == "2  Shifted · heard\n\u221218.5 LUFS"  # the gains are not applied


def test_many_versions_share_a_small_screen(desk: DeskWindow, player: HidingPlayer, qtbot: QtBot) -> None:
    """Their loudness steps aside for their names; nothing lies over anything else."""
    store = desk.parts.store
    for number in range(2, 5):
        version = Version(f"v{number}", f"Attempt {number}")
        store.apply("add", lambda now, one=version: replace(now, versions=(*now.versions, one)))
    desk.resize(1280, 720)
    switch = desk.parts.strip.switch
    qtbot.waitUntil(lambda: len(switch.buttons) == 5 and switch.buttons[-1].isVisible())
    qtbot.waitUntil(lambda: all("LUFS" not in button.text() for button in switch.buttons[:2]))
    for left, right in itertools.pairwise(switch.buttons):
        assert left.geometry().right() < right.geometry().left()
    for button in switch.buttons:
        widest = max(button.fontMetrics().horizontalAdvance(line) for line in button.text().split("\n"))
        assert widest < button.width(), button.text()
    assert switch.geometry().contains(switch.buttons[-1].geometry().translated(switch.pos()))


def with_versions(desk: DeskWindow, names: list[str]) -> None:
    versions = tuple(Version(f"v{number}", name) for number, name in enumerate(names, 1))
    desk.parts.store.apply("add", lambda now: replace(now, versions=versions))


def test_what_is_heard_always_has_a_button_that_is_lit(desk: DeskWindow, player: HidingPlayer) -> None:
    with_versions(desk, [f"Attempt {number}" for number in range(1, 12)])
    switch = desk.parts.strip.switch

    def numbers() -> list[int]:
        return [int(button.text().split()[0]) for button in switch.buttons]

    for number in (1, 4, 5, 6, 12, 6):
        version_id = "original" if number == 1 else f"v{number - 1}"
        desk.commands.listen.hear(version_id)
        (lit,) = [button for button in switch.buttons if button.property("heard")]
        assert (lit.version_id, int(lit.text().split()[0])) == (version_id, number)
        assert lit.isEnabled()
        assert numbers()[:4] == [1, 2, 3, 4]
    desk.commands.listen.hear(ORIGINAL_ID)  # back and forth with the sixth: it keeps its place
    assert numbers() == [1, 2, 3, 4, 6]
    player.hidden = True
    desk.commands.listen.hear("v9")
    assert numbers() == [1, 2, 3, 4, 6], "a blind trial would give itself away"


@pytest.mark.parametrize("width", [640, 799, 800, 999, 1000, 1129, 1130, 1200, 1270, 1920])
def test_names_that_begin_alike_are_told_apart(desk: DeskWindow, qtbot: QtBot, width: int) -> None:
    desk.resize(width, 800)
    with_versions(desk, ["Shifted", "Shifted 50 %", "Shifted 75 %", "Shifted 90 %", "By ear"])
    switch = desk.parts.strip.switch
    desk.commands.listen.hear("v3")
    places = 5 if width >= 1270 else 4 if width >= 1200 else 3
    qtbot.waitUntil(lambda: len(switch.buttons) == places and switch.buttons[-1].isVisible())
    qtbot.waitUntil(lambda: not switch.rect().isEmpty() and desk.is_drawn())
    for left, right in itertools.pairwise(switch.buttons):
        assert left.geometry().right() < right.geometry().left()
    (lit,) = [button for button in switch.buttons if button.property("heard")]
    assert lit.version_id == "v3" and switch.rect().contains(lit.geometry())
    names = [
        button.text().split("\n")[0].split("  ", 1)[1].removesuffix(" · heard") for button in switch.buttons
    ]
    assert len(set(names)) == places, names


@pytest.mark.parametrize("looping", [False, True])
def test_a_trial_says_what_will_be_heard(
    desk: DeskWindow, player: HidingPlayer, questions: FakeQuestions, looping: bool
) -> None:
    desk.parts.store.apply("loop", lambda session: with_loop(session, (24_000, 72_000)))
    desk.parts.playing.set_looping(looping)
    player.now = replace(player.now, position=12_000)
    said: list[str] = []

    def read(dialog: QDialog) -> None:
        said.append(words(dialog, "What you will hear"))
        said.append(words(dialog, "Loudness"))

    try_blind(desk, questions, read)
    if looping:
        assert said[0] == "You will hear the loop from 0:00.500 to 0:01.500."
    else:
        assert said[0] == "You will hear the loop from 0:00.000 to 0:02.000."  # some seconds, or all there is
        assert desk.parts.store.session.loop == (24_000, 72_000)
        assert player.session is not None and player.session.loop is None  # as before the trial
    assert said[1] == "Both are made equally loud."


def test_a_trial_on_the_desk_counts_only_what_plays(
    desk: DeskWindow, player: HidingPlayer, questions: FakeQuestions
) -> None:
    hints: list[str] = []

    def listen(dialog: QDialog) -> None:
        start(dialog)
        for playing in (False, True):
            player.now = replace(player.now, playing=playing)
            for number in "123":
                QTest.keyClicks(dialog, number)
                for _ in range(2):
                    player.now = replace(player.now, position=player.now.position + 24_000 * playing)
                    desk.parts.playing.poll()
            hints.append(" ".join(text for text in texts(dialog) if "answer" in text))

    try_blind(desk, questions, listen)
    assert "Hear A and B and X before you answer" in hints[0]
    assert "before you answer" not in hints[1]


def test_a_session_opens_looping_if_it_has_a_loop(
    desk: DeskWindow, player: HidingPlayer, take: Session
) -> None:
    """Whatever was on before: or it would be matched over another passage than where there is no desk."""
    loop = (24_000, 72_000)
    for session, expected in ((with_loop(take, loop), loop), (take, None), (with_loop(take, loop), loop)):
        desk.show_take(session)
        assert player.session is not None and player.session.loop == expected
        assert desk.parts.playing.is_looping == (expected is not None)
        assert desk.parts.playing.as_heard(session) == session
        assert player.now.position == (loop[0] if expected else 0)


def test_edits_of_a_session_leave_looping_as_it_is(desk: DeskWindow, take: Session) -> None:
    desk.show_take(with_loop(take, (24_000, 72_000)))
    desk.parts.playing.set_looping(False)
    desk.parts.store.apply("shift", lambda session: with_shift(session, session.lanes[0].id, 96.0))
    assert not desk.parts.playing.is_looping


def test_a_trial_waits_until_the_loudness_is_known(desk: DeskWindow, qtbot: QtBot) -> None:
    session = desk.parts.store.session
    assert session is not None
    dialog = BlindTrialDialog(session)
    qtbot.addWidget(dialog)
    button = next(one for one in dialog.findChildren(QPushButton) if one.text() == "Start")
    dialog.show_playback(PlayState(measuring=True))
    assert not button.isEnabled() and "Measuring" in words(dialog, "Loudness")
    dialog.show_playback(PlayState(**LEVELS))
    assert button.isEnabled() and words(dialog, "Loudness") == "Both are made equally loud."


def test_the_difference_is_left_for_a_trial(
    desk: DeskWindow, player: HidingPlayer, questions: FakeQuestions
) -> None:
    """Of the original it is silence: that would give every answer away."""
    desk.parts.playing.set_difference(True)
    seen: list[bool] = []
    try_blind(desk, questions, lambda _: seen.append(player.now.difference))
    assert seen == [False]


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        (PlayState(matching=False, **LEVELS), "Both are made equally loud."),  # in a trial always
        (PlayState(**LEVELS | {"levels_known": False}), "not known"),
        (PlayState(ungated=True, **LEVELS), "measured without gates"),
        (PlayState(measuring=True), "Measuring"),
        (PlayState(), "not known"),
        (PlayState(**LEVELS), "Both are made equally loud."),
    ],
)
def test_words_about_the_levels(told: PlayState, expected: str) -> None:
    assert expected in levels_text(told, ("original", "v1"))


def test_words_about_the_passage(take: Session) -> None:
    assert "in mono" in passage_text(take, PlayState(mono=True))
    assert "mono" not in passage_text(take, PlayState())


def test_an_output_chosen_in_the_strip_keeps_rate_and_block(
    desk: DeskWindow, settings: QSettings, player: HidingPlayer
) -> None:
    kept = DeskSettings(settings)
    kept.device = DeviceChoice("Desk speakers", 96_000, 512)
    desk.commands.listen.use_device("Headphones")
    assert kept.device == DeviceChoice("Headphones", 96_000, 512)
    desk.commands.listen.use_device("")
    assert kept.device == DeviceChoice(None, 96_000, 512)


def test_the_caution_comes_before_the_first_sound_from_the_button_too(
    desk: DeskWindow, player: HidingPlayer, questions: FakeQuestions
) -> None:
    desk.parts.settings.caution_read = False
    desk.parts.strip.play.click()
    assert questions.asked[-1] == "dialog: Caution"
    assert player.now.playing and desk.parts.settings.caution_read
    desk.parts.strip.play.click()
    assert not player.now.playing and questions.asked.count("dialog: Caution") == 1


def test_no_attack_in_view_is_said(desk: DeskWindow, qtbot: QtBot) -> None:
    """The take has attacks, but none in this view."""
    desk.parts.times.show_range(90_000, 94_000)
    desk.commands.view.run("loop_attack")
    qtbot.waitUntil(lambda: "attack" in desk.parts.messages.text, timeout=10_000)
    assert not desk.parts.playing.is_looping


def test_the_strip_shows_whether_levels_are_matched_and_what_versions_are_called(desk: DeskWindow) -> None:
    strip, edits = desk.parts.strip, desk.parts.edits
    assert strip.match.isChecked()
    edits.level_match(False)
    assert not strip.match.isChecked()
    press(desk, "Ctrl+Z")
    assert strip.match.isChecked()
    edits.rename_version("v1", "Close")
    assert "Close" in strip.switch.buttons[1].text()


def test_the_original_in_a_trial_has_the_balance_of_the_version_it_is_compared_with(
    desk: DeskWindow, player: HidingPlayer, questions: FakeQuestions, qtbot: QtBot
) -> None:
    near = lane_id(desk, "near")
    desk.parts.edits.gain(near, -3.0)
    desk.parts.edits.duplicate_version("v1", "Quieter")
    desk.parts.edits.gain(near, -20.0)
    heard: list[float] = []

    def choose(dialog: QDialog) -> None:
        for version_id in ("v2", "v1"):
            chooser = next(
                one for one in dialog.findChildren(QComboBox) if one.accessibleName() == "Second version"
            )
            chooser.setCurrentIndex(chooser.findData(version_id))
            assert player.session is not None
            heard.append(player.session.original.balance(near).gain_db)

    try_blind(desk, questions, choose)
    assert heard == [-20.0, -3.0]
    assert desk.parts.store.session.current_version_id == "v2"
    qtbot.waitUntil(lambda: player.session.original.balance(near).gain_db == -20.0)  # as it was before


def test_gain_pan_and_mute_are_those_of_the_version_worked_in(desk: DeskWindow, qtbot: QtBot) -> None:
    near, edits = lane_id(desk, "near"), desk.parts.edits
    edits.duplicate_version("v1", "Other")
    edits.gain(near, -6.0)
    edits.pan(near, 0.5)
    edits.mute(near, True)
    header = desk.parts.lanes.stack._rows[near].header
    assert header._state.balance == Balance(-6.0, 0.5, True)
    assert header._mute.isChecked() and not header._state.is_audible
    edits.choose_version("v1")
    assert header._state.balance == Balance()
    assert not header._mute.isChecked() and header._state.is_audible
    edits.mute_each((near, lane_id(desk, "room")))
    edits.mute_each((near, lane_id(desk, "room")))
    assert desk.parts.store.session.version("v1").balance(near) == Balance()
    assert desk.parts.store.session.version("v2").balance(near).mute
