"""Bands for planning: proper, few, and what the bench really shows."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from knowngood.isolate.bands import MOST_BANDS, Bands, make_bands, outcome_table
from knowngood.isolate.belief import weigh
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.reading import Reading
from tests.isolate.small import small_table
from tests.simulate import World

TABLE = small_table()
METERS = [load_shipped_meter("generic-6000"), load_shipped_meter("generic-2000")]


def label_of(bands: Bands, reading: Reading) -> str:
    if reading.kind != "value":
        return reading.kind
    assert reading.low is not None
    place = int(np.searchsorted(bands.edges[1:-1], reading.low))
    return bands.labels[place]


@pytest.mark.parametrize("meter", METERS, ids=lambda m: m.name)
@pytest.mark.parametrize("test", list(TABLE.rows))
def test_bands_are_few_and_proper(meter, test: str) -> None:  # type: ignore[no-untyped-def]
    bands = make_bands(TABLE.rows[test], meter, TABLE.nodes)
    assert len(bands.labels) <= MOST_BANDS + 2
    assert bands.given.sum(axis=2) == pytest.approx(1.0, abs=1e-9)
    assert bands.anything.sum() == pytest.approx(1.0)
    assert list(bands.edges) == sorted(bands.edges)
    p, excludes = outcome_table(TABLE, TABLE.rows[test], bands, weigh(TABLE, []))
    assert p.sum(axis=1) == pytest.approx(1.0)
    assert excludes.shape == p.shape


@pytest.mark.parametrize("test", ["pack_volts", "chain_wiggled", "bridge_diode", "drag"])
def test_predicted_outcomes_are_what_drawn_readings_show(test: str) -> None:
    """Predicted share of each band against 1500 drawn readings, four standard errors."""
    meter, row = METERS[0], TABLE.rows[test]
    bands = make_bands(row, meter, TABLE.nodes)
    p, _ = outcome_table(TABLE, row, bands, weigh(TABLE, []))
    rng = np.random.default_rng(3)
    ids = [h.id for h in TABLE.hypotheses]
    for fault in ("pack_flat", "joint_loose", "bridge_short", "no_fault"):
        h = ids.index(fault)
        seen = Counter(
            label_of(bands, World(TABLE, meter, rng, h).read(test).reading) for _ in range(1500)
        )
        for label, expected in zip(bands.labels, p[h], strict=True):
            error = 4 * np.sqrt(expected * (1 - expected) / 1500) + 0.004
            assert seen[label] / 1500 == pytest.approx(expected, abs=error), (fault, label)


def test_a_good_band_shows_a_steady_fault_out_but_not_one_that_comes_and_goes() -> None:
    row = TABLE.rows["chain_ohms"]
    bands = make_bands(row, METERS[0], TABLE.nodes)
    _, excludes = outcome_table(TABLE, row, bands, weigh(TABLE, []))
    ids = [h.id for h in TABLE.hypotheses]
    good = 0  # the lowest band: a closed chain
    assert excludes[ids.index("harness_open"), good]
    assert not excludes[ids.index("joint_loose"), good]
    assert not excludes[ids.index("no_fault"), good]
    over = bands.labels.index("over")
    assert excludes[ids.index("pack_flat"), over]
    assert not excludes[ids.index("harness_open"), over]
