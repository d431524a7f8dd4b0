"""Circuit files as people write them, wrong ones included: every problem, its line, its fix."""

from __future__ import annotations

import random
import time

import pytest

from knowngood.circuit.circuit import Circuit
from knowngood.circuit.device import KINDS, Module, Relay, Winding3
from knowngood.circuit.netlist import Reader, circuit_from, parse_circuit
from knowngood.measure.problem import Problem

CONTRACT = """\
ground: B-
elements:
  - {ref: BT1, kind: battery, pins: {plus: B+, minus: B-}, volts: 20 V, ohms: 50 mohm}
  - {ref: F1,  kind: fuse,    pins: {a: B+, b: F1.out}, ohms: 5 mohm, rating: 30 A}
  - {ref: S1,  kind: switch,  pins: {a: F1.out, b: S1.out}, closed: true, ohms: 20 mohm}
  - {ref: K1,  kind: relay,   pins: {coil+: S1.out, coil-: B-, com: B+, no: M+}, coil_ohms: 80 ohm,
     pull_in: 14 V}
probes:
  - {read: volts, red: S1.out, black: B-, meter_ohms: 10 Mohm}
  - {read: ohms, red: S1.out, black: B-, test_current: 1 mA, open_volts: 3 V, limit: 40 Mohm}
  - {read: amps, through: F1}
faults:
  - {on: S1, mode: high resistance, ohms: 10 ohm}
"""


def good(text: str) -> Circuit:
    circuit, problems = parse_circuit(text, "c.yaml")
    assert circuit is not None and problems == [], [str(p) for p in problems]
    return circuit


def bad(text: str) -> list[Problem]:
    circuit, problems = parse_circuit(text, "c.yaml")
    assert circuit is None and problems
    return problems


def test_a_whole_file() -> None:
    circuit = good(CONTRACT)
    assert circuit.nodes == ("B-", "B+", "F1.out", "S1.out", "M+")
    assert [e.KIND for e in circuit.elements] == ["battery", "fuse", "switch", "relay"]
    assert circuit.probes[1].test_current == 1e-3 and circuit.probes[1].ends == 40e6
    assert circuit.faults[0].ohms == 10.0
    relay = circuit.by_ref["K1"]
    assert isinstance(relay, Relay) and relay.pull_in == 14.0


def test_every_kind_reads_with_all_its_fields() -> None:
    """The least and the most that each kind takes."""
    units = {"voltage": "2 V", "resistance": "2 ohm", "current": "2 mA", "power": "100 W"}
    units |= {"capacitance": "2 uF", "number": "1", "temperature": "20 degC"}
    for name, kind in KINDS.items():
        pins = {pin: f"n{i}" for i, pin in enumerate((*kind.PINS, *kind.MAYBE))}
        row: dict[str, object] = {"ref": "X", "kind": name, "pins": pins, "words": "the one"}
        for field in kind.FIELDS:
            row[field.key] = units[field.dimension] if field.dimension else True
        if name == "lamp":
            row |= {"ohms": "1 mohm"}
        circuit, problems = circuit_from({"ground": "n0", "elements": [row]})
        assert circuit is not None, [str(p) for p in problems]
        assert circuit.elements[0].words == "the one"


def test_wires_by_size_windings_by_form_and_plain_scalars() -> None:
    raw = {
        "ground": "a",
        "elements": [
            {"ref": "W1", "kind": "wire", "pins": {"a": "a", "b": "b"}, "awg": 10, "length": "1 m"},
            {"ref": "W2", "kind": "wire", "pins": {"a": "a", "b": "b"}, "mm2": 2.5, "length": "1m"},
            {"ref": "M", "kind": "winding3", "pins": {"u": "a", "v": "b", "w": "c"},
             "ohms": "60 mohm", "form": "delta"},
            {"ref": "S", "kind": "switch", "pins": {"a": "a", "b": "c"}, "closed": True},
            {"ref": "P", "kind": "potentiometer", "pins": {"a": "a", "wiper": "c"},
             "ohms": "5 kohm", "position": "30 %", "through": ["J1", "J2"]},
        ],
    }  # fmt: skip
    circuit, problems = circuit_from(raw)
    assert circuit is not None, [str(p) for p in problems]
    w1, w2, m, s, p = circuit.elements
    assert w1.ohms == pytest.approx(3.277e-3, rel=1e-3)  # type: ignore[attr-defined]  # ASTM B258
    assert w2.ohms == pytest.approx(1 / 58 / 2.5, rel=1e-9)  # type: ignore[attr-defined]
    assert isinstance(m, Winding3) and m.delta
    assert s.closed is True and p.position == pytest.approx(0.3)  # type: ignore[attr-defined]
    assert circuit.connectors == {"J1", "J2"}


