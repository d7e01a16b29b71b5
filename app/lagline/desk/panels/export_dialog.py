"""Export: aligned files, blends, delay sheet and report into a folder."""

from __future__ import annotations

from pathlib import Path

from msgspec.structs import replace
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QApplication,
    QCheckBox,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QProgressBar,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from lagline.deliver.names import FIELDS
from lagline.deliver.options import DEFAULTS, HIGHEST_PEAK_DBTP, RATES_HZ, DeliveryOptions
from lagline.desk.amounts import number_text, time_text
from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.export_plan import ExportPlan, ExportWish, export_plan, size_text
from lagline.desk.panels.themed import ScrollBody, plain_label
from lagline.desk.stoppable import StoppableDialog
from lagline.desk.theme import GAP, MARGIN, PAD, theme_of
from lagline.log import details
from lagline.session.values import ORIGINAL_ID, Session

PEAK_TEXT = "at most {} dBTP, turned down alike"
AS_MIXED = "as mixed, even where they clip"
MOST_NAMES = 6  # listed in the preview


class ExportDialog(StoppableDialog):
    """Choose what to write and how; see what that would be; then ask for it.

    Receives: `show_folder(path)` (the answer to `folder_requested`), `show_progress(fraction)`,
    `show_finished(text)`, `show_failed(text)`.

    Signals
    -------
    folder_requested(object Path or None) : ask the person for a folder, starting there.
    export_requested(ExportWish) : write it.
    cancel_requested() : stop the export that is running.
    look_requested(Path) : show the folder that was written.
    """

    folder_requested = Signal(object)
    export_requested = Signal(object)
    look_requested = Signal(object)

    def __init__(self, session: Session, folder: Path | None = None, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Deliver")
        self._session = session
        self._make_controls(session)
        self._build()
        self.show_folder(folder)
        self.resize(560, 640)
        self.show_idle()
        self._refresh()

    def _make_controls(self, session: Session) -> None:
        self._folder = QLineEdit()
        self._folder.setAccessibleName("Folder to write into")
        self._folder.setToolTip("Where the files go. It is made if it is not there.")
        self._folder.textChanged.connect(self._refresh)
        self._choose = _button("Choose …", "Choose a folder (Alt+C)")
        self._choose.clicked.connect(self._ask_folder)
        self._version = Chooser("Version", "The version that is written")
        versions = [(version.name, version.id) for version in session.versions]
        self._version.offer([*versions, ("Original", ORIGINAL_ID)], session.current_version_id)
        self._stems = _tick("Aligned files", "Shifted and flipped; gain and pan stay out", True)
        self._blend = _tick("Blend of this version", "The sum as it is heard, with gain and pan", True)
        self._original = _tick("Blend of the original", "The sum as recorded, to compare with", True)
        self._match = _tick(
            "Blends at equal loudness",
            "Turned down as heard, to the quietest of all versions; never up",
            True,
        )
        self._sheet = _tick("Delay sheet", "The table to type into a delay unit", True)
        self._report = _tick(
            "Report", "Findings, decisions, notes and trials: a page, and a PDF to print", True
        )
        self._make_choices(session)
        self._dither = _tick("Dither", "Noise of one step, so that quiet ends fade rather than crumble", True)
        self._mono = _tick("Mono blends", "Left and right together", False)
        self._names = QLineEdit(DEFAULTS.names)
        self._names.setAccessibleName("File names")
        self._names.setToolTip("Fields: " + ", ".join(f"{{{field}}}" for field in FIELDS))
        self._names.textChanged.connect(self._refresh)
        self._replace = _tick("Replace files that are there", "Never the recordings themselves", False)
        for chooser in (
            self._version,
            self._layout,
            self._edit,
            self._depth,
            self._format,
            self._rate,
            self._shifts,
            self._peak,
        ):
            chooser.currentIndexChanged.connect(self._refresh)
        for tick in (
            self._stems, self._blend, self._original, self._match, self._sheet, self._report, self._dither,
            self._mono, self._replace,
        ):  # fmt: skip
            tick.toggled.connect(self._refresh)

    def _make_choices(self, session: Session) -> None:
        self._layout = Chooser("Aligned files", "Which lanes share a file, each in a channel of its own")
        self._layout.offer(
            [
                ("one a lane", "lanes"),
                ("as recorded: channels of one file together again", "recorded"),
                ("one for the whole take", "take"),
            ],
            DEFAULTS.layout,
        )
        self._edit = Chooser(
            "Edit", "The recordings untouched, and an edit over them that an editor opens and can change"
        )
        self._edit.offer(
            [
                ("none", "none"),
                ("of the recordings where they are", "linked"),
                ("with the recordings in it", "bundle"),
            ],
            "none",
        )
        self._depth = Chooser("Depth", "Bits a sample")
        self._depth.offer(
            [("as recorded", "source"), ("16 bit", "16"), ("24 bit", "24"), ("32-bit float", "float")],
            DEFAULTS.depth,
        )
        self._format = Chooser("File format", "Few editors read a time stamp from FLAC")
        self._format.offer([("WAV", "WAV"), ("FLAC", "FLAC")], DEFAULTS.file_format)
        self._rate = Chooser("Sample rate", "Another rate is converted")
        own = f"the session’s, {session.rate_hz / 1000:g} kHz"
        self._rate.offer([(own, None), *((f"{rate / 1000:g} kHz", rate) for rate in RATES_HZ)], None)
        self._shifts = Chooser(
            "Shifts", "Whole samples copy every sample unchanged; exact shifts interpolate between them"
        )
        self._shifts.offer([("exact, to the fraction", False), ("whole samples", True)], False)
        self._peak = Chooser(
            "Blends",
            "What blends may peak at, between samples too: all of a delivery are turned down alike, never "
            "up. As mixed, what lies above full scale is lost, but for float",
        )
        highest = HIGHEST_PEAK_DBTP
        self._peak.offer([(PEAK_TEXT.format(number_text(highest, 0)), highest), (AS_MIXED, None)], highest)

    def _build(self) -> None:
        form = self._built_form()
        buttons = self._built_foot()
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, MARGIN, MARGIN, MARGIN)
        column.setSpacing(PAD)
        column.addWidget(form, 1)
        column.addWidget(self._preview)
        column.addWidget(self._objection)
        column.addWidget(self._progress)
        column.addLayout(buttons)

    def _built_form(self) -> QScrollArea:
        """What is written, where, and how."""
        place = QHBoxLayout()
        place.addWidget(self._folder, 1)
        place.addWidget(self._choose)
        body = ScrollBody()
        self._body = body
        form = QFormLayout(body)
        form.setContentsMargins(0, 0, PAD, 0)
        form.setVerticalSpacing(GAP)
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        form.addRow(_label("&Folder", self._folder), place)
        form.addRow(_label("&Version", self._version), self._version)
        what = QVBoxLayout()
        what.setSpacing(GAP)
        for tick in (self._stems, self._blend, self._original, self._match, self._sheet, self._report):
            what.addWidget(tick)
        form.addRow(plain_label("What", wrap=False), what)
        form.addRow(_label("Ali&gned files", self._layout), self._layout)
        form.addRow(_label("&Edit", self._edit), self._edit)
        form.addRow(_label("&Shifts", self._shifts), self._shifts)
        form.addRow(_label("&Depth", self._depth), self._depth)
        form.addRow(_label("Fo&rmat", self._format), self._format)
        form.addRow(_label("Sample ra&te", self._rate), self._rate)
        form.addRow(_label("&Blends", self._peak), self._peak)
        how = QVBoxLayout()
        how.setSpacing(GAP)
        how.addWidget(self._dither)
        how.addWidget(self._mono)
        form.addRow("", how)
        form.addRow(_label("File &names", self._names), self._names)
        return _scrolled(body)

    def _built_foot(self) -> QHBoxLayout:
        """What would be written, what stands in the way, and the buttons; returns the row of buttons."""
        self._preview = plain_label(selectable=True)
        self._preview.setProperty("muted", True)
        self._preview.setAccessibleName("What would be written")
        self._objection = plain_label(selectable=True)
        self._objection.setAccessibleName("What stands in the way")
        self._progress = QProgressBar()
        self._progress.setRange(0, 1000)
        self._progress.setAccessibleName("Writing")
        self._export = _button("Deliver", "Write the files (Enter)")
        self._export.setDefault(True)
        self._export.clicked.connect(self._ask_export)
        self._cancel = _button("Cancel", "Close without writing; stops a running delivery (Esc)")
        self._cancel.clicked.connect(self.reject)
        self._copy = _button("Copy details", "Copy what failed, with versions and the end of the log")
        self._copy.clicked.connect(self._copy_details)
        self._copy.hide()
        self._look = _button("Open the folder", "Show what was written")
        self._look.clicked.connect(self._ask_look)
        self._look.hide()
        buttons = QHBoxLayout()
        buttons.addWidget(self._replace)
        buttons.addWidget(self._look)
        buttons.addWidget(self._copy)
        buttons.addStretch(1)
        buttons.addWidget(self._cancel)
        buttons.addWidget(self._export)
        return buttons

    # ---- what is shown

    def show_folder(self, folder: Path | None) -> None:
        if folder is not None:
            self._folder.setText(str(folder))
            self._folder.selectAll()  # whoever types means another folder

    def show_progress(self, fraction: float) -> None:
        """The export is running: 0..1 done."""
        self._is_busy = True
        self._progress.setVisible(True)
        self._progress.setValue(round(1000 * min(max(fraction, 0.0), 1.0)))
        self._body.setEnabled(False)
        self._export.setEnabled(False)
        self._cancel.setText("Stop")
        self._say("", is_bad=False)

    def show_idle(self) -> None:
        self._is_busy = False
        self._look.hide()
        self._progress.setVisible(False)
        self._body.setEnabled(True)
        self._cancel.setText("Cancel")

    def show_finished(self, text: str) -> None:
        """It is written: say what, and offer to close."""
        self.show_idle()
        self._refresh()
        self._cancel.setText("Close")
        self._say(text, is_bad=False)
        self._look.show()

    def show_failed(self, text: str) -> None:
        """It was not written: say why. Nothing half-written is left."""
        self.show_idle()
        self._refresh()
        self._say(text, is_bad=True)
        self._copy.show()

    def _copy_details(self) -> None:
        QApplication.clipboard().setText(details(self._objection.text(), "desk"))

    def wish(self) -> ExportWish:
        """What is chosen now."""
        written = self._folder.text().strip()
        version_id = self._version.currentData()
        blends = []
        if self._blend.isChecked():
            blends.append(version_id)
        if self._original.isChecked() and ORIGINAL_ID not in blends:
            blends.append(ORIGINAL_ID)
        options = replace(
            DEFAULTS,
            depth=self._depth.currentData(),
            rate_hz=self._rate.currentData(),
            file_format=self._format.currentData(),
            layout=self._layout.currentData(),
            whole_samples=self._shifts.currentData(),
            dither=self._dither.isChecked(),
            names=self._names.text(),
            peak_dbtp=self._peak.currentData(),
            mono_blend=self._mono.isChecked(),
            overwrite=self._replace.isChecked(),
        )
        return ExportWish(
            Path(written).expanduser() if written else None,
            version_id,
            options,
            self._stems.isChecked(),
            tuple(blends),
            self._match.isChecked(),
            self._sheet.isChecked(),
            self._report.isChecked(),
            self._edit.currentData(),
        )

    def _refresh(self) -> None:
        if self._is_busy:
            return
        wish = self.wish()
        plan = export_plan(self._session, wish)
        self._preview.setText(preview_text(plan, wish.options) + self._loop_text(wish))
        self._layout.setEnabled(wish.stems)
        self._match.setEnabled(len(wish.blends) > 1)
        self._mono.setEnabled(bool(wish.blends))
        self._peak.setEnabled(bool(wish.blends))
        self._replace.setVisible(bool(plan.existing))
        self._export.setEnabled(not plan.objection)
        self._say(plan.objection, is_bad=True)

    def _loop_text(self, wish: ExportWish) -> str:
        """That a loop decides how loud the blends become, before they are written."""
        loop = self._session.loop
        if loop is None or not wish.match_blends or len(wish.blends) < 2:
            return ""
        start, stop = (time_text(end, self._session.rate_hz, 2) for end in loop)
        return f"\nBlends are matched over the loop only, {start} to {stop}."

    def _say(self, text: str, *, is_bad: bool) -> None:
        theme = theme_of(self.palette())
        self._objection.setStyleSheet(f"color: {theme.danger if is_bad else theme.text};")
        self._objection.setText(text)
        self._objection.setVisible(bool(text))
        self._copy.hide()

    # ---- what is asked

    def _ask_look(self) -> None:
        self.look_requested.emit(self.wish().folder)

    def _ask_folder(self) -> None:
        self.folder_requested.emit(self.wish().folder)

    def _ask_export(self) -> None:
        if self._export.isEnabled():
            self.export_requested.emit(self.wish())


