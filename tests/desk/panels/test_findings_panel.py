"""The findings panel, driven by mouse and keys."""

from __future__ import annotations

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QPushButton, QWidget
from tests.support.invented_session import session

from lagline.desk.panels.finding_row import FindingRow
from lagline.desk.panels.findings_panel import FindingsPanel
from lagline.session.edits import accepted, with_polarity, with_shift
from lagline.session.values import Session


@pytest.fixture
def panel(qtbot) -> FindingsPanel:
    panel = FindingsPanel()
    qtbot.addWidget(panel)
    panel.resize(320, 900)
    panel.show_session(session())
    panel.show()
    panel.activateWindow()
    qtbot.waitExposed(panel)
    return panel


def button(parent: QWidget, name: str) -> QPushButton:
    found = [one for one in parent.findChildren(QPushButton) if one.accessibleName() == name]
    found += [one for one in parent.findChildren(QPushButton) if one.text() == name]
    assert found, f"no button called {name}"
    return found[0]


def row(panel: FindingsPanel, lane_id: str) -> FindingRow:
    return next(one for one in panel.findChildren(FindingRow) if one.lane_id == lane_id)


def texts(widget: QWidget) -> str:
    said = " | ".join(label.text() for label in widget.findChildren(QLabel) if label.isVisible())
    return said.replace("\N{NO-BREAK SPACE}", " ")


def test_a_row_says_arrival_time_distance_polarity_and_the_chosen_one_its_sentence(panel) -> None:
    assert "passages agree" not in texts(row(panel, "near"))
    panel.select_lane("near")
    said = texts(row(panel, "near"))
    # 101.37 / 48 ms; 343.2 m/s at 20 degrees C
    assert "−101.37 ± 0.05 samples · −2.112 ms · 72.5 cm earlier" in said
    assert "inverted" in said
    assert "36 of 40 passages agree" in said
    assert "✓ accepted" in said


def test_every_row_has_a_name_that_says_it_all(panel) -> None:
    assert row(panel, "pick").accessibleName() == (
        "Contact pickup, −118.0 ± 1.4 samples, −2.459 ms · 84.4 cm earlier, as anchor, as recorded, "
        "trust usable"
    )


def test_click_on_accept_asks_for_that_lane(qtbot, panel) -> None:
    with qtbot.waitSignal(panel.accept_requested) as asked:
        qtbot.mouseClick(button(panel, "Accept Contact pickup"), Qt.MouseButton.LeftButton)
    assert asked.args == [["pick"]]


def test_accept_all_strong_takes_the_anchor_and_the_strong_ones_only(qtbot, panel) -> None:
    with qtbot.waitSignal(panel.accept_requested) as asked:
        qtbot.mouseClick(button(panel, "Accept all strong"), Qt.MouseButton.LeftButton)
    assert asked.args == [["room", "near"]]


def test_accepting_together_leaves_weak_findings_and_those_of_nothing(qtbot, panel) -> None:
    with qtbot.waitSignal(panel.accept_requested) as asked:
        qtbot.mouseClick(button(panel, "Accept strong and usable"), Qt.MouseButton.LeftButton)
    assert asked.args == [["room", "near", "pick"]]
    assert not button(panel, "Accept Talkback").isEnabled()


def test_keys_accept_try_and_walk(qtbot, panel) -> None:
    row(panel, "pick").setFocus()
    with qtbot.waitSignal(panel.accept_requested) as asked:
        qtbot.keyClick(row(panel, "pick"), Qt.Key.Key_Return)
    assert asked.args == [["pick"]]
    with qtbot.waitSignal(panel.runner_up_requested) as tried:
        qtbot.keyClick(row(panel, "pick"), Qt.Key.Key_R)
    assert tried.args == ["pick", -1]  # as recorded, the finding itself is the first to try
    with qtbot.waitSignal(panel.lane_selected) as chosen:
        qtbot.keyClick(row(panel, "pick"), Qt.Key.Key_Down)
    assert chosen.args == ["far"]
    assert row(panel, "far").hasFocus()


def test_trying_goes_round_all_candidates(qtbot, panel) -> None:
    now = accepted(session(), ["pick"])
    order = []
    for _ in range(3):
        panel.show_session(now)
        with qtbot.waitSignal(panel.runner_up_requested) as tried:
            qtbot.keyClick(row(panel, "pick"), Qt.Key.Key_R)
        index = tried.args[1]
        order.append(index)
        finding = now.alignment.finding("pick")
        runner = finding.runners_up[index] if index >= 0 else None
        arrival = finding.arrival_samples if runner is None else runner.arrival_samples
        version = now.current_version
        polarity = 1 if runner is None else runner.polarity
        move = replace(version.move("pick"), shift_samples=-arrival, polarity=polarity)
        now = replace(now, versions=(replace(version, moves={**version.moves, "pick": move}),))
    assert order == [0, 1, -1]
    panel.show_session(now)
    assert "✓ accepted" in texts(row(panel, "pick"))


def test_put_back_is_offered_where_a_lane_has_moved_and_leave_where_not(qtbot, panel) -> None:
    with qtbot.waitSignal(panel.put_back_requested) as asked:
        qtbot.mouseClick(button(panel, "Put back Near left"), Qt.MouseButton.LeftButton)
    assert asked.args == ["near"]
    with qtbot.waitSignal(panel.leave_requested) as asked:
        qtbot.mouseClick(button(panel, "Leave Balcony"), Qt.MouseButton.LeftButton)
    assert asked.args == ["far"]
    assert "left as recorded" in texts(row(panel, "far"))


def test_a_lane_moved_by_hand_says_so(panel) -> None:
    panel.show_session(with_shift(session(), "pick", 7.0))
    assert "moved by hand" in texts(row(panel, "pick"))


