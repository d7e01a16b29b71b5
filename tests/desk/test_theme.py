"""Contrast of every colour pair the desk uses. Ratios: WCAG 2.2, 1.4.3 (text) and 1.4.11 (parts)."""

import colorsys
from itertools import combinations, product

import pytest
import wcag_contrast_ratio as wcag
from PySide6.QtWidgets import QApplication, QDialogButtonBox, QProxyStyle, QStyle
from pytestqt.qtbot import QtBot

from lagline.desk.style import dress
from lagline.desk.theme import DARK, LIGHT, Theme, ThemeChoice, chosen_theme, palette_of, theme_of
from lagline.session.values import ORIGINAL_ID

# Okabe and Ito 2002, as given by Wong, Nature Methods 8 (2011) 441 (values from memory).
# and the indigo of Tol's muted scheme, Colour schemes, SRON/EPS/TN/09-002, 2021 (from memory).
PUBLISHED = ("#332288", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#CC79A7", "#D55E00", "#E69F00")


def rgb(colour: str) -> tuple[float, float, float]:
    red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return red, green, blue


def contrast(a: str, b: str) -> float:
    return float(wcag.rgb(rgb(a), rgb(b)))


def test_the_checker_agrees_with_known_ratios() -> None:
    # #767676 on white is the well-known lightest grey that passes 4.5:1.
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.542, abs=0.001)
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)


class WithSigns(QProxyStyle):
    """As on a desktop that wants signs on buttons; the platform of the tests wants none."""

    def __init__(self) -> None:
        super().__init__("Fusion")

    def styleHint(self, hint, option=None, widget=None, data=None) -> int:
        if hint == QStyle.StyleHint.SH_DialogButtonBox_ButtonsHaveIcons:
            return 1
        return super().styleHint(hint, option, widget, data)


@pytest.mark.parametrize("choice", ("light", "dark"))
def test_no_button_of_a_dialog_has_a_sign_that_ignores_the_theme(
    qapp: QApplication, qtbot: QtBot, choice: ThemeChoice
) -> None:
    dress(qapp, choice)
    kinds = QDialogButtonBox.StandardButton
    box = QDialogButtonBox()
    qtbot.addWidget(box)
    style = WithSigns()
    box.setStyle(style)
    box.setStandardButtons(kinds.Close | kinds.Ok | kinds.Cancel | kinds.Save | kinds.Discard)
    box.show()
    assert all(button.icon().isNull() for button in box.buttons())


@pytest.mark.parametrize("theme", (LIGHT, DARK), ids=lambda theme: theme.name)
class TestContrast:
    def grounds(self, theme: Theme) -> tuple[str, str, str]:
        return theme.window, theme.surface, theme.raised

    def test_text(self, theme: Theme) -> None:
        for colour in (theme.text, theme.text_muted, theme.warning, theme.danger, theme.ok):
            for ground in self.grounds(theme):
                assert contrast(colour, ground) >= 4.5, (colour, ground)
        assert contrast(theme.on_accent, theme.accent) >= 4.5
        assert contrast(theme.text, theme.accent_soft) >= 4.5

    def test_parts(self, theme: Theme) -> None:
        for colour in (theme.edge, theme.accent, *theme.lanes):
            for ground in self.grounds(theme):
                assert contrast(colour, ground) >= 3.0, (colour, ground)

    def test_versions_are_legible_and_apart(self, theme: Theme) -> None:
        for colour in theme.versions:
            assert contrast(theme.on_accent, colour) >= 4.5, colour
            for ground in self.grounds(theme):
                assert contrast(colour, ground) >= 4.5, (colour, ground)
        for a, b in (*combinations(theme.versions, 2), *product(theme.versions, theme.lanes)):
            assert sum(abs(x - y) for x, y in zip(rgb(a), rgb(b), strict=True)) > 0.2, (a, b)

    def test_lane_colours_keep_a_hue_of_the_published_palette(self, theme: Theme) -> None:
        hues = [colorsys.rgb_to_hls(*rgb(colour))[0] for colour in PUBLISHED]
        for colour in theme.lanes[:-1]:  # the last is a grey
            hue = colorsys.rgb_to_hls(*rgb(colour))[0]
            assert min(abs(hue - other) for other in hues) < 0.03, colour

    def test_lane_colours_differ_in_hue_or_lightness(self, theme: Theme) -> None:
        for a, b in combinations(theme.lanes[:-1], 2):
            one, other = (colorsys.rgb_to_hls(*rgb(colour)) for colour in (a, b))
            apart = abs(one[0] - other[0])
            assert min(apart, 1 - apart) > 0.08 or abs(one[1] - other[1]) > 0.2, (a, b)

    def test_lane_colours_differ_from_each_other_and_from_what_is_heard(self, theme: Theme) -> None:
        for a, b in combinations((*theme.lanes, theme.accent), 2):
            assert sum(abs(x - y) for x, y in zip(rgb(a), rgb(b), strict=True)) > 0.2, (a, b)


def test_lane_colours_come_round_with_another_mark() -> None:
    assert LIGHT.lane(0) == LIGHT.lane(len(LIGHT.lanes))
    looks = {(LIGHT.lane(index), LIGHT.lane_mark(index)) for index in range(18)}
    assert len(looks) == 18


def test_a_version_keeps_its_colour_whichever_others_there_are() -> None:
    for theme in (LIGHT, DARK):
        assert theme.version(ORIGINAL_ID) == theme.versions[0] != theme.version("v1") == theme.versions[1]
        further = [theme.version(f"v{number}") for number in range(2, 6)]
        assert len({*further, *theme.versions[:2]}) == 6 and theme.version("v6") == further[0]
        assert theme.version("a name of somebody else's") in theme.versions[2:]


def test_palette_tells_its_theme(qapp: QApplication) -> None:
    assert theme_of(palette_of(LIGHT)) is LIGHT
    assert theme_of(palette_of(DARK)) is DARK
    assert chosen_theme("dark") is DARK
    assert chosen_theme("light") is LIGHT


def test_dress_follows_the_choice(qapp: QApplication) -> None:
    assert dress(qapp, "dark") is DARK
    assert theme_of(qapp.palette()) is DARK
    assert dress(qapp, "light") is LIGHT
    assert theme_of(qapp.palette()) is LIGHT
