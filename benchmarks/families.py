"""The planner on every shipped family file, jobs drawn from the file itself.

Each job draws a complaint as often as the file's weights make it, then a fault (listed ones,
also two at a time; "something else" and "no fault" are drawn but left out of the counts), and
plays it with noisy readings, slips and one test in seven that cannot be taken. Planner and fixed
order see the same readings, and both end when a part is proven. The planner also stops where going
on costs more than it saves; the fixed order has no such stop and walks on to its last test
(`python -m benchmarks machine_plan` has it with the planner's stop beside it, on the mower). A stop
without proof pays the risk of a denied claim and, for other parts than the whole cure, a comeback
and the rest of the claim. Right: every part named is truly bad.
`can be told`: the tests that could be taken on that job (not passed over, nor behind one that was,
nor in need of a machine that runs when it does not) prove the true part, taken all together, those
that the proof hangs on twice. Of these, `right at the stop`: the part named where the plan stops,
proven or not; it stops without proof where going on would cost more than it saves.
`right, going on`: the same jobs where the person takes no such stop but the cheapest test that is
left, until the part is proven or no test is left. `told by all`: the tests tell if none had been
passed over, as nobody can look at a job; `right of these` counts, at the stop, what the tests out
of reach cost, too. Knowing the fault, the best plan pays only for the proof (tests are taken away
from the set of those that could be taken, the dearest first); its mean is over the jobs that can be
told, as are the other two prices, both to the stop. A job that has not come to a stop after
{MOST_STEPS} steps counts as given up, with no part named. A test planned for one job is taken again
on the next one whose readings fall into the same bands; belief, proof and stop are each job's own.
Each row tells its commit; up to 1b1b9f6 every step was planned anew.

    python -m benchmarks.families [JOBS] [MINUTESm] [FAMILY ...]

plays that many jobs a family and prints the rows; without a count, JOBS. With minutes (such as
`90m`) the families take turns, ten jobs each, until the count or the time is up; the rows so far
are printed after every round, and the next run at the same commit goes on with them (`kept_jobs`;
its plans are then made anew). `--keep` writes the rows where the page of benchmarks reads them,
beside those of the families that were not played now.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from functools import partial
from itertools import count, islice
from statistics import fmean
from typing import Any

import numpy as np

from benchmarks.__main__ import LOOKED, RESULTS, keep, origin
from benchmarks.kept_jobs import Job, jobs_kept, keep_job
from knowngood.diagnosis.assess import Setup, set_up
from knowngood.diagnosis.views import Assessment
from knowngood.isolate.prices import Prices
from knowngood.machines.machine import Machine
from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped, shipped_names
from knowngood.machines.variant import is_variant
from knowngood.measure.meter import load_shipped_meter
from tests.play import (
    MOST_STEPS,
    Played,
    Ways,
    play_fixed,
    play_planned,
    play_shrunk,
    told_by_all,
    within_reach,
)  # fmt: skip
from tests.simulate import World, draw_truth

METER = load_shipped_meter("generic-6000")
JOBS, ROUND, EXPANSIONS, SKIPPED = 20, 10, 30, 0.15
COMMAND = "python -m benchmarks families"


def read(name: str) -> Machine:
    machine, problems = parse_machine(load_shipped(name), name)
    if machine is None:
        raise AssertionError(problems)
    return machine


def complaints(machine: Machine) -> tuple[list[str], list[float]]:
    """Ids of the complaints, and how often each comes in."""
    mass = [sum(f.weight * c.given.get(f.id, c.others) for f in machine.faults)
            for c in machine.complaints]  # fmt: skip
    return [c.id for c in machine.complaints], [m / sum(mass) for m in mass]


def jobs(name: str, most: int) -> list[Job]:
    """The first jobs of `played`."""
    return list(islice(played(name), most))


def played(name: str, seed: int = 0) -> Iterator[Job]:
    """A job of each listed fault drawn, without end, from this seed on; the same in the same order
    every time."""
    machine = read(name)
    ids, chances = complaints(machine)
    setups: dict[str, Setup] = {}
    first: dict[str, dict[frozenset[str], Assessment]] = {}
    ways: dict[str, Ways] = {}
    for drawn in count(seed):
        rng = np.random.default_rng([drawn, 91])
        complaint = ids[int(rng.choice(len(ids), p=chances))]
        if complaint not in setups:
            setups[complaint] = set_up(machine, complaint, METER, Prices())
        setup = setups[complaint]
        table = setup.bench.table
        world = World(table, METER, rng, draw_truth(table, rng))
        if not table.hypotheses[world.truth].parts:
            continue
        gone = {t for t in table.rows if rng.random() < SKIPPED}
        plan = partial(play_planned, setup, world, skip=gone.__contains__, expansions=EXPANSIONS,
                       first=first.setdefault(complaint, {}), ways=ways.setdefault(complaint, {}),
                       tires=True)  # fmt: skip
        planned = on = plan()
        fixed = play_fixed(setup, world, skip=gone.__contains__)
        best = play_shrunk(setup, world, within_reach(setup, world, gone.__contains__))
        if best is not None and not planned.proven:
            on = plan(goes_on=True)
        told = best is not None
        if not told:
            whole = told_by_all(world)
            told = whole.proven and whole.parts == table.hypotheses[world.truth].parts
        yield Job(drawn, planned, on, fixed, best, told)


def row(name: str, played: list[Job]) -> dict[str, Any]:
    proven = [j.planned for j in played if j.planned.proven]
    unproven = [j.planned for j in played if not j.planned.proven]
    told = [j for j in played if j.best is not None]
    by_all = [j.planned for j in played if j.told_by_all]
    planned, fixed = fmean(j.planned.price for j in told), fmean(j.fixed.price for j in told)
    best = fmean(j.best.price for j in told if j.best is not None)
    return {
        "family": name,
        "jobs": len(played),
        "proven": f"{len(proven) / len(played):.0%}",
        "right of proven": share(proven),
        "right of unproven": share(unproven),
        "can be told": len(told),
        "right at the stop": share([j.planned for j in told]),
        "right, going on": share([j.on for j in told]),
        "told by all": len(by_all),
        "right of these": share(by_all),
        "right of all": share([j.planned for j in played]),
        "planned": f"{planned:.1f}",
        "fixed order": f"{fixed:.1f}",
        "saved": f"{1 - planned / fixed:.0%}",
        "best plan": f"{best:.1f}",
        "steps": f"{fmean(len(j.planned.tests) for j in played):.1f}",
        "commit": origin()["commit"],
    }


def beside(rows: list[dict[str, Any]], kept: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The new rows, and those kept of the families that were not played now."""
    new = {r["family"]: r for r in rows}
    old = {r["family"]: r | {"commit": r.get("commit", "")} for r in kept}
    return [(old | new)[name] for name in families() if name in old | new]


