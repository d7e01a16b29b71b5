"""A blind trial whose hidden order is known to the test."""

from __future__ import annotations

from lagline.desk.panels.trial_run import TrialPlan
from lagline.desk.panels.trial_texts import at_least, uneven_split
from lagline.session.values import Trial


class FakeRun:
    """ABX: A is the first version, B the second, X as `order` says (0 or 1). Preference: `order` of "1"."""

    def __init__(self, plan: TrialPlan, order: list[int]) -> None:
        self.plan, self.order = plan, order
        self.answers: list[bool] = []

    @property
    def number(self) -> int:
        return min(len(self.answers) + 1, self.plan.trials)

    @property
    def is_finished(self) -> bool:
        return len(self.answers) == self.plan.trials

    def version_of(self, label: str) -> str:
        now = self.order[len(self.answers)]
        index = {"A": 0, "B": 1, "X": now, "1": now, "2": 1 - now}[label]
        return self.plan.version_ids[index]

    def answer(self, label: str) -> None:
        now = self.order[len(self.answers)]
        if self.plan.mode == "abx":
            self.answers.append("AB"[now] == label)
        else:
            self.answers.append((now if label == "1" else 1 - now) == 1)

    def result(self) -> Trial:
        count, total = sum(self.answers), len(self.answers)
        chance = at_least(count, total) if self.plan.mode == "abx" else uneven_split(count, total)
        return Trial(
            self.plan.mode,
            self.plan.version_ids,
            total,
            tuple(self.answers),
            chance,
            "2026-01-01T12:00:00+00:00",
        )
