"""Original and shifted have one colour each: in the switch, the sum, tone, the close-up and the report."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot
from tests.desk.panels.test_closeup import take as struck_take
from tests.desk.panels.test_tone_panel import clips, whole_sample_session

from lagline.deliver.evidence_plots import tone_plots
from lagline.desk.panels.closeup import CloseUpPanel
from lagline.desk.panels.closeup_data import close_up
from lagline.desk.panels.spectrum_plot import SpectrumPlot, SummingPlot
from lagline.desk.panels.tone_job import tone_of
from lagline.desk.style import dress
from lagline.desk.theme import LIGHT, Theme, ThemeChoice, theme_of
from lagline.desk.window import DeskWindow
from lagline.session.values import ORIGINAL_ID


def theme(application: QApplication, choice: ThemeChoice) -> Theme:
    dress(application, choice)
    application.processEvents()
    return theme_of(application.palette())


def same(colour: QColor | str, wanted: str) -> bool:
    return QColor(colour).name() == QColor(wanted).name()


@pytest.mark.parametrize("choice", ("light", "dark"))
def test_switch_and_sum(desk: DeskWindow, qapp: QApplication, choice: ThemeChoice, qtbot: QtBot) -> None:
    dressed = theme(qapp, choice)
    for heard, other in ((ORIGINAL_ID, "v1"), ("v1", ORIGINAL_ID)):
        desk.commands.listen.hear(heard)
        qtbot.wait(50)
        for button in desk.parts.strip.switch.buttons:
            picture = button.grab().toImage()
            low = picture.pixelColor(QPoint(picture.width() // 2, picture.height() - 2))
            assert same(low, dressed.version(button.version_id))
            inside = picture.pixelColor(QPoint(8, picture.height() // 2))
            assert same(inside, dressed.version(heard)) == (button.version_id == heard)
        look = desk.parts.lanes.sum.wave.look
        assert look is not None
        assert same(look.colour, dressed.version(heard)) and same(look.ghost_colour, dressed.version(other))


@pytest.mark.parametrize("choice", ("light", "dark"))
def test_tone_and_close_up(qapp: QApplication, qtbot: QtBot, choice: ThemeChoice) -> None:
    dressed = theme(qapp, choice)
    report = tone_of(whole_sample_session(), (ORIGINAL_ID, "v1"), clips(), 1000, 119_000)
    for plot in (SpectrumPlot(), SummingPlot()):
        qtbot.addWidget(plot)
        plot.show_report(report, ORIGINAL_ID, "v1", ("Original", "Shifted"))
        pens = [curve.opts["pen"].color() for curve in plot._curves]
        assert same(pens[0], dressed.version(ORIGINAL_ID)) and same(pens[1], dressed.version("v1"))
    session, recordings = struck_take()
    panel = CloseUpPanel()
    qtbot.addWidget(panel)
    panel.show_session(session)
    panel.show_close_up(close_up(session, session.current_version, recordings, 20_000, 20.0))
    axes = [owner.getAxis("left") for owner in panel.plot._owners()]
    assert [axis.labelText for axis in axes] == ["Original", "Shifted"]
    assert same(axes[0].labelStyle["color"], dressed.version(ORIGINAL_ID))
    assert same(axes[1].labelStyle["color"], dressed.version("v1"))


def test_report() -> None:
    report = tone_of(whole_sample_session(), (ORIGINAL_ID, "v1"), clips(), 1000, 119_000)
    spectra = tone_plots(report, "v1", "Shifted")[0]
    dashed, whole = (line for line in spectra.split("<") if line.startswith("polyline"))
    assert LIGHT.version(ORIGINAL_ID) in dashed and "dasharray" in dashed
    assert LIGHT.version("v1") in whole and "dasharray" not in whole