def share(some: list[Played]) -> str:
    """How many of these ended with the right part."""
    return f"{sum(p.right for p in some) / len(some):.1%}" if some else "-"


def families(names: tuple[str, ...] = ()) -> list[str]:
    return list(names) or [n for n in shipped_names() if not is_variant(load_shipped(n))]


def run(most: int = JOBS, names: tuple[str, ...] = ()) -> dict[str, Any]:
    rows = []
    for name in families(names):
        rows.append(row(name, jobs(name, most)))
        print(rows[-1], flush=True)
    return result(rows)


def in_turns(most: int, minutes: float, names: tuple[str, ...] = ()) -> dict[str, Any]:
    """`run`, ten jobs of each family in turn, until the count or the time is up; with those that a
    run before played at the same commit."""
    end, commit = time.monotonic() + 60 * minutes, origin()["commit"]
    found = {name: jobs_kept(name, commit) for name in families(names)}
    players = {name: played(name, some[-1].seed + 1 if some else 0) for name, some in found.items()}
    rows = [row(name, some) for name, some in found.items() if some]
    while min(len(some) for some in found.values()) < most and time.monotonic() < end:
        for name, player in players.items():
            for job in islice(player, max(min(ROUND, most - len(found[name])), 0)):
                keep_job(name, commit, job)
                found[name].append(job)
        rows = [row(name, some) for name, some in found.items()]
        print(json.dumps(rows), flush=True)
    return result(rows)


def result(rows: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "title": "The planner on the shipped families",
        "claim": "Of the stops called proven, and of the jobs that the tests within reach can "
        "tell, where the plan stops, at least 97 % name a part that is truly bad, and the mean "
        "price to the stop is below that of the family's fixed order, walked to the "
        "proof or to its last test.",
        "rows": rows,
        "notes": (__doc__ or "").split("\n\n    python")[0].format(MOST_STEPS=MOST_STEPS)
        + f"\n\n{LOOKED.format(EXPANSIONS)}"
        + "\n\nMore jobs: `python -m benchmarks.families 2000 [FAMILY ...]`.",
        "command": COMMAND,
    }


if __name__ == "__main__":
    words = sys.argv[1:]
    counts = [int(a) for a in words if a.isdigit()]
    times = [float(a[:-1]) for a in words if a.endswith("m") and a[:-1].isdigit()]
    named = tuple(a for a in words if a in shipped_names())
    many = counts[0] if counts else JOBS
    made = in_turns(many, times[0], named) if times else run(many, named)
    if "--keep" in words:
        before = RESULTS / "families.json"
        kept = json.loads(before.read_text(encoding="utf-8"))["rows"] if before.exists() else []
        keep("families", made | {"rows": beside(made["rows"], kept)})
