"""Write takes and their truth.

python -m tests.material.write OUT --seeds 1-3 [--only kit,single-clap] [--jobs 2]
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from tests.material.take import REPORTING, kinds, make, write_truth


def seeds_of(text: str) -> list[int]:
    """`1-3,7` as [1, 2, 3, 7]."""
    out: list[int] = []
    for part in text.split(","):
        first, _, last = part.partition("-")
        out += range(int(first), int(last or first) + 1)
    return out


def chosen(seeds: Sequence[int], only: str) -> list[tuple[str, str, int]]:
    """(family, variant, seed) of every take wanted; `only` names families or family-variant, comma apart."""
    wanted = set(filter(None, only.split(",")))
    return [(f, v, s) for s in seeds for f, v in kinds() if not wanted or {f, f"{f}-{v}"} & wanted]


def one(job: tuple[str, str, int, Path]) -> dict[str, object]:
    family, variant, seed, folder = job
    return make(family, variant, seed).write(folder)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seeds", type=seeds_of, default=[1])
    parser.add_argument("--only", default="")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--reporting", action="store_true", help="allow the seeds kept for the last report")
    a = parser.parse_args()
    if not a.reporting and set(a.seeds) & set(REPORTING):
        parser.error(
            f"seeds {REPORTING.start} to {REPORTING.stop - 1} are kept for the report: add --reporting"
        )
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    a.folder.mkdir(parents=True, exist_ok=True)
    jobs = [(f, v, s, a.folder) for f, v, s in chosen(a.seeds, a.only)]
    with ProcessPoolExecutor(a.jobs) as pool:
        write_truth(a.folder, list(pool.map(one, jobs)))
    print(f"{len(jobs)} takes in {a.folder}")


if __name__ == "__main__":
    main()
