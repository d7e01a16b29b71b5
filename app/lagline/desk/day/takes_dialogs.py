"""What is asked before work on many takes: what to hold them against, what to decide, how to deliver."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Literal

from msgspec import Struct
from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QDialog,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from lagline.day.asking import Deliver, Timing
from lagline.day.values import DayTake
from lagline.deliver.options import DEFAULTS, DeliveryOptions
from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.themed import plain_label, shown
from lagline.desk.theme import MARGIN, PAD

Against = Literal["usual", "file", "take"]
TIMINGS: tuple[tuple[str, Timing], ...] = (
    ("as each take is lined up", "own"),
    ("as in that take", "model"),
    ("as recorded", "recorded"),
)
DEPTHS = (
    ("as the recordings", "source"),
    ("16 bits", "16"),
    ("24 bits", "24"),
    ("32-bit float", "float"),
)


class _Form(QDialog):
    """A form with a sentence above it, and two buttons."""

    def __init__(self, title: str, intro: str, doing: str, tip: str, parent: QWidget | None) -> None:
        super().__init__(parent)
        self.setWindowTitle(title)
        self.form = QFormLayout()
        self.form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        self.do = QPushButton(doing)
        self.do.setToolTip(f"{tip} (Enter)")
        self.do.setDefault(True)
        self.do.clicked.connect(self.accept)
        cancel = QPushButton("Cancel")
        cancel.setToolTip("Close and change nothing (Esc)")
        cancel.setAutoDefault(False)
        cancel.clicked.connect(self.reject)
        buttons = QHBoxLayout()
        buttons.addStretch(1)
        buttons.addWidget(cancel)
        buttons.addWidget(self.do)
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, MARGIN, MARGIN, MARGIN)
        column.setSpacing(PAD)
        column.addWidget(plain_label(intro))
        column.addLayout(self.form)
        column.addStretch(1)
        column.addLayout(buttons)
        self.resize(460, self.sizeHint().height())


class HoldDialog(_Form):
    """What the takes are held against; `against` and `take` once it is accepted."""

    def __init__(self, takes: Sequence[DayTake], current: str, parent: QWidget | None = None) -> None:
        """`takes`: those whose session may be a setup; `current`: the one that is proposed."""
        intro = "Lanes that are elsewhere than there are said to have moved. Nothing is shifted by this."
        super().__init__("Hold the takes against", intro, "Hold against it", "Compare every take", parent)
        self._against = Chooser("Held against", "What the takes are held against", least_letters=30)
        ways: list[tuple[str, Against]] = [("where the lanes usually are on this day", "usual")]
        ways += [("a take of the list", "take")] if takes else []
        ways += [("a setup or session file …", "file")]
        self._against.offer(ways, "usual")
        self._against.currentIndexChanged.connect(self._show)
        self._take = Chooser("Take", "The take whose lanes stand where they belong", least_letters=20)
        self._take.offer([(take.name, take.name) for take in takes], current)
        self.form.addRow("&Held against", self._against)
        self.form.addRow("&Take", self._take)
        self._show()

    @property
    def against(self) -> Against:
        chosen: Against = self._against.currentData()
        return chosen

    @property
    def take(self) -> str:
        """Name of the take that is chosen."""
        return self._take.currentData() or ""

    def choose(self, against: Against, take: str = "") -> None:
        """Choose as a hand would."""
        self._against.choose(against)
        self._take.choose(take)

    def _show(self) -> None:
        self._take.setEnabled(self.against == "take")


class DecideWish(Struct, frozen=True):
    """Whose version, what it is called in each take, and whose timing."""

    take: str
    name: str
    timing: Timing


class DecideDialog(_Form):
    """One version for all; `wish` once it is accepted."""

    def __init__(
        self, takes: Sequence[DayTake], current: str, count: int, parent: QWidget | None = None
    ) -> None:
        """`takes`: those that a version can be taken from; `count`: how many it is made in."""
        intro = (
            "Gain, pan and choice of lanes become as in one take. "
            f"A version of that name is made in {count} take{'s' if count != 1 else ''}, and goes out."
        )
        super().__init__("Decide for all", intro, "Decide", "Make the version in each take", parent)
        self._take = Chooser("As in", "The take whose balance is right", least_letters=24)
        self._take.offer([(take.name, take.name) for take in takes], current)
        self._timing = Chooser("Timing", "Whose shifts and flips", least_letters=24)
        self._timing.offer(TIMINGS, "own")
        self._name = QLineEdit("Day")
        self._name.setAccessibleName("Name of the version")
        self._name.setToolTip("What the version is called in each take")
        self._name.textChanged.connect(self._show)
        self.form.addRow("&As in", self._take)
        self.form.addRow("&Timing", self._timing)
        self.form.addRow("&Name", self._name)
        self._show()

    @property
    def wish(self) -> DecideWish:
        return DecideWish(
            self._take.currentData() or "", self._name.text().strip(), self._timing.currentData()
        )

    def choose(self, take: str, timing: Timing, name: str) -> None:
        """Fill it in as a hand would."""
        self._take.choose(take)
        self._timing.choose(timing)
        self._name.setText(name)

    def _show(self) -> None:
        self.do.setEnabled(bool(self._take.currentData()) and bool(self._name.text().strip()))


class DeliverDialog(_Form):
    """One form for all; `wish` once it is accepted.

    Signals
    -------
    folder_requested() : ask for a folder; `show_folder` answers.
    """

    folder_requested = Signal()

    def __init__(
        self, folder: Path | None, count: Callable[[Deliver], int], parent: QWidget | None = None
    ) -> None:
        """`count`: how many takes such a wish is for."""
        intro = "Each take goes into a folder of its own, with one delay sheet and one report for the day."
        super().__init__("Deliver the takes", intro, "Deliver", "Write the files", parent)
        self._folder = QLineEdit("" if folder is None else str(folder))
        self._folder.setAccessibleName("Folder to write into")
        self._folder.setToolTip("Where the files go. It is made if it is not there.")
        self._folder.textChanged.connect(self._show)
        choose = QPushButton("&Choose …")
        choose.setToolTip("Choose a folder (Alt+C)")
        choose.setAutoDefault(False)
        choose.clicked.connect(self.folder_requested)
        place = QHBoxLayout()
        place.addWidget(self._folder, 1)
        place.addWidget(choose)
        self._depth = Chooser("Depth", "Of the files that are written", least_letters=18)
        self._depth.offer(DEPTHS, DEFAULTS.depth)
        self._format = Chooser("Format", "Of the files that are written", least_letters=18)
        self._format.offer([("WAV", "WAV"), ("FLAC", "FLAC")], DEFAULTS.file_format)
        self._edit = Chooser("Edit", "The recordings untouched, and an edit over them", least_letters=18)
        self._edit.offer(
            [
                ("none", "none"),
                ("of the recordings where they are", "linked"),
                ("with the recordings in it", "bundle"),
            ],
            "none",
        )
        self._whole = QCheckBox("Whole samples")
        self._whole.setToolTip("Round every shift, so that no lane is interpolated")
        self._report = QCheckBox("A report for each take too")
        self._report.setToolTip("With evidence and tone; it takes longer")
        self._replace = QCheckBox("Replace files that are there")
        self._replace.setToolTip("Never the recordings themselves")
        self._count = count
        self.told = plain_label("")
        for box in (self._whole, self._report, self._replace):
            box.toggled.connect(self._show)
        label = plain_label("&Folder", wrap=False)
        label.setBuddy(self._folder)
        self.form.addRow(label, place)
        self.form.addRow("&Depth", self._depth)
        self.form.addRow("F&ormat", self._format)
        self.form.addRow("&Edit", self._edit)
        for box in (self._whole, self._report, self._replace):
            self.form.addRow("", box)
        self.form.addRow("", self.told)
        self.resize(520, self.sizeHint().height())
        self._show()

    @property
    def wish(self) -> Deliver:
        options = DeliveryOptions(
            depth=self._depth.currentData(),
            file_format=self._format.currentData(),
            whole_samples=self._whole.isChecked(),
            overwrite=self._replace.isChecked(),
        )
        return Deliver(
            Path(self._folder.text().strip()).absolute(),
            options,
            report=self._report.isChecked(),
            edit=self._edit.currentData(),
        )

    def show_folder(self, folder: Path) -> None:
        self._folder.setText(str(folder))

    def _show(self) -> None:
        has_folder = bool(self._folder.text().strip())
        count = self._count(self.wish) if has_folder else 0
        words = f"Delivers {count} take{'s' if count != 1 else ''}."
        if has_folder and not count:
            words = "These takes lie there already, as they are now."
        shown(self.told, words if has_folder else "Choose where the files go.")
        self.do.setEnabled(count > 0)
