"""Stated belief against how often it is true, and how many jobs end without proof.

The measures, jobs and bars are those of the tests (tests/isolate/test_calibration.py and
tests/diagnosis/test_simulated_jobs.py), which only say that a bar is kept; here are the figures.

    python -m benchmarks calibration
"""

from __future__ import annotations

from typing import Any

from benchmarks.__main__ import LOOKED
from tests.diagnosis.test_simulated_jobs import EXPANSIONS, complaints, judge, play
from tests.isolate.test_calibration import ELSEWHERE, Stated, stated_beliefs

MACHINE = "mower-battery-56v"
BELIEFS, FROM_ELSEWHERE, PLAYED = 2500, 800, 60


def believed(jobs_from: str, stated: Stated, bar: float = 0.015) -> dict[str, Any]:
    """Of jobs with up to five random tests each: how far stated beliefs are off."""
    found, (slope, error) = stated.found(), stated.slope()
    return {
        "jobs from": jobs_from,
        "jobs": len(stated.true),
        "calibration error": f"{found.error:.4f}",
        "bar": f"{bar:g}",
        "believed 95 % and wrong": f"{found.sure:.1%}",
        "slope": f"{slope:.3f} ± {2 * error:.3f}",
        "stops unproven": "",
        "right of proven": "",
    }


def stopped(complaint: str, jobs: range) -> dict[str, Any]:
    """Of jobs that the planner plays to its stop: the share without proof, and what proof is
    worth."""
    share, right, _ = judge(play(MACHINE, complaint, jobs))
    return {
        "jobs from": f"{MACHINE}, {complaint}, played to the stop",
        "jobs": len(jobs),
        "calibration error": "",
        "bar": "",
        "believed 95 % and wrong": "",
        "slope": "",
        "stops unproven": f"{1 - share:.1%}",
        "right of proven": f"{right:.1%}",
    }


def run(
    beliefs: int = BELIEFS, elsewhere: int = FROM_ELSEWHERE, played: int = PLAYED
) -> dict[str, Any]:
    """Jobs of the model, from elsewhere, and of every complaint of the mower."""
    rows = [
        believed("the model, read once", stated_beliefs(beliefs, 11)),
        believed(
            "the model, read up to three times", stated_beliefs(beliefs // 2, 11, most_times=3)
        ),
    ]
    for name, case in ELSEWHERE.items():
        jobs = stated_beliefs(elsewhere, 13, weight=case.weight, **case.world)  # type: ignore[arg-type]
        rows.append(believed(name, jobs, case.bar))
    rows += [stopped(c, range(played)) for c in complaints()] if played else []
    return {
        "title": "Calibration",
        "claim": "On jobs drawn from the model the calibration error is at most 0.015 and the"
        " slope 1 (within its error); on jobs from elsewhere it stays under its bar.",
        "rows": rows,
        "notes": "Calibration error: mean distance of stated belief and share true over ten bands"
        " of belief, weighted by how many lie in each. Slope: the power to which all beliefs must"
        " be raised to be likeliest (Cox 1958), ± two standard errors. Believed 95 % and wrong: of"
        " the sets of parts believed by 95 % or more, those that were not the bad ones. Stops"
        " unproven: the plan stops without proof where that is cheaper than the steps to one. "
        + LOOKED.format(EXPANSIONS),
        "command": "python -m benchmarks calibration",
    }
