"""Part numbers of a variant: by model and serial range, with where each was read."""

from __future__ import annotations

import difflib
from pathlib import Path

import pytest

from knowngood.cli import main
from knowngood.machines.check import read_machine
from knowngood.machines.edit import EditError, with_item
from knowngood.machines.machine import Machine
from knowngood.machines.template import answered
from knowngood.machines.variant import written_out
from knowngood.places.library import part_number, read_at
from tests.machines.test_guide import GUIDE
from tests.machines.test_variant import bases

OX = """\
# Ida's blower; the plate is under the grip
machine: ox-80
based_on: blower-56v
words: Ox blower
models: [OX-80, OX-80X]   # both stand in the list
numbers:
  controller:             # read off two boards
    - {number: OX-4409, models: OX-80, serial_to: A4999}  # the old one
    - {number: OX-4410, models: OX-80, serial_from: A5000, read_at: plate on the board}
    - number: OX-4500
      models: [OX-80X]

# end note: ask Ida
"""


def sound(text: str) -> Machine:
    machine, problems = read_machine(text, "ox.yaml")
    assert machine is not None, "\n".join(str(p) for p in problems)
    return machine


def added(before: str, after: str) -> list[str]:
    """The lines that are new; no other one has changed."""
    rows = [r for r in difflib.ndiff(before.splitlines(), after.splitlines()) if r[0] in "+-"]
    assert all(row[0] == "+" for row in rows), rows
    return [row[2:] for row in rows]


@pytest.mark.parametrize("text", [OX, written_out(OX, "ox.yaml")], ids=["variant", "written out"])
def test_model_and_serial_choose_the_number(text: str) -> None:
    part = next(p for p in sound(text).parts if p.id == "controller")
    assert part_number(part, "OX-80", "A4200") == "OX-4409"
    assert part_number(part, "OX-80", "A12000") == "OX-4410"
    assert read_at(part, "OX-80", "A12000") == "plate on the board"
    assert part_number(part, "OX-80X", "") == "OX-4500"
    assert part_number(part, "OX-80", "") == ""  # the serial decides, and is not known
    assert part_number(part, "BB-5650", "A1") == ""  # the family's own model
    assert part.price > 0 and part.needs  # all else is the family's


@pytest.mark.parametrize(("old", "new", "said"), [
    ("  controller:", "  controler:", "no part controler. Did you mean controller"),
    ("- {number: OX-4409, models: OX-80,", "- {nubmer: OX-4409, models: OX-80,", "has no number"),
    ("serial_from: A5000", "serial_from: A4000", "fit the same OX-80"),
    ("serial_from: A5000", "serial_from: A5000, serial_to: A1", "comes after the last"),
])  # fmt: skip
def test_a_problem_has_its_line_in_the_variant_and_the_way_out(
    old: str, new: str, said: str
) -> None:
    assert OX.count(old) == 1
    text = OX.replace(old, new)
    machine, problems = read_machine(text, "ox.yaml")
    assert machine is None
    (one,) = (p for p in problems if said in str(p))
    at = text.splitlines()[one.line - 1]
    assert one.file == "ox.yaml" and one.fix and ("contr" in at or new in at), at


@pytest.mark.parametrize("value", ["OX-4410", "[OX-4410]", "{controller: OX-4410}",
                                   "{controller: [OX-4410]}"])  # fmt: skip
def test_another_form_is_told_with_an_example(value: str) -> None:
    head = OX.partition("numbers:")[0]
    _, problems = read_machine(f"{head}numbers: {value}\n", "ox.yaml")
    (one,) = problems
    assert one.line == 6 and "numbers: {pack: [{number: OX-4410, models: OX-80}]}" in one.fix


def test_a_whole_file_has_its_numbers_at_the_part() -> None:
    fan = GUIDE.split("```yaml\n")[1].split("```")[0]
    text = f"{fan}numbers: {{pack: [{{number: OX-1}}]}}\n"
    machine, problems = read_machine(text, "fan.yaml")
    (one,) = problems
    assert machine is None and "Write them at the part" in one.fix
    assert text.splitlines()[one.line - 1].startswith("numbers:")


def test_a_number_stands_before_those_of_the_family_and_replaces_its_like() -> None:
    text = """machine: fan-mine
based_on: fan-cordless
words: A fan of mine
numbers:
  pack: [{number: OX-1, models: OX}, {number: FR-9001, models: FR-20F, read_at: the plate}]
"""
    machine, problems = read_machine(text, "mine.yaml", bases)
    assert machine is not None, problems
    pack = machine.parts[0]
    assert [(n.number, n.read_at) for n in pack.numbers] == [("OX-1", ""), ("FR-9001", "the plate")]
    text = text.replace("FR-9001, models: FR-20F,", "FR-9000, models: FR-20F,")
    machine, problems = read_machine(text, "mine.yaml", bases)
    assert machine is not None, problems
    assert [n.number for n in machine.parts[0].numbers] == ["OX-1", "FR-9000", "FR-9001"]


