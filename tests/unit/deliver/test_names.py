import pytest
from hypothesis import given
from hypothesis import strategies as st

from lagline.deliver.names import FIELDS, LONGEST_BYTES, file_stem, safe_stem, unique
from lagline.errors import BadNameTemplate

VALUES: dict[str, str | int] = {"take": "Take 3", "lane": "Near", "version": "Shifted", "n": 2}


@pytest.mark.parametrize(
    ("template", "name"),
    [
        ("{take} - {lane} - {version}", "Take 3 - Near - Shifted"),
        ("{n:02d} {lane}", "02 Near"),
        ("aligned", "aligned"),
        ("a/b\\c:{lane}", "a-b-c-Near"),
        ("{{kept}} {lane}", "{kept} Near"),
    ],
)
def test_templates(template: str, name: str) -> None:
    assert file_stem(template, VALUES) == name


@pytest.mark.parametrize(
    "template", ["{nobody}", "{lane", "{}", "{0}", "{lane.__class__}", "{lane!r}", "{n:%}}", "{n:zz}"]
)
def test_templates_that_cannot_be_filled_are_refused(template: str) -> None:
    with pytest.raises(BadNameTemplate, match=r"\{take\}, \{lane\}, \{version\}, \{n\}"):
        file_stem(template, VALUES)


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("../../etc/passwd", "-..-etc-passwd"),
        ("CON", "CON_"),
        ("nul.wav", "nul.wav_"),
        ("com1", "com1_"),
        ("  . ", "untitled"),
        ("", "untitled"),
        ("Flöte\n\tlinks\0", "Flöte links"),
        ('what? "this" <one>', "what- -this- -one-"),
        ("x" * 500, "x" * LONGEST_BYTES),
        ("𝄞" * 100, "𝄞" * (LONGEST_BYTES // 4)),
    ],
)
def test_names_are_safe_on_every_system(name: str, safe: str) -> None:
    assert safe_stem(name) == safe


@given(name=st.text(max_size=300))
def test_no_name_escapes_its_folder(name: str) -> None:
    stem = file_stem("{lane}", {"lane": name})
    assert stem
    assert not set(stem) & set('/\\:*?"<>|\0\n')
    assert stem not in (".", "..")
    assert len(stem.encode()) <= LONGEST_BYTES + 1
    assert stem == stem.strip(" .")


@given(stems=st.lists(st.sampled_from(["a", "A", "a (2)", "b", "B (2)"]), max_size=12))
def test_every_file_gets_its_own_name(stems: list[str]) -> None:
    names = unique(stems)
    assert len({name.casefold() for name in names}) == len(stems)
    assert all(name.casefold().startswith(stem.casefold()) for name, stem in zip(names, stems, strict=True))


def test_first_come_keeps_its_name() -> None:
    assert unique(["Near", "near", "Far", "NEAR"]) == ["Near", "near (2)", "Far", "NEAR (3)"]
    assert set(FIELDS) == set(VALUES)
