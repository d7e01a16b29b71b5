"""Two desks work on one session at random: edit, save, take over, are killed; something else writes it too.

    python tests/robustness/two_desks.py [--rounds 20] [--actions 40] [--seed 1]

Every edit leaves a word in the session's notes. At the end of a round each word must be somewhere the person
can find it: on a desk, in a session file, a restore point, or an autosave that would be offered. Allowed to
be gone is only what a question was answered about, and what was typed less than 2 s before a kill. Prints a
Markdown table; exit code 1 when anything else is gone, or a file is damaged.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
MOST_LOST_S = 2.0
ACTIONS = {
    "edit": 40, "save": 20, "open": 10, "take over": 6, "undo": 4, "kill": 6, "kill in a save": 5,
    "wait": 5, "outside": 4,
}  # fmt: skip


class Round:
    """One folder, one session, two desks."""

    def __init__(self, folder: Path, rng: random.Random, counts: Counter[str]) -> None:
        from msgspec.structs import replace
        from tests.support.desk_by_wire import WiredDesk
        from tests.support.takes import noise_take

        from lagline.session.storage import save

        self.folder, self.rng, self.counts = folder, rng, counts
        os.environ["LAGLINE_STATE_DIR"] = str(folder / "desks" / "state")
        self.file = folder / "take.lagline"
        save(replace(noise_take(folder / "take", frames=3_000), notes=""), self.file)
        self._make = WiredDesk
        self.desks: list[Any] = [self._start(0), self._start(1)]
        self.made: dict[str, float] = {}  # each word, and when it was typed
        self.notes = ["", ""]  # what is on each desk
        self.forgiven: set[str] = set()

    def _start(self, number: int) -> Any:
        return self._make(self.folder / "desks", name=f"desk{number}")

    # what may happen

    def act(self) -> None:
        number = self.rng.randrange(2)
        action = self.rng.choices(list(ACTIONS), list(ACTIONS.values()))[0]
        self.counts[action] += 1
        getattr(self, "_" + action.replace(" ", "_"))(number)

    def _tell(self, number: int, do: str, **more: Any) -> dict[str, Any]:
        """With answers at random; what a question was about may be gone then."""
        answers = {
            "elsewhere_answer": self.rng.choice(["look", "leave"]),
            "changed_answer": self.rng.choice(["both", "replace", "stay"]),
            "unsaved_answer": self.rng.choice(["save", "discard", "stay"]),
            "yes_answer": self.rng.random() < 0.7,
            "save_answer": self.folder / f"other {len(self.made)}-{self.rng.randrange(10**6)}.lagline",
            **more.pop("answers", {}),
        }
        before, there = self.notes[number], words_of(self.file)
        state = self.desks[number].tell(do, answers=answers, **more)
        self.counts["questions"] += len([one for one in state["asked"] if one != "save"])
        if "unsaved" in state["asked"] and answers["unsaved_answer"] == "discard":
            self.forgiven |= set(before.split())
        if "changed" in state["asked"] and answers["changed_answer"] == "replace":
            self.forgiven |= there
        self.notes[number] = state["notes"] or ""
        return state  # type: ignore[no-any-return]

    def _edit(self, number: int) -> None:
        if not self.desks[number].tell("look")["session"]:
            self._open(number)
        word = f"w{len(self.made)}"
        self.made[word] = time.monotonic()
        state = self._tell(number, "edit", notes=f"{self.notes[number]} {word}")
        if not state["session"]:
            self.made.pop(word)  # there was nothing to edit

    def _save(self, number: int) -> None:
        self._tell(number, "run", command="save")

    def _open(self, number: int) -> None:
        self._tell(number, "open", paths=[self.file])

    def _take_over(self, number: int) -> None:
        self._tell(number, "open", paths=[self.file], answers={"elsewhere_answer": "take"})

    def _undo(self, number: int) -> None:
        """Undone is not lost: redo brings it back. For the count it is done again at once."""
        before = self.notes[number]
        if self._tell(number, "run", command="undo")["notes"] != before:
            self._tell(number, "run", command="redo")

    def _wait(self, _number: int) -> None:
        time.sleep(self.rng.uniform(0.2, 2.5))

    def _kill(self, number: int, *, over: bool = True) -> None:
        killed = time.monotonic()
        self.desks[number].kill()
        for word in self.notes[number].split():
            if killed - self.made.get(word, 0.0) < MOST_LOST_S:
                self.forgiven.add(word)
        self.desks[number], self.notes[number] = self._start(number), ""
        if self.rng.random() < 0.5:
            state = self._tell(number, "begin")
            if not state["session"]:
                self._open(number)

    def _kill_in_a_save(self, number: int) -> None:
        self.desks[number].send("run", command="save", answers={"changed_answer": "both"})
        time.sleep(self.rng.uniform(0.0, 0.1))
        self._kill(number)

    def _outside(self, _number: int) -> None:
        """A program that knows no locks adds a word and writes in place."""
        with suppress(OSError, ValueError):
            document = json.loads(self.file.read_text("utf-8"))
            word = f"o{len(self.made)}"
            document["notes"] = f"{document['notes']} {word}"
            self.file.write_text(json.dumps(document), "utf-8")
            self.made[word] = time.monotonic()

    # what is there in the end

    def lost(self) -> set[str]:
        """Words that are nowhere. Raises LaglineError when a session or a restore point can't be read."""
        time.sleep(MOST_LOST_S)  # what is on the desks now would be kept in that time
        found = {word for notes in self.notes for word in notes.split()}
        for number in (0, 1):
            self.desks[number].kill()
        return set(self.made) - found - self.forgiven - self._on_disk()

    def _on_disk(self) -> set[str]:
        from lagline.session.restore_points import restore_points

        files = [*self.folder.glob("*.lagline"), *(self.folder / "desks" / "state").glob("*.lagline")]
        found = {word for file in files for word in words_of(file, strict=True)}
        for file in files:
            found |= {word for point in restore_points(file) for word in words_of(point.path, strict=True)}
        autosaves = [*self.folder.glob(".*.autosave"), *(self.folder / "desks" / "state").glob("*.autosave")]
        return found | {word for file in autosaves for word in words_of(file, strict=True)}

    def end(self) -> None:
        for desk in self.desks:
            if desk.process.poll() is None:
                desk.kill()


