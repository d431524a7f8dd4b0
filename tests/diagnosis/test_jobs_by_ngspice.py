"""Jobs on a bench that ngspice works (tests/spice_world.py): is a proven part the right one?

Our solver has no part in the readings; machines, corroded joints, the meter's shared error, its
noise and the slips are drawn. `python -m tests.spice_jobs 40` plays 40 jobs of each complaint.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom

from tests.circuit.spice import MISSING, installed, thermal_volts
from tests.spice_jobs import MACHINES, Job, complaints, play, right_share, setup_of
from tests.spice_world import SpiceWorld

pytestmark = pytest.mark.skipif(not installed(), reason=MISSING)
SLOW = 6  # jobs of each complaint, for four minutes on one worker


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


@pytest.mark.parametrize(
    ("machine", "test", "fault"),
    [
        ("hedge-trimmer-36v", "bridge_diode", "ctrl_fet"),
        ("hedge-trimmer-36v", "motor_pairs", "motor_open"),
        ("mower-battery-56v", "bridge_diode", "ctrl_short"),
        ("mower-battery-56v", "motor_pairs", "motor_open"),
    ],
)
def test_a_diode_test_and_a_spread_read_as_a_meter_shows_them(
    machine: str, test: str, fault: str, tmp_path: Path
) -> None:
    """By ngspice, on a good machine and on one with this fault: within what is forecast."""
    setup = setup_of(machine, complaints(machine)[0])
    assert setup.bench.meter is not None
    one = next(t for t in setup.machine.tests if t.id == test)
    world = SpiceWorld(
        setup.bench.table, setup.bench.meter, np.random.default_rng(5), 0,
        machine=setup.machine, folder=tmp_path, vt=thermal_volts(tmp_path),
    )  # fmt: skip
    for marks, forecast in (((), one.good), ((fault,), one.expect[fault])):
        seen = world._true_of(one, world._way(one, marks).changes)
        kinds = {p.kind for p in forecast.pieces}
        if isinstance(seen, str):
            assert seen in kinds, (marks, seen, forecast)
            continue
        spans = [(p.low, p.high) if p.kind != "around" else (p.low - 2 * p.high, p.low + 2 * p.high)
                 for p in forecast.pieces if p.kind in ("between", "log", "around")]  # fmt: skip
        assert seen is not None and any(low - 0.02 <= seen <= high + 0.02 for low, high in spans), (
            marks, seen, forecast)  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("machine", MACHINES)
def test_97_of_100_proven_parts_are_bad(machine: str, tmp_path: Path) -> None:
    """On each machine by itself: no more wrong ones than 97 % right gives by chance, 1 in 40."""
    jobs = [j for c in complaints(machine) for j in play(machine, c, range(SLOW), tmp_path)]
    _, told = judged(jobs)
    proven, right, _ = right_share(jobs)
    assert proven - right <= binom.ppf(0.975, proven, 0.03), told
