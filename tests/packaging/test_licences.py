"""The licence gate lets through what can be passed on, and nothing else."""

from __future__ import annotations

import subprocess
import sys
from importlib.metadata import Distribution
from pathlib import Path

import pytest
from assets.packaging.licences import bundle, installed, notices
from assets.packaging.licences.__main__ import bundle_problems, quick_problems
from assets.packaging.licences.terms import Component, Terms, parts, read_terms
from assets.packaging.needed import is_plain_library, unasked_for
from msgspec.structs import replace
from packaging.licenses import canonicalize_license_expression

ROOT = Path(__file__).parents[2]


def with_component(terms: Terms, **more: object) -> Terms:
    return replace(terms, component=(Component(name="planted", what="a test", **more), *terms.component))


def test_all_that_is_installed_here_can_be_passed_on() -> None:
    assert quick_problems(read_terms()) == []


def test_the_gate_ends_with_0_when_run_by_its_name() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "assets.packaging.licences"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout
    assert done.stdout == "licences: nothing stands in the way\n"


@pytest.mark.parametrize("licence", ["GPL-3.0-or-later", "Sleepycat", "MIT AND AGPL-3.0-only"])
def test_terms_that_reach_over_to_the_rest_are_refused(licence: str) -> None:
    terms = with_component(read_terms(), licence=licence, texts=("GPL-3.txt",))
    assert [parts(licence)[-1] in sentence for sentence in terms.problems(terms.component)] == [True]


def test_a_text_that_is_not_there_is_missed() -> None:
    terms = with_component(read_terms(), licence="MIT", texts=("no-such-text.txt",))
    assert ["no-such-text.txt" in sentence for sentence in terms.problems(terms.component)] == [True]


def test_a_library_nobody_read_the_licence_of_is_named() -> None:
    (said,) = quick_problems(
        read_terms(), installed.needed() | {"unheard-of": Distribution.from_name("pytest")}
    )
    assert said.startswith("unheard-of: not in terms.toml")


def test_a_licence_that_changed_is_noticed() -> None:
    terms = read_terms()
    was = terms.of_distribution("msgspec")
    changed = [replace(one, declared="MIT") if one is was else one for one in terms.component]
    (said,) = quick_problems(replace(terms, component=tuple(changed)))
    assert said.startswith("msgspec: now says 'BSD-3-Clause'")


def test_licences_are_spelt_as_spdx_has_them() -> None:
    for one in read_terms().component:
        for part in parts(one.licence):
            plain = part.replace("WITH Bootloader-exception", "WITH Bootloader-exception")
            if part.startswith("LicenseRef-"):
                continue
            assert canonicalize_license_expression(plain) == plain, one.name


def a_bundle(folder: Path) -> Path:
    """A bundle in small: Lagline's page and texts, a module of Python, the program's own page of licences."""
    inside = folder / "_internal"
    texts = inside / "lagline" / "licences" / "texts"
    texts.mkdir(parents=True)
    (texts.parent / "README.md").write_text("# Licences\n", "utf-8")
    (inside / "base_library.zip").write_bytes(b"PK")
    return folder


def test_a_bundle_gets_its_texts_and_the_list_of_its_files(tmp_path: Path) -> None:
    folder = a_bundle(tmp_path)
    (folder / "_internal" / "libportaudio.so.2").write_bytes(b"ELF")
    assert bundle_problems(folder, read_terms()) == []
    licences = folder / "_internal" / "lagline" / "licences"
    assert "libportaudio.so.2\tPortAudio\tMIT" in (licences / "files.tsv").read_text("utf-8")
    assert "MIT" in (licences / "texts" / "Lagline.txt").read_text("utf-8")


@pytest.mark.parametrize(
    "stranger", ["libreadline.so.8", "libdb-5.3.so", "libjack.so.0", "libnobody-knows.so"]
)
def test_a_bundle_with_a_stranger_in_it_is_stopped(tmp_path: Path, stranger: str) -> None:
    folder = a_bundle(tmp_path)
    (folder / "_internal" / stranger).write_bytes(b"ELF")
    (said,) = bundle_problems(folder, read_terms())
    assert said.startswith(f"{stranger}: of unknown origin")


def test_a_package_without_its_text_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = a_bundle(tmp_path)
    (folder / "_internal" / "libffi.so.8").write_bytes(b"ELF")
    monkeypatch.setattr(bundle, "_package_of", lambda name: "libffi8" if name == "libffi.so.8" else "")
    monkeypatch.setattr(notices, "DEBIAN_TEXTS", tmp_path / "nothing")
    (said,) = bundle_problems(folder, read_terms())
    assert said.startswith("libffi: no text at")


def test_a_library_that_nothing_asks_for_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    asks = {
        "plugin.so": {"libfirst.so.1"},
        "libfirst.so.1": {"libsecond.so.1"},
        "libalone.so.1": {"libsecond.so.1"},
    }
    monkeypatch.setattr(
        "assets.packaging.needed.needed_by", lambda path: frozenset(asks.get(path.name, set()))
    )
    names = ["plugins/plugin.so", "libfirst.so.1", "libsecond.so.1", "libalone.so.1", "libopened.so.2"]
    binaries = [(name, f"/usr/lib/{Path(name).name}", "BINARY") for name in names]
    assert unasked_for(binaries, ("libopened",)) == {"libalone.so.1"}
    assert not is_plain_library("plugins/plugin.so")
