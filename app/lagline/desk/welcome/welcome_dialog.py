"""What a newcomer sees first: what this is, units and output, the headphone caution, and the demo take."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QFrame,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.amounts import UNITS, Unit
from lagline.desk.dialogs.settings_dialog import UNIT_NAMES
from lagline.desk.icons import icon
from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.themed import plain_label
from lagline.desk.theme import MARGIN, PAD, theme_of
from lagline.playback.exposure import CAUTION
from lagline.playback.protocol import SILENT_CLOCK, OutputDevice

DEFAULT_OUTPUT = ""  # the machine's; what a device is called is never empty
WHAT_IT_IS = (
    "Several microphones heard one performance, each a little later than the last. Lagline measures how much "
    "later, shows why it thinks so, and lets you shift, listen and decide. Aligned is not always better: "
    "distance is part of the sound."
)


class WelcomeDialog(QDialog):
    """Every choice takes effect at once. Accepting it asks for the demo, closing it leaves an empty desk.

    Receives: `show_devices(devices)`.

    Signals
    -------
    unit_requested(Unit), device_requested(str | None) : a choice; None is the machine's default output.
    caution_requested() : show the whole caution with its times and levels.
    demo_requested() : told once the dialog has been closed.
    """

    unit_requested = Signal(str)
    device_requested = Signal(object)
    caution_requested = Signal()
    demo_requested = Signal()

    def __init__(self, unit: Unit, device: str | None, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Welcome to Lagline")
        self.unit = Chooser("Unit of shifts", "Of every shift shown or typed; U with Ctrl changes it later")
        self.unit.offer([(UNIT_NAMES[each], each) for each in UNITS], unit)
        self.device = Chooser("Sound output", "Where you listen; the strip at the top changes it later")
        self._device = device
        self.show_devices(())
        self.demo = QPushButton("&Open the demo take")
        self.demo.setToolTip("A synthesised take whose arrivals are known exactly (Return)")
        self.own = QPushButton("&Begin with my own recordings")
        self.own.setToolTip("Close this; then drop recordings onto the desk (Esc)")
        self.more = QPushButton("&Times and levels…")
        self.more.setToolTip("How long which level is commonly thought safe")
        self.more.setAutoDefault(False)
        self._lay_out()
        self.unit.currentIndexChanged.connect(self._ask_unit)
        self.device.currentIndexChanged.connect(self._ask_device)
        self.more.clicked.connect(self.caution_requested)
        self.accepted.connect(self.demo_requested)
        self.demo.setFocus(Qt.FocusReason.OtherFocusReason)

    def show_devices(self, devices: Sequence[OutputDevice]) -> None:
        """Offer these outputs, after the machine's default and before no sound at all."""
        items: list[tuple[str, object]] = [("the machine’s default", DEFAULT_OUTPUT)]
        items += [(device.name, device.name) for device in devices]
        known = [key for _, key in items]
        if self._device is not None and self._device not in (*known, SILENT_CLOCK):
            items.append((f"{self._device} (not there now)", self._device))
        items.append(("no sound: a silent clock", SILENT_CLOCK))
        self.device.offer(items, self._device or DEFAULT_OUTPUT)

    def _lay_out(self) -> None:
        heading = QLabel("Welcome")
        font = heading.font()
        font.setPointSizeF(font.pointSizeF() * 1.6)
        font.setBold(True)
        heading.setFont(font)
        form = QFormLayout()
        form.setVerticalSpacing(PAD)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        form.addRow("Show &shifts in", self.unit)
        form.addRow("&Listen through", self.device)
        buttons = QDialogButtonBox()
        buttons.addButton(self.own, QDialogButtonBox.ButtonRole.RejectRole)
        buttons.addButton(self.demo, QDialogButtonBox.ButtonRole.AcceptRole)
        self.demo.setDefault(True)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        column = QVBoxLayout(self)
        column.setContentsMargins(2 * MARGIN, 2 * MARGIN, 2 * MARGIN, MARGIN)
        column.setSpacing(MARGIN)
        column.addWidget(heading)
        column.addWidget(plain_label(WHAT_IT_IS))
        column.addLayout(form)
        column.addWidget(self._caution())
        column.addStretch(1)
        column.addWidget(buttons)
        self.setMinimumWidth(520)

    def _caution(self) -> QWidget:
        theme = theme_of(self.palette())
        box = QFrame()
        box.setObjectName("caution")
        box.setStyleSheet(
            f"#caution {{ background: {theme.raised}; border: 1px solid {theme.line}; "
            f"border-left: 5px solid {theme.warning}; }}"
        )
        sign = QLabel()
        sign.setPixmap(icon("warning", theme, theme.warning).pixmap(20, 20))
        text = plain_label(CAUTION)
        text.setAccessibleName("Caution with headphones")
        words = QVBoxLayout()
        words.setSpacing(PAD)
        words.addWidget(text)
        words.addWidget(self.more, 0, Qt.AlignmentFlag.AlignLeft)
        line = QHBoxLayout(box)
        line.setContentsMargins(MARGIN, MARGIN, MARGIN, MARGIN)
        line.setSpacing(MARGIN)
        line.addWidget(sign, 0, Qt.AlignmentFlag.AlignTop)
        line.addLayout(words, 1)
        return box

    def _ask_unit(self) -> None:
        self.unit_requested.emit(self.unit.currentData())

    def _ask_device(self) -> None:
        name = self.device.currentData()
        self._device = name or None
        self.device_requested.emit(self._device)
