"""A variant stands on a family: overrides by id, parts replaced, each problem in its own file."""

from __future__ import annotations

import pickle
from dataclasses import replace

import pytest

from knowngood.machines.check import read_machine, report_text
from knowngood.machines.machine import Machine
from knowngood.machines.parse import draft_machine, parse_machine
from knowngood.machines.shipped import load_shipped
from knowngood.machines.tree import Line
from knowngood.machines.variant import is_variant, read_whole, written_out
from knowngood.places.library import find_machine
from tests.machines.test_guide import GUIDE

FAN = "fan-cordless"
BASE = GUIDE.split("```yaml\n")[1].split("```")[0]


def bases(name: str) -> str | None:
    return {FAN: BASE}.get(name)


def whole(text: str) -> tuple[Machine | None, list[str]]:
    """The machine of a variant of the guide's fan, and its problems as text."""
    flat = written_out(text, "mine.yaml", bases)
    machine, problems = read_machine(flat, "mine.yaml")
    return machine, [str(p) for p in problems]


MINE = """machine: fan-mine
based_on: fan-cordless
words: A fan of mine
models: [FR-22F]
faults:
  motor_open:
    weight: 4
tests:
  switch_ohms:
    minutes: 2
  lamp:
    words: Look at the lamp.
    question: is the lamp lit?
    quantity: yes_no
    condition: outside
    minutes: 0.5
    good: yes 0.99
    expect: {pack_empty: no 0.9}
"""


def test_entries_are_overridden_by_id_and_the_rest_is_the_familys() -> None:
    machine, problems = whole(MINE)
    base, _ = parse_machine(BASE, FAN)
    assert machine is not None and base is not None, problems
    assert (machine.id, machine.words, machine.models) == ("fan-mine", "A fan of mine", ("FR-22F",))
    assert machine.family == base.family
    assert machine.parts[1:] == base.parts[1:]  # the pack's number is for the model FR-20F alone
    assert machine.parts[0] == replace(base.parts[0], numbers=())
    weights = {f.id: f.weight for f in machine.faults}
    assert weights == {"pack_empty": 5, "switch_open": 3, "motor_open": 4}
    tests = {t.id: t for t in machine.tests}
    assert tests["switch_ohms"].minutes == 2
    assert tests["switch_ohms"].words == "Ohms across the switch, switched on."
    assert list(tests) == ["pack_volts", "switch_ohms", "motor_ohms", "lamp"]


def test_parts_are_replaced_and_what_is_dropped_is_named_nowhere() -> None:
    machine, problems = whole("""machine: fan-two
based_on: fan-cordless
drop: {faults: switch_open, tests: [switch_ohms], conditions: pressed}
parts:
  pack: {words: Pack, price: 50, minutes: 1, needs: [pack_out]}
  motor: {words: Motor with switch, price: 45, minutes: 9, needs: [pack_out, grille]}
""")
    assert machine is not None, problems
    assert [p.id for p in machine.parts] == ["pack", "motor"]
    assert [f.id for f in machine.faults] == ["pack_empty", "motor_open"]
    assert set(machine.complaints[0].given) == {"pack_empty", "motor_open"}
    assert [c.id for c in machine.conditions] == ["outside", "opened"]


def test_every_problem_names_the_file_that_its_line_is_of() -> None:
    text = """machine: fan-bad
based_on: blower-56v
parts:
  pack: {words: Pack, price: -3, minutes: 1, needs: [pack_out]}
faults:
  trigger_open: {wieght: 3}
"""
    _, problems = draft_machine(text, "mine.yaml")
    own = {(p.file, p.line) for p in problems}
    assert own == {("mine.yaml", 4), ("mine.yaml", 6)}
    text = text.replace("-3", "3").replace("wieght", "weight")
    _, problems = read_machine(text, "mine.yaml")
    family = load_shipped("blower-56v").splitlines()
    there = [p for p in problems if p.file == "blower-56v"]
    assert there and len(there) > len(problems) / 2
    for problem in there:  # faults of the family whose parts this variant no longer has
        assert "parts:" in family[problem.line - 1] or "part" in problem.message, str(problem)
    assert any("charger" in p.message for p in there)


