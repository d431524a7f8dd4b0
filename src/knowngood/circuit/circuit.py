"""A circuit: elements between named nodes, with the probes and faults asked of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from knowngood.circuit.element import Element, State
from knowngood.circuit.faulted import Fault, is_curved, nearest, wrong_fault
from knowngood.circuit.probe import READS, Probe


@dataclass(frozen=True, slots=True)
class Circuit:
    """`ground` is the node of 0 V. `by_ref` and `nodes` (as first named) follow from the rest."""

    name: str
    ground: str
    elements: tuple[Element, ...]
    probes: tuple[Probe, ...] = ()
    faults: tuple[Fault, ...] = ()
    by_ref: Mapping[str, Element] = field(init=False, repr=False, compare=False)
    nodes: tuple[str, ...] = field(init=False, repr=False, compare=False)
    connectors: frozenset[str] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        nodes = {self.ground: None} | {n: None for e in self.elements for n in e.pins.values()}
        object.__setattr__(self, "by_ref", {e.ref: e for e in self.elements})
        object.__setattr__(self, "nodes", tuple(nodes))
        plugs = frozenset(name for e in self.elements for name in e.through)
        object.__setattr__(self, "connectors", plugs)


@dataclass(frozen=True, slots=True)
class Cell:
    """One reading to predict.

    states   element or connector -> how it stands (see `State`); False unplugs
    values   "REF.field" -> number in base units, such as {"BT1.volts": 19.2}
    probe    None: no meter; only `solve` makes use of that
    """

    faults: tuple[Fault, ...] = ()
    probe: Probe | None = None
    states: Mapping[str, State] = field(default_factory=dict)
    values: Mapping[str, float] = field(default_factory=dict)


class CircuitError(ValueError):
    """No answer. `kind`: contradictory, states, no convergence, or asked (a wrong call)."""

    def __init__(self, kind: str, message: str) -> None:
        super().__init__(message)
        self.kind = kind


def standing(circuit: Circuit, cell: Cell) -> Iterator[Element]:
    """The elements of a cell that differ from the circuit's: values first, then states."""
    apart = {
        name for name, state in cell.states.items() if name in circuit.connectors and not state
    }
    valued: dict[str, dict[str, float]] = {}
    for key, value in cell.values.items():
        ref, _, name = key.rpartition(".")
        valued.setdefault(ref, {})["at_amps" if name == "at" else name] = value
    touched = valued.keys() | (cell.states.keys() & circuit.by_ref.keys())
    for element in circuit.elements:
        unplugged = not apart.isdisjoint(element.through)
        if element.ref not in touched and not unplugged:
            continue
        new = replace(element, **valued.get(element.ref, {}))  # type: ignore[arg-type]
        if element.ref in cell.states:
            new = new.at(cell.states[element.ref])
        yield replace(new, plugged=False) if unplugged else new


def wrong_cell(circuit: Circuit, cell: Cell) -> str | None:
    """What is wrong with what is asked, with the way out; None if nothing is."""
    for fault in cell.faults:
        if bad := wrong_fault(fault, circuit.by_ref, circuit.nodes):
            return ". ".join(bad)
    for name, state in cell.states.items():
        if bad := wrong_state(circuit, name, state):
            return ". ".join(bad)
    for key, value in cell.values.items():
        ref, _, name = key.rpartition(".")
        element = circuit.by_ref.get(ref)
        fields = {f.key: f for f in element.FIELDS if f.dimension} if element else {}
        if name not in fields:
            known = [f"{ref}.{n}" for n in fields] or [f"{r}.ohms" for r in circuit.by_ref]
            return f"no value {key[:60]!r}. {nearest(key, known)}"
        if not fields[name].low <= value <= fields[name].high:
            span = f"{fields[name].low:g} to {fields[name].high:g}"
            return f"{key} must be {span}, is {value:g}"
    bad = wrong_probe(circuit, cell.probe) if cell.probe else None
    return ". ".join(bad) if bad else None


def wrong_state(circuit: Circuit, name: str, state: State) -> tuple[str, str] | None:
    """(message, fix) for a state that this element or connector cannot have."""
    element = circuit.by_ref.get(name)
    if element is None:
        if name not in circuit.connectors:
            return f"no element or connector {name[:60]!r}", nearest(name, all_names(circuit))
        if not isinstance(state, bool):
            return f"a connector is in or out, not {state}", "Write in or out"
        return None
    if isinstance(state, bool):
        return None
    if element.STATES[-1] == "bool":
        return f"a {element.KIND} stands one way or the other, not at {state:g}", "Write in or out"
    limits = next(f for f in element.FIELDS if f.key == element.STATES[-1])
    if not limits.low <= state <= limits.high:
        return (
            f"{limits.key} of {name} is {state:g}",
            f"It goes from {limits.low:g} to {limits.high:g}",
        )
    return None


def all_names(circuit: Circuit) -> list[str]:
    return [*circuit.by_ref, *sorted(circuit.connectors)]


def wrong_probe(circuit: Circuit, probe: Probe) -> tuple[str, str] | None:
    """(message, fix) if this meter cannot be put on this circuit."""
    if probe.read not in READS:
        return f"no reading {probe.read[:40]!r}", nearest(probe.read, READS)
    if probe.through:
        return _wrong_through(circuit, probe)
    for lead, node in (("red", probe.red), ("black", probe.black)):
        if node not in circuit.nodes:
            shown = repr(node[:60]) if node else "none"
            return f"{lead} must touch a node, got {shown}", nearest(node, circuit.nodes)
    if probe.red == probe.black:
        return f"both leads are on {probe.red!r}", "Move one of them"
    if min(probe.ohms, probe.lead_ohms) < 0 or not min(probe.test_current, probe.open_volts) > 0:
        return "ohms below zero, or a test current or open volts not above zero", ""
    if probe.read == "volts" and not probe.ohms > 0:
        return "a voltmeter of 0 ohm is a short", "Write meter_ohms: 10 Mohm"
    return None


def _wrong_through(circuit: Circuit, probe: Probe) -> tuple[str, str] | None:
    if probe.read != "amps" or probe.red or probe.black:
        return "through is for amps, without red and black", "Give red and black, or read: amps"
    element = circuit.by_ref.get(probe.through)
    if element is not None:
        names = [b.name for b in element.branches()]
        if len(names) == 1:
            return _wrong_burden(probe, element, "")
        choice = " or ".join(f"{probe.through}.{n}" for n in names)
        return f"amps through which part of {probe.through}?", f"Write through: {choice}"
    ref, _, part = probe.through.rpartition(".")
    if ref not in circuit.by_ref:
        return f"no element {probe.through[:60]!r}", nearest(probe.through, circuit.by_ref)
    names = [b.name for b in circuit.by_ref[ref].branches()]
    if part not in names:
        return f"{ref} has no path {part[:40]!r}", nearest(part, names)
    return _wrong_burden(probe, circuit.by_ref[ref], part)


def _wrong_burden(probe: Probe, element: Element, part: str) -> tuple[str, str] | None:
    law = next(b.law for b in element.branches() if b.name == part)
    if is_curved(law) and probe.ohms + probe.lead_ohms > 0:
        fix = "Put a wire in series and read the amps through that"
        return f"a meter of some ohms cannot stand inside {probe.through}", fix
    return None