@pytest.mark.parametrize(
    ("change", "line", "words"),
    [
        (("kind: fuse", "kind: fuze"), 4, "no kind 'fuze'. Did you mean 'fuse'?"),
        (("plus: B+", "pluss: B+"), 3, "no pin 'pluss'. Did you mean 'plus'?"),
        (("plus: B+, ", ""), 3, "BT1 has no plus"),
        (("volts: 20 V", "volts: 20"), 3, "'20' is a plain number; wanted: volts"),
        (("volts: 20 V", "volts: 20 ohm"), 3, "'20 ohm' is resistance; wanted: volts"),
        (("volts: 20 V", "volts: .nan"), 3, "volts: no number found in '.nan'"),
        (("volts: 20 V", "volts: 1e400 V"), 3, "volts"),
        (("volts: 20 V, ", ""), 3, "BT1 needs volts. Write volts: 12.4 V"),
        (("ohms: 5 mohm", "ohms: -5 mohm"), 4, "ohms is '-5 mohm'. It goes from 0"),
        (("ohms: 5 mohm", "ohm: 5 mohm"), 4, "F1 has no 'ohm'. Did you mean 'ohms'?"),
        (("closed: true", "closed: maybe"), 5, "closed is 'maybe'. Write true or false"),
        (("ref: S1", "ref: F1"), 5, "'F1' is taken by elements[1]"),
        (("ground: B-", "ground: GND"), 1, "no element touches 'GND'"),
        (("ground: B-\n", ""), 1, "ground is missing"),
        (("pull_in: 14 V", "pull_in: 0 V"), 7, "pull_in is '0 V'"),
        (("red: S1.out, black: B-, meter", "red: S1out, black: B-, meter"), 9, "'S1.out'"),
        (("black: B-, meter", "black: S1.out, meter"), 9, "both leads are on 'S1.out'"),
        (("through: F1", "through: K1"), 11, "Write through: K1.coil or K1.no or K1.nc"),
        (("read: amps", "read: watts"), 11, "no reading 'watts'"),
        (("on: S1", "on: S7"), 13, "no element 'S7'. Did you mean 'S1'?"),
        (("high resistance, ohms: 10 ohm", "high resistance"), 13, "needs ohms"),
        (("mode: high resistance", "mode: melted"), 13, "cannot be 'melted'. It can be: open"),
        (("mode: high resistance", "mode: leak"), 13, "a leak needs a node to go to"),
        (("meter_ohms: 10 Mohm", "meter_ohms: 0 ohm"), 9, "a voltmeter of 0 ohm is a short"),
        (("kind: relay", "kind: relay, kind: relay"), 6, "'kind' stands twice"),
        (("ref: F1, ", "ref: &x F1, "), 4, "anchors and aliases"),
        (("elements:", "elements: !!python/object:os.system"), 2, "the tag"),
    ],
)
def test_a_slip_is_found_at_its_line(change: tuple[str, str], line: int, words: str) -> None:
    assert change[0] in CONTRACT
    problems = bad(CONTRACT.replace(*change, 1))
    found = [str(p) for p in problems]
    assert any(words in text for text in found), found
    assert problems[0].line == line, found


def test_all_problems_are_listed_at_once() -> None:
    text = CONTRACT.replace("kind: fuse", "kind: fuze").replace("volts: 20 V", "volts: 20")
    text = text.replace("closed: true", "closed: maybe")
    assert [p.line for p in bad(text)] == [3, 4, 5]


def test_a_ref_that_stands_twice_hides_nothing_of_its_line() -> None:
    row = "  - {ref: F1, kind: fuze, pins: {a: B+, c: B-}, ohms: -5 ohm, shade: red}\n"
    told = [str(p) for p in bad(CONTRACT.replace("probes:", row + "probes:"))]
    assert all("line 8: " in text for text in told), told
    for words in ("'F1' is taken by elements[1]", "no kind 'fuze'", "no pin 'c'", "F1 has no b",
                  "ohms is '-5 ohm'", "F1 has no 'shade'"):  # fmt: skip
        assert any(words in text for text in told), (words, told)
    assert len(told) == 6


def test_of_a_kind_that_nobody_knows_no_pins_are_made_up() -> None:
    row = "  - {ref: X1, kind: flywheel, pins: {a: B+}}\n"
    (problem,) = bad(CONTRACT.replace("probes:", row + "probes:"))
    assert "no kind 'flywheel'" in problem.message


