"""How often the estimator is right, on made and real takes, with textbook methods beside it.

    python -m tests.benchmarks.estimator_report --work FOLDER material:1-3 lab:1 own:1 real
        [--only FAMILY,...] [--jobs 2] [--misses] [--json OUT] [--svg OUT] [--no-peers] [--reporting]

Each take is measured as `lagline align --json` measures it. Answers are kept in FOLDER under a mark of the
analysis' own code, peers under the take, so that a run that was stopped goes on where it was. Reporting
seeds open with --reporting alone.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import Any

from tests.benchmarks.estimator import cases, scoring, tables
from tests.benchmarks.estimator.reliability_svg import diagram

ANALYSIS = Path(__file__).parents[2] / "app" / "lagline" / "analysis"
MAKERS = Path(__file__).parents[2] / "tests"


def mark_of(folders: Sequence[Path], but: Sequence[str] = ()) -> str:
    """A short mark of the code and data in some folders, without files of some names."""
    digest = hashlib.sha256()
    for folder in folders:
        for path in sorted(folder.rglob("*")):
            if path.suffix in (".py", ".json", ".npz") and not path.name.startswith(("test_", *but)):
                digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def measured(case: cases.Case) -> dict[str, Any]:
    """The document of `lagline align FILES --anchor FIRST --json`, or {'failed': why}."""
    from lagline.analysis.options import AnalysisOptions
    from lagline.cli.alignment_json import alignment_document
    from lagline.errors import LaglineError
    from lagline.jobs.line_up import line_up
    from lagline.jobs.open_take import open_take

    try:
        take = open_take([Path(lane["file"]) for lane in case["lanes"]])
        anchor = next(
            x for x in take.session.lanes if x.source.path.name == Path(case["lanes"][0]["file"]).name
        )
        alignment = line_up(take.session, AnalysisOptions(anchor=anchor.id))
        return alignment_document(take.session, alignment, take.problems)
    except (LaglineError, ArithmeticError, LookupError, TypeError, ValueError) as error:
        return {"failed": f"{type(error).__name__}: {error}"}


def said_by(document: dict[str, Any], lane: dict[str, Any]) -> dict[str, Any]:
    """One lane's answer; a run that failed has refused."""
    file = Path(lane["file"]).name
    row = next((x for x in document.get("lanes", ()) if x["file"] == file), {})
    return {
        "arrival": row.get("arrival_samples"),
        "uncertainty": row.get("uncertainty_samples"),
        "polarity": row.get("polarity"),
        "polarity_trust": row.get("polarity_trust") or 0.0,
        "trust": row.get("trust") or 0.0,
        "word": row.get("trust_word") or "none",
        "drift_ppm": row.get("drift_ppm") or 0.0,
        "windows": row.get("windows"),
        "runners_up": [x["arrival_samples"] for x in row.get("runners_up", ())],
    }


def compared(case: cases.Case) -> list[dict[str, list[float]]]:
    """What every peer says of every lane but the anchor."""
    from tests.benchmarks.estimator.peers import peers

    heard = cases.samples(case)
    return [
        {name: [lag, float(sign)] for name, (lag, sign) in peers(heard[0], x, case["fs"]).items()}
        for x in heard[1:]
    ]


def work_on(job: tuple[str, ...], work: Path, with_peers: bool, answered: bool) -> dict[str, Any]:
    """One take, in a process of its own: its answers and its peers."""
    folder = Path(tempfile.mkdtemp(prefix="take-"))
    try:
        began = time.process_time()
        case = cases.make(job, work, folder)
        made = time.process_time()
        out: dict[str, Any] = {"case": case, "job": job}
        if not answered:
            out["document"] = measured(case)
            out["seconds"] = time.process_time() - made
            out["making_seconds"] = made - began
        if with_peers:
            out["peers"] = compared(case)
        return out
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def kept(path: Path) -> dict[str, Any]:
    """Lines of an earlier run, by job; a last line cut short is left out."""
    found = {}
    if path.is_file():
        for text in path.read_text().splitlines():
            try:
                row = json.loads(text)
            except json.JSONDecodeError:
                continue
            found[row["job"]] = row
    return found


def rows_of(
    case: cases.Case, document: dict[str, Any], peers: list[dict[str, list[float]]] | None
) -> Iterator[scoring.Row]:
    for k, lane in enumerate(case["lanes"][1:]):
        yield {
            **{name: lane[name] for name in ("match", "points", "ranges", "polarity", "drift_ppm", "own")},
            "key": case["key"],
            "set": case["set"],
            "family": case["family"],
            "variant": case["variant"],
            "frames": case["frames"],
            "lane": lane["name"],
            "said": said_by(document, lane),
            "peers": peers[k] if peers else {},
        }


