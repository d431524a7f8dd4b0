"""The picture of a machine's wiring, the same on the phone and on the bench card."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from functools import lru_cache

from knowngood.circuit.circuit import Cell, Circuit, standing
from knowngood.documents.leads import lead_pair, plugged_for, standing_for
from knowngood.documents.shown import proof_readings
from knowngood.drawing.gear import is_gear, shop_gear
from knowngood.drawing.layout import Layout, lay_out
from knowngood.drawing.svg import draw, page_parts
from knowngood.job.job import Job
from knowngood.machines.electric import Wires
from knowngood.machines.machine import Machine

WIDTH = 180.0
"""Millimetres of paper; the numbers of the points depend on it, so there is one for all."""
WIDTHS = (186.0, 200.0, 215.0, 230.0, 250.0)
PAGE_WIDTH, PAGE_WIDEST, PAGE_HEIGHT = 186.0, 200.0, 262.0
"""Millimetres: widths that a drawing of the bench card may be laid out in; how wide and high it is
printed, the widest over the margins. None is printed at less than 0.8 of its size: lettering of
6 pt."""


@dataclass(frozen=True, slots=True)
class PointPlace:
    """A test point in the picture: its centre, and where the mark of a lead goes. In mm."""

    node: str
    number: int
    words: str
    at: tuple[float, float]
    mark: tuple[float, float]


@dataclass(frozen=True, slots=True)
class WiringPicture:
    """SVG text without marks, its size in mm, and where the points are that a probe reaches.
    ``numbers``: of every node, the same in all pictures of the machine."""

    svg: str
    width: float
    height: float
    points: tuple[PointPlace, ...]
    numbers: tuple[tuple[str, int], ...] = ()


def wiring_picture(machine: Machine, test: str = "") -> WiringPicture | None:
    """The picture of this machine; None when its file has no wiring. For a ``test``: of what is
    the shop's only what that test uses, under the same numbers of the points."""
    if machine.wires is None:
        return None
    words = tuple(sorted((p.node, p.words) for p in machine.wires.points.values()))
    whole = _Key(_parked(machine.wires), words, machine.words, _probed(machine))
    left = _not_used(machine, whole.circuit, test) if test else frozenset()
    if not left:
        return _drawn(whole)
    elements = tuple(e for e in whole.circuit.elements if e.ref not in left)
    return _drawn(replace(whole, circuit=replace(whole.circuit, elements=elements),
                          numbers=_drawn(whole).numbers))  # fmt: skip


def _probed(machine: Machine, tests: Collection[str] | None = None) -> frozenset[str]:
    """The nodes that a probe of these tests goes to; of all tests, with every point of the file."""
    found = {
        node for test in machine.tests
        if test.probe is not None and (tests is None or test.id in tests)
        for pair in test.probe.pairs for node in pair
    }  # fmt: skip
    if tests is None and machine.wires is not None:
        found |= set(machine.wires.points)
    return frozenset(found)


def deciding_test(job: Job) -> str:
    """The test of the reading that proves most of a decided job; "" for none with two leads."""
    readings = proof_readings(job, job.decision) if job.decision is not None else ()
    return next((r.test for r in readings), "")


def marked_wiring(machine: Machine, test: str) -> str:
    """The whole wiring as SVG as it stands in this test, R and B where its leads go, what is the
    shop's only where the test uses it; without a mark for a test that is not taken with two leads.
    "" without a wiring."""
    picture = wiring_picture(machine)
    pair = lead_pair(machine, test)
    if picture is None or machine.wires is None or pair is None:
        return picture.svg if picture else ""
    words = {p.node: p.words for p in machine.wires.points.values()}
    whole = machine.wires.circuit
    left = _not_used(machine, whole, test)
    elements = tuple(e for e in standing_for(machine, test).elements if e.ref not in left)
    circuit = replace(whole, elements=elements, name=machine.words)
    red, black = pair
    reached = _probed(machine) | {red, black}
    return draw(circuit, red=red, black=black, width_mm=WIDTH, words=words, reached=reached)


def _not_used(machine: Machine, circuit: Circuit, test: str) -> frozenset[str]:
    """The shop's gear that this test does not use; what alone bears a point of it stays."""
    left = shop_gear(circuit) - plugged_for(machine, (test,))
    shown = {n for e in circuit.elements if e.ref not in left for n in e.pins.values()}
    lost = set(lead_pair(machine, test) or ()) - shown
    return frozenset(r for r in left if lost.isdisjoint(circuit.by_ref[r].pins.values()))


@dataclass(frozen=True, eq=False)
class _Key:
    circuit: Circuit
    words: tuple[tuple[str, str], ...]
    name: str
    reached: frozenset[str]
    numbers: tuple[tuple[str, int], ...] = ()

    def __hash__(self) -> int:
        return hash((len(self.circuit.elements), self.words, self.name))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and (
            (self.words, self.name, self.reached, self.numbers, self.circuit)
            == (other.words, other.name, other.reached, other.numbers, other.circuit)
        )


