"""A session with something in every field, for readers, writers and checks."""

from __future__ import annotations

from pathlib import Path

from lagline.session.findings import Alignment, Evidence, Finding, PairFinding, RunnerUp, WindowCount
from lagline.session.values import Balance, Lane, Move, Session, Source, Version


def full_session(folder: Path) -> Session:
    source = Source(folder / "near.wav", 0, 48_000, 48_000, 144_044, "PCM_24", 172_800_000)
    lanes = tuple(
        Lane(name.lower(), name, source, place_samples=place, link="pair")
        for name, place in (("Near", 0), ("Room", 480))
    )
    moves = {"near": Move(101.37, -1, 3.5), "room": Move(-2.0)}
    balances = {"near": Balance(-3.0, 0.2), "room": Balance(-3.0, 0.2)}
    return Session(
        rate_hz=48_000,
        lanes=lanes,
        versions=(Version("v1", "Shifted", moves, balances, "as found"),),
        anchor_id="room",
        alignment=_alignment(),
        loop=(100, 2_000),
        notes="Invented",
        extra={"of a later version": [1, 2]},
    )


def _alignment() -> Alignment:
    evidence = Evidence(-2.0, 0.5, (0.1, 0.9, 0.1), (0.0, 1.0), (1.0, 1.0), (1.0, 0.5), (1, -1), 100.0, 9e3)
    near = Finding(
        "near", -101.4, 0.2, -1, 0.97, "strong", "Near is earlier.", 0.9, -101.0, -101.4, 0.1, 0.05, 0.3,
        (RunnerUp(-5.0, 1, 0.4),), WindowCount(44, 41), evidence,
    )  # fmt: skip
    room = Finding("room", 0.0, 0.0, 1, 1.0, "strong", "Room is the anchor.")
    pairs = (PairFinding("near", "room", -101.4, 1.0, 0.01, -1),)
    return Alignment("room", 48_000, (near, room), pairs, 0.01, ("Invented warning.",))
