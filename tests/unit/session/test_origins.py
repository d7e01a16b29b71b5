"""How a lane came to its place is always told truly: a diary kept beside thousands of random edits."""

from __future__ import annotations

import json
import os
import random
from collections.abc import Callable
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support import sessions

from lagline.session import edits, trying
from lagline.session.findings import Alignment, Finding, RunnerUp
from lagline.session.origin_words import placement_words
from lagline.session.setup import applied, setup_of
from lagline.session.storage import load, save
from lagline.session.values import Move, Session, Version

# DEVELOPERS.md tells how to try ten thousand.
SEQUENCES = int(os.environ.get("LAGLINE_RANDOM_EDITS", "200"))
STEPS = 40
LANES = ("near", "side", "far", "room")
Diary = dict[tuple[str, str], str]  # what each lane of each version must be said to be


def measured(draw: random.Random, anchor: str) -> Alignment:
    """Places that often fall together: what is compared by its number is easily mistaken."""
    found = []
    for lane in LANES:
        arrival = 0.0 if lane == anchor else draw.choice((-96.0, 0.0, 12.5, 40.0, None))
        found.append(
            Finding(
                lane,
                arrival,
                None if arrival is None else draw.choice((0.1, 0.6)),
                1 if lane == anchor else draw.choice((1, -1, None)),
                draw.random(),  # so that no two are quite the same
                "none" if arrival is None else "strong",
                "",
                drift_ppm=0.0 if lane == anchor else draw.choice((0.0, 2.0)),
                runners_up=tuple(
                    RunnerUp(draw.choice((-96.0, 0.0, 40.0)), draw.choice((1, -1)), 0.4) for _ in range(2)
                ),
            )
        )
    return Alignment(anchor, 48_000, tuple(found))


def is_rounded(exact: Move, finding: Finding, rounding: str) -> bool:
    """Whether a shift that would be this is taken as whole, and was not."""
    off = abs(exact.shift_samples - round(exact.shift_samples))
    spans = exact.rate_ppm == 0.0 and off <= (finding.uncertainty_samples or 0.0)
    return off > 0.0 and (rounding == "all" or (rounding == "within" and spans))


