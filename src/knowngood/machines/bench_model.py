"""The circuit of a machine on the bench: readings of many probes in many conditions at once.

A cell is (condition, changes, probe); it is read in some machines of the design. Each machine is
the circuit with its own values, so each has one engine; faults and states are laid over it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np

from knowngood.circuit.circuit import Cell, Circuit, standing
from knowngood.circuit.element import Element, State
from knowngood.circuit.faulted import Fault, find, is_curved
from knowngood.circuit.frame import Laid, frame, lay, lay_over, leak_of
from knowngood.circuit.laws import Open
from knowngood.circuit.meter import take
from knowngood.circuit.probe import Probe, Shown
from knowngood.circuit.settle import Engine
from knowngood.isolate.forecast import Piece
from knowngood.machines.design import level, value_at
from knowngood.machines.electric import Change, Probing, Wires
from knowngood.machines.electric_parse import probes_of
from knowngood.machines.machine import Machine
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
    """Wires, conditions and meter of one machine. Not changed by asking."""

    def __init__(self, machine: Machine, wires: Wires, meter: MeterSheet | None) -> None:
        self.wires, self.meter = wires, meter
        steps = {s.id: s for s in machine.teardown}
        self._joining = [c for f in machine.faults for c in f.changes
                         if c.mode in ("leak", "stuck closed", "short", "high resistance")]
        self._columns = {key: n for n, key in enumerate(_spread_keys(machine, wires))}
        curved = {e.ref for e in wires.circuit.elements
                  if any(is_curved(b.law) for b in e.branches())}  # fmt: skip
        # spreads of diodes and lamps are not laid over a circuit but built into it
        self._bent = frozenset(k for k in self._columns if k.rpartition(".")[0] in curved)
        self._stands: dict[str, _Stand] = {}
        for condition in machine.conditions:
            states = dict(wires.states)
            opened = with_needs(steps, condition.open)
            for step in machine.teardown:
                if step.id in opened:
                    states |= step.states
            states |= condition.states
            new = {e.ref: e for e in standing(wires.circuit, Cell(states=states))}
            elements = {e.ref: new.get(e.ref, e) for e in wires.circuit.elements}
            island = islands(wires.circuit, elements)
            self._stands[condition.id] = _Stand(states, dict(condition.spreads), elements, island)
        self._like: dict[str, str] = {}
        for id, stand in self._stands.items():
            same = (i for i, s in self._stands.items()
                    if s.elements == stand.elements and s.spreads == stand.spreads)  # fmt: skip
            self._like[id] = next(same)

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
        ends = _ends(self.wires.circuit, probe)
        near = {island[n] for n in ends}
        for change in changes:
            ref = _ref_of(self.wires.circuit, change)
            stand = self._stands[condition].elements
            nodes = list(stand[ref].pins.values()) if ref and stand[ref].plugged else []
            if change.mode == "leak" and change.to:
                nodes.append(change.to)
            if any(island[n] in near for n in nodes):
                return True
        return False

    def never_joined(self, condition: str, red: str, black: str) -> bool:
        """Whether the two points are apart there and no fault of the file leads between them."""
        island = self._stands[condition].island
        if island[red] == island[black]:
            return False
        for change in self._joining:
            ref = _ref_of(self.wires.circuit, change)
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
            if not e.plugged or _is_open(e):
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

    def scope(self, asked: Iterable[Reading]) -> Scope:
        """Room for these readings, to be read in one or several goes."""
        return Scope(self, asked)

    # -- laying, for `Scope`

    def near(self, condition: str, asked: Sequence[Reading]) -> Circuit:
        """The circuit as it stands there, without what nothing asked for can reach."""
        stand = self._stands[condition]
        whole = self.wires.circuit
        touched = {ref for a in asked for c in a.changes if (ref := _ref_of(whole, c))}
        near = {stand.island[n] for a in asked for n in _ends(whole, a.probe)}
        near |= {stand.island[n] for r in touched for n in whole.by_ref[r].pins.values()}
        near |= {stand.island[c.to] for a in asked for c in a.changes if c.mode == "leak" and c.to}
        elements = []
        for ref, element in stand.elements.items():
            here = any(stand.island[n] in near for n in element.pins.values())
            if here and element.plugged and (ref in touched or not _is_open(element)):
                elements.append(element)
        if not any(e.KIND == "battery" for e in elements):
            elements = [e.at(False) if e.rule() is not None else e for e in elements]
        return replace(whole, elements=tuple(elements))

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
            k: value_at(s, level(row, self._columns[k]))
            for k, s in self._spreads(circuit, condition).items()
            if k not in self._bent
        })  # fmt: skip

    def change_cell(
        self, circuit: Circuit, condition: str, changes: tuple[Change, ...], row: int
    ) -> Cell:
        """The changes; where they replace a value, with the other values of that element."""
        values: dict[str, float] = {}
        faults = []
        for n, change in enumerate(changes):
            ref = _ref_of(circuit, change)
            if ref is None:
                continue  # unplugged there
            where = level(row, -1 if n == 0 else len(self._columns) + n)
            if change.value or change.mode not in _BY_ITSELF:
                for key, span in self._spreads(circuit, condition).items():
                    if key.rpartition(".")[0] == ref and key not in self._bent:
                        values.setdefault(key, value_at(span, level(row, self._columns[key])))
            if change.value and change.span is not None:
                values[change.value] = value_at(change.span, where)
            else:
                ohms = None if change.ohms is None else value_at(change.ohms, where)
                faults.append(Fault(change.on, change.mode, ohms, change.to))
        return Cell(tuple(faults), None, {}, values)


class Scope:
    """The engines for a set of readings: one for each condition, and for diode tests one for each
    machine of the design. Only what the leads and the changes touch is solved."""

    def __init__(self, model: BenchModel, asked: Iterable[Reading]) -> None:
        self.model = model
        self._parts: dict[tuple[str, bool], list[Reading]] = {}
        for a in dict.fromkeys(asked):
            self._parts.setdefault(self._part(a), []).append(a)
        self._bare = {key: model.near(key[0], part) for key, part in self._parts.items()}
        self._engines: dict[tuple[str, bool, int], Engine] = {}

    def _part(self, a: Reading) -> tuple[str, bool]:
        return self.model.like(a.condition), a.probe.read == "diode"

    def read(self, asked: Sequence[Reading], rows: Iterable[int]) -> list[list[Shown]]:
        """What each shows in each of these machines: [asked][row]. All must be in the scope."""
        rows = tuple(rows)
        if not rows:
            return [[] for _ in asked]
        found: dict[Reading, list[Shown]] = {}
        plain = [a._replace(condition=self.model.like(a.condition)) for a in asked]
        groups: dict[tuple[str, bool], list[Reading]] = {}
        for a in dict.fromkeys(plain):
            groups.setdefault(self._part(a), []).append(a)
        for key, part in groups.items():
            for a, shown in zip(part, self._read(key, part, rows), strict=True):
                found[a] = shown
        return [found[a] for a in plain]

    def _read(
        self, key: tuple[str, bool], asked: Sequence[Reading], rows: tuple[int, ...]
    ) -> list[list[Shown]]:
        model, condition = self.model, key[0]
        cases = {changes: n for n, changes in enumerate(dict.fromkeys(a.changes for a in asked))}
        which = np.array([cases[a.changes] for a in asked], dtype=np.intp)
        bare = self._bare[key]
        found: list[list[Shown]] = [[] for _ in asked]
        for circuit, some in model.variants(condition, bare, rows) if key[1] else [(bare, rows)]:
            engine = self._engine(key, circuit, some[0] if circuit is not bare else -1)
            good = lay(engine.frame, [model.good_cell(circuit, condition, row) for row in some])
            laid = good.take(np.repeat(np.arange(len(some)), len(cases)))
            lay_over(engine.frame, laid, [
                model.change_cell(circuit, condition, changes, row)
                for row in some for changes in cases
            ])  # fmt: skip
            cells = np.concatenate([which + n * len(cases) for n in range(len(some))])
            shown = self._taken(engine, laid.take(cells), [a for _ in some for a in asked])
            for n in range(len(some)):
                for i in range(len(asked)):
                    found[i].append(shown[n * len(asked) + i])
        return found

    def _engine(self, key: tuple[str, bool], circuit: Circuit, row: int) -> Engine:
        place = (*key, row)
        if place not in self._engines:
            part = self._parts[key]
            meters = dict.fromkeys(
                (a.probe.red, a.probe.black) for a in part if not a.probe.through)
            changes = dict.fromkeys(c for a in part for c in a.changes)
            leaks = sorted(_leaks(circuit, (c for c in changes if _ref_of(circuit, c))))
            self._engines[place] = Engine(frame(circuit, leaks, meters), "update")
        return self._engines[place]

    def _taken(self, engine: Engine, laid: Laid, asked: Sequence[Reading]) -> list[Shown]:
        """Readings; an ohmmeter that ranges by itself pushes less where the ohms are more."""
        shown = take(engine, laid, [a.probe for a in asked])
        ranges = self.model.meter.ranges("ohms") if self.model.meter else ()
        if not ranges or not (len(engine.frame.curves.branch) or engine.frame.rules):
            return shown
        again = [
            i for i, (a, s) in enumerate(zip(asked, shown, strict=True))
            if a.probe.read == "ohms"
            and (s == "OL" or (isinstance(s, float) and s > ranges[0].full_scale))
        ]  # fmt: skip
        if not again:
            return shown
        probes = []
        for i in again:
            s = shown[i]
            ohms = s if isinstance(s, float) else np.inf
            probes.append(self.model.with_meter(asked[i].probe, ohms))
        part = laid.take(np.array(again, dtype=np.intp))
        for i, value in zip(again, take(engine, part, probes), strict=True):
            shown[i] = value
        return shown


def _ref_of(circuit: Circuit, change: Change) -> str | None:
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


def _leaks(circuit: Circuit, changes: Iterable[Change]) -> set[tuple[str, str]]:
    faults = (Fault(c.on, c.mode, _SOME_OHMS, c.to) for c in changes if c.mode == "leak")
    return {leak for f in faults if (leak := leak_of(circuit, f))}


def _ends(circuit: Circuit, probe: Probe) -> tuple[str, ...]:
    if not probe.through:
        return probe.red, probe.black
    found = find(probe.through, circuit.by_ref)
    return tuple(found[0].pins.values()) if found else ()


def islands(circuit: Circuit, elements: dict[str, Element]) -> dict[str, int]:
    """Node -> a label of what hangs together; whatever may join counts as joined."""
    parent = {n: n for n in circuit.nodes}

    def root(n: str) -> str:
        while parent[n] != n:
            parent[n] = parent[parent[n]]
            n = parent[n]
        return n

    for element in elements.values():
        if not element.plugged or _is_open(element):
            continue
        first, *others = element.pins.values()
        for other in others:
            parent[root(other)] = root(first)
    labels = {r: n for n, r in enumerate(dict.fromkeys(root(n) for n in circuit.nodes))}
    return {n: labels[root(n)] for n in circuit.nodes}


def _is_open(element: Element) -> bool:
    branches = element.branches()
    if element.rule() is not None or len(branches) != 1:
        return False
    law = branches[0].law
    return isinstance(law, Open) and not law.farads
