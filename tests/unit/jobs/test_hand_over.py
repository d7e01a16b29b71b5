"""Aligned files and what lies beside them are one delivery: both are there in the end, or neither."""

from __future__ import annotations

import errno
from pathlib import Path

import numpy as np
import pytest
import soundfile
from msgspec.structs import replace
from tests.support.takes import noise_take

from lagline.blend.clips import open_clips
from lagline.blend.mix import blend
from lagline.deliver import hand_over as deliver_module
from lagline.deliver.options import DeliveryOptions
from lagline.errors import Cancelled, CannotWrite, WouldOverwrite
from lagline.jobs.hand_over import hand_over_take
from lagline.session.values import Balance, Before, Move, Session, Version

SHIFTED = Version("v1", "Shifted", {"near": Move(120.5), "far": Move(-30.0, -1)})


@pytest.fixture
def session(tmp_path: Path) -> Session:
    return replace(noise_take(tmp_path / "in", frames=48_000), versions=(SHIFTED,))


def below(folder: Path) -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*"))


@pytest.mark.parametrize("share", [0.2, 0.5, 0.6, 0.7])
def test_cancelled_at_any_time_it_leaves_nothing_and_may_be_asked_again(
    tmp_path: Path, session: Session, share: float
) -> None:
    out, seen = tmp_path / "made for it" / "out", [0.0]
    with pytest.raises(Cancelled, match="nothing was changed"):
        hand_over_take(
            session, out, "v1", DeliveryOptions(), progress=seen.append, cancelled=lambda: seen[-1] >= share
        )
    assert share <= seen[-1] < 1.0
    assert not (tmp_path / "made for it").exists()
    done = hand_over_take(session, out, "v1", DeliveryOptions(), progress=seen.append)
    assert seen[-1] == 1.0
    assert all(path.is_file() for path in done.paths)
    assert {path.parent for path in done.paths} == {out, out / "aligned"}
    assert len(done.paths) + 1 == len(below(out)), "a file that was not told of"


def test_a_disk_that_is_full_at_the_blends_leaves_no_aligned_files_either(
    tmp_path: Path, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "notes.txt").write_text("there before")

    def full(*_: object, **__: object) -> None:
        raise CannotWrite(out / "blend.wav", OSError(errno.ENOSPC, "No space left on device"))

    with monkeypatch.context() as disk:
        disk.setattr(deliver_module, "stage_blend", full)
        with pytest.raises(CannotWrite, match="Free some space"):
            hand_over_take(session, out, "v1", DeliveryOptions())
    assert below(out) == ["notes.txt"]
    hand_over_take(session, out, "v1", DeliveryOptions())


@pytest.mark.parametrize(
    "refused", ["Near - Shifted.wav", "timeline - Shifted.otio", "delay sheet - Shifted.txt"]
)
def test_a_move_that_is_refused_takes_back_those_of_both_folders(
    tmp_path: Path, session: Session, refused: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, out = Path.replace, tmp_path / "out"

    def refuse(self: Path, target: Path) -> Path:
        if self.suffix != ".part" and target.name.endswith(refused):
            raise PermissionError(errno.EACCES, "Permission denied")
        return real(self, target)

    with monkeypatch.context() as disk:
        disk.setattr(Path, "replace", refuse)
        with pytest.raises(CannotWrite, match="permissions"):
            hand_over_take(session, out, "v1", DeliveryOptions())
    assert not out.exists()
    hand_over_take(session, out, "v1", DeliveryOptions())


def test_a_file_that_comes_in_the_way_meanwhile_stays_and_nothing_else(
    tmp_path: Path, session: Session
) -> None:
    out, name = tmp_path / "out", "Invented take - delay sheet - Shifted.html"

    def meanwhile(fraction: float) -> None:
        if fraction > 0.9 and not (out / name).exists():
            (out / name).write_text("mine")

    with pytest.raises(WouldOverwrite, match="delay sheet"):
        hand_over_take(session, out, "v1", DeliveryOptions(), progress=meanwhile)
    assert below(out) == [name]
    assert (out / name).read_text() == "mine"


def test_an_earlier_delivery_stays_whole_when_the_one_to_replace_it_is_cancelled(
    tmp_path: Path, session: Session
) -> None:
    out, seen = tmp_path / "out", [0.0]
    hand_over_take(session, out, "v1", DeliveryOptions())
    before = {name: (out / name).read_bytes() for name in below(out) if (out / name).is_file()}
    moved = replace(session, versions=(replace(SHIFTED, moves={"near": Move(7.0)}),))
    with pytest.raises(Cancelled):
        hand_over_take(
            moved, out, "v1", DeliveryOptions(overwrite=True),
            progress=seen.append, cancelled=lambda: seen[-1] > 0.6,
        )  # fmt: skip
    assert {name: (out / name).read_bytes() for name in below(out) if (out / name).is_file()} == before


def test_the_original_printed_has_the_balance_of_the_version_printed(
    tmp_path: Path, session: Session
) -> None:
    """Whichever version is worked in: so that the two files differ in nothing but the timing."""
    louder = Version(
        "v2", "Louder", {"near": Move(10.0)}, {"near": Balance(-20.0, -1.0), "far": Balance(6.0)}
    )
    session = replace(session, versions=(SHIFTED, louder), current_version_id="v1")
    done = hand_over_take(session, tmp_path / "out", "v2", DeliveryOptions(depth="float", peak_dbtp=None))
    (path,) = (path for path in done.paths if path.name.endswith("blend - Original.wav"))
    read, _ = soundfile.read(path, dtype="float32")
    start, stop = session.span(louder)
    assert np.array_equal(read, blend(session, louder.as_recorded, open_clips(session), start, stop - start))
    sheet = next(path for path in done.paths if path.suffix == ".csv").read_text("utf-8")
    first = dict(zip(*(line.split(",") for line in sheet.splitlines()[:2]), strict=True))
    assert (first["lane"], first["gain_db"], first["pan"], first["muted"]) == ("Near", "-20.0", "-1.0", "no")


def test_a_solo_that_was_forgotten_changes_nothing_that_is_delivered(
    tmp_path: Path, session: Session
) -> None:
    lanes = (replace(session.lanes[0], solo=True), *session.lanes[1:])
    printed = []
    for name, take in (("plain", session), ("solo", replace(session, lanes=lanes))):
        done = hand_over_take(take, tmp_path / name, "v1", DeliveryOptions(depth="float"), edit="linked")
        (blend_file,) = (path for path in done.paths if path.name.endswith("blend - Shifted.wav"))
        (table,) = (path for path in done.paths if path.name.endswith("edit - Shifted.csv"))
        printed.append((soundfile.read(blend_file)[0].tobytes(), table.read_text("utf-8").count("yes")))
    assert printed[0] == printed[1] and printed[0][1] == 3


def test_what_is_only_tried_is_delivered_with_a_word(tmp_path: Path, session: Session) -> None:
    tried = replace(SHIFTED, trying={"far": Before(Move(0.0))})
    done = hand_over_take(replace(session, versions=(tried,)), tmp_path / "out", "v1", DeliveryOptions())
    assert [words for words in done.warnings if "Far: only tried in Shifted so far" in words]
    assert not [
        words
        for words in hand_over_take(session, tmp_path / "two", "v1", DeliveryOptions()).warnings
        if "tried" in words
    ]
