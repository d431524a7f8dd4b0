"""How a complaint is seen in the shop suits it, for every file that comes along.

A machine said to be dead is tried; it is not put to work, and what may have broken is looked at
before it is run (common practice)."""

from __future__ import annotations

import re

import pytest

from knowngood.diagnosis.assess import Setup
from knowngood.isolate.prices import Prices
from knowngood.machines.machine import Machine, Test
from knowngood.places.complaints import verifying_test
from knowngood.places.library import find_machine, make_setup, shipped_machines
from tests.machines.test_state_and_cautions import MACHINES

DOES_NOTHING = ("dead", "no_start", "no_crank", "clicks", "no_start_folded")
MAY_BE_BROKEN = ("screams", "shakes", "vibrates", "chain_comes_off", "brake_fails", "damaged")


WORK = re.compile(r"\b(cut|cutting|log|mow|mowing|load|shaken?|knock|swing)\b")


def first_try(machine: Machine, complaint: str) -> Test:
    setup = Setup(machine, None)  # type: ignore[arg-type]  # no table is looked at
    found = verifying_test(setup, complaint)
    assert found is not None
    return found


def asked(*ids: str) -> list[tuple[str, str]]:
    return [(n, c.id) for n, m in MACHINES.items() for c in m.complaints if c.id in ids]


def test_every_shipped_complaint_says_how_it_is_seen() -> None:
    assert set(MACHINES) == set(shipped_machines())
    assert [(n, c.id) for n, m in MACHINES.items() for c in m.complaints if not c.shown_by] == []


@pytest.mark.parametrize(("name", "complaint"), asked(*DOES_NOTHING))
def test_a_dead_machine_is_tried_and_not_put_to_work(name: str, complaint: str) -> None:
    machine = MACHINES[name]
    test = first_try(machine, complaint)
    (condition,) = (c for c in machine.conditions if c.id == test.condition)
    assert condition.energised  # tried with the source in
    said = f"{test.words} {condition.words}".casefold()
    assert WORK.search(said) is None


@pytest.mark.parametrize(("name", "complaint"), asked(*MAY_BE_BROKEN))
def test_what_may_be_broken_is_looked_at_before_it_runs(name: str, complaint: str) -> None:
    machine = MACHINES[name]
    test = first_try(machine, complaint)
    assert not next(c for c in machine.conditions if c.id == test.condition).energised


def test_without_a_word_of_the_file_the_shortest_of_those_that_tell_as_much() -> None:
    """The dead saw: working it in a log shows it no better than squeezing the trigger."""
    machine = find_machine("chainsaw-56v").it
    setup = make_setup(machine, "dead", None, Prices())
    found = verifying_test(setup)
    assert found is not None and found.id == "verify"
