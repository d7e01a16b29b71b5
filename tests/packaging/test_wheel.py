"""What is built is complete: the wheel and the source archive hold all that a user or packager needs.

Builds with the build tools installed here and without a network; skipped where there are none.
"""

from __future__ import annotations

import email
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow
pytest.importorskip("build")
pytest.importorskip("hatchling")

ROOT = Path(__file__).resolve().parents[2]
METADATA = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("built")
    command = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(folder), str(ROOT)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


@pytest.fixture(scope="module")
def wheel(built: Path) -> zipfile.ZipFile:
    (path,) = built.glob("*.whl")  # made from the source archive, so the archive builds too
    return zipfile.ZipFile(path)


@pytest.fixture(scope="module")
def archive(built: Path) -> tarfile.TarFile:
    (path,) = built.glob("*.tar.gz")
    return tarfile.open(path)


def test_wheel_holds_every_module_and_all_that_goes_with_them(wheel: zipfile.ZipFile) -> None:
    there = set(wheel.namelist())
    package = ROOT / "app" / "lagline"
    wanted = {
        f"lagline/{path.relative_to(package).as_posix()}"
        for path in package.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    shipped = {"demo_sessions": "demo_sessions", "assets/guide": "guide", "assets/licences": "licences"}
    for name, under in shipped.items():
        wanted |= {
            f"lagline/{under}/{path.relative_to(ROOT / name).as_posix()}"
            for path in (ROOT / name).rglob("*")
            if path.suffix in (".flac", ".lagline", ".md", ".png", ".txt")
        }
    wanted |= {f"lagline/icon/lagline-{size}.png" for size in (16, 32, 48, 64, 128, 256)}
    assert {"lagline/py.typed", "lagline/deliver/pages/report.html.j2"} <= wanted
    assert wanted - there == set()


def test_wheel_holds_nothing_of_the_workshop(wheel: zipfile.ZipFile) -> None:
    top = {name.split("/")[0] for name in wheel.namelist()}
    assert top == {"lagline", f"lagline-{METADATA['version']}.dist-info"}
    assert not [name for name in wheel.namelist() if "__pycache__" in name or "/tests/" in name]


def test_wheel_says_what_it_is(wheel: zipfile.ZipFile) -> None:
    info = f"lagline-{METADATA['version']}.dist-info"
    said = email.message_from_bytes(wheel.read(f"{info}/METADATA"))
    assert (said["Name"], said["Version"]) == ("lagline", METADATA["version"])
    assert said["License-Expression"] == METADATA["license"]
    assert said["Requires-Python"] == METADATA["requires-python"]
    needed = [need for need in said.get_all("Requires-Dist", []) if "extra ==" not in need]
    assert len(needed) == len(METADATA["dependencies"])
    assert any(need.startswith("pyside6-essentials") and "<6.12" in need for need in map(str.lower, needed))
    assert wheel.read(f"{info}/licenses/LICENSE") == (ROOT / "LICENSE").read_bytes()
    assert "lagline = lagline.__main__:main" in wheel.read(f"{info}/entry_points.txt").decode()


def test_archive_can_be_built_and_tested_from(archive: tarfile.TarFile) -> None:
    there = {name.partition("/")[2] for name in archive.getnames()}
    assert {
        "pyproject.toml", "README.md", "LICENSE", "CHANGELOG.md", "demo_sessions/chapel/chapel.lagline",
        "assets/packaging/lagline.spec", "assets/icon/lagline.svg", "tests/packaging/test_wheel.py",
    } <= there  # fmt: skip


def test_installed_from_the_wheel_the_demo_is_found(wheel: zipfile.ZipFile, tmp_path: Path) -> None:
    wheel.extractall(tmp_path)
    code = (
        "import lagline, lagline.jobs.demo as demo; print(lagline.__file__); print(*demo.demo_takes()); "
        "print(len(demo.load_demo().lanes))"
    )
    done = subprocess.run(
        [sys.executable, "-c", f"import sys; sys.path.insert(0, {str(tmp_path)!r}); {code}"],
        capture_output=True,
        text=True,
        check=True,
        cwd=tmp_path,
    )
    place, takes, lanes = done.stdout.splitlines()
    assert Path(place).is_relative_to(tmp_path)
    assert (takes, lanes) == ("chapel kit", "4")
