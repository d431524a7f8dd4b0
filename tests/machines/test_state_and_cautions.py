"""What is said at a step fits the state it is taken in, for every file that comes along.

The rule is the trade's own: dead work with the source out and kept by the person who works, live
work with the source in and said so (common practice). No figure is tested here, only words.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from knowngood.diagnosis.steps import opening_order, way_there
from knowngood.machines.machine import Condition, Machine, TeardownStep, Test
from knowngood.places.complaints import look_list
from knowngood.places.library import find_machine, find_meter, shipped_machines, wired

SOURCE = r"(key and pack|pack|plug lead|battery minus|battery negative|minus clamp|charger)"
OUT = re.compile(
    rf"\b{SOURCE}( clamp)?( stays| stay)? (out|off|in another room|tied back|tucked)\b"
)
IN = re.compile(r"\b(pack and key in|pack in(?! another room)|plug lead on)\b")
"""Words that say the source is out, or in, as a state."""
LATER = re.compile(
    r"\b(at once|before|again|until|with the|is out|first, then|come off|put the|no longer|when)\b"
)
"""A clause with one of these tells what to do, not how it stands."""

MACHINES = {name: find_machine(name).it for name in shipped_machines()}


def clauses(text: str) -> Iterator[str]:
    yield from (c.strip().casefold() for c in re.split(r"[.;,]| - ", text) if c.strip())


def says(pattern: re.Pattern[str], *texts: str) -> list[str]:
    return [c for t in texts for c in clauses(t) if pattern.search(c) and not LATER.search(c)]


def each(machine: Machine) -> Iterator[tuple[Test, Condition, list[TeardownStep]]]:
    steps = {s.id: s for s in machine.teardown}
    conditions = {c.id: c for c in machine.conditions}
    for test in machine.tests:
        condition = conditions[test.condition]
        opened = opening_order(machine, condition.open, frozenset())
        yield test, condition, [steps[o] for o in opened]


@pytest.mark.parametrize("name", sorted(MACHINES))
def test_a_live_test_never_says_that_the_source_is_out(name: str) -> None:
    wrong = [
        (test.id, found)
        for test, condition, opened in each(MACHINES[name])
        if condition.energised and not any(s.role == "source out" for s in opened)
        and (found := says(OUT, test.caution, condition.caution, condition.words, test.words))
    ]  # fmt: skip
    assert wrong == []


@pytest.mark.parametrize("name", sorted(MACHINES))
def test_a_dead_test_always_says_that_the_source_is_out(name: str) -> None:
    wrong = [
        (test.id, condition.id, condition.words)
        for test, condition, opened in each(MACHINES[name])
        if not condition.energised and any(s.role == "source out" for s in opened)
        and not says(OUT, condition.words)
    ]  # fmt: skip
    assert wrong == []


@pytest.mark.parametrize("name", sorted(MACHINES))
def test_a_dead_test_never_says_that_the_source_is_in(name: str) -> None:
    wrong = [
        (test.id, found)
        for test, condition, opened in each(MACHINES[name])
        if any(s.role == "source out" for s in opened)
        and (found := says(IN, test.caution, condition.caution, condition.words))
    ]
    assert wrong == []


@pytest.mark.parametrize("name", sorted(MACHINES))
def test_what_is_opened_for_a_live_test_is_opened_with_the_source_out(name: str) -> None:
    """The pack comes out, the cover opens, the pack goes back in: in this order, on the card."""
    machine = MACHINES[name]
    wrong = []
    for condition in machine.conditions:
        way = way_there(machine, condition, frozenset())
        bared = [n for n, s in enumerate(way.off) if s.role == "shell" or says(OUT, s.caution)]
        if not condition.energised or condition.volts is not None or not bared:
            continue
        out = [n for n, s in enumerate(way.off) if s.role == "source out"]
        if not out or min(out) > min(bared) or way.back[-1].role != "source out":
            wrong.append(condition.id)
    assert wrong == []


@pytest.mark.parametrize("name", sorted(MACHINES))
def test_every_step_says_in_its_own_words_how_it_goes_back(name: str) -> None:
    machine = MACHINES[name]
    must = {c for k in machine.conditions for c in k.closed}
    silent = [s.id for s in machine.teardown if s.id in must and not s.back]
    assert [s for s in silent if not _measured(machine, s)] == []
    for step in machine.teardown:
        last = step.back.casefold().split()
        assert "open" not in last, f"{step.id} goes back with {step.back!r}"


def _measured(machine: Machine, id: str) -> bool:
    """Waiting and measuring leaves nothing that goes back."""
    return next(s for s in machine.teardown if s.id == id).role == "discharge"


AWAY = re.compile(r"another room|out of reach")
AT_THE_PACK = re.compile(r"\bpack (plus|minus)|contacts of the pack|at the pack|\bthe pack, feel")


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=pytest.mark.slow) for n in sorted(MACHINES)]
)
def test_the_pack_is_not_sent_away_while_it_is_measured(name: str) -> None:
    """With the tests that the wiring adds, which take the cautions of their state."""
    machine = wired(MACHINES[name], find_meter("generic-6000").it)
    wrong = [
        test.id
        for test, condition, _ in each(machine)
        if AWAY.search(f"{test.caution} {condition.caution}".casefold())
        and AT_THE_PACK.search(f"{test.words} {test.red} {test.black}".casefold())
    ]
    assert wrong == []


@pytest.mark.parametrize("name", sorted(MACHINES))
def test_the_first_look_is_not_asked_against_its_own_caution(name: str) -> None:
    """What stands above the first look must leave there what the looks ask about."""
    machine = MACHINES[name]
    above = machine.cautions[0].casefold() if machine.cautions else ""
    looks = [t for t in look_list(machine) if t.id not in {"look_pack", "look_terminals"}]
    states = {machine.state_of(t).words.casefold() for t in looks}
    for words in (above, *states):
        assert "cover on throughout" not in words and "chain off with gloves" not in words
    for test in looks:
        if "blade cover off" in test.words.casefold():
            assert "blade cover on" not in machine.state_of(test).words.casefold()
            assert "except where a step says off" in above
        if "chain" in test.question and not machine.state_of(test).words.endswith("chain off"):
            assert "looked at as it came in" in above