@lru_cache(maxsize=16)
def _drawn(key: _Key) -> WiringPicture:
    words = dict(key.words)
    circuit = replace(key.circuit, name=key.name)
    plan = lay_out(circuit, width_mm=WIDTH, words=words, numbers=dict(key.numbers) or None,
                   points=key.reached)  # fmt: skip
    points = tuple(
        PointPlace(s.node, s.number, words.get(s.node, s.node), s.at, s.mark or s.at)
        for s in plan.spots if not s.again and s.node in key.reached
    )  # fmt: skip
    svg = draw(circuit, layout=plan)
    return WiringPicture(svg, plan.width, plan.height, points, plan.numbers)


def card_wiring(machine: Machine, tests: Collection[str]) -> tuple[str, ...]:
    """The wiring with the points of these tests for the back of a card, in pictures that fit a
    page each; its numbers are those of `wiring_picture`. None without a wiring.

    See `card_layout`."""
    plan = card_layout(machine, tests)
    if plan is None:
        return ()
    circuit = card_circuit(machine, tests)
    if _on_one_page(plan):
        return (draw(circuit, layout=plan),)
    return tuple(draw(circuit, layout=plan, part=part) for part in page_parts(plan, PAGE_HEIGHT))


def _on_one_page(plan: Layout) -> bool:
    printed = PAGE_WIDTH if plan.width * 0.8 <= PAGE_WIDTH else PAGE_WIDEST
    return plan.height * printed <= PAGE_HEIGHT * plan.width


def card_layout(machine: Machine, tests: Collection[str]) -> Layout | None:
    """Where everything stands on the back of a card with these tests; None without a wiring.
    Listed are the points that these tests use, with where they are, if one page holds that too.

    Left out are what no test of the card has plugged, and plain wires of the parked machine between
    points that none touches. Switches stand as parked."""
    made = _layouts(machine, tests)
    if made is None:
        return None
    for listing in (True, False):  # without it each point is told beside its number all the same
        for width in WIDTHS:  # drawn wider and printed smaller where that puts it on one page
            if _on_one_page(plan := made(width, listing)):
                return plan
    return made(WIDTHS[0], True)


def one_back(machine: Machine, tests: Collection[str]) -> bool:
    """Whether the back of one page holds the wiring of a card with these tests."""
    made = _layouts(machine, tests)
    return made is None or _on_one_page(made(WIDTHS[-1], False))


def _layouts(
    machine: Machine, tests: Collection[str]
) -> Callable[[float, bool], Layout] | None:
    """(width in mm, with the list of points?) -> where everything stands; None without a wiring."""
    picture = wiring_picture(machine)
    if picture is None or machine.wires is None:
        return None
    circuit = card_circuit(machine, tests)
    numbers = dict(picture.numbers)
    words = {p.node: p.words for p in machine.wires.points.values()}
    used = _probed(machine, tests)

    def made(width: float, listing: bool) -> Layout:
        return lay_out(circuit, width_mm=width, words=words, numbers=numbers, points=used,
                       listing=listing)  # fmt: skip

    return made


def card_circuit(machine: Machine, tests: Collection[str]) -> Circuit:
    """What `card_wiring` draws. ValueError without a wiring."""
    if machine.wires is None:
        raise ValueError(f"{machine.id} has no circuit")
    touched = set(_probed(machine, tests))
    whole = _parked(machine.wires)
    parked = {e.ref for e in whole.elements if e.plugged}
    plugged = plugged_for(machine, tests) if tests else parked  # a part may be named without any
    there = replace(whole, elements=tuple(e for e in whole.elements if e.ref in plugged))
    touched |= {node for e in there.elements if is_gear(e) for node in e.pins.values()}
    return replace(_shortened(there, touched, parked), name=machine.words)


def _parked(wires: Wires) -> Circuit:
    """The circuit as it stands in no condition."""
    new = {e.ref: e for e in standing(wires.circuit, Cell(states=wires.states))}
    return replace(wires.circuit, elements=tuple(new.get(e.ref, e) for e in wires.circuit.elements))


def _shortened(circuit: Circuit, kept: Collection[str], parked: Collection[str]) -> Circuit:
    """The circuit without the wires of the machine that lie between other things and lead to no
    point of ``kept``: their ends become one. What is the shop's, or plugged for a test alone
    (not in ``parked``), stays apart."""
    elements = list(circuit.elements)
    for one in circuit.elements:
        if one.KIND != "wire" or is_gear(one) or one.ref not in parked:
            continue
        here = next(e for e in elements if e.ref == one.ref)
        a, b = here.pins["a"], here.pins["b"]
        spare = next((n for n in (a, b) if n not in kept and n != circuit.ground), None)
        if spare is None:
            continue
        other = b if spare == a else a
        elements = [
            replace(e, pins={p: other if n == spare else n for p, n in e.pins.items()})
            for e in elements if e is not here
        ]  # fmt: skip
    elements = [e for e in elements if len(set(e.pins.values())) > 1]
    return replace(circuit, elements=tuple(elements))
