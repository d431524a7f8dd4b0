"""Jobs on a bench that ngspice works (tests/spice_world.py): is a proven part the right one?

Our solver has no part in the readings; machines, corroded joints, the meter's shared error, its
noise and the slips are drawn. `python -m tests.spice_jobs 40` plays 40 jobs of each complaint.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.jobs_by_ngspice import least_share
from tests.circuit.spice import MISSING, installed
from tests.spice_jobs import MACHINES, Job, complaints, play, right_share

pytestmark = pytest.mark.skipif(not installed(), reason=MISSING)
SLOW = 6  # jobs of each complaint, for four minutes on one worker; the benchmark plays more


def judged(jobs: list[Job]) -> tuple[float, str]:
    """(share of proven stops on a truly bad part, the wrong ones)."""
    assert sum(j.unsolved for j in jobs) <= 0.02 * sum(j.asked for j in jobs) + 1
    assert sum(j.asked for j in jobs) > len(jobs)
    proven, right, wrong = right_share(jobs)
    assert proven >= 0.4 * len(jobs)
    return right / proven, "\n".join(str(j) for j in wrong)


def test_a_few_jobs_of_the_rider(tmp_path: Path) -> None:
    jobs = play("rider-start-12v", "no_crank", range(8), tmp_path)
    share, wrong = judged(jobs)
    assert share >= 0.85, wrong
    readings = [r for j in jobs for r in j.read]
    assert any(r.startswith("drop_") for r in readings)


@pytest.mark.slow
@pytest.mark.parametrize("machine", MACHINES)
def test_97_of_100_proven_parts_are_bad(machine: str, tmp_path: Path) -> None:
    """On each machine by itself: at most 3 % of the proven stops are wrong, or one of them where
    there are too few for that."""
    jobs = [j for c in complaints(machine) for j in play(machine, c, range(SLOW), tmp_path)]
    _, told = judged(jobs)
    proven, right, _ = right_share(jobs)
    assert proven - right <= max(1, 0.03 * proven), told


@pytest.mark.parametrize(
    ("right", "of", "low"),
    # Clopper and Pearson 1934: all of n right gives 0.05^(1/n), none right 0; 5 of 10 is 0.2224 in
    # tables of the exact binomial limits (one side, 95 %).
    [(15, 15, 0.05 ** (1 / 15)), (100, 100, 0.05**0.01), (0, 7, 0.0), (5, 10, 0.2224)],
)
def test_the_share_that_a_benchmark_shows_has_its_lower_limit(
    right: int, of: int, low: float
) -> None:
    assert least_share(right, of) == pytest.approx(low, abs=5e-5)
