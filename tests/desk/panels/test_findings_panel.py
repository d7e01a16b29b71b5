"""The findings panel, driven by mouse and keys."""

from __future__ import annotations

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QPoint, QRect, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel, QPushButton, QWidget
from tests.support.invented_session import session

from lagline.desk.panels.findings_panel import FindingsPanel
from lagline.desk.panels.findings_table import ACTION, ARRIVAL, LANE, PLACE, POLARITY, TRUST
from lagline.session.edits import accepted, with_polarity, with_shift
from lagline.session.trying import tried
from lagline.session.values import Session, Version


@pytest.fixture
def panel(qtbot) -> FindingsPanel:
    panel = FindingsPanel()
    qtbot.addWidget(panel)
    panel.resize(460, 500)
    panel.show_session(session())
    panel.show()
    panel.activateWindow()
    qtbot.waitExposed(panel)
    return panel


def button(parent: QWidget, name: str) -> QPushButton:
    named = parent.findChildren(QPushButton)
    found = [one for one in named if name in (one.accessibleName(), one.text())]
    assert found, f"no button called {name}"
    return found[0]


def order(panel: FindingsPanel) -> list[str]:
    return [line.lane_id for line in panel.model.lines]


def cell(panel: FindingsPanel, lane_id: str, column: int, role: int = 0) -> str:
    return str(panel.model.index(order(panel).index(lane_id), column).data(role) or "")


def click(panel: FindingsPanel, lane_id: str, column: int, dx: int | None = None) -> None:
    box = panel.table.visualRect(panel.model.index(order(panel).index(lane_id), column))
    at = box.center() if dx is None else QPoint(box.left() + dx, box.center().y())
    QTest.mouseClick(panel.table.viewport(), Qt.MouseButton.LeftButton, pos=at)


def texts(widget: QWidget) -> str:
    return " | ".join(label.text() for label in widget.findChildren(QLabel) if label.isVisible())


def with_near(**values: object) -> Session:
    now = session()
    findings = (replace(now.alignment.findings[0], **values), *now.alignment.findings[1:])
    return replace(now, alignment=replace(now.alignment, findings=findings))


def test_a_line_says_arrival_polarity_trust_and_place(panel) -> None:
    now = accepted(session(), ["near"])
    panel.show_session(now)
    columns = (LANE, ARRIVAL, POLARITY, TRUST, PLACE, ACTION)
    assert [cell(panel, "near", one) for one in columns] == [
        "Near left", "−101.37", "⊖", "0.97 strong", "by finding", "✓",
    ]  # fmt: skip
    assert [cell(panel, "talk", one) for one in columns] == [
        "Talkback", "—", "", "0.05 none", "as recorded", "",
    ]  # fmt: skip
    assert cell(panel, "room", ARRIVAL) == "anchor"


def test_the_chosen_line_unfolds_its_sentence(panel) -> None:
    panel.select_lane("near")
    # 101.37 / 48 ms; 343.2 m/s at 20 degrees C
    assert "−101.37 ± 0.05 samples · −2.112 ms · 72.5 cm earlier" in panel.detail.said
    assert "Inverted, " in panel.detail.said and "36 of 40 passages agree" in panel.detail.said


def test_every_line_has_words_that_say_it_all(panel) -> None:
    assert cell(panel, "pick", LANE, Qt.ItemDataRole.AccessibleTextRole) == (
        "Contact pickup, −118.0 ± 1.4 samples · −2.459 ms · 84.4 cm earlier, as anchor, "
        "trust 0.85 usable, as recorded"
    )


def test_click_on_accept_asks_for_that_lane(qtbot, panel) -> None:
    with qtbot.waitSignal(panel.decide_requested) as asked:
        click(panel, "pick", ACTION)
    assert asked.args == [["pick"]]
    with qtbot.assertNotEmitted(panel.decide_requested):
        click(panel, "talk", ACTION)


def test_strong_ones_are_ticked_and_more_can_be(qtbot, panel) -> None:
    panel.show_session(replace(session(), versions=(Version("v1", "Shifted"),)))
    assert panel.model.ticked == {"near"}
    click(panel, "pick", LANE, 8)
    with qtbot.waitSignal(panel.decide_requested) as asked:
        qtbot.mouseClick(button(panel, "Accept 2 ticked"), Qt.MouseButton.LeftButton)
    assert asked.args == [["near", "pick"]]


