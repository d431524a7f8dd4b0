"""The page on circuit files: its example runs, and it names all that a file can hold."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from knowngood.circuit.answer import answer
from knowngood.circuit.device import KINDS, MODES
from knowngood.circuit.netlist import parse_circuit
from knowngood.circuit.probe import READS

PAGE = Path(__file__).resolve().parents[2] / "docs" / "circuit-files.md"


def test_its_example_runs() -> None:
    (example,) = re.findall(r"```yaml\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    circuit, problems = parse_circuit(example, "example")
    assert circuit is not None, [str(p) for p in problems]
    got = answer(circuit)
    assert got["healthy"]["nodes"]["M+"] == pytest.approx(19.98, abs=0.02)
    assert len(got["faults"]) == 3 and all(len(f["probes"]) == 3 for f in got["faults"])


def test_it_names_every_kind_value_pin_part_and_mode() -> None:
    text = PAGE.read_text(encoding="utf-8")
    rows = {line.split("|")[1].strip(): line for line in text.splitlines() if line[:1] == "|"}
    for name, kind in KINDS.items():
        row = rows[name]
        for field in kind.FIELDS:
            if (name, field.key) != ("winding3", "delta"):
                assert re.search(rf"`{field.key}`", row), f"{name}: {field.key}"
        for pin in (*kind.PINS, *kind.MAYBE):
            assert re.search(rf"[| ]{re.escape(pin)}[| ,(]", row), f"{name}: {pin}"
    assert set(MODES) <= set(rows)
    assert all(read in text for read in READS)


def test_probes_and_faults_are_told_of_in_the_same_go_as_elements() -> None:
    text = """
ground: B-
elements:
  - {ref: BT1, kind: battery, pins: {plus: B+, minus: B-}, volts: 20 V, ohms: 50 mohm}
  - {ref: F1, kind: fuse, pins: {a: B+, b: F1.out}, ohms: minus, rating: 30 A}
  - {ref: R1, kind: resistor, pins: {a: B+, b: B-}, ohms: 5 ohm}
probes:
  - {read: volts, red: F1.out, black: B-}
  - {read: volts, red: nowhere, black: B-}
faults:
  - {on: F1, mode: open}
  - {on: R9, mode: open}
  - {on: R1, mode: molten}
"""
    circuit, problems = parse_circuit(text)
    assert circuit is None
    # of F1 only what is wrong with it itself: the probe and the fault on it may be right
    assert [p.line for p in problems] == [5, 9, 12, 13]