def number(file: Path, *words: str) -> int:
    return main(["machine", "number", str(file), *words])


def test_the_command_writes_a_number_and_leaves_all_else(tmp_path: Path) -> None:
    file = tmp_path / "ox.yaml"
    file.write_text(OX, "utf-8")
    assert number(file, "battery pack", "10442", "--read-at", "the old part, 3 March") == 0
    assert number(file, "controller", "OX-4510", "--model", "OX-81", "--model", "OX-82") == 0
    after = file.read_text("utf-8")
    assert added(OX, after) == [
        "    - {number: OX-4510, models: [OX-81, OX-82]}",
        "  pack:", '    - {number: "10442", read_at: "the old part, 3 March"}',
    ]  # fmt: skip
    assert after.endswith("# end note: ask Ida\n")
    # the same number of the same model: where it stands, with what it had
    assert number(file, "controller", "ox-4409", "--model", "OX-80", "--read-at", "a board") == 0
    put = "- {number: ox-4409, models: [OX-80], serial_to: A4999, read_at: a board}  # the old one"
    assert put in file.read_text("utf-8")
    pack = next(p for p in sound(file.read_text("utf-8")).parts if p.id == "pack")
    assert part_number(pack, "OX-80X", "") == "10442"
    again = answered(file.read_text("utf-8"), "hall", "no")
    assert part_number(next(p for p in sound(again).parts if p.id == "pack"), "OX-80") == "10442"


def test_what_the_check_would_refuse_is_not_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "ox.yaml"
    file.write_text(OX, "utf-8")
    for words, said in (
        (("controler", "OX-1"), "Did you mean controller?"),
        (("controller", " "), "no sign in it"),
        (("controller", "OX-1", "--model", "OX-80"), "fit the same OX-80"),
        (("pack", "OX-4409"), "is the number of"),
    ):
        assert number(file, *words) == 2
        assert said in capsys.readouterr().err
    assert file.read_text("utf-8") == OX


def test_the_command_writes_into_the_part_of_a_whole_file(tmp_path: Path) -> None:
    fan = GUIDE.split("```yaml\n")[1].split("```")[0]
    file = tmp_path / "fan.yaml"
    file.write_text(fan, "utf-8")
    assert number(file, "pack", "FR-9100", "--model", "FR-22F") == 0
    assert number(file, "fan motor", "FR-9300") == 0
    assert added(fan, file.read_text("utf-8")) == [
        "      - {number: FR-9100, models: [FR-22F]}",
        "    numbers:", "      - {number: FR-9300}",
    ]  # fmt: skip
    assert main(["machine", "check", str(file)]) == 0


@pytest.mark.parametrize(("before", "after"), [
    ("a: 1", "a: 1\nn:\n  p:\n    - {x: z}"),
    ("n:\nb: 1\n", "n: {p: [{x: z}]}\nb: 1\n"),
    ("n: {}  # none\n", "n: {p: [{x: z}]}  # none\n"),
    ("n: {q: [1]}\n", "n: {q: [1], p: [{x: z}]}\n"),
    ("n: {p: []}\n", "n: {p: [{x: z}]}\n"),
    ("n: {p: [1]}  # one\n", "n: {p: [1, {x: z}]}  # one\n"),
    ("n:\n  p:\n  - 1  # one\n# end\n", "n:\n  p:\n  - 1  # one\n  - {x: z}\n# end\n"),
])  # fmt: skip
def test_an_item_goes_to_the_end_of_its_list(before: str, after: str) -> None:
    assert with_item(before, ("n", "p"), {"x": "z"}) == after


def test_what_is_no_list_takes_no_item() -> None:
    for text in ("n: {p: 1}\n", "n: [1]\n", "n: 1\n"):
        with pytest.raises(EditError):
            with_item(text, ("n", "p"), {"x": "z"})


def test_parts_sold_as_one_have_no_number_of_a_piece() -> None:
    text = answered(OX, "one_part", "motor, controller")
    assert "OX-44" not in text and "# end note: ask Ida" in text
    motor = next(p for p in sound(text).parts if p.id == "motor")
    assert motor.numbers == () and "controller" in motor.words