def test_what_is_accepted_is_ticked_no_longer(panel) -> None:
    assert "near" in panel.model.ticked
    panel.show_session(accepted(session(), ["near"]))
    assert "near" not in panel.model.ticked


@pytest.mark.parametrize("width", [320, 380, 400, 430, 460, 600])
def test_a_name_always_has_room(qtbot, panel, width: int) -> None:
    panel.resize(width, 500)
    qtbot.wait(20)
    box = panel.table.visualRect(panel.model.index(order(panel).index("near"), LANE))
    others = [one for one in (ARRIVAL, POLARITY, TRUST, PLACE, ACTION) if not panel.table.isColumnHidden(one)]
    assert len(others) >= 4
    shown = panel.table.fontMetrics().horizontalAdvance("Near left")
    assert box.width() >= shown + 40 or width < 400, f"{box.width()} px"


def test_a_probable_flip_is_ticked_by_hand_only_and_named(panel) -> None:
    now = replace(with_near(polarity_trust=0.5), versions=(Version("v1", "Shifted"),))
    panel.show_session(now)
    assert panel.model.ticked == set()
    assert "only probable: not ticked" in texts(panel)
    click(panel, "near", LANE, 8)
    assert "⚠ Accepting turns Near left over on a polarity that is only probable." in texts(panel)


def test_accepting_a_probable_flip_moves_nothing(qtbot, panel) -> None:
    now = replace(with_near(polarity_trust=0.5), versions=(Version("v1", "Shifted"),))
    panel.show_session(now)
    qtbot.wait(30)
    before = panel.table.geometry()
    panel.show_session(accepted(now, ["near"]))
    qtbot.wait(30)
    assert panel.table.geometry() == before


def test_keys_accept_try_put_back_tick_and_walk(qtbot, panel) -> None:
    panel.select_lane("pick")
    panel.table.setFocus()
    with qtbot.waitSignal(panel.decide_requested) as asked:
        qtbot.keyClick(panel.table, Qt.Key.Key_Return)
    assert asked.args == [["pick"]]
    with qtbot.waitSignal(panel.try_requested) as tried_one:
        qtbot.keyClick(panel.table, Qt.Key.Key_R)
    assert tried_one.args == ["pick", -1]  # as recorded, the finding itself is the first to try
    before = set(panel.model.ticked)
    qtbot.keyClick(panel.table, Qt.Key.Key_Insert)
    assert panel.model.ticked ^ before == {"pick"}
    with qtbot.waitSignal(panel.lane_selected) as chosen:
        qtbot.keyClick(panel.table, Qt.Key.Key_Down)
    assert chosen.args == ["far"] and panel.selected_lane == "far"
    panel.show_session(with_shift(session(), "far", 3.0))
    with qtbot.waitSignal(panel.put_back_requested) as back:
        qtbot.keyClick(panel.table, Qt.Key.Key_Delete)
    assert back.args == ["far"]


def test_trying_goes_round_all_candidates(qtbot, panel) -> None:
    now = accepted(session(), ["pick"])
    panel.select_lane("pick")
    asked = []
    for _ in range(3):
        panel.show_session(now)
        with qtbot.waitSignal(panel.try_requested) as tried_one:
            qtbot.mouseClick(button(panel, "Try"), Qt.MouseButton.LeftButton)
        asked.append(tried_one.args[1])
        now = tried(now, *tried_one.args)
        panel.show_session(now)
        assert cell(panel, "pick", PLACE) == ("trying" if asked[-1] >= 0 else "by finding")
    assert asked == [0, 1, -1]


@pytest.mark.parametrize(
    ("edit", "says"),
    [
        (lambda now: with_shift(now, "near", 7.0), "by hand"),
        (lambda now: with_polarity(accepted(now, ["near"]), "near", 1), "by finding, then flipped"),
        (lambda now: accepted(now, ["near"], rounding="all"), "by finding, as whole"),
    ],
)
def test_where_a_lane_is_now(panel, edit, says: str) -> None:
    panel.show_session(edit(session()))
    assert cell(panel, "near", PLACE) == says


