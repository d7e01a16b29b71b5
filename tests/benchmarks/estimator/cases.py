"""Where takes come from: our material, our scenarios, the shared lab, the shared real recordings.

A case is a JSON-like dict: `key`, `set`, `family`, `variant`, `fs`, `frames` of the anchor, and `lanes`, the
anchor first, each with `file`, `name`, `match` (None: not known), `points` (lags that are right within a
sample), `ranges` (lags that are right), `polarity` (+1, -1, None ambiguous, 0 not asked), `drift_ppm`, `own`;
and `sources` {instrument: {lane: [low, high]}}.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from tests.benchmarks.estimator import easy
from tests.material import take as material
from tests.material.write import chosen, seeds_of
from tests.support import demo
from tests.support import scenarios as own
from tests.support.real_takes import ROOT
from tests.support.real_truth import TABLE

Case = dict[str, Any]
LAB = ROOT.parent / "lab" / "scenarios.py"
OWN_COUNT = 6  # takes a family and seed of our scenarios


class KeptForTheReport(SystemExit):
    """Seeds that only the report at the end may open were asked for."""


def expand(word: str, only: str, reporting: bool) -> list[tuple[str, ...]]:
    """Jobs of one `set[:seeds]` word: (set, ...), cheap to send to another process."""
    name, _, seeds = word.partition(":")
    numbers = seeds_of(seeds or "1")
    if not reporting and name in ("material", "own"):
        kept = set(material.REPORTING) if name == "material" else set(own.REPORTING_SEEDS)
        if kept & set(numbers):
            raise KeptForTheReport(f"{word}: these seeds are kept for the report; add --reporting")
    wanted = set(filter(None, only.split(",")))
    if name == "material":
        return [("material", f, v, str(s)) for f, v, s in chosen(numbers, only)]
    if name == "easy":
        return [("easy", k, str(s)) for s in numbers for k in easy.KINDS if not wanted or k in wanted]
    if name == "demo":
        return [("demo", take, str(k)) for take in demo.TAKES for k in range(demo_lanes(take))]
    if name == "own":
        families = [f for f in own.FAMILIES if not wanted or f in wanted]
        return [("own", f, str(k), str(s)) for s in numbers for f in families for k in range(OWN_COUNT)]
    if name == "lab":
        if not LAB.is_file():
            print(f"lab: left out, {LAB} is not here", file=sys.stderr)
            return []
        return [("lab", str(s), only) for s in numbers]
    if name == "real":
        if not ROOT.is_dir():
            print(f"real: left out, {ROOT} is not here", file=sys.stderr)
            return []
        names = [*TABLE, *sorted(p.parent.name for p in ROOT.glob("*/manifest.json"))]
        return [("real", n) for n in names if not wanted or n in wanted or "real" in wanted]
    if name == "strangers":
        return [("strangers", str(k)) for k in numbers] if ROOT.is_dir() else []
    raise SystemExit(
        f"{word}: the sets are demo, real and, with :SEEDS, material, own, lab, easy and strangers"
    )


def lab_cases(work: Path, seed: str, only: str) -> list[tuple[str, ...]]:
    """Write the lab's takes of one seed (once) and list them."""
    folder = work / f"lab-{seed}"
    if not (folder / "truth.json").is_file():
        subprocess.run(
            [sys.executable, LAB, folder, "--set", "quick", "--seed", seed, "--jobs", "1"], check=True
        )
    truth = json.loads((folder / "truth.json").read_text())
    wanted = set(filter(None, only.split(",")))
    return [("labcase", seed, c["id"]) for c in truth["cases"] if not wanted or c["family"] in wanted]


def make(job: Sequence[str], work: Path, folder: Path) -> Case:
    """The case of a job; its lanes are files, under `folder` where they are made here."""
    if job[0] == "material":
        take = material.make(job[1], job[2], int(job[3]))
        return _convention("material", take.write(folder), folder)
    if job[0] == "labcase":
        at = work / f"lab-{job[1]}"
        truth = json.loads((at / "truth.json").read_text())
        case = next(c for c in truth["cases"] if c["id"] == job[2])
        return _convention("lab", case, at, f"lab:{job[1]}:{job[2]}")
    if job[0] == "easy":
        return _easy(job[1], int(job[2]), folder)
    if job[0] == "demo":
        return _demo(job[1], int(job[2]))
    if job[0] == "strangers":
        return _strangers(int(job[1]))
    if job[0] == "own":
        return _own(job[1], int(job[2]), int(job[3]), folder)
    return _real(job[1])


