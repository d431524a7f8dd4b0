"""The planner on the shipped mower against the family's fixed order and an oracle.

Jobs are drawn from the machine file (meter errors, slips, intermittent, double and unlisted faults)
and played three times with the same readings: always the planner's cheapest step; the family's
usual order, leaving out tests that can change nothing any more; and an oracle that knows the fault
and pays only for its proof. The stop rule is the same: both stop when a part is proven, or where
the planner finds that going on costs more than it saves; a stop without proof pays the risk of a
denied claim and, for the wrong part, a comeback and the rest of the claim. Beside it stands the
fixed order as a shop without a planner walks it, to proof or to its last test. The price of the
part itself, which nobody avoids, is left out. Counted are the jobs that an oracle can prove at all.
"""

from __future__ import annotations

import time
from statistics import fmean, median
from typing import Any

import numpy as np

from benchmarks.__main__ import LOOKED
from knowngood.diagnosis.assess import Setup, assess, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.views import Assessment
from knowngood.isolate.prices import Prices
from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped
from knowngood.measure.meter import load_shipped_meter
from tests.play import Played, play_fixed, play_oracle, play_planned
from tests.simulate import World, draw_truth

MACHINE, METER = "mower-battery-56v", load_shipped_meter("generic-6000")
LARGEST, LARGEST_SHOWS = "rider-start-12v", "no_crank"
JOBS, EXPANSIONS, SKIPPED = 20, 40, 0.15
COMMAND = "python -m benchmarks machine_plan"


def setups() -> dict[str, Setup]:
    """One a complaint."""
    machine, problems = parse_machine(load_shipped(MACHINE), MACHINE)
    if machine is None:
        raise AssertionError(problems)
    return {c.id: set_up(machine, c.id, METER, Prices()) for c in machine.complaints}


def largest() -> Setup:
    """The shipped machine with most faults, conditions and tests."""
    machine, problems = parse_machine(load_shipped(LARGEST), LARGEST)
    if machine is None:
        raise AssertionError(problems)
    return set_up(machine, LARGEST_SHOWS, METER, Prices())


Job = tuple[Played, Played, Played, Played]


def play(setup: Setup, stream: int) -> dict[bool, list[Job]]:
    """(planned, fixed with the same stop, oracle, fixed to its end) of the jobs that an oracle can
    prove, without and with skipping; ``stream`` tells the complaints' random numbers apart."""
    table = setup.bench.table
    found: dict[bool, list[Job]] = {False: [], True: []}
    first: dict[frozenset[str], Assessment] = {}
    for seed in range(JOBS):
        rng = np.random.default_rng([seed, 77, stream])
        world = World(table, METER, rng, draw_truth(table, rng))
        oracle = play_oracle(setup, world)
        if oracle is None:
            continue
        chance = np.random.default_rng([seed, 79, stream])
        skipped = {t for t in table.rows if chance.random() < SKIPPED}
        for skipping in (False, True):
            skip = (skipped if skipping else set[str]()).__contains__
            planned = play_planned(setup, world, skip=skip, expansions=EXPANSIONS, first=first)
            fixed = play_fixed(setup, world, skip=skip, expansions=EXPANSIONS)
            to_end = play_fixed(setup, world, skip=skip)
            found[skipping].append((planned, fixed, oracle, to_end))
    return found


def latency(setup: Setup, stream: int) -> tuple[float, list[float]]:
    """Seconds of processor time with the usual deadline: of the first step of all, which makes the
    bands of all tests, and from a reading to the next step after that."""
    table, seconds = setup.bench.table, []
    for seed in range(4):
        rng = np.random.default_rng([seed, 78, stream])
        world = World(table, METER, rng, draw_truth(table, rng))
        evidence = Evidence()
        for _ in range(6):
            started = time.process_time()
            view = assess(setup, evidence, clock=time.process_time)
            seconds.append(time.process_time() - started)
            if view.next is None or view.next.kind != "test" or view.proof.proven:
                break
            evidence = Evidence((*evidence.items, world.read(view.next.id)))
    return seconds[0], seconds[1:]


def run() -> dict[str, Any]:
    """The ratio (planned - oracle) / (fixed - oracle), the step time."""
    rows: list[dict[str, Any]] = []
    everything: dict[bool, list[Job]] = {False: [], True: []}
    firsts: list[float] = []
    waits: list[float] = []
    for stream, (complaint, setup) in enumerate(setups().items()):
        for skipping, played in play(setup, stream).items():
            everything[skipping] += played
            rows.append(_row(complaint, skipping, played))
        first, more = latency(setup, stream)
        firsts, waits = [*firsts, first], waits + more
    rows += [_row("all complaints", skipping, everything[skipping]) for skipping in (False, True)]
    rider_first, rider = latency(largest(), len(firsts))
    return {
        "title": "The planner on the shipped mower against a fixed order",
        "claim": "(planned - oracle) / (fixed - oracle) is at most .75, and .80 when "
        f"{SKIPPED:.0%} of the tests cannot be taken",
        "rows": rows,
        "notes": f"{__doc__}\nNext step after a reading, warm, of at most 150 ms, processor time:\n"
        f"{_waited(waits)}; the first step of all, which makes the bands of all tests: at most "
        f"{1e3 * max(firsts):.0f} ms. On the largest shipped machine ({LARGEST}, {LARGEST_SHOWS}): "
        f"{_waited(rider)}; the first step of all {1e3 * rider_first:.0f} ms.\n\n"
        + LOOKED.format(EXPANSIONS),
        "command": COMMAND,
    }


def _waited(seconds: list[float]) -> str:
    return (
        f"median {1e3 * median(seconds):.0f} ms, "
        f"95th percentile {1e3 * float(np.quantile(seconds, 0.95)):.0f} ms, "
        f"longest {1e3 * max(seconds):.0f} ms ({len(seconds)} readings)"
    )


def _row(complaint: str, skipping: bool, played: list[Job]) -> dict[str, Any]:
    planned, fixed, oracle, to_end = (fmean(p[i].price for p in played) for i in range(4))
    return {
        "complaint": complaint + (", some tests skipped" if skipping else ""),
        "jobs": len(played),
        "planned": f"{planned:.1f}",
        "fixed order": f"{fixed:.1f}",
        "oracle": f"{oracle:.1f}",
        "ratio": f"{(planned - oracle) / (fixed - oracle):.3f}",
        "fixed to its end": f"{to_end:.1f}",
        "ratio to that": f"{(planned - oracle) / (to_end - oracle):.3f}",
        "proven, planned": f"{fmean(p[0].proven for p in played):.0%}",
        "proven, fixed": f"{fmean(p[1].proven for p in played):.0%}",
    }


if __name__ == "__main__":
    answer = run()
    for row in answer["rows"]:
        print(row)
    print(answer["notes"])
