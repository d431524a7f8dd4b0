"""Whole jobs on a bench that ngspice works: is a part called proven truly bad?

Each job draws a fault as often as the file and the complaint make it, and one machine of its kind:
every value between good machines, every ohm of a corroded joint, the way in which the fault comes.
What the leads see is ngspice's solution of that wiring, not ours; the meter's shared error, its
noise, slips and what no lead reads are drawn (tests/spice_world.py). The planner plays it to its
stop, each time the cheapest next step; a test planned for one job is taken again on the next one
whose readings fall into the same bands, while belief, proof and stop are each job's own.

    python -m benchmarks.jobs_by_ngspice [JOBS] [MINUTESm] [--keep]

plays that many jobs of each complaint, or twenty of each in turn until the time is up; with
`--keep` the rows are kept for the page of benchmarks. One complaint: `python -m tests.spice_jobs`.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from statistics import fmean
from typing import Any

from scipy.stats import binomtest

from benchmarks.__main__ import LOOKED
from tests.play import Ways
from tests.spice_jobs import EXPANSIONS, MACHINES, Job, complaints, play, right_share

JOBS, ROUND = 20, 5
ALL = "all"
LIMIT = (
    "\n\n`at least (95 %)`: lower limit of the share, one side, of all jobs of a machine (exact"
    " binomial, Clopper and Pearson 1934)."
)
COMMAND = "python -m benchmarks jobs_by_ngspice"


def least_share(right: int, proven: int) -> float:
    """Lower limit of the true share, one side, 95 %: exact binomial, Clopper and Pearson,
    Biometrika 26 (1934)."""
    if not proven:
        return 0.0
    return float(binomtest(right, proven, alternative="greater").proportion_ci(0.95).low)


def row(machine: str, complaint: str, jobs: list[Job]) -> dict[str, Any]:
    proven, right, _ = right_share(jobs)
    return {
        "machine": machine,
        "complaint": complaint,
        "jobs": len(jobs),
        "proven": proven,
        "right of proven": right,
        "share": f"{right / max(proven, 1):.1%}",
        "at least (95 %)": f"{least_share(right, proven):.1%}" if complaint == ALL else "",
        "steps": f"{fmean(len(j.played.tests) for j in jobs):.1f}",
        "readings by ngspice": sum(j.asked for j in jobs),
        "without its answer": sum(j.unsolved for j in jobs),
    }


def run(count: int = JOBS, minutes: float = 600.0) -> dict[str, Any]:
    """`count` jobs of each complaint, in turns, or fewer when the time is up."""
    end = time.monotonic() + 60 * minutes
    found: dict[tuple[str, str], list[Job]] = {
        (m, c): [] for m in MACHINES for c in complaints(m)
    }
    ways: dict[tuple[str, str], Ways] = {key: {} for key in found}
    with tempfile.TemporaryDirectory() as name:
        for start in range(0, count, ROUND):
            if start and time.monotonic() > end:
                break
            for (machine, complaint), jobs in found.items():
                seeds = range(start, min(start + ROUND, count))
                jobs += play(machine, complaint, seeds, Path(name),
                             ways[machine, complaint])  # fmt: skip
            for machine in MACHINES:
                print(whole(machine, found), flush=True)
    rows = [row(m, c, jobs) for (m, c), jobs in found.items()]
    rows += [whole(m, found) for m in MACHINES]
    wrong = [f"{m}, {j}" for (m, _), jobs in found.items() for j in right_share(jobs)[2]]
    told = "\n\nWrong ones:\n\n" + "\n".join(f"- {w}" for w in wrong) if wrong else ""
    return {
        "title": "Jobs read by ngspice",
        "claim": "Of the stops called proven at least 97 % name a part that is truly bad, on all"
        " three machines, when another solver makes the readings.",
        "rows": rows,
        "notes": (__doc__ or "").split("\n\n    python")[0]
        + f"\n\n{LOOKED.format(EXPANSIONS)}" + LIMIT + told,
        "command": COMMAND,
    }


def whole(machine: str, found: dict[tuple[str, str], list[Job]]) -> dict[str, Any]:
    jobs = [j for (m, _), some in found.items() if m == machine for j in some]
    return row(machine, ALL, jobs)


if __name__ == "__main__":
    words = sys.argv[1:]
    counts = [int(a) for a in words if a.isdigit()]
    times = [float(a[:-1]) for a in words if a.endswith("m") and a[:-1].isdigit()]
    made = run(counts[0] if counts else JOBS, times[0] if times else 600.0)
    if "--keep" in words:
        from benchmarks.__main__ import keep

        keep("jobs_by_ngspice", made)