class Diarist:
    """Does one random edit after another and writes down, in words of its own, how each lane was put."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.draw = random.Random(seed)
        self.session = sessions.session(*LANES)
        self.diary: Diary = {}
        self.before: Diary = {}  # of lanes that are only tried: what was said of them before
        self.history: list[tuple[Session, Diary, Diary]] = []
        self.path = folder / "take.lagline"

    @property
    def version_id(self) -> str:
        return self.session.current_version_id

    def write(self, lane: str, words: str) -> None:
        self.diary[self.version_id, lane] = words

    def said_of(self, lane: str) -> str:
        return self.diary.get((self.version_id, lane), "as recorded")

    def settle(self, lane: str) -> None:
        self.before.pop((self.version_id, lane), None)

    def finding_of(self, lane: str) -> Finding | None:
        return self.session.alignment.finding(lane) if self.session.alignment else None

    # one method an edit

    def measure(self) -> None:
        new = measured(self.draw, self.session.anchor_id or "room")
        self.session = edits.with_alignment(self.session, new)
        for diary in (self.diary, self.before):
            for key, words in diary.items():
                if words.startswith(("by finding", "by runner-up")):
                    said = (part for part in (", as whole", ", then flipped") if part in words)
                    diary[key] = "by an earlier finding" + "".join(said)

    def measure_the_same_again(self) -> None:
        if self.session.alignment is not None:
            self.session = edits.with_alignment(
                self.session, replace(self.session.alignment, warnings=("x",))
            )

    def accept(self) -> None:
        if self.session.alignment is None:
            return
        lanes = self.draw.sample(LANES, self.draw.randint(1, 4))
        rounding = self.draw.choice(("none", "within", "all"))
        exact = edits.accepted(self.session, lanes).current_version
        self.session = edits.accepted(self.session, lanes, rounding=rounding)
        for lane in lanes:
            finding = self.finding_of(lane)
            if finding is not None and finding.arrival_samples is not None:
                is_anchor = lane == self.session.alignment.anchor_id
                whole = is_rounded(exact.move(lane), finding, rounding)
                found = "by finding, as whole" if whole else "by finding"
                self.write(lane, "as recorded" if is_anchor else found)
                self.settle(lane)

    def try_a_place(self) -> None:
        lane = self.draw.choice(LANES)
        finding = self.finding_of(lane)
        if finding is None or finding.arrival_samples is None or lane == self.session.alignment.anchor_id:
            return
        index = self.draw.choice((-1, 0, 1))
        key = self.version_id, lane
        was = self.before.get(key, self.said_of(lane))
        place = self.session.current_version.trying.get(lane)
        old = place.move if place is not None else self.session.current_version.move(lane)
        self.session = trying.tried(self.session, lane, index)
        if self.session.current_version.move(lane) == old:  # round and back to where it was
            self.write(lane, was)
            self.settle(lane)
        else:
            self.before[key] = was
            self.write(lane, "by finding" if index < 0 else f"by runner-up {index + 1}")

    def keep_what_is_tried(self) -> None:
        lane = self.draw.choice(LANES)
        self.session = trying.kept(self.session, lane)
        self.settle(lane)

    def put_back(self) -> None:
        lane = self.draw.choice(LANES)
        self.session = trying.put_back(self.session, lane)
        self.write(lane, self.before.pop((self.version_id, lane), "as recorded"))

    def shift(self) -> None:
        self.by_hand(
            lambda lane: edits.with_shift(self.session, lane, self.draw.choice((0.0, 96.0, -40.0, 7.25)))
        )

    def nudge(self) -> None:
        self.by_hand(lambda lane: edits.nudged(self.session, lane, self.draw.choice((-1.0, 0.0, 0.1, 96.0))))

    def by_hand(self, edit: Callable[[str], Session]) -> None:
        old, lane = self.session, self.draw.choice(LANES)
        self.session = edit(lane)
        for linked in edits.linked_lanes(old, lane):
            was, now = (one.current_version.move(linked) for one in (old, self.session))
            if now.shift_samples != was.shift_samples:
                back = now.shift_samples == 0.0 and now.rate_ppm == 0.0
                flipped = ", then flipped" if now.polarity < 0 else ""
                self.write(linked, f"as recorded{flipped}" if back else "by hand")

    def flip(self) -> None:
        lane = self.draw.choice(LANES)
        now = -self.session.current_version.move(lane).polarity
        self.session = edits.with_polarity(self.session, lane, now)
        words = self.said_of(lane)
        tail = ", then flipped"
        self.write(lane, words.removesuffix(tail) if words.endswith(tail) else words + tail)

    def set_up(self) -> None:
        other = self.draw.choice(self.session.versions)
        lanes = self.draw.sample(LANES, 2)
        setup = setup_of(self.session, other, "Chapel")
        matches = {lane.id: known for lane, known in zip(self.session.lanes, setup.lanes, strict=True)}
        self.session = applied(setup, self.session, {lane: matches[lane] for lane in lanes})
        for lane in lanes:
            self.write(lane, "by setup")
            self.settle(lane)

    def copy(self) -> None:
        other = self.draw.choice(self.session.versions).id
        self.session = edits.with_new_version(self.session, f"Copy {self.draw.random()}", other)
        for diary in (self.diary, self.before):
            diary.update(
                {(self.version_id, lane): diary[other, lane] for lane in LANES if (other, lane) in diary}
            )

    def take_a_part(self) -> None:
        self.copy()
        old = self.session.current_version
        self.session = edits.with_version(self.session, edits.partly(self.session.current_version, 0.5))
        for lane in LANES:
            self.settle(lane)
            if old.move(lane).shift_samples:
                self.write(lane, "by a part of its shift")

    def choose(self) -> None:
        version = self.draw.choice(self.session.versions)
        self.session = edits.with_current_version(self.session, version.id)

    def delete(self) -> None:
        gone = self.draw.choice(self.session.versions).id
        if len(self.session.versions) > 1:
            self.session = edits.without_version(self.session, gone)
            for diary in (self.diary, self.before):
                for key in [key for key in diary if key[0] == gone]:
                    del diary[key]

    def anchor(self) -> None:
        self.session = edits.with_anchor(self.session, self.draw.choice(LANES))

    def link(self) -> None:
        self.session = edits.with_link(
            self.session, self.draw.sample(LANES, 2), self.draw.choice((None, "pair"))
        )

    def undo(self) -> None:
        if self.history:
            self.session, self.diary, self.before = self.draw.choice(self.history)
            self.diary, self.before = dict(self.diary), dict(self.before)

    def save_and_open(self) -> None:
        save(self.session, self.path)
        self.session = load(self.path)

    def act(self) -> str:
        acts: list[Callable[[], None]] = [
            *([self.accept, self.try_a_place, self.put_back, self.nudge, self.shift, self.flip] * 3),
            *([self.measure, self.keep_what_is_tried, self.set_up, self.copy, self.choose, self.anchor] * 2),
            *[self.measure_the_same_again, self.take_a_part, self.delete, self.link, self.undo],
            *([self.save_and_open] if self.draw.random() < 0.1 else []),
        ]
        act = self.draw.choice(acts)
        self.history.append((self.session, dict(self.diary), dict(self.before)))
        act()
        return act.__name__

    def check(self, done: list[str]) -> None:
        for version in self.session.versions:
            for lane in LANES:
                key = version.id, lane
                expected = self.diary.get(key, "as recorded")
                expected = f"trying: {expected}" if key in self.before else expected
                assert placement_words(version, lane) == expected, (version.id, lane, done)


@pytest.mark.timeout(0)
def test_the_words_are_true_whatever_was_done(tmp_path: Path) -> None:
    for seed in range(SEQUENCES):
        diarist, done = Diarist(seed, tmp_path), []
        for _ in range(STEPS):
            done.append(diarist.act())
            diarist.check(done)


def test_a_file_of_before_says_no_more_than_it_knows(tmp_path: Path) -> None:
    """Older sessions hold moves and nothing of how they came about."""
    path = tmp_path / "take.lagline"
    save(replace(sessions.session(), versions=(Version("v1", "Shifted", {"near": Move(96.0)}),)), path)
    fields = json.loads(path.read_text("utf-8"))
    for version in fields["versions"]:
        del version["origins"], version["trying"]
    path.write_text(json.dumps(fields), "utf-8")
    version = load(path).current_version
    assert placement_words(version, "near") == "moved"
    assert placement_words(version, "room") == "as recorded"


def test_moves_changed_behind_its_back_are_not_told_as_what_they_were(tmp_path: Path) -> None:
    """As an older version of the program would: it keeps the origins and knows nothing of them."""
    session = edits.nudged(sessions.session(), "near", 7.0)
    moved = replace(session.current_version, moves={"near": Move(9.0)})
    assert placement_words(moved, "near") == "moved"


def test_going_through_the_places_puts_back_to_where_it_was_before_the_first() -> None:
    session = edits.with_alignment(
        edits.nudged(sessions.session(*LANES), "near", 5.0), measured(random.Random(3), "room")
    )
    for index in (0, 1, 0):
        session = trying.tried(session, "near", index)
    back = trying.put_back(session, "near")
    assert back.current_version.move("near") == Move(5.0)
    assert placement_words(back.current_version, "near") == "by hand"


def test_one_lane_lines_up_on_the_anchor_wherever_that_was_put() -> None:
    session = edits.with_alignment(sessions.session(*LANES), measured(random.Random(1), "room"))
    session = edits.with_shift(session, "room", 10.0)
    lane = next(found.lane_id for found in session.alignment.findings if found.arrival_samples)
    wanted = 10.0 - session.alignment.finding(lane).arrival_samples
    for put in (edits.accepted(session, [lane]), trying.tried(session, lane, -1)):
        assert put.current_version.move(lane).shift_samples == wanted
