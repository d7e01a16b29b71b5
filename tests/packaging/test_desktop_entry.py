"""The menu entry and the file type .lagline, as the script for bundles on Linux puts them in place.

Checked against the freedesktop.org specifications: Desktop Entry 1.5 (keys, quoting of Exec), Shared
MIME-info, Icon Theme (folders of sizes). The key names are from memory; desktop-file-validate is asked where
it is there.
"""

from __future__ import annotations

import configparser
import os
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from PySide6.QtGui import QImage

from lagline.session.storage import SUFFIX

PACKAGING = Path(__file__).resolve().parents[2] / "assets" / "packaging"
MIME = "{http://www.freedesktop.org/standards/shared-mime-info}"
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="the script is for Linux")


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A home with a bundle, whose folder has a space in its name, put into the menu."""
    bundle = tmp_path / "my programs" / "lagline"
    bundle.mkdir(parents=True)
    program = bundle / "lagline"
    program.write_text("#!/bin/sh\necho started with: $*\n")
    program.chmod(0o755)
    home = tmp_path / "home"
    home.mkdir()
    env = {"HOME": str(home), "PATH": os.environ["PATH"]}
    words = ["sh", str(PACKAGING / "install_linux.sh"), str(bundle)]
    done = subprocess.run(words, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return home


def entry_of(home: Path) -> configparser.SectionProxy:
    parser = configparser.ConfigParser(interpolation=None)
    parser.optionxform = str  # type: ignore[assignment, method-assign]
    parser.read(home / ".local/share/applications/lagline.desktop", encoding="utf-8")
    return parser["Desktop Entry"]


def test_the_entry_starts_the_bundle_with_files(home: Path) -> None:
    entry = entry_of(home)
    assert entry["Type"] == "Application"
    assert entry["Exec"] == f'"{home.parent}/my programs/lagline/lagline" %F'
    started = subprocess.run([home / ".local/bin/lagline", "x.lagline"], capture_output=True, text=True)
    assert started.stdout == "started with: x.lagline\n"


def test_the_file_type_is_the_session_s_and_the_entry_opens_it(home: Path) -> None:
    kind = ET.parse(home / ".local/share/mime/packages/lagline.xml").getroot().find(f"{MIME}mime-type")
    assert kind is not None
    glob = kind.find(f"{MIME}glob")
    assert glob is not None and glob.get("pattern") == f"*{SUFFIX}"
    assert kind.get("type") in entry_of(home)["MimeType"].split(";")


def test_the_icon_is_there_in_every_size_and_is_that_large(home: Path) -> None:
    icons = home / ".local/share/icons/hicolor"
    for size in (16, 24, 32, 48, 64, 128, 256, 512):
        image = QImage(str(icons / f"{size}x{size}/apps/{entry_of(home)['Icon']}.png"))
        assert (image.width(), image.height()) == (size, size)


@pytest.mark.skipif(shutil.which("desktop-file-validate") is None, reason="desktop-file-validate is not here")
def test_the_entry_is_valid(home: Path) -> None:
    file = home / ".local/share/applications/lagline.desktop"
    done = subprocess.run(["desktop-file-validate", file], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "")
