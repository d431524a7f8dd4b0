"""The electrical sections of a machine file: circuit, states, spreads, faults, probes."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final

from knowngood.circuit.circuit import Cell, Circuit, wrong_cell
from knowngood.circuit.element import State
from knowngood.circuit.faulted import Fault, wrong_fault
from knowngood.circuit.netlist import Reader
from knowngood.circuit.probe import Probe
from knowngood.circuit.text import Path
from knowngood.isolate.forecast import Piece
from knowngood.machines import schema
from knowngood.machines.electric import Change, Point, Probing, Wires
from knowngood.measure.problem import Problem
from knowngood.measure.units import EXAMPLE, Dimension, UnitError, parse_as, parse_quantity

_BETWEEN: Final = re.compile(r"(.+?)\s*\.\.\s*(.+?)(\s+log)?", re.DOTALL)
_AROUND: Final = re.compile(r"(.+?)\s*(?:\+/?-|±)\s*(.+)", re.DOTALL)
_BARE: Final = re.compile(r"[+-]?[0-9]*\.?[0-9]+")
NO_CIRCUIT: Final = "Describe the wiring in a section circuit:, or take this out"


def parse_span(text: str, dimension: Dimension) -> Piece:
    """"1 ohm .. 10 ohm log", "12 V +- 0.5 V", "5 ohm" as a piece. Raises UnitError."""
    text = " ".join(text.split())[:200]
    if found := _BETWEEN.fullmatch(text):
        low, high = _pair(found[1], found[2], dimension)
        if high < low:
            raise UnitError(f"{text!r} runs downwards; put the lower value first")
        if found[3] and low <= 0:
            raise UnitError(f"{text!r} starts at zero or below on a log scale")
        if high > low:
            return Piece("log" if found[3] else "between", low, high)
        return Piece("around", low, 0.0)
    if found := _AROUND.fullmatch(text):
        middle, spread = _pair(found[1], found[2], dimension)
        return Piece("around", middle, abs(spread) / 2)
    return Piece("around", _value(text, dimension), 0.0)


def _pair(first: str, second: str, dimension: Dimension) -> tuple[float, float]:
    if _BARE.fullmatch(first.strip()):
        first += " " + re.sub(r"^\s*[+-]?[0-9.]+\s*", "", second)
    return _value(first, dimension), _value(second, dimension)


def _value(text: str, dimension: Dimension) -> float:
    if dimension != "number":
        return parse_as(text, dimension)
    number, found = parse_quantity(text)
    if found != "number":
        raise UnitError(f"{text[:60]!r} must be a plain number")
    return number


class ElectricReader:
    """Reads against the circuit of the file; problems go to `problems`, each at its line."""

    def __init__(self, name: str, lines: Mapping[str, int], problems: list[Problem]) -> None:
        self.problems = problems
        self.reader = Reader(name, _line_in(lines))
        self.circuit: Circuit | None = None
        self.given = False  # a circuit stands in the file, sound or not
        self.nodes: tuple[str, ...] = ()  # its nodes, as far as they can be read

    def _flush(self) -> None:
        self.problems += self.reader.problems
        self.reader.problems = []

    def wires(self, spec: schema.CircuitSpec | None, source: str) -> Wires | None:
        """The section `circuit`."""
        if spec is None:
            return None
        self.given = True
        raw = {"ground": spec.ground, "elements": spec.elements}
        self.circuit = self.reader.circuit(raw, ("circuit",))
        self.nodes = _nodes_in(spec) if self.circuit is None else self.circuit.nodes
        points = {}
        for node, point in spec.points.items():
            place = ("circuit", "points", node)
            if node not in self.nodes:
                fix = self.reader.near(node, self.nodes)
                self.reader.bad(place, f"no element touches the point {node[:60]!r}", fix)
                continue
            points[node] = Point(
                node, point.words, tuple(point.open), tuple(point.closed), point.common
            )
        if self.circuit is None:
            self._flush()
            return None
        # The file's name is for its problems: a copy of it elsewhere is the same machine.
        found = Wires(
            replace(self.circuit, name=""),
            self.states(("circuit", "states"), spec.states),
            self.spreads(("circuit", "spreads"), spec.spreads),
            points,
            source,
        )
        self._flush()
        return found

    def states(self, place: Path, raw: Mapping[str, Any]) -> dict[str, State]:
        """A table of states, wherever it stands."""
        if not raw:
            return {}
        if self.circuit is None:
            self._no_circuit(place)
            return {}
        found = self.reader.states(dict(raw), self.circuit, place)
        self._flush()
        return found

    def spreads(self, place: Path, raw: Mapping[str, str]) -> dict[str, Piece]:
        """ "S1.ohms, S2.ohms: 5 mohm .. 50 mohm log", by element and value."""
        if not raw:
            return {}
        if self.circuit is None:
            self._no_circuit(place)
            return {}
        found: dict[str, Piece] = {}
        for keys, text in raw.items():
            for key in (k.strip() for k in keys.split(",")):
                piece = self._span((*place, keys), key, text)
                if piece is not None:
                    found[key] = piece
        self._flush()
        return found

    def changes(self, fault: str, specs: list[schema.ChangeSpec]) -> tuple[Change, ...]:
        """What a fault is in the wiring."""
        if specs and self.circuit is None:
            self._no_circuit(("faults", fault, "circuit"))
            return ()
        many = len(specs) > 1
        found = []
        for n, spec in enumerate(specs):
            place: Path = ("faults", fault, "circuit", n) if many else ("faults", fault, "circuit")
            change = self._change(place, spec)
            if change is not None:
                found.append(change)
        total = sum(c.share or 0.0 for c in found if not (c.when or c.unless))
        if total > 1 + 1e-9:
            self.reader.bad(("faults", fault, "circuit"),
                            f"the shares of {fault} make {100 * total:g} %", "Let them make 100 %")
        self._flush()
        return tuple(found)

    def probing(self, test: str, spec: schema.ProbeSpec, compared: int = 0) -> Probing | None:
        """Where a test puts the meter; `compared`: so many pairs are judged by their spread."""
        place: Path = ("tests", test, "probe")
        if self.circuit is None and not self.given:
            self._no_circuit(place)
            return None
        pairs = [(p[0], p[1]) for p in spec.pairs]
        if spec.red or spec.black:
            pairs.append((spec.red or "", spec.black or ""))
        if bool(pairs) == bool(spec.through):
            self.reader.bad(place, "a probe needs red and black, or pairs, or through",
                            "Write probe: {read: volts, red: B+, black: B-}")
        if compared:
            if len(pairs) != compared or spec.write:
                self.reader.bad(place, f"compare names {compared} readings, the probe has "
                                f"{len(pairs)} pairs{' and write:' if spec.write else ''}",
                                "Give pairs: one pair for each name of compare, without write:")
        elif (len(pairs) > 1) != bool(spec.write):
            self.reader.bad(place, "several pairs and write: highest or lowest belong together",
                            "Add write: highest, or keep one pair")
        for probe in probes_of(Probing(spec.read, tuple(pairs), spec.through or "")):
            if self._unknown_nodes(place, probe) or self.circuit is None:
                continue
            if bad := wrong_cell(self.circuit, Cell(probe=probe)):
                message, _, fix = bad.partition(". ")
                self.reader.bad(place, message, fix)
        sound = not self.reader.problems
        self._flush()
        if not sound or self.circuit is None:
            return None
        write = "spread" if compared else spec.write or ""
        return Probing(spec.read, tuple(pairs), spec.through or "", write)

    def _unknown_nodes(self, place: Path, probe: Probe) -> bool:
        """Whether a lead is on no node of the circuit; each that is not is a problem."""
        leads = () if probe.through else (("red", probe.red), ("black", probe.black))
        wrong = [(lead, node) for lead, node in leads if node and node not in self.nodes]
        for lead, node in wrong:
            self.reader.bad(place, f"{lead} must touch a node, got {node[:60]!r}",
                            self.reader.near(node, self.nodes))
        return bool(wrong)

    def _change(self, place: Path, spec: schema.ChangeSpec) -> Change | None:
        assert self.circuit is not None
        before = len(self.reader.problems)
        common = {
            "share": self._share((*place, "share"), spec.share),
            "unsteady": self._share((*place, "unsteady"), spec.unsteady) or 0.0,
            "when": tuple(spec.when), "unless": tuple(spec.unless),
        }  # fmt: skip
        change: Change | None = None
        if spec.set and not (spec.on or spec.mode or spec.ohms):
            span = self._span((*place, "to"), spec.set, spec.to or "")
            change = Change(value=spec.set, span=span, **common)  # type: ignore[arg-type]
        elif spec.on and spec.mode and not spec.set:
            ohms = self._ohms((*place, "ohms"), spec.ohms)
            fault = Fault(spec.on, spec.mode, None if ohms is None else ohms.low, spec.to)
            if bad := wrong_fault(fault, self.circuit.by_ref, self.circuit.nodes):
                self.reader.bad(place, *bad)
            change = Change(spec.on, spec.mode, ohms, spec.to, **common)  # type: ignore[arg-type]
        else:
            self.reader.bad(place, "a fault in the wiring is on and mode, or set and to",
                            "Write {on: F1, mode: open} or {set: BT1.volts, to: 10 V .. 15 V}")
        return change if len(self.reader.problems) == before else None

    def _share(self, place: Path, text: str | None) -> float | None:
        if text is None:
            return None
        try:
            share = parse_as(text, "percent") / 100
        except UnitError as error:
            self.reader.bad(place, str(error), "Write it like 60 %")
            return None
        if not 0 < share <= 1:
            self.reader.bad(place, f"a share of {text[:40]}", "Write more than 0 % up to 100 %")
        return share

    def _ohms(self, place: Path, text: str | None) -> Piece | None:
        if text is None:
            return None
        try:
            piece = parse_span(text, "resistance")
        except UnitError as error:
            self.reader.bad(place, str(error), "Write it like 1 ohm .. 500 ohm log")
            return None
        if piece.low < 0:
            self.reader.bad(place, f"{text[:40]!r} is below zero", "Write ohms of 0 or more")
        return piece

    def _span(self, place: Path, key: str, text: str) -> Piece | None:
        """The span of "REF.field"; both must be there, and both ends must be allowed."""
        assert self.circuit is not None
        ref, _, name = key.rpartition(".")
        element = self.circuit.by_ref.get(ref)
        dimension = next((f.dimension for f in element.FIELDS if f.key == name and f.dimension),
                         None) if element else None  # fmt: skip
        if dimension is None:
            bad = wrong_cell(self.circuit, Cell(values={key: 0.0})) or f"no value {key!r}"
            message, _, fix = bad.partition(". ")
            self.reader.bad(place, message, fix)
            return None
        try:
            piece = parse_span(text, dimension)
        except UnitError as error:
            self.reader.bad(place, f"{key}: {error}", f"Write it like {EXAMPLE[dimension]}")
            return None
        for value in ends(piece):
            if wrong := wrong_cell(self.circuit, Cell(values={key: value})):
                self.reader.bad(place, wrong, "")
                return None
        return piece

    def _no_circuit(self, place: Path) -> None:
        if not self.given:
            where = ".".join(str(p) for p in place)
            self.reader.bad(place, f"{where}: there is no circuit in this file", NO_CIRCUIT)
            self._flush()


def ends(piece: Piece) -> tuple[float, float]:
    """Lowest and highest value that a span is taken for: two standard deviations of a normal."""
    if piece.kind == "around":
        return piece.low - 2 * piece.high, piece.low + 2 * piece.high
    return piece.low, piece.high


def probes_of(probing: Probing) -> tuple[Probe, ...]:
    """The bare probes of a test, without a particular meter."""
    if probing.through:
        return (Probe(probing.read, through=probing.through),)
    return tuple(Probe(probing.read, red, black) for red, black in probing.pairs)


def _nodes_in(spec: schema.CircuitSpec) -> tuple[str, ...]:
    """The nodes named by the elements of a circuit that cannot be read as it stands."""
    pins = [e.get("pins") for e in spec.elements if isinstance(e, Mapping)]
    named = [str(n) for p in pins if isinstance(p, Mapping) for n in p.values()]
    return tuple(dict.fromkeys([spec.ground, *named]))


def _line_in(lines: Mapping[str, int]) -> Callable[[Path], int]:
    return lambda path: lines.get(".".join(str(p) for p in path), 0)
