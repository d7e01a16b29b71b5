"""No name lands without a row in the register that says where it is from."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest
from assets.register import program
from assets.register.program import names
from assets.register.register import Rows, differences, read_register

from lagline.cli.app import OLD_NAMES, app

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def have() -> program.Names:
    return names()


def more(planted: program.Names, rows: Rows, have: program.Names) -> list[str]:
    """What is said of a planted program or register, and not of those that are there."""
    before = differences(have, read_register())
    return [sentence for sentence in differences(planted, rows) if sentence not in before]


def test_every_name_of_the_program_has_its_origin(have: program.Names) -> None:
    assert differences(have, read_register()) == []


@pytest.mark.parametrize(
    "section", ["commands", "options", "menus", "desk", "tabs", "states", "suffixes", "keys"]
)
def test_a_new_name_is_noticed(have: program.Names, section: str) -> None:
    planted = {**have, section: {**have[section], "planted": "Planted"}}
    (said,) = more(planted, read_register(), have)
    assert said.startswith(f"[{section}] 'planted' has no row. planted = ")


def test_a_name_that_went_and_a_wording_that_changed_are_noticed(have: program.Names) -> None:
    rows = read_register()
    rows["tabs"] = {**rows["tabs"], "Gone": "ours"}
    rows["desk"] = {**rows["desk"], "save": ["Keep", "program"]}
    said = more(have, rows, have)
    assert len(said) == 2 and "'Keep'" in said[0] and "'Gone' is no longer" in said[1]


@pytest.mark.parametrize("origin", ["?", "a guess", "standard", "standard:", "old"])
def test_an_origin_that_says_nothing_is_refused(have: program.Names, origin: str) -> None:
    rows = read_register()
    rows["menus"] = {**rows["menus"], "Help": origin}
    assert len(more(have, rows, have)) == 1


def test_names_are_read_from_the_source_as_it_is_written() -> None:
    tree = ast.parse(
        'Word = Literal["planted", ""]\n'
        'A_SUFFIX, B_SUFFIX = ".one", ".two"\n'
        "def show(self):\n"
        '    for pane, title, tip in ((self.a, "First", "x"), (self.b, "Second", "y")):\n'
        "        self.tabs.setTabToolTip(self.tabs.addTab(pane, title), tip)\n"
        '    self.tabs.addTab(self.c, "Third")\n'
        'def write():\n    return {"schema": "lagline/planted/1", "rows": [{"inner": 1}]}\n'
    )
    assert list(program._states(tree)) == ["Word: planted"]
    assert list(program._suffixes(tree)) == [".one", ".two"]
    assert list(program._tabs(tree)) == ["First", "Second", "Third"]
    assert list(program._schemas(tree)) == ["lagline/planted/1"]
    assert set(program._document_keys(tree)) == {"schema", "rows", "inner"}


def test_every_tab_that_is_added_is_read() -> None:
    """A tab whose title comes from elsewhere would escape the register."""
    calls = titles = 0
    for path in program.PACKAGE.rglob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        added = [call for call in ast.walk(tree) if program._is_call(call, "addTab")]
        calls += bool(added)
        titles += bool(list(program._tabs(tree))) if added else 0

    assert calls == titles > 0


def test_old_names_are_hidden_and_lead_to_the_new() -> None:
    rows = read_register()["commands"]
    old = {
        name: str(origin).partition(": ")[2] for name, origin in rows.items() if str(origin).startswith("old")
    }
    by_name = {command.name: command for command in app.registered_commands}
    assert set(old) == set(OLD_NAMES)
    for name, new in old.items():
        assert by_name[name].hidden and by_name[name].callback is by_name[new].callback


def test_the_page_names_all_of_it() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "assets.register", "--page"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    for section, rows in read_register().items():
        assert all(f"| `{name}` |" in done.stdout for name in rows), section


# One word for one thing: what must not come back, and what is said instead.
GIVEN_UP = {
    r"\bsame polarity\b": "as anchor",
    r"\bExporting\b|^Export\b(?! it)|\bexport(ed|s)? into\b": "deliver",
    r"\b[Mm]agnet (draws|while|off)\b|\bMagnet\b": "snap",
    r"\bdoctor\b(?! if)": "machine",
    r"\bshards?\b": "share",
}


def test_one_word_for_one_thing() -> None:
    """In every sentence of the program: texts of the source that are no docstrings and no identifiers."""
    found = []
    for path in program.PACKAGE.rglob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        with_docs = (ast.Module, ast.ClassDef, ast.FunctionDef)
        docs = {ast.get_docstring(one, clean=False) for one in ast.walk(tree) if isinstance(one, with_docs)}
        for text in program._texts(ast.walk(tree)):
            if text in docs or not (" " in text or text[:1].isupper()):
                continue
            found += [
                f"{path.name}: {text!r}: say {new}" for old, new in GIVEN_UP.items() if re.search(old, text)
            ]
    assert found == []
