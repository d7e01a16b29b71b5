"""What the desk remembers between runs: typed access to one QSettings."""

from __future__ import annotations

import math
from pathlib import Path
from typing import get_args

from PySide6.QtCore import QByteArray, QSettings

from lagline.desk.amounts import UNITS, Unit
from lagline.desk.theme import ThemeChoice
from lagline.files import is_file, is_folder
from lagline.playback.guard import HIGHEST_CEILING_DBFS, USUAL_RISE_DB
from lagline.playback.protocol import DeviceChoice

MOST_RECENT = 10
SCALES = (100, 125, 150, 175, 200)  # per cent


class DeskSettings:
    """Reads what earlier runs wrote, with a default for what is missing or not understood."""

    def __init__(self, settings: QSettings | None = None) -> None:
        self._settings = settings or QSettings("Lagline", "Lagline")

    @property
    def unit(self) -> Unit:
        """Unit of shift boxes and read-outs."""
        found = self._text("unit")
        return next((unit for unit in UNITS if unit == found), "samples")

    @unit.setter
    def unit(self, unit: Unit) -> None:
        self._settings.setValue("unit", unit)

    @property
    def scale_percent(self) -> int:
        """How large the interface is drawn; one of SCALES."""
        found = round(self._number("scale_percent") or SCALES[0])
        return found if found in SCALES else SCALES[0]

    @scale_percent.setter
    def scale_percent(self, percent: int) -> None:
        self._settings.setValue("scale_percent", percent)

    @property
    def theme(self) -> ThemeChoice:
        found = self._text("theme")
        return next((choice for choice in get_args(ThemeChoice) if choice == found), "system")

    @theme.setter
    def theme(self, choice: ThemeChoice) -> None:
        self._settings.setValue("theme", choice)

    @property
    def anchor_behind(self) -> bool:
        return self._flag("anchor_behind", default=False)

    @anchor_behind.setter
    def anchor_behind(self, on: bool) -> None:
        self._settings.setValue("anchor_behind", on)

    @property
    def magnet(self) -> bool:
        return self._flag("magnet", default=True)

    @magnet.setter
    def magnet(self, on: bool) -> None:
        self._settings.setValue("magnet", on)

    @property
    def whole_within(self) -> bool:
        """Whether findings are accepted as whole samples where their uncertainty allows it."""
        return self._flag("whole_within", default=False)

    @whole_within.setter
    def whole_within(self, on: bool) -> None:
        self._settings.setValue("whole_within", on)

    @property
    def follow(self) -> bool:
        """Whether the view follows the playhead."""
        return self._flag("follow", default=True)

    @follow.setter
    def follow(self, on: bool) -> None:
        self._settings.setValue("follow", on)

    @property
    def caution_read(self) -> bool:
        """Whether the headphone caution of the first run was seen."""
        return self._flag("caution_read", default=False)

    @caution_read.setter
    def caution_read(self, read: bool) -> None:
        self._settings.setValue("caution_read", read)

    @property
    def welcomed(self) -> bool:
        """Whether the welcome of the first run was shown."""
        return self._flag("welcomed", default=False)

    @welcomed.setter
    def welcomed(self, welcomed: bool) -> None:
        self._settings.setValue("welcomed", welcomed)

    @property
    def device(self) -> DeviceChoice:
        return DeviceChoice(
            self._text("device/name") or None,
            self._count("device/rate_hz"),
            self._count("device/block_frames"),
        )

    @device.setter
    def device(self, choice: DeviceChoice) -> None:
        self._settings.setValue("device/name", choice.name or "")
        self._settings.setValue("device/rate_hz", choice.rate_hz or 0)
        self._settings.setValue("device/block_frames", choice.block_frames or 0)

    @property
    def most_rise_db(self) -> float:
        """Of the hearing guard: by how much it may become louder in a second."""
        return self._number("guard/rise_db") or USUAL_RISE_DB

    @property
    def ceiling_dbfs(self) -> float:
        found = self._number("guard/ceiling_dbfs")
        return HIGHEST_CEILING_DBFS if found is None else found

    def set_guard(self, rise_db: float, ceiling_dbfs: float) -> None:
        self._settings.setValue("guard/rise_db", rise_db)
        self._settings.setValue("guard/ceiling_dbfs", ceiling_dbfs)

    def reference_dba(self, device: str) -> float | None:
        """What the engineer measured of a device (`playback.exposure`); None where nothing was typed."""
        return self._number(f"ear/{device}")

    def set_reference_dba(self, device: str, reference_dba: float | None) -> None:
        self._settings.setValue(f"ear/{device}", "" if reference_dba is None else reference_dba)

    @property
    def folder(self) -> Path:
        """Where the last take was opened."""
        found = self._text("folder")
        return Path(found) if found and is_folder(Path(found)) else Path.home()

    @folder.setter
    def folder(self, folder: Path) -> None:
        self._settings.setValue("folder", str(folder))

    @property
    def recent(self) -> tuple[Path, ...]:
        """Sessions saved or opened lately that are still there, newest first."""
        found = self._settings.value("recent", [])
        names = [found] if isinstance(found, str) else found if isinstance(found, list) else []
        return tuple(Path(name) for name in names if isinstance(name, str) and is_file(Path(name)))

    def remember_session(self, path: Path) -> None:
        others = [str(old) for old in self.recent if old != path]
        self._settings.setValue("recent", [str(path), *others][:MOST_RECENT])

    def forget_recent(self) -> None:
        self._settings.remove("recent")

    @property
    def deliveries(self) -> Path | None:
        """Where the last delivery's folder lies; None while there is none."""
        found = self._text("deliveries")
        return Path(found) if found and is_folder(Path(found)) else None

    @deliveries.setter
    def deliveries(self, folder: Path) -> None:
        self._settings.setValue("deliveries", str(folder))

    @property
    def header_width(self) -> int:
        """Of the lanes, in pixels; 0 while nobody has chosen one."""
        return round(self._number("header_width") or 0)

    @header_width.setter
    def header_width(self, width: int) -> None:
        self._settings.setValue("header_width", width)

    def state(self, name: str) -> QByteArray | None:
        """Geometry of a window or splitter, as Qt saved it."""
        found = self._settings.value(f"state/{name}")
        return found if isinstance(found, QByteArray) else None

    def set_state(self, name: str, state: QByteArray) -> None:
        self._settings.setValue(f"state/{name}", state)

    def sync(self) -> None:
        self._settings.sync()

    def _text(self, key: str) -> str:
        found = self._settings.value(key, "")
        return found if isinstance(found, str) else ""

    def _number(self, key: str) -> float | None:
        try:
            found = float(str(self._settings.value(key, "")))
        except ValueError:
            return None
        return found if math.isfinite(found) else None

    def _count(self, key: str) -> int | None:
        """A positive number; None for anything else."""
        found = str(self._settings.value(key, ""))
        return int(found) if found.isdecimal() and int(found) > 0 else None

    def _flag(self, key: str, *, default: bool) -> bool:
        found = self._settings.value(key, default)
        return found if isinstance(found, bool) else str(found).lower() == "true"