def preview_text(plan: ExportPlan, options: DeliveryOptions) -> str:
    """Names of what would be written, how much that is, and what is free."""
    names = [*plan.files[:MOST_NAMES]]
    if len(plan.files) > MOST_NAMES:
        names.append(f"… and {len(plan.files) - MOST_NAMES} more files")
    names += plan.others
    free = "" if plan.free_bytes is None else f", {size_text(plan.free_bytes)} free"
    about = f"About {size_text(plan.size_bytes)}{free}." if plan.size_bytes else ""
    note = " Few editors read a time stamp from FLAC." if options.file_format == "FLAC" else ""
    return "\n".join([*names, (about + note).strip()]).strip()


def _scrolled(body: QWidget) -> QScrollArea:
    scroll = QScrollArea()
    scroll.setWidgetResizable(True)
    scroll.setFrameShape(QScrollArea.Shape.NoFrame)
    scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    scroll.setWidget(body)
    return scroll


def _label(text: str, buddy: QWidget) -> QWidget:
    label = plain_label(text, wrap=False)
    label.setBuddy(buddy)
    return label


def _button(text: str, tip: str) -> QPushButton:
    button = QPushButton(text)
    button.setToolTip(tip)
    button.setAutoDefault(False)
    return button


def _tick(text: str, tip: str, checked: bool) -> QCheckBox:
    box = QCheckBox(text)
    box.setToolTip(tip)
    box.setChecked(checked)
    return box
