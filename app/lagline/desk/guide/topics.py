"""Which page of the guide, and which heading on it, helps with what. No Qt."""

from __future__ import annotations

from pathlib import Path

from msgspec import Struct

import lagline
from lagline.session.findings import Finding

CONTENTS = "README.md"


class Topic(Struct, frozen=True):
    """A place in the guide: file name of the page, and a heading on it ("" for its top)."""

    page: str
    heading: str = ""


FIRST_TAKE = Topic("first-take.md")
TRUST = Topic("reading-the-evidence.md", "Trust")
TWO_READINGS = Topic("reading-the-evidence.md", "Two readings")
PLOTS = Topic("reading-the-evidence.md", "Four plots")
POLARITY = Topic("reading-the-evidence.md", "Polarity")
CLOSURE = Topic("reading-the-evidence.md", "Closure")
WHEN_NOT = Topic("when-not-to-align.md")
DRUMS = Topic("drums.md", "What lines up with what")
CLOCKS = Topic("two-recorders.md", "Different clocks")
STARTS = Topic("two-recorders.md", "Different starts")
STEPS = Topic("two-recorders.md", "Steps instead of slopes")
TAPE = Topic("planning.md", "Tape measure against sound")
TROUBLE = Topic("troubleshooting.md")
HEADPHONES = Topic("headphones.md")
CONTENTS_TOPIC = Topic(CONTENTS)
TOPICS = (
    FIRST_TAKE, TRUST, TWO_READINGS, PLOTS, POLARITY, CLOSURE, WHEN_NOT, DRUMS, CLOCKS, STARTS, STEPS, TAPE,
    TROUBLE, HEADPHONES, CONTENTS_TOPIC,
)  # fmt: skip

APART_SAMPLES = 2.0
STARTS_APART_S = 0.5
CLOCK_PPM = 1.0


def topic_of(finding: Finding, rate_hz: int) -> Topic:
    """What to read about a finding: the first thing about it that calls for an explanation."""
    if finding.arrival_samples is None:
        return TROUBLE
    if abs(finding.drift_ppm) > max(CLOCK_PPM, 2 * (finding.drift_uncertainty_ppm or 0.0)):
        return CLOCKS
    if finding.movement_ms > 0:
        return STEPS
    if abs(finding.arrival_samples) > STARTS_APART_S * rate_hz:
        return STARTS
    if finding.trust_word == "weak":
        return TRUST
    if finding.polarity is None:
        return POLARITY
    first, best = finding.first_sound_samples, finding.best_fit_samples
    if first is not None and best is not None and abs(first - best) > APART_SAMPLES:
        return TWO_READINGS
    return POLARITY if finding.polarity < 0 else TRUST


def guide_folder() -> Path | None:
    """Where the guide lies; None without one."""
    return _pages("guide")


def licences_folder() -> Path | None:
    """Where the licences of all that Lagline is made of lie; None without them."""
    return _pages("licences")


def _pages(name: str) -> Path | None:
    """A folder of pages: inside the installed package, or beside it in a checkout."""
    package = Path(lagline.__file__).parent
    for folder in (package / name, package.parents[1] / "assets" / name):
        if (folder / CONTENTS).is_file():
            return folder
    return None
