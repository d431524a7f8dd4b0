"""The drawing on the back of a card, read back, against the wiring of the machine it is drawn from:
no element stands where the machine has none, no two points are one that the parked machine does
not join by a wire of its own, and what is the shop's is dashed and says so. And every card fits its
two pages."""

from __future__ import annotations

import io
import re
from collections.abc import Collection
from dataclasses import replace

import pytest
from pypdf import PdfReader

from knowngood.documents.pdf import render
from knowngood.drawing.collide import collisions
from knowngood.isolate.prices import Prices
from knowngood.machines.machine import Machine
from knowngood.machines.safety import with_needs
from knowngood.machines.wiring import Wiring
from knowngood.places.card import bench_card, read_on
from knowngood.places.library import find_machine, find_meter, make_setup, shipped_machines
from knowngood.places.wiring import (
    card_circuit,
    card_layout,
    card_wiring,
    marked_wiring,
    wiring_picture,
)
from tests.drawing.test_says_the_same import Joined, Pins, read_back
from tests.families import each
from tests.places.test_card import NOW, SHOP

WIRED = [n for n in shipped_machines() if find_machine(n).it.wires is not None]
CARDS = [(n, c.id) for n in WIRED for c in find_machine(n).it.complaints]
GEAR = {"JP", "JN", "LOAD", "PS1", "SP", "PLOAD", "JLOAD", "DUMMY", "SPK", "LOADP", "LOADB",
        "SUPPLY"}  # fmt: skip
"""By hand from the shipped files: what a bench has and a machine has not."""


def on_the_bench(name: str) -> Machine:
    """With its conditions laid out; nothing is forecast for a drawing."""
    machine = find_machine(name).it
    return replace(machine, wiring=Wiring(machine, None))


RIDER = on_the_bench("rider-start-12v")


def of_the_shop(machine: Machine) -> set[str]:
    assert machine.wires is not None
    return {e.ref for e in machine.wires.circuit.elements} & GEAR


def expected(machine: Machine, tests: Collection[str], shown: Collection[str]) -> set[Pins]:
    """Pins of the elements shown that the machine joins: by a node, or by a wire of its own that is
    not shown, that its file has in place without any test, and that a test has not parted."""
    assert machine.wires is not None
    joined = Joined()
    out = {name for name, state in machine.wires.states.items() if not state}
    elements = machine.wires.circuit.elements
    for one in elements:
        own = one.ref not in GEAR | out and out.isdisjoint(one.through)
        if own and one.ref not in shown and one.KIND == "wire" and plugged(machine, tests, one.ref):
            joined.join(one.pins["a"], one.pins["b"])
    groups: dict[object, set[tuple[str, str]]] = {}
    for one in elements:
        for pin, node in one.pins.items() if one.ref in shown else ():
            groups.setdefault(joined.root(node), set()).add((one.ref, pin))
    return {frozenset(group) for group in groups.values()}


def told(machine: Machine, tests: Collection[str]) -> None:
    """Every claim above, of the card with these tests."""
    layout = card_layout(machine, tests)
    assert layout is not None
    assert collisions(layout) == []
    probes = [t.probe for t in machine.tests if t.id in tests and t.probe]
    probed = {node for probe in probes for pair in probe.pairs for node in pair}
    numbered = {s.node for s in layout.spots if not s.again}
    assert probed <= numbered
    shown = {p.ref for p in layout.pins if "\n" not in p.ref}
    assert read_back(layout) == expected(machine, tests, shown)
    svg = "".join(card_wiring(machine, tests))
    assert shown == set(re.findall(r'data-element="([^"]+)"', svg))
    used = {ref for ref in of_the_shop(machine) if plugged(machine, tests, ref)}
    assert shown & GEAR == used
    for ref in shown & GEAR:
        mine = svg[svg.index(f'data-element="{ref}"'):].split("</g>")[0]
        assert "stroke-dasharray" in mine and f"shop's {ref}" in mine


def plugged(machine: Machine, tests: Collection[str], ref: str) -> bool:
    """By the states written in the file: of the circuit, then of steps, then of the condition; as
    parked for a card that asks for no test."""
    assert machine.wires is not None
    through = set(machine.wires.circuit.by_ref[ref].through)
    steps = {s.id: s for s in machine.teardown}
    parked = machine.wires.states
    if not tests:
        return all(parked.get(name, True) for name in (ref, *through))
    for id in {t.condition for t in machine.tests if t.id in tests}:
        condition = next(c for c in machine.conditions if c.id == id)
        states = dict(machine.wires.states)
        opened = with_needs(steps, condition.open)
        for step in machine.teardown:
            states |= step.states if step.id in opened else {}
        states |= condition.states
        if states.get(ref, True) and all(states.get(name, True) for name in through):
            return True
    return False


@pytest.mark.parametrize("name", each(WIRED))
def test_with_all_tests_the_drawing_is_the_machine(name: str) -> None:
    machine = on_the_bench(name)
    told(machine, {t.id for t in machine.tests})


@pytest.mark.slow
@pytest.mark.parametrize(("name", "complaint"), CARDS)
def test_the_card_of_each_complaint_fits_and_its_drawing_is_the_machine(
    name: str, complaint: str
) -> None:
    setup = make_setup(find_machine(name).it, complaint, find_meter("generic-6000").it, Prices())
    card, tree = bench_card(setup, "as told", SHOP, now=NOW, looks=60)
    assert len(PdfReader(io.BytesIO(render(card, {}, NOW))).pages) == 2
    told(setup.machine, read_on(tree))


