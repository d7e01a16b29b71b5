"""Each instrument's strokes and its lag in every lane, on kits of known geometry and on real ones."""

from __future__ import annotations

import numpy as np
import pytest
from tests.material.take import Take, make
from tests.support.real_takes import take as real_take
from tests.support.real_truth import lanes_of, manifest_bands

from lagline.analysis.take.sources import SoundSource, sound_sources


def measured(take: Take) -> dict[str, SoundSource]:
    """Sources by the instrument of the lane that names them, the most struck first."""
    found = sound_sources([lane.samples.astype(np.float32) for lane in take.lanes], take.fs)
    out: dict[str, SoundSource] = {}
    for source in found:
        out.setdefault(take.lanes[source.owner].own or f"lane {source.owner}", source)
    return out


def judged(take: Take) -> tuple[int, int, list[str]]:
    """Lags asked for, lags right, and the others in words; against the lane that names the source."""
    names = [lane.name for lane in take.lanes]
    found, asked, right, wrong = measured(take), 0, 0, []
    for instrument, row in take.sources.items():
        if not any(lane.own == instrument for lane in take.lanes):
            continue
        source = found.get(instrument)
        base = row[names[source.owner]].lag if source is not None else 0.0
        slack = 0.5 if source is None else 0.5 + (row[names[source.owner]].high - base - 1)
        for k, name in enumerate(names):
            if name in row and (source is None or k != source.owner):
                asked += 1
                told = np.nan if source is None else source.lags[k].lag + base
                if row[name].low - slack <= told <= row[name].high + slack:
                    right += 1
                else:
                    wrong.append(f"{instrument} in {name}: {told:.1f} not {row[name]}")
    return asked, right, wrong


@pytest.mark.parametrize("variant", ["studio", "rare", "together", "spot_anchor"])
def test_each_instrument_has_its_own_lags(variant: str) -> None:
    asked, right, wrong = judged(make("kit", variant, 7))
    assert right >= 0.8 * asked, wrong


def test_a_kick_struck_twice_among_snares_is_its_spot_s_own() -> None:
    """Two strokes, and every other sound in that lane is bleed."""
    take = make("kit", "rare", 4)
    kick = measured(take)["kick"]
    assert len(kick.at) <= 2
    (k,) = [k for k, lane in enumerate(take.lanes) if lane.own == "kick"]
    lag = kick.against(0)[k]
    truth = take.lanes[k].offset
    assert truth is not None
    assert lag.lag == pytest.approx(truth, abs=max(1.0, 2 * lag.uncertainty))


def test_the_lags_do_not_hang_on_the_anchor() -> None:
    take = make("kit", "four", 7)
    for source in measured(take).values():
        one, other = source.against(0), source.against(1)
        assert np.allclose([x.lag for x in one], [x.lag + one[1].lag for x in other], equal_nan=True)
        assert np.isnan(one[1].lag) or one[1].lag == -other[0].lag


def test_no_source_where_nothing_is_struck() -> None:
    wind = np.random.default_rng(3).standard_normal(96_100)
    assert sound_sources([wind[:96_000].astype(np.float32), wind[100:].astype(np.float32)], 48_000) == []
    assert sound_sources([np.zeros(96_000, np.float32)] * 3, 48_000) == []


@pytest.mark.real_takes
def test_a_real_fill_tells_four_drums_apart() -> None:
    """Every drum of the manifest is found, and told lags lie in its bands (a frame of rounding allowed)."""
    name = "kitA_fill_toms_7mics"
    real_take(name)
    lanes, rate_hz = lanes_of(name)
    names = list(lanes)
    found = sound_sources([x.astype(np.float32) for x in lanes.values()], rate_hz)
    reference, bands = manifest_bands(name)
    for element, row in bands.items():
        best = 0.0
        for source in found:
            lags = source.against(names.index(reference))
            told = {n: lags[names.index(n)].lag for n in row if n != reference}
            inside = [row[n][0] - 1 <= v <= row[n][1] + 1 for n, v in told.items() if np.isfinite(v)]
            if len(inside) >= 3:
                best = max(best, float(np.mean(inside)))
        assert best >= 0.75, element
