"""A picture of the desk: it is there, and making it leaves no trace."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication

from lagline.desk.app import picture_of_desk
from lagline.session.values import Session


def test_picture_has_the_size_asked_for(take: Session, tmp_path: Path, qapp: QApplication) -> None:
    picture = tmp_path / "desk.png"
    picture_of_desk(take, picture, 1000, 700)
    image = QImage(str(picture))
    assert (image.width(), image.height()) == (1000, 700)


def test_picture_writes_no_settings_over_the_null_device(
    take: Session, tmp_path: Path, qapp: QApplication, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand_in = tmp_path / "null"
    stand_in.write_bytes(b"")
    monkeypatch.setattr(os, "devnull", str(stand_in))
    picture_of_desk(take, tmp_path / "desk.png", 800, 600)
    assert stand_in.read_bytes() == b""