def test_the_right_place_with_the_wrong_polarity_is_not_accepted(panel) -> None:
    now = accepted(session(), ["near"])
    panel.show_session(with_polarity(now, "near", 1))
    assert "moved by hand" in texts(row(panel, "near"))


def test_whole_sample_places_count_as_accepted(panel) -> None:
    panel.show_session(accepted(session(), ["near", "pick"], whole_samples=True))
    assert "✓ accepted" in texts(row(panel, "pick"))


def test_progress_offers_cancel_and_hides_measure(qtbot, panel) -> None:
    panel.show_progress(0.4)
    assert button(panel, "Cancel").isVisible()
    assert not button(panel, "Measure again").isVisible()
    with qtbot.waitSignal(panel.cancel_requested):
        qtbot.mouseClick(button(panel, "Cancel"), Qt.MouseButton.LeftButton)
    panel.show_measured()
    assert not button(panel, "Cancel").isVisible()


def test_while_measuring_nothing_says_that_it_is_not_measured(panel) -> None:
    panel.show_session(session(measured=False))
    panel.show_progress(0.0)
    assert "Measuring" in texts(panel)
    assert "ot measured yet" not in texts(panel)
    assert "Press Measure" not in texts(panel)
    panel.show_measured()
    assert "Not measured yet" in texts(panel)


def test_measure_asks(qtbot, panel) -> None:
    panel.show_session(session(measured=False))
    with qtbot.waitSignal(panel.measure_requested):
        qtbot.mouseClick(button(panel, "Measure"), Qt.MouseButton.LeftButton)


@pytest.mark.parametrize("wanted", ["Open a take", "Press Measure"])
def test_empty_states_say_what_to_do(panel, wanted) -> None:
    panel.show_session(None if wanted == "Open a take" else session(measured=False))
    assert wanted in texts(panel)


def test_warnings_are_shown(panel) -> None:
    assert "hum at 50 Hz" in texts(panel)


def test_removed_lanes_lose_their_row(qtbot, panel) -> None:
    now = session()
    panel.show_session(replace(now, lanes=now.lanes[1:]))

    def visible() -> list[str]:
        return [one.lane_id for one in panel.findChildren(FindingRow) if one.isVisible()]

    qtbot.waitUntil(lambda: visible() == ["pick", "far", "talk", "room"])


def test_thirty_two_lanes_come_in_turns_and_keys_reach_those_still_to_come(qtbot) -> None:
    now = session()
    lanes = tuple(replace(now.lanes[0], id=f"lane{n}", name=f"Lane {n}") for n in range(32))
    panel = FindingsPanel()
    qtbot.addWidget(panel)
    panel.show_session(replace(now, lanes=lanes))
    assert len(panel.findChildren(FindingRow)) < 32
    last = panel.findChildren(FindingRow)[-1]
    qtbot.keyClick(last, Qt.Key.Key_Down)
    assert len(panel.findChildren(FindingRow)) == int(last.lane_id.removeprefix("lane")) + 2
    qtbot.waitUntil(lambda: len(panel.findChildren(FindingRow)) == 32)


def test_several_rows_fit_into_what_a_small_screen_leaves(qtbot) -> None:
    """1280 x 720: some 250 px of list, with one row chosen."""
    panel = FindingsPanel()
    qtbot.addWidget(panel)
    panel.resize(400, 370)
    panel.show_session(session())
    panel.show()
    qtbot.waitExposed(panel)
    panel.select_lane("near")
    qtbot.wait(50)
    view = panel._scroll.viewport()
    seen = [
        lane_id
        for lane_id in ("near", "pick", "far")
        if row(panel, lane_id).mapTo(view, row(panel, lane_id).rect().bottomLeft()).y() <= view.height()
    ]
    assert len(seen) >= 2
    assert row(panel, "pick").height() < 100


def test_distances_follow_the_unit(panel) -> None:
    panel.show_unit("ft")
    assert "28.5 in earlier" in texts(row(panel, "near"))  # 72.48 cm / 2.54
    panel.show_unit("ms")
    assert "72.5 cm earlier" in texts(row(panel, "near"))


def test_a_take_that_is_not_measured_costs_no_rows(panel) -> None:
    panel.show_session(None)
    panel.show_session(session(measured=False))
    assert not [one for one in panel.findChildren(FindingRow) if not one.isHidden()]
    panel.show_session(session())
    assert [one.lane_id for one in panel.findChildren(FindingRow) if one.isVisible()][:1] == ["near"]


@pytest.mark.parametrize(
    ("sign", "trust", "says", "not_says"),
    [
        (-1, 0.9, "⊖ inverted", "probably"),
        (-1, 0.5, "⊖ probably inverted", "same"),
        (1, 0.5, "⊕ probably as anchor", "inverted"),
        (1, 0.2, "polarity unclear", "⊕"),
        (-1, 0.2, "polarity unclear", "⊖"),
    ],
)
def test_polarity_is_told_as_firmly_as_it_is_known(
    panel, sign: int, trust: float, says: str, not_says: str
) -> None:
    panel.show_session(with_near(polarity=sign, polarity_trust=trust))
    said = texts(row(panel, "near"))
    assert says in said
    assert not_says not in said


def test_a_start_seconds_apart_has_no_distance(panel) -> None:
    panel.show_session(with_near(arrival_samples=-114_547.2))
    said = texts(row(panel, "near"))
    assert "−2386.400 ms earlier" in said
    assert " m " not in said


def with_near(**values: object) -> Session:
    now = session()
    findings = (replace(now.alignment.findings[0], **values), *now.alignment.findings[1:])
    return replace(now, alignment=replace(now.alignment, findings=findings))
