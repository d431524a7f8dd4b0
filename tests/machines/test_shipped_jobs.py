"""Jobs drawn from every family file and played to their stop: is a proven part the right one?

A few in the suite; more with --all. The counts of the benchmark `families` are larger still.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks import kept_jobs
from benchmarks.families import jobs
from benchmarks.kept_jobs import jobs_kept, keep_job
from tests.machines.test_shipped_families import FAMILIES

WRONG_AT_MOST = 0.03  # of the stops called proven
MANY = {"pack-charger-56v": 40}
"""Its fixed order is short: one stop at the wrong part costs what ten jobs do, more are played."""


def test_a_few_jobs_end_with_the_right_part_and_are_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    every = jobs("pack-charger-56v", 4)
    played = [job.planned for job in every]
    assert all(p.right for p in played if p.proven) and any(p.proven for p in played)

    monkeypatch.setattr(kept_jobs, "FOLDER", tmp_path / "jobs")
    for job in every:
        keep_job("pack-charger-56v", "abc", job)
    with (tmp_path / "jobs" / "pack-charger-56v.jsonl").open("a") as file:
        file.write('{"commit": "abc", "seed": 9, "plan')  # the machine was switched off here
    assert jobs_kept("pack-charger-56v", "abc") == every
    assert jobs_kept("pack-charger-56v", "another") == []


@pytest.mark.slow
@pytest.mark.parametrize("name", FAMILIES)
def test_proven_parts_are_right_and_cheaper_than_the_fixed_order(name: str) -> None:
    played = jobs(name, MANY.get(name, 12))
    proven = [job.planned for job in played if job.planned.proven]
    wrong = [p for p in proven if not p.right]
    # few jobs cannot tell 3 % from 5 %: two standard deviations on top; the benchmark plays more
    allowed = WRONG_AT_MOST * len(proven) + 2 * (WRONG_AT_MOST * len(proven)) ** 0.5
    assert len(proven) >= 0.4 * len(played) and len(wrong) <= allowed, wrong
    told = [job for job in played if job.best is not None]
    assert sum(job.planned.price for job in told) < sum(job.fixed.price for job in told)
    assert sum(job.on.right for job in told) >= len(told) - 1  # who goes on to the proof finds it