@pytest.mark.parametrize("name", each(WIRED))
def test_no_test_of_any_card_melts_the_gear_into_the_machine(name: str) -> None:
    """The same of each test alone, by the circuit that is drawn."""
    machine = on_the_bench(name)
    for test in machine.tests:
        found = card_circuit(machine, {test.id})
        groups: dict[str, set[tuple[str, str]]] = {}
        for one in found.elements:
            for pin, node in one.pins.items():
                groups.setdefault(node, set()).add((one.ref, pin))
        shown = {e.ref for e in found.elements}
        assert {frozenset(g) for g in groups.values()} == expected(machine, {test.id}, shown)


def test_the_coil_of_the_rider_is_not_wired_to_plus() -> None:
    """The jumper goes there for one test; between post and coil lies the whole chain."""
    jumped = [t.id for t in RIDER.tests if plugged(RIDER, {t.id}, "JP")]
    assert jumped
    found = card_circuit(RIDER, {*jumped, "small_terminal"})
    plus, coil = found.by_ref["BT1"].pins["plus"], found.by_ref["K1"].pins["coil+"]
    assert plus != coil and set(found.by_ref["JP"].pins.values()) == {plus, coil}
    assert "JP" not in {e.ref for e in card_circuit(RIDER, {"small_terminal"}).elements}


def test_a_jumper_beside_a_wire_of_the_machine_is_drawn_with_both() -> None:
    """The rider's solenoid with its coil fed by two jumpers, of which one lies beside the bracket:
    no probe goes there, and both stay."""
    found = card_circuit(RIDER, {"contacts_fed"})
    assert {"JP", "JN"} <= {e.ref for e in found.elements}
    told(RIDER, {"contacts_fed", "small_terminal", "drop_contacts", "verify_crank"})


def test_a_marked_drawing_stands_as_in_its_test() -> None:
    """Key turned, no jumper, no load; the picture with the jumper has it dashed."""
    cranked = marked_wiring(RIDER, "small_terminal")
    assert "S1 closed" in cranked and "shop's" not in cranked
    picture = wiring_picture(RIDER)
    assert picture is not None and "S1 open" in picture.svg and "shop's JP" in picture.svg


def test_the_start_chain_of_the_rider_runs_left_to_right() -> None:
    """Where a row ends the chain goes on in a later one, at its left."""
    layout = card_layout(RIDER, {t.id for t in RIDER.tests})
    assert layout is not None
    rows = [*layout.breaks, layout.height]
    chain = ["BT1", "W4", "F1", "J6", "S1", "W6", "S2", "W7", "S3", "W8", "J7", "K1"]
    place: dict[str, tuple[int, float]] = {}
    for pin in layout.pins:
        if pin.ref in chain and pin.pin != "no" and pin.pin != "com":
            row = next(k for k, foot in enumerate(rows) if pin.at[1] < foot)
            place[pin.ref] = min(place.get(pin.ref, (99, 0.0)), (row, pin.at[0]))
    assert [place[ref] for ref in chain if ref in place] == sorted(
        place[ref] for ref in chain if ref in place
    )
    assert len(place) >= 10


@pytest.mark.parametrize("name", each(WIRED))
def test_on_the_phone_only_the_gear_of_the_test_is_drawn(name: str) -> None:
    """Under the numbers that the points have everywhere else."""
    machine = on_the_bench(name)
    whole = wiring_picture(machine)
    assert whole is not None
    numbers = {p.node: p.number for p in whole.points}
    for condition in machine.conditions:
        test = next((t for t in machine.tests if t.condition == condition.id and t.probe), None)
        if test is None or test.probe is None:
            continue
        one = wiring_picture(machine, test.id)
        assert one is not None
        found = {p.node: p.number for p in one.points}
        assert found.items() <= numbers.items()
        assert {n for pair in test.probe.pairs for n in pair} <= found.keys()
        shown = set(re.findall(r'data-element="([^"]+)"', one.svg))
        used = {ref for ref in of_the_shop(machine) if plugged(machine, {test.id}, ref)}
        assert shown & GEAR == used, test.id


@pytest.mark.parametrize(
    ("condition", "used"),
    [("sol_fed", {"JP", "JN"}), ("key_run+foot_plate", set()),
     ("no_such_state", {"JP", "JN", "LOAD"})],
)  # fmt: skip
def test_for_two_points_asked_for_only_the_gear_of_their_state_is_drawn(
    condition: str, used: set[str]
) -> None:
    """Also where the state is one of the file with more taken off; of one that the file does not
    know, all."""
    machine = on_the_bench("rider-start-12v")
    asked = f"ask:ohms:{condition}:clamp+:frame"
    one = wiring_picture(machine, asked)
    assert one is not None
    assert set(re.findall(r'data-element="([^"]+)"', one.svg)) & GEAR == used
    assert {"clamp+", "frame"} <= {p.node for p in one.points}


def test_a_point_that_only_gear_bears_stays_when_it_is_asked_for() -> None:
    machine = on_the_bench("rider-start-12v")
    assert machine.wires is not None
    circuit = machine.wires.circuit
    elements = tuple(replace(e, pins={**e.pins, "b": "load.end"}) if e.ref == "LOAD" else e
                     for e in circuit.elements)  # fmt: skip
    wires = replace(machine.wires, circuit=replace(circuit, elements=elements))
    machine = replace(machine, wires=wires)
    svg = marked_wiring(machine, "ask:volts:rest:load.end:frame")
    assert "shop's LOAD" in svg and "shop's JP" not in svg
