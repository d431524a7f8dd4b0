"""A shop whose good machines read elsewhere, and closer together, than its file expects: learning
makes verdicts right and proof cheaper, and stays calibrated. Seeded; benchmarks/learning.py plays
more of it."""

from __future__ import annotations

from statistics import fmean

import pytest

from benchmarks.learning import Stage, stages


def price(stage: Stage) -> float:
    return fmean(p.price for p in stage.played)


@pytest.mark.slow  # half a minute of planning
def test_ten_closed_jobs_make_the_next_ones_better() -> None:
    before, after, readings, counts = stages(jobs=14, counts=(0, 10), shops=2)
    assert (before.readings, after.readings) == (0.0, 10.0)
    assert after.right > before.right + 0.05  # 74 % and 84 % in the benchmark
    assert after.wrong < before.wrong - 0.05  # 18 % and 5 %
    assert price(after) < 0.85 * price(before)  # 58 and 33
    assert after.inside >= 0.95 and before.inside >= 0.95
    for stage in (before, after):
        proven = [p for p in stage.played if p.proven]
        assert sum(p.right for p in proven) >= 0.97 * len(proven)
    assert readings.right == after.right and counts.right == before.right
