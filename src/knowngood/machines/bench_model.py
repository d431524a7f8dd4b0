"""The circuit of a machine on the bench: readings of many probes in many conditions at once.

A cell is (condition, changes, probe); it is read in some machines of the design. Each machine is
the circuit with its own values, so each has one engine; faults and states are laid over it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

from knowngood.circuit.circuit import Cell, Circuit, standing
from knowngood.circuit.element import Element, State
from knowngood.circuit.faulted import Fault, find, is_curved
from knowngood.circuit.frame import leak_of
from knowngood.circuit.probe import Probe
from knowngood.isolate.forecast import Piece
from knowngood.machines.design import HELD, POINTS, corner, is_range, level, value_at
from knowngood.machines.electric import Change, Probing, Wires
from knowngood.machines.electric_parse import probes_of
from knowngood.machines.joined import is_open, islands, main_source, phases_of
from knowngood.machines.machine import Condition, Machine
from knowngood.machines.safety import with_needs
from knowngood.measure.meter import MeterSheet

_SOME_OHMS: Final = 1.0
_BY_ITSELF: Final = frozenset({"open", "short", "high resistance", "leak", "stuck open"})
"""Faults whose law has nothing of the element's own values in it."""


class Reading(NamedTuple):
    """What is asked: a probe in a condition with these changes there."""

    condition: str
    changes: tuple[Change, ...]
    probe: Probe


@dataclass(frozen=True)
class _Stand:
    """How the circuit stands in a condition, and what hangs together there."""

    states: dict[str, State]
    spreads: dict[str, Piece]
    elements: dict[str, Element]
    island: dict[str, int]


