"""Jobs drawn from the shipped files and played to their stop: is a proven part the right one?

Readings carry the meter's shared and random errors and the tests' own slips; intermittent,
secondary, double and unlisted faults are among the truths, as often as the file says.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from knowngood.diagnosis.assess import Setup, set_up
from knowngood.isolate.prices import Prices
from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped
from knowngood.measure.meter import load_shipped_meter
from tests.play import Played, play_oracle, play_planned
from tests.simulate import World, draw_truth

METER = load_shipped_meter("generic-6000")
EXPANSIONS = 16  # a fixed number, so that the jobs are the same on every machine


@cache
def setup_of(machine: str, complaint: str) -> Setup:
    found, problems = parse_machine(load_shipped(machine), machine)
    assert found is not None, problems
    return set_up(found, complaint, METER, Prices())


def complaints() -> list[str]:
    """Those of the mower, which the suite has the time to play."""
    machine, problems = parse_machine(load_shipped("mower-battery-56v"), "mower-battery-56v")
    assert machine is not None, problems
    return [c.id for c in machine.complaints]


def play(machine: str, complaint: str, jobs: range) -> list[tuple[World, Played]]:
    setup = setup_of(machine, complaint)
    found = []
    for seed in jobs:
        rng = np.random.default_rng([seed, 2026])
        world = World(setup.bench.table, METER, rng, draw_truth(setup.bench.table, rng))
        found.append((world, play_planned(setup, world, expansions=EXPANSIONS)))
    return found


def judge(played: list[tuple[World, Played]]) -> tuple[float, float, str]:
    """(share of stops that are proven, share of those with a truly bad part, the wrong ones)."""
    proven = [(w, p) for w, p in played if p.proven]
    wrong = [
        f"{w.table.hypotheses[w.truth].id} -> {sorted(p.named)} by {p.tests}"
        for w, p in proven
        if not p.right
    ]
    return len(proven) / len(played), 1 - len(wrong) / max(len(proven), 1), "\n".join(wrong)


def test_a_proven_part_is_the_right_one_few_jobs() -> None:
    """25 jobs of one complaint, for every run of the suite."""
    share, right, wrong = judge(play("mower-battery-56v", "dead", range(25)))
    assert share >= 0.6
    assert right >= 0.9, wrong


@pytest.mark.slow
@pytest.mark.parametrize("complaint", complaints())
def test_a_proven_part_is_the_right_one(complaint: str) -> None:
    """40 jobs a complaint. The aim is 97 % of the proven stops on a truly bad part, which so few
    jobs cannot show; three wrong ones of 40 would be far from it."""
    share, right, wrong = judge(play("mower-battery-56v", complaint, range(40)))
    print(f"{complaint}: {share:.1%} of stops proven, {right:.1%} of those right")
    assert len(wrong.splitlines()) <= 2, wrong
    assert share >= 0.4
    assert right >= 0.9


@pytest.mark.slow
def test_the_oracle_says_which_jobs_could_be_told() -> None:
    """Of 40 jobs, those that all readings together cannot tell are seldom stopped as proven on
    the wrong part, and most that can be told are."""
    played = play("mower-battery-56v", "dead", range(300, 340))
    setup = setup_of("mower-battery-56v", "dead")
    told = [play_oracle(setup, w) for w, _ in played]
    can = [p for (_, p), o in zip(played, told, strict=True) if o is not None]
    assert len(can) >= 20
    assert sum(p.proven and p.right for p in can) / len(can) >= 0.85
