"""The desk's colours, spacing and fonts: the only place that knows a colour.

Two frozen themes. Widgets that paint themselves ask `theme_of(self.palette())` while painting, so that
nobody has to hand a theme around; everything else is dressed by the palette and style sheet that
`dress` gives the application.

Lane colours start from the palette of Okabe and Ito (2002; shown again by Wong, Nature Methods 8, 2011,
441), which stays apart under the common colour vision deficiencies. Each is darkened or lightened, hue
kept, until it stands off its ground by 3:1 or more (WCAG 2.2, 1.4.11); text pairs keep 4.5:1 (1.4.3).
The two warm colours of that palette are left to what is being heard; its two blues are too alike for lanes
side by side, so an indigo after Tol (Colour schemes, SRON/EPS/TN/09-002, 2021) stands for the second. When
the colours come round again the mark of a lane is broken: `LANE_MARKS`.
"""

from __future__ import annotations

from typing import Literal

from msgspec import Struct
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QFont, QFontDatabase, QGuiApplication, QPalette

from lagline.session.version_colours import ON_DARK, ON_LIGHT, colour_place

ThemeChoice = Literal["system", "light", "dark"]
LaneMark = Literal["whole", "dashed", "dotted"]
LANE_MARKS: tuple[LaneMark, ...] = ("whole", "dashed", "dotted")

# Device-independent pixels.
GAP, PAD, MARGIN = 4, 8, 12
RADIUS = 5
TARGET = 24  # least size of anything to click (WCAG 2.2, 2.5.8)