def test_lines_are_sorted_when_asked_and_stay_where_they_are_while_used(qtbot, panel) -> None:
    as_they_stand = ["near", "pick", "far", "talk", "room"]
    head = panel.table.horizontalHeader()
    x = head.sectionViewportPosition(ARRIVAL) + 10
    for expected in (
        ["pick", "near", "far", "room", "talk"],
        ["talk", "room", "far", "near", "pick"],
        as_they_stand,
    ):
        qtbot.mouseClick(head.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(x, 8))
        assert order(panel) == expected
    now = session()
    panel.show_session(now)
    panel._sort(PLACE)
    before = order(panel)
    panel.show_session(accepted(now, ["pick"]))
    assert order(panel) == before


def test_lines_are_filtered(panel) -> None:
    for wanted, expected in (
        ("To decide", ["near", "pick", "far"]),
        ("Strong", ["near"]),
        ("None", ["talk"]),
        ("All lanes", ["near", "pick", "far", "talk", "room"]),
    ):
        panel._filter.choose(wanted)
        assert order(panel) == expected


def test_fifteen_lines_in_a_window_of_900_lines(qtbot, panel) -> None:
    now = session()
    lanes = tuple(replace(now.lanes[0], id=f"lane{n}", name=f"Lane {n}") for n in range(15))
    found = tuple(replace(now.alignment.findings[0], lane_id=lane.id) for lane in lanes)
    alignment = replace(now.alignment, anchor_id="lane14", findings=found)
    panel.show_session(replace(now, lanes=lanes, versions=(Version("v1", "Shifted"),), alignment=alignment))
    panel.resize(480, 600)  # 900 less menus, strip, tabs, foot and the least evidence
    qtbot.wait(50)
    seen = panel.table.viewport().rect()
    assert all(
        seen.contains(panel.table.visualRect(panel.model.index(row, LANE)).center()) for row in range(15)
    )
    assert panel.wanted_height() <= 600
    assert not panel.table.verticalScrollBar().isVisible()


@pytest.mark.parametrize("width", (328, 480))
def test_all_columns_are_in_view(qtbot, panel, width: int) -> None:
    panel.resize(width, 600)
    qtbot.wait(30)
    seen: QRect = panel.table.viewport().rect()
    for column in (LANE, ARRIVAL, TRUST, ACTION):
        box = panel.table.visualRect(panel.model.index(0, column))
        assert seen.contains(box.center()) and box.width() > 20, column


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


def test_lanes_that_go_take_their_line_with_them(panel) -> None:
    now = session()
    panel.select_lane("near")
    panel.show_session(replace(now, lanes=now.lanes[1:]))
    assert order(panel) == ["pick", "far", "talk", "room"] and panel.selected_lane is None


def test_arrivals_follow_the_unit(panel) -> None:
    panel.show_unit("in")
    assert cell(panel, "near", ARRIVAL) == "−28.5"  # 72.48 cm / 2.54
    assert panel.model.headerData(ARRIVAL, Qt.Orientation.Horizontal) == "Arrival, in"
    panel.show_unit("ms")
    assert cell(panel, "near", ARRIVAL) == "−2.112"


@pytest.mark.parametrize(
    ("sign", "trust", "says", "words"),
    [
        (-1, 0.9, "⊖", "inverted"),
        (-1, 0.5, "⊖?", "probably inverted"),
        (1, 0.5, "⊕?", "probably as anchor"),
        (1, 0.2, "?", "polarity unclear"),
        (-1, 0.2, "?", "polarity unclear"),
    ],
)
def test_polarity_is_told_as_firmly_as_it_is_known(
    panel, sign: int, trust: float, says: str, words: str
) -> None:
    panel.show_session(with_near(polarity=sign, polarity_trust=trust))
    assert cell(panel, "near", POLARITY) == says
    assert cell(panel, "near", POLARITY, Qt.ItemDataRole.AccessibleTextRole) == words


def test_a_start_seconds_apart_has_no_distance(panel) -> None:
    panel.show_session(with_near(arrival_samples=-114_547.2))
    panel.show_unit("m")
    panel.select_lane("near")
    assert cell(panel, "near", ARRIVAL) == "−2386.400 ms"
    assert "−2386.400 ms earlier" in panel.detail.said and " m " not in panel.detail.said


def test_trust_is_never_rounded_up_into_the_next_word(panel) -> None:
    panel.show_session(with_near(trust=0.8996, trust_word="usable"))
    assert cell(panel, "near", TRUST) == "0.89 usable"