def sources_said(found: dict[str, Any]) -> dict[str, dict[str, float]]:
    """Lags that were told, by the truth's names of instruments and lanes: an instrument goes by its spot."""
    lanes = found["case"]["lanes"]
    owns = {Path(lane["file"]).name: lane["own"] for lane in lanes}
    names = {row["name"]: row["file"] for row in found["document"].get("lanes", ())}
    out: dict[str, dict[str, float]] = {}
    for source in found["document"].get("sources") or ():
        own = [owns.get(names[name]) for name in source["lanes"]]
        for instrument in filter(None, own[:1]):
            told = {Path(names[x["lane"]]).stem: x["arrival_samples"] for x in source["lags"]}
            out.setdefault(instrument, told)
    return out


def run(a: argparse.Namespace) -> tuple[list[scoring.Row], tuple[int, int], dict[str, Any]]:
    a.work.mkdir(parents=True, exist_ok=True)
    jobs = [job for word in a.sets for job in cases.expand(word, a.only, a.reporting)]
    jobs = [x for job in jobs for x in (cases.lab_cases(a.work, *job[1:]) if job[0] == "lab" else [job])]
    engine = mark_of([ANALYSIS])
    maker = mark_of([MAKERS / "material", MAKERS / "support"])
    answers_at, peers_at = a.work / f"answers-{engine}-{maker}.jsonl", a.work / f"peers-{maker}.jsonl"
    answers, peers = kept(answers_at), kept(peers_at)
    names = {job: "/".join(job) for job in jobs}
    todo = [j for j in jobs if names[j] not in answers or (a.peers and names[j] not in peers)]
    print(f"{len(jobs)} takes, {len(todo)} to measure (analysis {engine})", file=sys.stderr)
    with ProcessPoolExecutor(a.jobs) as pool, answers_at.open("a") as first, peers_at.open("a") as second:
        waiting = {
            pool.submit(work_on, j, a.work, a.peers and names[j] not in peers, names[j] in answers): j
            for j in todo
        }
        for k, done in enumerate(as_completed(waiting)):
            name, out = names[waiting[done]], done.result()
            if "document" in out:
                answers[name] = {
                    "job": name,
                    **{x: out[x] for x in ("case", "document", "seconds", "making_seconds")},
                }
                first.write(json.dumps(answers[name]) + "\n")
                first.flush()
            if "peers" in out:
                peers[name] = {"job": name, "peers": out["peers"]}
                second.write(json.dumps(peers[name]) + "\n")
                second.flush()
            if k % 20 == 19:
                print(f"  {k + 1} of {len(todo)}", file=sys.stderr)
    rows, sources, failed = [], [0, 0], []
    for job in jobs:
        found = answers[names[job]]
        rows += rows_of(
            found["case"], found["document"], peers.get(names[job], {}).get("peers") if a.peers else None
        )
        good, total = scoring.source_lags(found["case"]["sources"], sources_said(found))
        sources = [sources[0] + good, sources[1] + total]
        if "failed" in found["document"]:
            failed.append(f"{found['case']['key']}: {found['document']['failed']}")
    about = {
        "analysis": engine,
        "sets": a.sets,
        "takes": len(jobs),
        "seconds": sum(answers[names[j]]["seconds"] for j in jobs),
        "failed": failed,
    }
    return rows, (sources[0], sources[1]), about


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("sets", nargs="+", help="material:1-3, own:1, lab:1-2, real")
    parser.add_argument("--work", type=Path, required=True, help="where answers are kept")
    parser.add_argument("--only", default="", help="families, comma apart (material: also family-variant)")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--misses", action="store_true")
    parser.add_argument("--no-peers", dest="peers", action="store_false")
    parser.add_argument("--reporting", action="store_true", help="open the seeds kept for the report")
    parser.add_argument("--json", type=Path)
    parser.add_argument("--svg", type=Path)
    a = parser.parse_args()
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    rows, sources, about = run(a)
    groups = scoring.by(rows, lambda r: r["set"])
    for name, group in groups.items():
        print("\n" + tables.set_table(f"{name}: {len({r['key'] for r in group})} takes", group))
    print("\n" + tables.reliability_table(rows))
    if a.misses:
        print("\nnot right\n" + tables.misses(rows))
    print("\n" + tables.shown_by_table(rows, sources))
    for text in about["failed"]:
        print("failed:", text)
    print(f"{about['takes']} takes, {about['seconds']:.0f} s of processor time in the analysis")
    if a.svg:
        a.svg.write_text(
            diagram(scoring.reliability(rows), "What was said against what was right"), encoding="utf-8"
        )
    if a.json:
        a.json.write_text(json.dumps(summary(rows, sources, about), indent=1), encoding="utf-8")


def summary(rows: list[scoring.Row], sources: tuple[int, int], about: dict[str, Any]) -> dict[str, Any]:
    """Everything the guide's page is filled from."""
    return {
        "about": about,
        "sets": {
            name: {
                "all": scoring.figures(group),
                "families": {
                    f: scoring.figures(g) for f, g in scoring.by(group, lambda r: r["family"]).items()
                },
                "reliability": scoring.reliability(group),
            }
            for name, group in scoring.by(rows, lambda r: r["set"]).items()
        },
        "all": scoring.figures(rows),
        "reliability": scoring.reliability(rows),
        "sources": sources,
        "shown_by": tables.shown_by(rows, sources),
    }


if __name__ == "__main__":
    main()
