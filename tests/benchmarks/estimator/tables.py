"""The report in words: a table a set, misses, reliability, and the aims beside what was measured."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from tests.benchmarks.estimator.scoring import WORDS, Row, by, error, figures, lane_right, reliability

SINGLE = ("single", "array")
HEAD = (
    f"{'family':28} {'right':>9} {'%':>6} {'refused':>8} {'strong':>9} {'usable':>9} {'weak':>9}"
    f" {'polarity':>9} {'in 2u':>9} {'calib.':>7} {'best peer':>20} {'stranger':>9}"
)


def percent(part: Sequence[int]) -> str:
    return f"{100 * part[0] / part[1]:.1f}" if part[1] else "-"


def fraction(part: Sequence[int]) -> str:
    return f"{part[0]}/{part[1]}" if part[1] else "-"


def best_peer(f: dict[str, Any]) -> tuple[str, dict[str, Any]] | None:
    """The peer with the fewest wrong answers."""
    peers = f["peers"]
    return min(peers.items(), key=lambda item: item[1]["wrong"]) if peers else None


def line(name: str, f: dict[str, Any]) -> str:
    best = best_peer(f)
    peer = f"{best[0]} {fraction(best[1]['right'])}" if best else "-"
    gap = "-" if f["calibration_error"] is None else f"{f['calibration_error']:.3f}"
    words = " ".join(f"{fraction(f[word]):>9}" for word in WORDS)
    return (
        f"{name:28} {fraction(f['right']):>9} {percent(f['right']):>6} {f['refused'][0]:>8} {words}"
        f" {fraction(f['polarity']):>9} {fraction(f['covered']):>9} {gap:>7} {peer:>20}"
        f" {fraction(f['strangers_refused']):>9}"
    )


def set_table(title: str, rows: Sequence[Row]) -> str:
    lines = [title, HEAD]
    lines += [line(name, figures(group)) for name, group in by(rows, lambda r: r["family"]).items()]
    lines.append(line("all", figures(rows)))
    return "\n".join(lines)


def reliability_table(rows: Sequence[Row]) -> str:
    lines = ["trust        lanes   said  right"]
    for b in reliability(rows):
        bar = "#" * round(40 * b["right"])
        lines.append(
            f"{b['from']:.1f} to {b['to']:.1f} {b['lanes']:7d} {b['said']:6.2f} {b['right']:6.2f}  {bar}"
        )
    return "\n".join(lines)


def misses(rows: Sequence[Row]) -> str:
    lines = []
    for r in rows:
        if r["match"] is None or lane_right(r):
            continue
        said = r["said"]
        off = (
            ""
            if said["arrival"] is None or not r["match"]
            else f" off {error(r, said['arrival'], said['drift_ppm'] or 0):.1f}"
        )
        best = ", ".join(f"{n} {v[0]:.1f}" for n, v in r["peers"].items())
        arrival = None if said["arrival"] is None else round(said["arrival"], 1)
        lines.append(
            f"  {r['key']} {r['lane']}: {said['word']} {said['trust']:.2f} {arrival}{off}; "
            f"truth {[round(p, 1) for p in r['points']]} {r['ranges']}; {best}"
        )
    return "\n".join(lines)


def shown_by(rows: Sequence[Row], sources: Sequence[int]) -> list[tuple[str, str, str, bool | None]]:
    """(what, aim, measured, met) of the aims the estimator is held to."""
    made = [r for r in rows if r["set"] != "real"]
    real = [r for r in rows if r["set"] == "real"]
    out: list[tuple[str, str, str, bool | None]] = []

    def add(what: str, aim: str, part: Sequence[int], least: float, note: str = "") -> None:
        met = None if not part[1] else part[0] / part[1] >= least
        out.append((what, aim, f"{percent(part)} % ({fraction(part)}){note}", met))

    f, every = figures(made), figures(rows)
    add("generated: right", "95 %", f["right"], 0.95)
    families = {n: figures(g)["right"] for n, g in by(made, lambda r: f"{r['set']} {r['family']}").items()}
    families = {n: v for n, v in families.items() if v[1]}
    if families:
        worst = min(families, key=lambda n: families[n][0] / families[n][1])
        add("generated: worst family", "88 %", families[worst], 0.88, f" {worst}")
    add("single events", "97 %", figures([r for r in made if r["family"] in SINGLE])["right"], 0.97)
    for word, aim in (("strong", 0.995), ("usable", 0.95), ("weak", 0.70)):
        add(f"{word} and right", f"{100 * aim:g} %", every[word], aim)
    gap = every["calibration_error"]
    out.append(
        (
            "calibration error",
            "0.03",
            "-" if gap is None else f"{gap:.3f}",
            None if gap is None else gap < 0.03,
        )
    )
    add("nothing in common: no proposal", "98 %", f["strangers_refused"], 0.98)
    if real:
        g = figures(real)
        add("real takes: within the band", "90 %", g["right"], 0.90)
        bad = g["strong"][1] - g["strong"][0]
        out.append(("real takes: strong and wrong", "0", str(bad), bad == 0))
    add("kits: spots on their own instrument", "95 %", figures([r for r in rows if r["own"]])["right"], 0.95)
    add("each source's lag", "85 %", sources, 0.85)
    add("error within twice the uncertainty", "90 %", every["covered"], 0.90)
    best = best_peer(every)
    if best:
        measured = f"{every['wrong']} against {best[1]['wrong']} ({best[0]})"
        out.append(
            (
                "wrong answers against the best peer",
                "a third",
                measured,
                3 * every["wrong"] <= best[1]["wrong"],
            )
        )
    add("polarity right where arrival is", "99.5 %", every["polarity"], 0.995)
    add("polarity said unclear where it is", "-", every["unclear"], 0.0)
    return out


def shown_by_table(rows: Sequence[Row], sources: Sequence[int]) -> str:
    words = {True: "met", False: "NOT met", None: ""}
    return "\n".join(f"{w:40} aim {a:8} {m:44} {words[met]}" for w, a, m, met in shown_by(rows, sources))