def _convention(which: str, case: Case, folder: Path, key: str = "") -> Case:
    """A case in the conventions of the lab's truth.json."""
    lanes = []
    for row in case["lanes"]:
        at = row.get("offset_samples")
        points = [] if at is None else [at, *(row.get("alternatives") or [])]
        lanes.append(
            {
                "file": str(folder / row["file"]),
                "name": Path(row["file"]).stem,
                "match": row["match"],
                "points": points,
                "ranges": [row["accept"]] if row.get("accept") else [],
                "polarity": row.get("polarity"),
                "drift_ppm": row.get("drift_ppm"),
                "own": row.get("own"),
            }
        )
    return {
        "key": key or f"{which}:{case['id']}",
        "set": which,
        "family": case["family"],
        "variant": case.get("variant") or case.get("sub"),
        "fs": case["fs"],
        "lanes": lanes,
        "frames": case["lanes"][0]["n"],
        "sources": case.get("source_accept") or {},
    }


def _own(family: str, number: int, seed: int, folder: Path) -> Case:
    take = own.scenario(family, number, seed)
    at = folder / f"own-{family}-{number}-{seed}".replace(" ", "_")
    at.mkdir(parents=True, exist_ok=True)
    names = [take.anchor, *(n for n in take.lanes if n != take.anchor)]
    lanes = []
    for k, name in enumerate(names):
        file = at / f"{k:02d}_{name}.wav".replace(" ", "_")
        soundfile.write(file, take.lanes[name], take.rate_hz, subtype="FLOAT")
        truth = take.truth.get(name)
        known = truth is not None and truth.arrivals is not None
        lanes.append(
            {
                "file": str(file),
                "name": file.stem,
                "match": True if k == 0 or known else (None if truth is None else False),
                "points": [0.0] if k == 0 else list((truth and truth.arrivals) or ()),
                "ranges": [list(truth.path)] if truth is not None and truth.path is not None else [],
                "polarity": truth.polarity if truth is not None else 0,
                "drift_ppm": None if truth is None else truth.drift_ppm,
                "own": None,
            }
        )
    return {
        "key": f"own:{family}:{number}:{seed}",
        "set": "own",
        "family": family,
        "variant": str(number),
        "fs": take.rate_hz,
        "lanes": lanes,
        "frames": int(next(iter(take.lanes.values())).shape[0]),
        "sources": {},
    }


def _lane(file: Path, *, match: bool | None = True, **known: Any) -> dict[str, Any]:
    return {
        "file": str(file),
        "name": file.stem,
        "match": match,
        "points": [],
        "ranges": [],
        "polarity": 0,
        "drift_ppm": None,
        "own": None,
        **known,
    }


def _easy(kind: str, seed: int, folder: Path) -> Case:
    made, known = easy.take(kind, seed)
    lanes = []
    for name, samples_ in made.items():
        file = folder / f"{name}.wav"
        soundfile.write(file, samples_, easy.RATE, subtype="FLOAT")
        at, sign = known.get(name, (0.0, 1))
        lanes.append(_lane(file, match=at is not None, points=[] if at is None else [at], polarity=sign))
    return {
        "key": f"easy:{kind}:{seed}",
        "set": "easy",
        "family": kind,
        "variant": "",
        "fs": easy.RATE,
        "lanes": lanes,
        "frames": len(made["near"]),
        "sources": {},
    }


def demo_lanes(take: str) -> int:
    return len(demo.truth(take)["lanes"])


