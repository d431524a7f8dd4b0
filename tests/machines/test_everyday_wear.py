"""Wear that a first look finds and that does not make the complaint shows out no other fault."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from knowngood.isolate.belief import Item, weigh
from knowngood.isolate.proof import judge_proof, shown_out
from knowngood.isolate.table import Table
from knowngood.machines.apart import proof_tests
from knowngood.machines.check import report_text
from knowngood.machines.machine import Machine, Test
from knowngood.machines.shipped import shipped_names
from knowngood.machines.table import build_table
from knowngood.machines.wire import wire
from knowngood.measure.meter import load_shipped_meter
from knowngood.places.library import find_machine
from knowngood.places.taking import read_for
from tests.families import each
from tests.machines.test_mower import typical
from tests.machines.tiny import TINY

PEERS = [str(f) for f in sorted((Path(__file__).parents[2] / "benchmarks/peers").glob("*.yaml"))]
FAMILY = dict(zip(PEERS, ("hedge-trimmer-36v", "chainsaw-56v"), strict=True))
METER = load_shipped_meter("generic-6000")
WEAR = {"worn", "bent", "broken", "stretched", "loose", "missing", "blocked", "jammed", "fouled",
        "out of adjustment", "out of line"}  # fmt: skip


def finds(test: Test) -> list[str]:
    """The faults that its bad answer stands for."""
    good = test.good.yes
    if good is None:
        return []
    return [f for f, e in test.expect.items()
            if e.yes is not None and (e.yes >= 0.5) != (good >= 0.5)]  # fmt: skip


def looks_at_wear(machine: Machine) -> list[Test]:
    """Yes/no tests of a machine at rest whose bad answer is wear that cannot make the first
    complaint."""
    live = {c.id for c in machine.conditions if c.energised}
    modes = {f.id: f.mode for f in machine.faults}
    dead = machine.complaints[0]
    return [
        t for t in machine.tests
        if finds(t) and t.condition not in live and not t.hazard
        and all(modes[f] in WEAR and f not in dead.given for f in finds(t))
    ]  # fmt: skip


def item(machine: Machine, test: Test, text: str, nth: int = 0) -> Item:
    reading = read_for(test, text, METER)
    assert reading.is_evidence, (test.id, text, reading.note)
    return Item(f"{test.id} {nth}", test.id, reading)


def proofs(machine: Machine, table: Table, but: set[str]) -> Iterator[tuple[str, list[Item]]]:
    """Faults of the first complaint that one test proves, with its reading taken twice."""
    given = machine.complaints[0].given
    tests = {t.id: t for t in machine.tests}
    found = {p.fault: p for p in proof_tests(machine) if p.test and p.chance >= 0.8}
    for fault in sorted(machine.faults, key=lambda f: -f.weight * given.get(f.id, 0.0)):
        if fault.id in found and fault.id in given and fault.id not in but:
            test = tests[str(found[fault.id].test)]
            text = typical(test.expect[fault.id], test)
            yield fault.id, [item(machine, test, text, n) for n in (0, 1)]


@pytest.mark.parametrize(("path", "own"), [
    pytest.param(PEERS[0], "sleeve_look", id="hedge"),
    pytest.param(PEERS[1], "housing_look", id="saw"),
])  # fmt: skip
def test_a_file_made_by_hand_has_rates_of_its_own_for_wear(path: str, own: str) -> None:
    """As its weights say, where they are not those of the family; its own look has one, too."""
    machine = find_machine(path).it
    tests = {t.id: t for t in machine.tests}
    assert all(t.everyday for t in looks_at_wear(machine))
    family = find_machine(FAMILY[path]).it
    assert own not in {t.id for t in family.tests} and tests[own].everyday
    weight, was = ({f.id: f.weight for f in m.faults} for m in (machine, family))
    for look in looks_at_wear(family):
        found = finds(look)
        more = sum(weight[f] for f in found) / sum(was[f] for f in found)
        here = tests[look.id].everyday
        assert here is not None and look.everyday is not None
        assert here / look.everyday == pytest.approx(more, rel=0.15), look.id


@pytest.mark.parametrize("name", [
    *each(sorted(shipped_names())),
    *(pytest.param(p, id=Path(p).stem, marks=pytest.mark.slow) for p in PEERS),
])  # fmt: skip
def test_everyday_wear_leaves_the_proof_of_another_part(name: str) -> None:
    machine = wire(find_machine(name).it, METER)
    table = build_table(machine, machine.complaints[0], meter=METER)
    parts = {f.id: frozenset(f.parts) for f in machine.faults}

    def believed(items: list[Item], fault: str) -> float:
        by_set = weigh(table, items).of_parts()
        return sum(p for s, p in by_set.items() if parts[fault] <= s)

    likely = [(f, i) for f, i in proofs(machine, table, set()) if believed(i, f) >= 0.6]
    assert likely
    for look in looks_at_wear(machine):
        bad = "no" if (look.good.yes or 0.0) >= 0.5 else "yes"
        for fault, items in likely[:3]:
            if look.id == items[0].test:
                continue
            found = [item(machine, look, bad), *items]
            belief = weigh(table, found)
            proof = judge_proof(belief, parts[fault])
            assert believed(found, fault) >= 0.6, (look.id, fault)
            assert proof.explained and not proof.against, (look.id, fault, proof)
            assert fault not in shown_out(belief), (look.id, fault)


@pytest.mark.parametrize(("name", "complaint", "test", "answer", "part"), [
    ("hedge-trimmer-36v", "cuts_badly", "look_edges", "yes", "blade_sharpening"),
    ("mower-battery-56v", "vibrates", "look_blade", "no", "blade_set"),
    ("string-trimmer-40v", "no_cut", "look_line", "no", "line"),
])  # fmt: skip
def test_wear_that_is_complained_of_is_still_proven_by_the_look(
    name: str, complaint: str, test: str, answer: str, part: str
) -> None:
    machine = find_machine(name).it
    by_id = {c.id: c for c in machine.complaints}
    look = next(t for t in machine.tests if t.id == test)
    found = {}
    for which in (complaint, "dead"):
        table = build_table(machine, by_id[which], meter=METER)
        found[which] = weigh(table, [item(machine, look, answer)])
    proof = judge_proof(found[complaint])
    assert proof.parts == {part} and proof.explained and proof.belief > 0.8
    elsewhere = {h.id for h in found["dead"].hypotheses if part not in h.parts}
    assert not shown_out(found["dead"]).keys() & elsewhere


def test_what_is_not_on_the_list_is_as_worn_as_anything() -> None:
    """A worn part found beside an unlisted fault is no news of it: the odds stay as they were."""
    machine = find_machine("string-trimmer-40v").it
    table = build_table(machine, machine.complaints[0], meter=METER)
    look = next(t for t in machine.tests if t.id == "look_guard")
    before = weigh(table, [])
    for answer in ("yes", "no"):
        after = weigh(table, [item(machine, look, answer)])
        fuse = [h.id for h in table.hypotheses].index("fuse_open")
        odds = [b.p[table.other][0] / b.p[fuse] for b in (before, after)]
        assert odds[1] == pytest.approx(odds[0]), answer


def test_only_a_look_that_finds_a_fault_has_an_everyday_rate() -> None:
    sound = TINY.replace("    quantity: volts\n", "    quantity: volts\n    everyday: 0.2\n", 1)
    assert sound != TINY
    machine, report = report_text(sound, "tiny")
    assert machine is None
    assert any("everyday: belongs to a yes/no test" in str(p) for p in report.problems)