def words_of(file: Path, *, strict: bool = False) -> set[str]:
    from lagline.errors import LaglineError
    from lagline.session.storage import load

    try:
        return set(load(file).notes.split())
    except LaglineError:
        if strict:
            raise
        return set()


def play(folder: Path, rng: random.Random, actions: int, counts: Counter[str]) -> set[str]:
    """One round; the words that were lost."""
    game = Round(folder, rng, counts)
    try:
        for number in (0, 1):
            game._open(number)
        for _ in range(actions):
            game.act()
        counts["forgiven"] += len(game.forgiven)
        counts["words"] += len(game.made)
        return game.lost()
    finally:
        game.end()


def table(counts: Counter[str], rounds: int, lost: Iterable[str]) -> str:
    names = ["words", *ACTIONS, "questions"]
    head = f"| rounds | {' | '.join(names)} | lost without a question |"
    row = f"| {rounds} | {' | '.join(str(counts[name]) for name in names)} | {len(list(lost))} |"
    return "\n".join((head, "|---" * (len(names) + 2) + "|", row))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--actions", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    counts: Counter[str] = Counter()
    lost: list[str] = []
    for number in range(asked.rounds):
        with tempfile.TemporaryDirectory(prefix="lagline-two-") as name:
            gone = play(Path(name), random.Random(asked.seed * 1000 + number), asked.actions, counts)
        lost += gone
        print(f"round {number}: lost {sorted(gone) or 'nothing'}", file=sys.stderr, flush=True)
    print(table(counts, asked.rounds, lost))
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main())