def test_faults_of_parts() -> None:
    text = """
ground: n
elements:
  - {ref: Q, kind: bridge, pins: {plus: p, minus: n, u: u, v: v, w: w}}
  - {ref: M, kind: winding3, pins: {u: u, v: v, w: w}, ohms: 50 mohm}
  - {ref: U, kind: module, pins: {plus: p, minus: n}, alive_above: 5 V}
faults:
"""
    ok = ["{on: Q.u+, mode: short}", "{on: M.v, mode: open}", "{on: U, mode: stuck open}"]
    ok += ["{on: M.v, mode: leak, to: n, ohms: 1 kohm}", "{on: M, mode: leak, to: n, ohms: 0 ohm}"]
    assert len(good(text + "".join(f"  - {row}\n" for row in ok)).faults) == 5
    wrong = {
        "{on: Q, mode: short}": "Write on: Q.u+ or Q.v+",
        "{on: M.x, mode: open}": "M has no 'x'",
        "{on: U.draw, mode: open}": "a fault of the whole U",
        "{on: M.u, mode: stuck open}": "a winding3 cannot be 'stuck open'",
        "{on: U, mode: open, to: n}": "goes to no node",
    }
    for row, words in wrong.items():
        assert words in str(bad(f"{text}  - {row}\n")[0])


def test_a_section_of_a_larger_file_keeps_its_lines() -> None:
    raw = {"elements": [{"ref": "R", "kind": "resistor", "pins": {"a": "x", "b": "y"}}]}
    lines = {("circuit",): 10, ("circuit", "elements", 0): 12}
    _, problems = circuit_from(raw, "m.yaml", lambda p: lines.get(p, 0), ("circuit",))
    assert [(p.file, p.line, p.message) for p in problems] == [
        ("m.yaml", 12, "R needs ohms"),
        ("m.yaml", 10, "ground is missing"),
    ]


def test_states_in_words() -> None:
    circuit = good(CONTRACT.replace("rating: 30 A", "rating: 30 A, through: J1"))
    reader = Reader("c.yaml")
    raw = {"S1": "open", "BT1": "out", "K1": "released", "J1": "plugged"}
    states = reader.states(raw, circuit, ())
    assert states == {"S1": False, "BT1": False, "K1": False, "J1": True}
    assert reader.problems == []
    reader.states({"S1": "ajar", "S9": "open", "F1": 0.5}, circuit, ())
    assert [p.message for p in reader.problems] == [
        "S1 cannot stand 'ajar'",
        "no element or connector 'S9'",
        "F1 cannot stand '0.5'",
    ]


def test_a_module_needs_its_enable_limit() -> None:
    text = """
ground: n
elements:
  - {ref: U, kind: module, pins: {plus: p, minus: n, enable: e}, alive_above: 5 V}
"""
    assert "belong together" in str(bad(text)[0])
    circuit = good(text.replace("alive_above: 5 V", "alive_above: 5 V, enable_above: 2 V"))
    assert isinstance(circuit.elements[0], Module)


HOSTILE = {
    "empty": "",
    "a word": "hello",
    "a list": "- a\n- b\n",
    "null": "null\n",
    "only a comment": "# nothing\n",
    "two documents": "ground: a\n---\nground: b\n",
    "a bomb": "a: &a [x,x,x,x,x,x,x,x,x]\nb: &b [*a,*a,*a,*a,*a,*a,*a,*a,*a]\nc: [*b,*b,*b,*b]\n",
    "a cycle": "a: &a [*a]\n",
    "deep": "[" * 100_000,
    "deep tables": "{a: " * 50_000,
    "long": "ground: " + "x" * 2_000_000,
    "a long name": "ground: " + "x" * 500_000,
    "tabs": "ground:\tB-\n\telements: x\n",
    "open quote": "ground: 'B-\nelements: []\n",
    "control": "ground: B\x00-\n",
    "a list as a key": "? [a, b]\n: c\n",
    "numbers": "ground: 1\nelements: 2\nprobes: 3\nfaults: 4\n",
    "lists of words": "ground: a\nelements: [x, 1, null, [y]]\n",
    "an element of lists": "ground: a\nelements:\n - {ref: [a], kind: {b: c}, pins: [d]}\n",
    "pins of lists": "ground: a\nelements:\n - {ref: a, kind: wire, pins: {a: [b], b: {c: d}}}\n",
    "2000 wrong": "ground: a\nelements:\n" + " - {ref: a, kind: wyre, pins: {a: b}}\n" * 900,
    "many": "ground: a\nelements:\n" + " - {}\n" * 20_000,
    "infinite": CONTRACT.replace("20 V", ".inf"),
    "tiny": CONTRACT.replace("20 V", "1e-999 V").replace("5 mohm", "1e999 ohm"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_text_is_refused_soon(name: str) -> None:
    started = time.perf_counter()
    problems = bad(HOSTILE[name])
    assert time.perf_counter() - started < 10
    assert len(problems) <= 200 and all(len(str(p)) < 800 for p in problems)


def test_text_with_random_damage_never_raises() -> None:
    rng = random.Random(7)
    for _ in range(300):
        text = list(CONTRACT)
        for _ in range(rng.randint(1, 6)):
            i = rng.randrange(len(text))
            text[i] = rng.choice(["", "{", "}", ":", ",", "\n", "x", "-", "[", "9", "é", "\t", "'"])
        circuit, problems = parse_circuit("".join(text))
        assert (circuit is None) == bool(problems)
