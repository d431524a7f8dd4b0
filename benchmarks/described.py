"""Machines described by answers alone, against files made by hand.

Three machines of our own invention are described with the questions of `machine new`, on top of a
family. Each file must be sound. Then the same jobs, drawn from the file made by hand of the same
machine, with the same readings, are planned by both files; what the planner pays is compared. The
files made by hand are the shipped 80 V blower, which differs from its family in volts, parts and
what may be tested live, and two in benchmarks/peers, written without the answers as somebody would
who has had the model on the bench for years: own weights, prices and minutes, parts sold as one,
other resistances, a look that the family does not know, another usual order. All three are changes
to the family on which the answers stand, too, as a shop would write them.

    python -m benchmarks.described [JOBS]
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import fmean, stdev
from typing import Any

import numpy as np

from benchmarks.__main__ import LOOKED
from benchmarks.families import EXPANSIONS, METER, complaints, read
from knowngood.diagnosis.assess import Setup, set_up
from knowngood.isolate.prices import Prices
from knowngood.machines.check import report_text
from knowngood.machines.machine import Machine
from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped
from knowngood.machines.template import new_file
from knowngood.machines.variant import written_out
from tests.play import Ways, play_planned
from tests.simulate import World, draw_truth

JOBS = 300
SIGNS_A_SECOND = 1.5  # typed with one thumb, and reading the plate meanwhile; an assumption
COMMAND = "python -m benchmarks described"
PEERS = Path(__file__).parent / "peers"  # made by hand for this comparison, not shipped


@dataclass(frozen=True)
class Invented:
    """``hand``: the file it is compared with, shipped or among the peers; ``family``: what the
    answers stand on."""

    hand: str
    family: str
    answers: Mapping[str, str]


MACHINES = (
    Invented("blower-80v", "blower-56v", {
        "maker": "Fenwick & Rowe", "model": "FR-82", "cells": "20", "brake": "none",
        "controls": "trigger: speed; cruise lever: holds it", "hall": "yes", "motor_wires": "3",
        "connectors": "all plugs", "screws": "9 T20 18 mm", "one_part": "motor, impeller"}),
    Invented("hedge-tx36", "hedge-trimmer-36v", {
        "maker": "Tolmin", "model": "TX-36", "cells": "10 cells", "brake": "electric",
        "controls": "rear trigger: runs; front bar: runs", "hall": "yes", "motor_wires": "3",
        "connectors": "motor leads soldered", "screws": "8 T15 14 mm",
        "one_part": "motor, gear_set"}),
    Invented("saw-bs57", "chainsaw-56v", {
        "maker": "Brackwater", "model": "BS-57", "cells": "14", "brake": "mechanical, 0.15 s",
        "controls": "lock-off: blocks the trigger; trigger: speed; guard: brake", "hall": "yes",
        "motor_wires": "3", "connectors": "all plugs", "screws": "6 T25 20 mm",
        "one_part": "brake_switch, switch_harness"}),
)  # fmt: skip


def made_by_hand(one: Invented) -> Machine:
    """The file of the same machine that a person wrote."""
    peer = PEERS / f"{one.hand}.yaml"
    if not peer.exists():
        return read(one.hand)
    machine, problems = parse_machine(
        written_out(peer.read_text(encoding="utf-8"), one.hand), one.hand
    )
    if machine is None:
        raise AssertionError(problems)
    return machine


def describe(one: Invented) -> tuple[Machine, list[str], float]:
    """The machine of the answers, what the check finds, and the seconds of the program."""
    start = time.perf_counter()
    text = new_file("described", one.family, "", one.answers)
    seconds = time.perf_counter() - start
    _, report = report_text(text, "described")
    machine, problems = parse_machine(written_out(text, "described"), "described")
    if machine is None:
        raise AssertionError(problems)
    return machine, [str(p) for p in report.problems], seconds


def halved(one: Invented) -> Machine:
    """The described machine without every other test that its complaints can do without."""
    base = new_file("described", one.family, "", one.answers)
    whole, _ = parse_machine(written_out(base, "described"), "described")
    assert whole is not None
    shown = {t for c in whole.complaints for t in c.shown_by}
    gone = [t.id for t in whole.tests if t.id not in shown][::2]
    text = f"machine: halved\nbased_on: described\ndrop: {{tests: [{', '.join(gone)}]}}\n"
    bases = {"described": base, one.family: load_shipped(one.family)}.get
    machine, problems = parse_machine(written_out(text, "halved", bases), "halved")
    if machine is None:
        raise AssertionError(problems)
    return machine


def jobs(one: Invented, count: int) -> list[tuple[float, ...]]:
    """(price with the file made by hand, price with the described one) of the same jobs."""
    return played(made_by_hand(one), [describe(one)[0]], count)


def played(hand: Machine, others: Sequence[Machine], count: int) -> list[tuple[float, ...]]:
    """Prices of the same jobs, drawn from the file made by hand, with it and with each other."""
    ids, chances = complaints(hand)
    setups: dict[str, list[tuple[Setup, Ways]]] = {}
    found: list[tuple[float, ...]] = []
    seed = 0
    while len(found) < count:
        rng = np.random.default_rng([seed, 17])
        seed += 1
        complaint = ids[int(rng.choice(len(ids), p=chances))]
        if complaint not in setups:
            setups[complaint] = [
                (set_up(m, complaint, METER, Prices()), {}) for m in (hand, *others)
            ]
        table = setups[complaint][0][0].bench.table
        world = World(table, METER, rng, draw_truth(table, rng))
        if not table.hypotheses[world.truth].parts:
            continue
        prices = []
        for setup, ways in setups[complaint]:  # a test that the world has not is passed over
            unknown = set(setup.bench.table.rows) - set(table.rows)
            prices.append(play_planned(setup, world, expansions=EXPANSIONS, tires=True, ways=ways,
                                       skip=unknown.__contains__).price)  # fmt: skip
        found.append(tuple(prices))
    return found


def over(prices: Sequence[tuple[float, ...]], most: float, which: int = 1) -> tuple[float, float]:
    """(mean, its standard error) of the price by which a file's jobs are dearer than ``most`` times
    the same jobs with the file made by hand."""
    less = [p[which] - most * p[0] for p in prices]
    return fmean(less), stdev(less) / math.sqrt(len(less))


def row(one: Invented, count: int) -> dict[str, Any]:
    _, problems, seconds = describe(one)
    prices = jobs(one, count)
    hand, described = (fmean(p[k] for p in prices) for k in (0, 1))
    more, error = over(prices, 1.0)
    signs = sum(len(a) for a in one.answers.values())
    return {
        "described": f"{one.answers['maker']} {one.answers['model']}",
        "on top of": one.family,
        "compared with": one.hand,
        "answers": len(one.answers),
        "signs typed": signs,
        "minutes at 1.5 signs a second": f"{signs / SIGNS_A_SECOND / 60:.1f}",
        "seconds of the program": f"{seconds:.1f}",
        "problems": len(problems),
        "jobs": count,
        "price, made by hand": f"{hand:.1f}",
        "price, described": f"{described:.1f}",
        "described / by hand": f"{described / hand:.3f}",
        "dearer by, with its standard error": f"{more:.1f} +- {error:.1f}",
    }


def run(count: int = JOBS) -> dict[str, Any]:
    rows = []
    for one in MACHINES:
        rows.append(row(one, count))
        print(rows[-1], flush=True)
    return {
        "title": "Machines described by answers",
        "claim": "A machine described by answers alone passes the check and takes under five "
        "minutes, and its jobs cost at most a tenth more than with a file of the same machine made "
        "by hand.",
        "rows": rows,
        "notes": (__doc__ or "").split("\n\n    python")[0]
        + f"\n\n{LOOKED.format(EXPANSIONS)}",
        "command": COMMAND,
    }


if __name__ == "__main__":
    run(*(int(a) for a in sys.argv[1:2]))
