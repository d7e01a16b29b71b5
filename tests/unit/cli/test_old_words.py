"""What scripts wrote for earlier versions still works, and help doesn't show it."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from tests.support.click_take import write_click_take
from typer.testing import CliRunner

from lagline.cli.app import app


def run(*arguments: object) -> str:
    done = CliRunner().invoke(app, [str(one) for one in arguments])
    assert done.exit_code == 0, done.output
    return done.stdout


def test_the_old_name_of_machine(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("LAGLINE_CACHE_DIR", str(tmp_path / "cache"))
    old, new = (msgspec.json.decode(run(name, "--json")) for name in ("doctor", "machine"))
    assert old["schema"] == new["schema"] == "lagline/machine/1"
    assert [check["name"] for check in old["checks"]] == [check["name"] for check in new["checks"]]


def test_the_old_name_of_a_share(tmp_path: Path) -> None:
    for number in range(3):
        write_click_take(tmp_path / "all" / f"take {number}", {"near": 0, "room": 96})
    for option, share in (("--share", "1/3"), ("--shard", "2/3")):
        run("batch", tmp_path / "all", "--out", tmp_path / share[0], option, share)
        summary = msgspec.json.decode((tmp_path / share[0] / "summary.json").read_bytes())
        assert [one["take"] for one in summary["results"]] == [f"take {int(share[0]) - 1}"]


def test_the_old_name_of_deliver(tmp_path: Path) -> None:
    write_click_take(tmp_path / "take", {"near": 0, "room": 96})
    for name in ("render", "deliver"):
        run(name, tmp_path / "take", "--out", tmp_path / name)
    old, new = ({path.name for path in (tmp_path / name).rglob("*.wav")} for name in ("render", "deliver"))
    assert old == new != set()


@pytest.mark.parametrize("arguments", [(), ("batch",)])
def test_help_shows_the_new_words_only(arguments: tuple[str, ...]) -> None:
    shown = run(*arguments, "--help")
    assert not {"doctor", "render", "shard", "--shard"} & set(shown.split())
