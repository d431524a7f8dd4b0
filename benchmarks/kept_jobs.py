"""Jobs played so far, a line each, so that a long run goes on where it was ended.

They lie in `benchmarks/results/jobs`, which is not kept with the code: only lines of the commit
that is played now count.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from benchmarks.__main__ import RESULTS
from tests.play import Played

FOLDER = RESULTS / "jobs"


@dataclass(frozen=True)
class Job:
    """One job, played by the plan, by the plan without a stop that is not proven, in fixed order
    and by an oracle (None when no test that could be taken can tell). ``told_by_all``: all tests
    can. ``seed``: of which it was drawn."""

    seed: int
    planned: Played
    on: Played
    fixed: Played
    best: Played | None
    told_by_all: bool


def keep_job(name: str, commit: str, job: Job) -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    with _file(name).open("a", encoding="utf-8") as file:
        file.write(json.dumps({"commit": commit} | asdict(job), default=sorted) + "\n")


def jobs_kept(name: str, commit: str) -> list[Job]:
    """Those of this commit, in the order of their seeds; a line cut off in the middle is none."""
    if not _file(name).exists():
        return []
    found = []
    for line in _file(name).read_text(encoding="utf-8").splitlines():
        try:
            told = json.loads(line)
        except ValueError:
            continue
        if told.pop("commit") == commit:
            found.append(_job(told))
    return sorted(found, key=lambda job: job.seed)


def _file(name: str) -> Path:
    return FOLDER / f"{name}.jsonl"


def _job(told: dict[str, Any]) -> Job:
    ways = {k: _played(v) for k, v in told.items() if isinstance(v, dict)}
    return Job(**(told | ways))


def _played(told: dict[str, Any]) -> Played:
    parts = {k: frozenset(told[k]) for k in ("named", "truth")}
    return Played(**(told | parts | {"tests": tuple(told["tests"])}))