def test_what_floats_is_told_at_the_line_of_the_variant() -> None:
    """An element of its own; one of the family that its own change has cut off; one it dropped."""
    head = "machine: fan-bad\nbased_on: blower-56v\n"

    def found(more: str) -> list[tuple[str, int, str]]:
        machine, problems = read_machine(head + more, "mine.yaml")
        assert machine is None
        return [(p.file, p.line, p.message) for p in problems if "is not joined" in p.message
                or "are not joined" in p.message]  # fmt: skip

    lamp = "    - {ref: L1, kind: lamp, pins: {a: X, b: Y}, ohms: 5 ohm, source: as seen}\n"
    assert [f[:2] for f in found("circuit:\n  elements:\n" + lamp)] == [("mine.yaml", 5)]
    ((file, line, message),) = found(
        "circuit:\n  elements:\n    - {ref: W7, pins: {a: drive.U, b: W}}\n"
        "    - {ref: J1, pins: {a: pack+, b: other}}\n"
        "    - {ref: J2, pins: {a: other, b: pack-}}\n")
    assert (file, line) == ("mine.yaml", 6) and message.startswith("BT1 (blower-56v line 50), J1")
    ((file, line, message),) = found("drop: {elements: [J1, J2]}\n")
    assert (file, line) == ("mine.yaml", 3) and "PLOAD (blower-56v line" in message


def test_what_floats_is_told_once_for_each_loose_piece_at_its_own_line() -> None:
    text = load_shipped("blower-56v")
    loose = "\n".join(
        f"    - {{ref: X{n}, kind: resistor, pins: {{a: n{n}, b: m{n}}}, ohms: 1 ohm}}"
        for n in (1, 2))
    text = text.replace("    # -- of the shop\n", f"{loose}\n    # -- of the shop\n")
    at = text.splitlines().index(loose.splitlines()[0]) + 1
    _, problems = read_machine(text, "mine.yaml")
    found = [p for p in problems if "not joined" in p.message]
    assert [p.line for p in found] == [at, at + 1]
    assert found[0].message.startswith("X1 is not joined") and "n1, m1" in found[0].fix


def test_a_base_that_is_none() -> None:
    def words(text: str) -> str:
        machine, problems = parse_machine(text, "mine.yaml")
        assert machine is None
        return "\n".join(str(p) for p in problems)

    assert "Did you mean chainsaw-56v?" in words("machine: a\nbased_on: chainsaw-65v\n")
    assert "mine.yaml, line 2" in words("machine: a\nbased_on: blower-58v\n")
    assert "names no family" in words("machine: a\nbased_on: [x]\n")
    assert "names no family" in words("machine: a\ndrop: {tests: x}\n")
    assert "to drop" in words("machine: a\nbased_on: blower-56v\ndrop: {tests: [verifi]}\n")
    assert "cannot be dropped" in words("machine: a\nbased_on: blower-56v\ndrop: {parts: [pack]}\n")
    assert "drop is no list" in words("machine: a\nbased_on: blower-56v\ndrop: 3\n")


def test_rings_end() -> None:
    pair = {"a": "based_on: b\n", "b": "based_on: a\n"}
    tree = read_whole(pair["a"], "a", pair.get)
    assert tree.data is None and "a ring" in tree.problems[0].message


def test_a_variant_written_out_is_the_same_machine() -> None:
    text = load_shipped("blower-80v")
    assert is_variant(text) and not is_variant(load_shipped("blower-56v"))
    flat = written_out(text, "blower-80v")
    one, _ = read_machine(text, "blower-80v")
    two, problems = read_machine(flat, "blower-80v")
    assert one is not None and two is not None, problems
    for name in ("parts", "faults", "tests", "conditions", "teardown", "wires", "release"):
        assert getattr(one, name) == getattr(two, name), name
    assert not is_variant(find_machine("blower-80v").text)


@pytest.mark.slow
def test_the_80_volt_blower_is_never_probed_live_with_its_shell_open() -> None:
    machine, report = report_text(load_shipped("blower-80v"), "blower-80v")
    assert machine is not None and machine.full_volts == 84 and report.untold == ()
    for condition in machine.conditions:
        if condition.energised and {"shell", "controller_out"} & set(condition.open):
            assert condition.volts is not None and condition.volts <= 60, condition.id


def test_a_line_of_another_file_keeps_it() -> None:
    line = pickle.loads(pickle.dumps(Line(7, "family")))
    assert line == 7 and line.file == "family"
