"""What it costs to insist on a proof, and how often that gets one.

Jobs drawn from the shipped mower, played twice with the same readings: at the usual prices, where a
claim without proof is denied in about a third of the cases, and in a shop that is never paid
without one and whose claims are worth four times as much. Only jobs that can be told are counted:
all tests together, read anew where a proof hangs on one touch of the probes, prove the right part.
Faults that come and go are drawn as the file says: in one visit they may not show.
"""

from __future__ import annotations

from statistics import fmean
from typing import Any

import numpy as np

from benchmarks.__main__ import LOOKED
from benchmarks.machine_plan import EXPANSIONS, MACHINE, METER
from knowngood.diagnosis.assess import set_up
from knowngood.diagnosis.views import Assessment
from knowngood.isolate.prices import Prices
from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped
from tests.play import Played, play_planned, told_by_all
from tests.simulate import World, draw_truth

JOBS = 8
USUAL = Prices()
INSISTS = Prices(claim_worth=4 * USUAL.claim_worth, denied=1.0)


def run() -> dict[str, Any]:
    """One row a complaint and kind of fault, then all."""
    machine, problems = parse_machine(load_shipped(MACHINE), MACHINE)
    if machine is None:
        raise AssertionError(problems)
    rows, every = [], dict[bool, list[tuple[Played, Played]]]({False: [], True: []})
    for complaint in machine.complaints:
        setups = [set_up(machine, complaint.id, METER, p) for p in (USUAL, INSISTS)]
        table = setups[0].bench.table
        first: list[dict[frozenset[str], Assessment]] = [{}, {}]
        found: dict[bool, list[tuple[Played, Played]]] = {False: [], True: []}
        for seed in range(JOBS):
            rng = np.random.default_rng([seed, 77])
            world = World(table, METER, rng, draw_truth(table, rng))
            fault = table.hypotheses[world.truth]
            told = told_by_all(world)
            if not fault.parts or not told.proven or told.parts != fault.parts:
                continue
            usual, insists = (
                play_planned(setup, world, expansions=EXPANSIONS, first=begins, tires=True)
                for setup, begins in zip(setups, first, strict=True)
            )
            found[fault.shows is not None].append((usual, insists))
        for comes_and_goes, played in found.items():
            every[comes_and_goes] += played
            if played:
                rows.append(_row(complaint.id, comes_and_goes, played))
    rows += [_row("all complaints", kind, played) for kind, played in every.items() if played]
    return {
        "title": "Insisting on a proof",
        "claim": (
            "Of the jobs that can be told, nine of ten whose fault stays end proven at the "
            "usual prices; stops without proof are mostly faults that come and go. How many more "
            "of those insisting proves is in the rows."
        ),
        "rows": rows,
        "notes": f"{__doc__}\nMinutes are those of the tests and what they open, back and forth. "
        + LOOKED.format(EXPANSIONS),
        "command": "python -m benchmarks insisting",
    }


def _row(
    complaint: str, comes_and_goes: bool, played: list[tuple[Played, Played]]
) -> dict[str, Any]:
    row: dict[str, Any] = {
        "complaint": complaint,
        "faults": "come and go" if comes_and_goes else "stay",
        "jobs": len(played),
    }
    for k, how in enumerate(("usual", "insisting")):
        row[f"proven, {how}"] = f"{fmean(p[k].proven for p in played):.0%}"
        row[f"minutes, {how}"] = f"{fmean(_minutes(p[k], (USUAL, INSISTS)[k]) for p in played):.0f}"
        row[f"right, {how}"] = f"{fmean(p[k].right for p in played):.0%}"
    return row


def _minutes(job: Played, prices: Prices) -> float:
    end = (0.0 if job.whole else prices.wrong) + (0.0 if job.proven else prices.unproven)
    return (job.price - end) * 60.0 / prices.bench_rate


if __name__ == "__main__":
    for line in run()["rows"]:
        print(line)
