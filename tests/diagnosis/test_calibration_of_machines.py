"""Stated belief against how often it is true, on jobs drawn from a whole shipped machine.

The same measures and bars as tests/isolate/test_calibration.py (which says where they are from),
with every hypothesis of the file (secondary, double, intermittent, unlisted, no fault found), its
tests worked out from the wiring, and up to eight of them at random.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from knowngood.isolate.belief import weigh
from tests.diagnosis.test_simulated_jobs import METER, setup_of
from tests.isolate.test_calibration import Stated
from tests.simulate import World, draw_truth

JOBS, MOST_TESTS = 1200, 8


@pytest.mark.slow
@pytest.mark.parametrize("machine, complaint", [("mower-battery-56v", "dead")])
def test_belief_in_the_parts_of_a_shipped_machine_is_calibrated(
    machine: str, complaint: str
) -> None:
    table = setup_of(machine, complaint).bench.table
    rng = np.random.default_rng(13)
    sets = sorted({h.parts for h in table.hypotheses}, key=sorted)
    stated, true = np.zeros((JOBS, len(sets))), np.zeros(JOBS, dtype=int)
    for job in range(JOBS):
        truth = draw_truth(table, rng)
        world = World(table, METER, rng, truth)
        tests = rng.permutation(list(table.rows))[: rng.integers(0, MOST_TESTS + 1)]
        belief = weigh(table, [world.read(str(t)) for t in tests]).of_parts()
        stated[job] = [belief.get(s, 0.0) for s in sets]
        true[job] = sets.index(table.hypotheses[truth].parts)
    jobs = Stated(stated, true)
    found = jobs.found()
    slope, error = jobs.slope()
    named = stated.max(axis=1)
    right = stated.argmax(axis=1) == true
    print(
        f"calibration error {found.error:.4f}, slope {slope:.3f} +- {error:.3f}; the likeliest: "
        f"stated {named.mean():.3f}, true {right.mean():.3f}"
    )
    assert jobs.slope_fits(), (slope, error)
    assert found.error <= 0.015
    for mean, share, count in found.deciles:
        low, high = stats.binom.interval(0.999, count, mean)
        assert low - 1 <= share * count <= high + 1, (mean, share, count)
    spread = float(np.sqrt((named * (1 - named)).sum())) / JOBS
    assert abs(named.mean() - right.mean()) <= stats.norm.ppf(0.9995) * spread
