"""What a complaint says the machine cannot do is not asked of it, until it was seen to do it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from knowngood.diagnosis.assess import Setup, assess, set_up
from knowngood.diagnosis.evidence import Evidence
from knowngood.isolate.belief import Item
from knowngood.isolate.policy import Node
from knowngood.isolate.prices import Prices
from knowngood.machines.check import read_machine, report_text
from knowngood.machines.doing import needed
from knowngood.machines.shipped import load_shipped
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.typed import read_text
from knowngood.places.complaints import as_expected
from knowngood.places.plan import plan_tree
from tests.machines.wired import WIRED

METER = load_shipped_meter("generic-6000")
DOES = "    minutes: 1\n    limits: {low: 10 V, high: 13 V}\n"
WARM = WIRED.replace(DOES, DOES + "    does: [heater warms]\n").replace(
    "    words: Cold\n", "    words: Cold\n    cannot: [heater warms]\n").replace(
    "complaints:\n", """\
  warm:
    words: Feel it
    question: is it warm?
    quantity: yes_no
    condition: live
    minutes: 1
    good: yes 0.98
    expect:
      pack_low, fuse_open, switch_bad, heater_open: no 0.98
    sees: [heater warms]
complaints:
""")  # fmt: skip


def setup_of(text: str, name: str, complaint: str) -> Setup:
    machine, problems = read_machine(text, name)
    assert machine is not None, [str(p) for p in problems]
    return set_up(machine, complaint, METER, Prices())


def read(setup: Setup, test: str, text: str) -> Item:
    found = next(t for t in setup.machine.tests if t.id == test)
    return Item(test, test, read_text(text, found.quantity, METER))


def offered(setup: Setup, *items: Item) -> tuple[set[str], dict[str, str]]:
    view = assess(setup, replace(Evidence(), items=items), deadline=None, max_expansions=4)
    return {s.id for s in view.steps if s.kind == "test"}, dict(view.held_back)


def test_what_the_complaint_rules_out_is_not_offered_until_it_was_seen() -> None:
    setup = setup_of(WARM, "wired", "cold")
    steps, held = offered(setup)
    assert "heater_volts" not in steps and "warm" in steps
    assert held["heater_volts"] == "not with this complaint, until it was seen: heater warms"
    assert "heater_volts" not in offered(setup, read(setup, "warm", "no"))[0]
    assert "heater_volts" in offered(setup, read(setup, "warm", "yes"))[0]


def test_a_reading_that_was_taken_all_the_same_shows_that_it_can_be() -> None:
    setup = setup_of(WARM, "wired", "cold")
    second = replace(next(t for t in setup.machine.tests if t.id == "heater_volts"), id="second")
    more = set_up(replace(setup.machine, tests=(*setup.machine.tests, second), digest=""), "cold",
                  METER, Prices())  # fmt: skip
    assert "second" not in offered(more)[0]
    assert "second" in offered(more, read(more, "heater_volts", "11.8"))[0]


def test_another_complaint_rules_nothing_out() -> None:
    setup = setup_of(load_shipped("rider-start-12v"), "rider", "goes_flat")
    assert {"charge_volts", "stator_volts"} <= offered(setup)[0]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("cannot: [heater warms]", "cannot: [heater warm]", "which no condition or test needs"),
        ("sees: [heater warms]", "sees: [heater warm]", "which no condition or test needs"),
        ("    does: [heater warms]\n", "    does: [heater warms]\n    sees: [heater warms]\n",
         "sees what it needs itself"),
        ("    cannot: [heater warms]\n", "    cannot: heater warms\n    shown_by: heater_volts\n",
         "cold is shown by heater_volts, which needs what cold says it cannot"),
        ("    quantity: yes_no\n", "    quantity: seconds\n", "no question of yes or no"),
    ],
)
def test_a_slip_of_these_words_is_a_problem(old: str, new: str, message: str) -> None:
    text = WARM.replace(old, new)
    if "seconds" in new:
        text = text.replace("good: yes 0.98", "good: 1 s").replace("heater_open: no 0.98",
                                                                   "heater_open: 9 s")  # fmt: skip
    _, report = report_text(text, "wired.yaml")
    found = [p for p in report.problems if message in p.message]
    assert found and all(p.line > 0 and p.fix for p in found), report.problems


def test_a_likely_fault_that_only_shows_where_it_cannot_be_read_is_noted() -> None:
    def noted(text: str) -> list[str]:
        _, report = report_text(text, "wired")
        assert report.problems == ()
        return [n.message for n in report.notes if "and no test shows it without" in n.message]

    assert noted(WARM) == []
    blind = WARM.replace("pack_low, fuse_open, switch_bad, heater_open: no", "fuse_open: no")
    blind = blind.replace(
        "cannot: [heater warms]", "cannot: [heater warms, a]").replace(
        "words: \"lid off, pack out, switch held\"", "does: a, words: dead").replace(
        "words: \"lid off, pack out\"", "does: a, words: idle").replace(
        "words: \"lid off, pack in, switch held\"", "does: a, words: live")  # fmt: skip
    assert any(m.startswith("heater_open makes cold") for m in noted(blind))


def taken(node: Node) -> Iterator[str]:
    if node.kind == "test":
        yield node.id
        for _, child in node.then:
            yield from taken(child)


@pytest.mark.parametrize(
    ("name", "complaint"),
    [("blower-56v", "dead"), ("chainsaw-56v", "dead"), ("mower-4stroke", "no_start")],
)
def test_once_a_dead_machine_was_seen_to_run_what_needs_that_is_offered(
    name: str, complaint: str
) -> None:
    setup = setup_of(load_shipped(name), name, complaint)
    runs = {"motor runs", "engine runs"}
    waits = {t.id for t in setup.machine.tests if set(needed(setup.machine, t)) & runs}
    before, held = offered(setup)
    assert waits and not before & waits and all("until it was seen" in held[t] for t in waits)
    assert not offered(setup, read(setup, "verify", "no"))[0] & waits
    first = {id for t in setup.machine.tests if t.id in waits for id in t.after} - {"verify"}
    looks = [read(setup, t.id, as_expected(t) or "") for t in setup.machine.tests
             if t.id in first and t.quantity == "yes_no"]  # fmt: skip
    after, held = offered(setup, *looks, read(setup, "verify", "yes"))
    assert after & waits and not [t for t in waits if "until it was seen" in held.get(t, "")]


@pytest.mark.parametrize(
    ("name", "complaint", "words"),
    [
        ("rider-start-12v", "no_crank", ("engine cranks", "engine runs")),
        ("rider-start-12v", "clicks", ("engine cranks", "engine runs")),
        ("mower-battery-56v", "dead", ("motor runs",)),
        ("hedge-trimmer-36v", "dead", ("motor runs",)),
        ("string-trimmer-40v", "dead", ("motor runs",)),
        ("chainsaw-56v", "dead", ("motor runs",)),
        ("blower-56v", "dead", ("motor runs",)),
        ("mower-4stroke", "no_start", ("engine runs",)),
        ("trimmer-2stroke", "no_start", ("engine runs",)),
        ("pack-charger-56v", "no_charge", ("pack charges",)),
    ],
)
def test_no_plan_asks_a_dead_machine_to_run(
    name: str, complaint: str, words: tuple[str, ...]
) -> None:
    setup = setup_of(load_shipped(name), name, complaint)
    barred = {t.id for t in setup.machine.tests if set(needed(setup.machine, t)) & set(words)}
    assert barred
    tree = plan_tree(setup, Evidence(), deadline=None, max_expansions=12)
    asked = set(taken(tree.advice.plan.policy))
    assert asked and not asked & barred