class BenchModel:
    """Wires, conditions and meter of one machine. A condition may be added, none is changed."""

    def __init__(self, machine: Machine, wires: Wires, meter: MeterSheet | None) -> None:
        self.wires, self.meter = wires, meter
        self._steps = {s.id: s for s in machine.teardown}
        self._joining = [c for f in machine.faults for c in f.changes
                         if c.mode in ("leak", "stuck closed", "short", "high resistance")]
        self._columns = {key: n for n, key in enumerate(_spread_keys(machine, wires))}
        self.source = main_source(wires)
        curved = {e.ref for e in wires.circuit.elements
                  if any(is_curved(b.law) for b in e.branches())}  # fmt: skip
        # spreads of diodes and lamps are not laid over a circuit but built into it
        self._bent = frozenset(k for k in self._columns if k.rpartition(".")[0] in curved)
        self._stands: dict[str, _Stand] = {}
        self._phases: dict[str, tuple[set[str], bool]] = {}
        self._like: dict[str, str] = {}
        for condition in machine.conditions:
            self.add(condition)

    def add(self, condition: Condition) -> None:
        """Lay a condition out; one that is there already stays as it is."""
        if condition.id in self._like:
            return
        states = dict(self.wires.states)
        opened = with_needs(self._steps, condition.open)
        for id, step in self._steps.items():
            if id in opened:
                states |= step.states
        states |= condition.states
        new = {e.ref: e for e in standing(self.wires.circuit, Cell(states=states))}
        elements = {e.ref: new.get(e.ref, e) for e in self.wires.circuit.elements}
        stand = _Stand(states, dict(condition.spreads), elements,
                       islands(self.wires.circuit, elements))  # fmt: skip
        self._stands[condition.id], self._phases[condition.id] = stand, phases_of(elements)
        self._like[condition.id] = next(
            i for i, s in self._stands.items()
            if s.elements == stand.elements and s.spreads == stand.spreads
        )  # fmt: skip

    # -- asking

    def probes(self, probing: Probing) -> tuple[Probe, ...]:
        """The probes of a test with the meter at hand."""
        return tuple(self.with_meter(p) for p in probes_of(probing))

    def with_meter(self, probe: Probe, value: float | None = None) -> Probe:
        """The probe with the figures of the meter on the range that holds `value`."""
        sheet = self.meter
        if sheet is None or probe.read == "amps":
            return probe
        if probe.read == "volts":
            return replace(probe, meter_ohms=sheet.input_ohms)
        ranges = sheet.ranges(probe.read)
        if not ranges:
            return probe
        chosen = ranges[0]
        if value is not None:
            chosen = next((r for r in ranges if r.full_scale >= value), ranges[-1])
        return replace(  # on a meter set by hand the person picks the range that holds it
            probe, limit=ranges[-1].full_scale, lead_ohms=0.0 if sheet.zeroed else sheet.lead_ohms,
            test_current=chosen.test_current or probe.test_current,
            open_volts=chosen.open_volts or probe.open_volts,
        )  # fmt: skip

    def stands(self, condition: str) -> dict[str, State]:
        """How elements and connectors stand in a condition."""
        return self._stands[condition].states

    def like(self, condition: str) -> str:
        """The first condition in which the circuit stands alike."""
        return self._like[condition]

    def touches(self, condition: str, changes: Iterable[Change], probe: Probe) -> bool:
        """Whether the changes lie in what the leads touch; if not, the reading is the good one."""
        island = self._stands[condition].island
        ends = ends_of(self.wires.circuit, probe)
        near = {island[n] for n in ends}
        return any(island[n] in near for c in changes for n in self._nodes(condition, c))

    def never_joined(self, condition: str, red: str, black: str) -> bool:
        """Whether the two points are apart there and no fault of the file leads between them."""
        island = self._stands[condition].island
        if island[red] == island[black]:
            return False
        for change in self._joining:
            ref = ref_of(self.wires.circuit, change)
            nodes = [*self.wires.circuit.by_ref[ref].pins.values()] if ref else []
            touched = {island[n] for n in (*nodes, *([change.to] if change.to else []))}
            if {island[red], island[black]} <= touched:
                return False
        return True

    def apart(self, condition: str, red: str, black: str) -> bool:
        """Whether nothing joins the two points there, in a good machine."""
        island = self._stands[condition].island
        return island[red] != island[black]

    def is_live(self, condition: str, node: str) -> bool:
        """Whether a source hangs together with the node there."""
        return self._holds(condition, node, "battery")

    def has_capacitor(self, condition: str, node: str) -> bool:
        """Whether a capacitor hangs together with the node there."""
        return self._holds(condition, node, "capacitor")

    def is_bent(self, condition: str, node: str) -> bool:
        """Whether a capacitor, a junction or a module hangs together with the node there."""
        kinds = ("capacitor", "diode", "bridge", "module")
        return any(self._holds(condition, node, kind) for kind in kinds)

    def _holds(self, condition: str, node: str, kind: str) -> bool:
        stand = self._stands[condition]
        here = stand.island[node]
        return any(
            kind == e.KIND and e.plugged and any(stand.island[n] == here for n in e.pins.values())
            for e in stand.elements.values()
        )

    def runs(self, condition: str) -> list[list[str]]:
        """Series runs there: nodes along elements with two ends, between the places where more than
        two meet (or where it ends)."""
        stand = self._stands[condition]
        near: dict[str, list[str]] = {}
        forks = {self.wires.circuit.ground}
        for e in stand.elements.values():
            if not e.plugged or is_open(e):
                continue
            ends = list(e.pins.values())
            if len(ends) == 2 and e.rule() is None:
                near.setdefault(ends[0], []).append(ends[1])
                near.setdefault(ends[1], []).append(ends[0])
            else:
                forks |= set(ends)
        forks |= {n for n, others in near.items() if len(others) != 2}
        found, done = [], set()
        for start in (n for n in near if n in forks):
            for step in near[start]:
                run, before, here = [start], start, step
                while True:
                    run.append(here)
                    if here in forks:
                        break
                    onward = [n for n in near[here] if n != before] or [before]
                    before, here = here, onward[0]
                if (run[-1], run[-2], run[0]) not in done:
                    done.add((run[0], run[1], run[-1]))
                    found.append(run)
        return found

    def ends(self, condition: str) -> list[tuple[str, str]]:
        """The two ends of every branch that is plugged in there, of open ones too."""
        return [(b.a, b.b) for e in self._stands[condition].elements.values() if e.plugged
                for b in e.branches()]  # fmt: skip

    def local(self, condition: str, red: str, black: str) -> object:
        """What is equal in two conditions when the two points read alike in both."""
        stand = self._stands[condition]
        near = {stand.island[red], stand.island[black]}
        here = tuple(
            e for e in stand.elements.values()
            if e.plugged and any(stand.island[n] in near for n in e.pins.values())
        )  # fmt: skip
        refs = {e.ref for e in here}
        spans = tuple(sorted((k, s) for k, s in stand.spreads.items()
                             if k.rpartition(".")[0] in refs))  # fmt: skip
        return tuple((e.ref, repr(e)) for e in here), repr(spans)

    # -- laying, for `scope.Scope`

    def near(self, condition: str, asked: Sequence[Reading], shut: bool) -> Circuit:
        """The circuit as it stands there, without what the leads and what they touch can reach.
        ``shut``: without transistor bridges, whose diodes all block."""
        stand = self._stands[condition]
        whole = self.wires.circuit
        near = {stand.island[n] for a in asked for n in ends_of(whole, a.probe)}
        changes = dict.fromkeys(c for a in asked for c in a.changes)
        reach = {c: {stand.island[n] for n in self._nodes(condition, c)} for c in changes}
        growing = True
        while growing:
            more = {i for islands in reach.values() if islands & near for i in islands} - near
            near |= more
            growing = bool(more)
        touched = {r for c, i in reach.items() if i & near and (r := ref_of(whole, c))}
        elements = []
        for ref, element in stand.elements.items():
            here = any(stand.island[n] in near for n in element.pins.values())
            dropped = not element.plugged or (shut and element.KIND == "bridge")
            if here and not dropped and (ref in touched or not is_open(element)):
                elements.append(element)
        if not any(e.KIND == "battery" for e in elements):
            elements = [e.at(False) if e.rule() is not None else e for e in elements]
        return replace(whole, elements=tuple(elements))

    def _nodes(self, condition: str, change: Change) -> list[str]:
        """What a change touches; nothing when its element is unplugged there."""
        ref = ref_of(self.wires.circuit, change)
        element = self._stands[condition].elements[ref] if ref else None
        nodes = list(element.pins.values()) if element is not None and element.plugged else []
        return [*nodes, change.to] if change.mode == "leak" and change.to else nodes

    def is_shut(self, condition: str, changes: Iterable[Change], probe: Probe) -> bool:
        """Whether every bridge there only blocks: its phases lead nowhere, no lead is on them, no
        change is in it, and volts are read, so that nothing pushes against it."""
        if probe.read != "volts":
            return False
        bridges = [e for e in self.wires.circuit.elements if e.KIND == "bridge"]
        phases, open_ended = self._phases[condition]
        refs = {ref_of(self.wires.circuit, c) for c in changes}
        touched = {n for c in changes for n in self._nodes(condition, c)}
        return (not open_ended and refs.isdisjoint(e.ref for e in bridges)
                and phases.isdisjoint(touched | {probe.red, probe.black}))  # fmt: skip

    def islands_of(self, condition: str, probe: Probe) -> frozenset[int]:
        """The labels of what hangs together with the leads."""
        island = self._stands[condition].island
        return frozenset(island[n] for n in ends_of(self.wires.circuit, probe))

    def variants(
        self, condition: str, bare: Circuit, rows: tuple[int, ...]
    ) -> list[tuple[Circuit, tuple[int, ...]]]:
        """Rows by circuit: values of diodes and lamps make another circuit, all others are laid."""
        spreads = self._spreads(bare, condition)
        keys = self._bent & spreads.keys()
        if not keys:
            return [(bare, rows)]
        out: list[tuple[Circuit, tuple[int, ...]]] = []
        for row in rows:
            values = {k: value_at(spreads[k], level(row, self._columns[k])) for k in keys}
            new = {e.ref: e for e in standing(bare, Cell(values=values))}
            elements = tuple(new.get(e.ref, e) for e in bare.elements)
            out.append((replace(bare, elements=elements), (row,)))
        return out

    def _spreads(self, circuit: Circuit, condition: str) -> dict[str, Piece]:
        """The spans that hold in a condition, of the elements of this circuit."""
        whole = {**self.wires.spreads, **self._stands[condition].spreads}
        return {k: s for k, s in whole.items() if k.rpartition(".")[0] in circuit.by_ref}

    def good_cell(self, circuit: Circuit, condition: str, row: int) -> Cell:
        return Cell(values={
            k: value_at(s, self._level(k, row))
            for k, s in self._spreads(circuit, condition).items()
            if k not in self._bent
        })  # fmt: skip

    def change_cell(
        self, circuit: Circuit, condition: str, changes: tuple[Change, ...], row: int
    ) -> Cell:
        """The changes; where they replace a value, with the other values of that element."""
        values: dict[str, float] = {}
        faults = []
        for change, where in zip(changes, self._places(changes, row), strict=True):
            ref = ref_of(circuit, change)
            if ref is None:
                continue  # unplugged there
            if change.value or change.mode not in _BY_ITSELF:
                for key, span in self._spreads(circuit, condition).items():
                    if key.rpartition(".")[0] == ref and key not in self._bent:
                        values.setdefault(key, value_at(span, self._level(key, row)))
            if change.value and change.span is not None:
                values[change.value] = value_at(change.span, where)
            else:
                ohms = None if change.ohms is None else value_at(change.ohms, where)
                faults.append(Fault(change.on, change.mode, ohms, change.to))
        return Cell(tuple(faults), None, {}, values)

    def _level(self, key: str, row: int) -> float:
        """Where a span stands in a machine of the design, 0 to 1."""
        return 0.5 if row >= HELD and key == self.source else level(row % HELD, self._columns[key])

    def _places(self, changes: Sequence[Change], row: int) -> list[float]:
        """Where the range of each change stands in a machine of the design, 0 to 1."""
        found, ranges, first = [], 0, row % HELD
        for n, change in enumerate(changes):
            if row >= HELD and change.value == self.source:
                found.append(0.5)
            elif first < POINTS:
                found.append(level(first, -1 if n == 0 else len(self._columns) + n))
            else:
                found.append(corner(first, ranges))
            ranges += is_range(change.ohms) or is_range(change.span)
        return found

    def source_at(self, changes: Sequence[Change], row: int) -> float:
        """Where the source stands in a machine of the design, 0 to 1: in its own span, or in that
        of the fault which changes it."""
        for change, where in zip(changes, self._places(changes, row), strict=True):
            if change.value == self.source:
                return where
        return self._level(self.source or "", row)

    def is_fed(self, condition: str, probe: Probe) -> bool:
        """Whether the main source, as it came, hangs together with what the leads touch there."""
        stand = self._stands[condition]
        if self.source is None or self.source in stand.spreads:
            return False
        if probe.read not in ("volts", "amps"):
            return False
        element = stand.elements[self.source.rpartition(".")[0]]
        return element.plugged and any(stand.island[n] in self.islands_of(condition, probe)
                                       for n in element.pins.values())  # fmt: skip


def ref_of(circuit: Circuit, change: Change) -> str | None:
    """The element that a change is about; None if this circuit does not have it."""
    if change.value:
        ref = change.value.rpartition(".")[0]
        return ref if ref in circuit.by_ref else None
    found = find(change.on, circuit.by_ref)
    return found[0].ref if found else None


def _spread_keys(machine: Machine, wires: Wires) -> dict[str, None]:
    keys = dict.fromkeys(wires.spreads)
    for condition in machine.conditions:
        keys |= dict.fromkeys(condition.spreads)
    return keys


def leaks_in(circuit: Circuit, changes: Iterable[Change]) -> set[tuple[str, str]]:
    faults = (Fault(c.on, c.mode, _SOME_OHMS, c.to) for c in changes if c.mode == "leak")
    return {leak for f in faults if (leak := leak_of(circuit, f))}


def ends_of(circuit: Circuit, probe: Probe) -> tuple[str, ...]:
    if not probe.through:
        return probe.red, probe.black
    found = find(probe.through, circuit.by_ref)
    return tuple(found[0].pins.values()) if found else ()