class Theme(Struct, frozen=True):
    """Colours as #RRGGBB. Grounds: window (behind all), surface (lanes, panels), raised (controls)."""

    name: str
    is_dark: bool
    window: str
    surface: str
    raised: str
    text: str
    text_muted: str
    line: str  # a hairline between things; decoration
    edge: str  # the border of a control: 3:1 on every ground
    accent: str  # here and now: playhead, loop, focus, the next step. No hue: those are lanes and versions
    on_accent: str
    accent_soft: str  # ground of what is chosen; text on it keeps 4.5:1
    warning: str
    danger: str
    ok: str
    lanes: tuple[str, ...]
    versions: tuple[str, ...]  # the original, then the others; `on_accent` is legible on each

    def version(self, version_id: str) -> str:
        """The colour that stands for a version, wherever it is shown."""
        return self.versions[colour_place(version_id)]

    def lane(self, index: int) -> str:
        """Colour of the lane at `index` (0-based); they come round again."""
        return self.lanes[index % len(self.lanes)]

    def lane_mark(self, index: int) -> LaneMark:
        """How the lane's mark is broken, so that lanes of one colour can be told apart."""
        return LANE_MARKS[index // len(self.lanes) % len(LANE_MARKS)]


LIGHT = Theme(
    name="Light",
    is_dark=False,
    window="#F2F1ED",
    surface="#FAF9F6",
    raised="#FFFFFF",
    text="#1C2025",
    text_muted="#565E68",
    line="#DAD7CF",
    edge="#7C8187",
    accent="#1C2025",
    on_accent="#FFFFFF",
    accent_soft="#D6DADF",
    warning="#7D5700",
    danger="#B3261E",
    ok="#00694D",
    lanes=("#0072B2", "#B44582", "#007D5B", "#766F09", "#5543B1", "#5E6772"),
    versions=ON_LIGHT,
)

DARK = Theme(
    name="Dark",
    is_dark=True,
    window="#14171B",
    surface="#1B1F24",
    raised="#262B32",
    text="#E9EBEE",
    text_muted="#A5ADB7",
    line="#343B44",
    edge="#767F8A",
    accent="#E9EBEE",
    on_accent="#1B1206",
    accent_soft="#3D4651",
    warning="#EFC94C",
    danger="#FF8A7A",
    ok="#4FC79E",
    lanes=("#56B4E9", "#DB93BB", "#23B788", "#DDD24A", "#A191F3", "#B4BCC6"),
    versions=ON_DARK,
)


_themes: dict[int, Theme] = {}  # by palette: a frame asks some twenty times


def theme_of(palette: QPalette) -> Theme:
    """The theme a widget with this palette is dressed in."""
    key = palette.cacheKey()
    if key not in _themes:
        if len(_themes) > 99:
            _themes.clear()
        window = palette.color(QPalette.ColorRole.Window)
        text = palette.color(QPalette.ColorRole.WindowText)
        _themes[key] = DARK if window.lightness() < text.lightness() else LIGHT
    return _themes[key]


def chosen_theme(choice: ThemeChoice) -> Theme:
    """The theme of a choice; "system" follows the desktop's own colour scheme, light where it has none."""
    if choice == "light":
        return LIGHT
    if choice == "dark":
        return DARK
    dark = QGuiApplication.styleHints().colorScheme() == Qt.ColorScheme.Dark
    return DARK if dark else LIGHT


def palette_of(theme: Theme) -> QPalette:
    """The theme as Qt's palette."""
    palette = QPalette()
    role = QPalette.ColorRole
    for wanted, colour in (
        (role.Window, theme.window),
        (role.WindowText, theme.text),
        (role.Base, theme.surface),
        (role.AlternateBase, theme.window),
        (role.Text, theme.text),
        (role.PlaceholderText, theme.text_muted),
        (role.Button, theme.raised),
        (role.ButtonText, theme.text),
        (role.BrightText, theme.danger),
        (role.ToolTipBase, theme.raised),
        (role.ToolTipText, theme.text),
        (role.Highlight, theme.accent),
        (role.HighlightedText, theme.on_accent),
        (role.Accent, theme.accent),
        (role.Link, theme.accent),
        (role.LinkVisited, theme.accent),
        (role.Light, theme.raised),
        (role.Midlight, theme.line),
        (role.Mid, theme.line),
        (role.Dark, theme.edge),
        (role.Shadow, theme.window),
    ):
        palette.setColor(wanted, QColor(colour))
    for wanted in (role.WindowText, role.Text, role.ButtonText):
        palette.setColor(QPalette.ColorGroup.Disabled, wanted, QColor(theme.edge))
    return palette


def number_font(base: QFont) -> QFont:
    """The base font with digits of one width, so that read-outs do not jitter."""
    font = QFont(base)
    font.setFeature(QFont.Tag("tnum"), 1)
    if "DejaVu" in base.family() or QFontDatabase.isFixedPitch(base.family()):
        return font  # its digits are of one width anyway
    font.setStyleHint(QFont.StyleHint.SansSerif)
    return font


def _special_rules(t: Theme) -> str:
    """The switch's buttons: a bar of their version's colour, and the one that is heard filled with it. Menu
    buttons that bring their own sign; text that lies on the panel's ground."""
    signed = 'QToolButton[signed="true"]::menu-indicator { image: none; }\n'
    plain = 'QPlainTextEdit[plain="true"] { background: transparent; border: none; padding: 0; }\n'
    return (
        "\n".join(
            f'QPushButton[version="{place}"] {{ border-bottom: 4px solid {colour}; }}\n'
            f'QPushButton[version="{place}"][heard="true"] {{ background: {colour}; border-color: {colour}; '
            f"color: {t.on_accent}; font-weight: bold; }}"
            for place, colour in enumerate(t.versions)
        )
        + f"\n{signed}{plain}"
    )


def style_sheet(theme: Theme) -> str:
    """Qt style sheet over the Fusion style: flat controls, visible focus, nothing else.

    Spin boxes and drop-down lists keep Fusion's own frame: with a border of a style sheet Qt 6.11 draws no
    arrows and gives the field of a box without buttons a width of 1 px, so that its figure is not seen.
    """
    t = theme
    return f"""
QToolTip {{ background: {t.raised}; color: {t.text}; border: 1px solid {t.edge}; padding: 4px 6px; }}
QMainWindow::separator {{ background: {t.line}; width: 1px; height: 1px; }}
QPushButton, QToolButton {{
  background: {t.raised}; color: {t.text}; border: 1px solid {t.edge}; border-radius: {RADIUS}px;
  padding: 3px 9px; min-height: 18px; }}
QToolButton {{ padding: 3px 5px; }}
QPushButton:hover, QToolButton:hover {{ border-color: {t.text}; }}
QPushButton:pressed, QToolButton:pressed {{ background: {t.line}; }}
QPushButton:checked, QToolButton:checked {{
  background: {t.accent_soft}; border-color: {t.accent}; color: {t.text}; font-weight: bold; }}
QDialogButtonBox {{ dialogbuttonbox-buttons-have-icons: 0; }}
QPushButton:default {{
  background: {t.accent}; color: {t.on_accent}; border: 1px solid {t.accent}; }}
QPushButton:disabled, QToolButton:disabled {{
  color: {t.edge}; border-color: {t.line}; background: {t.window}; }}
QPushButton:focus, QToolButton:focus {{ border: 2px solid {t.accent}; padding: 2px 8px; }}
QToolButton:focus {{ padding: 2px 4px; }}
QPushButton[tight="true"] {{ padding: 3px; }}
QPushButton[tight="true"]:focus {{ padding: 2px; }}
{_special_rules(t)}
QPushButton[heard="true"]:focus {{ border: 2px solid {t.text}; }}
QLineEdit, QPlainTextEdit, QTextEdit {{
  background: {t.raised}; color: {t.text}; border: 1px solid {t.edge}; border-radius: {RADIUS}px;
  padding: 2px 5px; min-height: 18px; selection-background-color: {t.accent};
  selection-color: {t.on_accent}; }}
QLineEdit:focus, QPlainTextEdit:focus, QTextEdit:focus {{ border: 2px solid {t.accent}; padding: 1px 4px; }}
QLineEdit:disabled {{
  color: {t.edge}; border-color: {t.line}; background: {t.window}; }}
QSpinBox, QDoubleSpinBox, QComboBox {{ min-height: {TARGET - 4}px; }}
QComboBox QAbstractItemView {{ background: {t.raised}; color: {t.text}; border: 1px solid {t.edge}; }}
{_rules_of_views(t)}"""


def _rules_of_views(t: Theme) -> str:
    """Menus, tabs, tables, bars and small marks."""
    return f"""
QMenuBar {{ background: {t.window}; color: {t.text}; }}
QMenuBar::item {{ padding: 3px 8px; background: transparent; }}
QMenuBar::item:selected, QMenu::item:selected {{ background: {t.accent_soft}; color: {t.text}; }}
QMenu {{ background: {t.raised}; color: {t.text}; border: 1px solid {t.edge}; padding: 4px; }}
QMenu::item {{ padding: 4px 22px 4px 22px; }}
QMenu::item:disabled {{ color: {t.edge}; }}
QMenu::separator {{ background: {t.line}; height: 1px; margin: 4px 8px; }}
QTabWidget::pane {{ border: none; border-top: 1px solid {t.line}; }}
QTabBar::tab {{
  background: transparent; color: {t.text_muted}; padding: 5px 12px; border: none;
  border-bottom: 2px solid transparent; }}
QTabBar::tab:selected {{ color: {t.text}; border-bottom-color: {t.text}; font-weight: bold; }}
QTabBar::tab:hover {{ color: {t.text}; }}
QTabBar:focus {{ outline: none; }}
QTabBar::tab:focus {{ border-bottom-color: {t.accent}; }}
QHeaderView::section {{
  background: {t.window}; color: {t.text_muted}; border: none; border-bottom: 1px solid {t.line};
  padding: 4px 6px; }}
QTableView, QTreeView, QListView {{
  background: {t.surface}; color: {t.text}; border: 1px solid {t.line}; gridline-color: {t.line};
  selection-background-color: {t.accent_soft}; selection-color: {t.text}; }}
QTableView:focus, QTreeView:focus, QListView:focus {{ border: 1px solid {t.accent}; }}
QScrollBar:vertical {{ background: transparent; width: 12px; margin: 0; }}
QScrollBar:horizontal {{ background: transparent; height: 12px; margin: 0; }}
QScrollBar::handle {{
  background: {t.edge}; border-radius: 4px; margin: 2px; min-width: 24px; min-height: 24px; }}
QScrollBar::handle:hover {{ background: {t.text_muted}; }}
QScrollBar::add-line, QScrollBar::sub-line {{ width: 0; height: 0; }}
QScrollBar::add-page, QScrollBar::sub-page {{ background: transparent; }}
QSplitter::handle {{ background: {t.line}; }}
QSplitter::handle:hover {{ background: {t.edge}; }}
QProgressBar {{
  background: {t.raised}; border: 1px solid {t.edge}; border-radius: {RADIUS}px; text-align: center;
  color: {t.text}; min-height: 16px; }}
QProgressBar::chunk {{ background: {t.accent_soft}; border-radius: 4px; }}
QCheckBox:focus, QRadioButton:focus, QSlider:focus {{
  outline: 2px solid {t.accent}; border: 1px solid {t.accent}; border-radius: 3px; }}
QLabel[muted="true"] {{ color: {t.text_muted}; }}
QLabel[heading="true"] {{ font-weight: bold; }}
"""