def _demo(take: str, anchor: int) -> Case:
    """A demo take against any of its lanes; right is what a spot of the two stands at, or both follow."""
    table = demo.truth(take)
    rows = [table["lanes"][anchor], *(r for k, r in enumerate(table["lanes"]) if k != anchor)]
    base = rows[0]["arrival_by_instrument_samples"]
    lanes = []
    for row in rows:
        lags = {k: v - base[k] for k, v in row["arrival_by_instrument_samples"].items() if k in base}
        both = {r["follows"]: r["name"].replace("_", " ") for r in (row, rows[0])}
        spots = {name for name, lane in both.items() if name == lane}
        points = [lags[name] for name in sorted(spots or both)]
        lanes.append(_lane(demo.FOLDER / take / row["file"], points=points, own=row["follows"]))
    return {
        "key": f"demo:{take}:{anchor}",
        "set": "demo",
        "family": take,
        "variant": str(anchor),
        "fs": table["rate_hz"],
        "lanes": lanes,
        "frames": table["frames"],
        "sources": {},
    }


def _real(name: str) -> Case:
    """A real take; lanes of unknown truth stay in it, unscored (`match` None)."""
    rows: dict[str, dict[str, Any]] = {}
    sources: dict[str, dict[str, list[float]]] = {}
    if name in TABLE:
        anchor = TABLE[name][0].first
        for r in TABLE[name]:
            rows[r.second] = {"ranges": [[r.low, r.high]], "polarity": r.polarity, "own": None}
    else:
        truth = json.loads((ROOT / name / "manifest.json").read_text(encoding="utf-8"))["ground_truth"]
        anchor = truth["reference"]
        for lane, at in truth["lag_samples"].items():
            element = at.get("element")
            band = [at["lag"] - at["uncertainty"], at["lag"] + at["uncertainty"]]
            bands = [band]
            if element:
                sources.setdefault(element, {})[lane] = band
            for other, (lag, u) in (at.get("alternatives") or {}).items():
                sources.setdefault(other, {})[lane] = [lag - u, lag + u]
                if element != lane:  # a spot microphone is right on its own instrument alone
                    bands.append([lag - u, lag + u])
            own_ = element if element == lane else None
            rows[lane] = {"ranges": bands, "polarity": at.get("polarity") or 0, "own": own_}
    paths = sorted((ROOT / name).glob("*.flac"), key=lambda p: (p.stem != anchor, p.stem))
    info = soundfile.info(paths[0])
    lanes = []
    for path in paths:
        row = rows.get(path.stem)
        lanes.append(
            {
                "file": str(path),
                "name": path.stem,
                "match": True if row or path.stem == anchor else None,
                "points": [],
                "ranges": row["ranges"] if row else [],
                "polarity": row["polarity"] if row else 0,
                "drift_ppm": None,
                "own": row["own"] if row else None,
            }
        )
    return {
        "key": f"real:{name}",
        "set": "real",
        "family": name,
        "variant": "",
        "fs": info.samplerate,
        "lanes": lanes,
        "frames": info.frames,
        "sources": sources,
    }


def _strangers(seed: int) -> Case:
    """One lane each of two real takes; none of the takes that tests hold against others."""
    rng = np.random.default_rng(seed)
    held = {"snare", "kick", "piano_close_far_n84", "drums_snare_edge_7mics"}
    names = [p.parent.name for p in sorted(ROOT.glob("*/*.flac")) if p.parent.name not in held]
    takes = rng.choice(sorted(set(names)), 2, replace=False)
    files = [rng.choice(sorted((ROOT / take).glob("*.flac"))) for take in takes]
    lanes = [_lane(Path(file), match=k == 0) for k, file in enumerate(files)]
    info = soundfile.info(files[0])
    return {
        "key": f"strangers:{seed}",
        "set": "strangers",
        "family": "unrelated",
        "variant": "",
        "fs": info.samplerate,
        "lanes": lanes,
        "frames": info.frames,
        "sources": {},
    }


def samples(case: Case) -> list[np.ndarray[Any, np.dtype[np.float64]]]:
    """Lanes as mono arrays, for the peers."""
    out = []
    for lane in case["lanes"]:
        x, _ = soundfile.read(lane["file"])
        out.append(x if x.ndim == 1 else x.mean(axis=1))
    return out
