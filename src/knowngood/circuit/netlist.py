"""A circuit as written by a person -> `Circuit`, with every mistake listed at its line.

The same reader serves a circuit file (`parse_circuit`) and the circuit section of a larger file
(`circuit_from`, and `Reader` for lists of faults, probes and states that stand elsewhere in it).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, fields
from typing import Any, Final

from knowngood.calculate.wire import awg_area, awg_number, wire_ohms
from knowngood.circuit.circuit import Circuit, all_names, wrong_probe, wrong_state
from knowngood.circuit.device import KINDS
from knowngood.circuit.element import Element, Field, State
from knowngood.circuit.faulted import Fault, near_word, nearest, wrong_fault
from knowngood.circuit.probe import READS, Probe, Read
from knowngood.circuit.text import Path, read_text
from knowngood.measure.problem import Problem
from knowngood.measure.units import EXAMPLE, Dimension, UnitError, parse_as, parse_quantity

Line = Callable[[Path], int]

MOST: Final = {"elements": 1000, "probes": 1000, "faults": 4000}
MOST_CELLS: Final = 50_000
_MOST_PROBLEMS: Final = 200
_LONGEST: Final = 60
_PEOPLE: Final = ("words", "colour", "source")
_TOP: Final = ("ground", "elements", "probes", "faults")
_PROBE: Final[dict[str, Dimension]] = {
    "meter_ohms": "resistance",
    "test_current": "current",
    "open_volts": "voltage",
    "limit": "voltage",
    "lead_ohms": "resistance",
}
_LIMIT: Final[dict[Read, Dimension]] = {
    "volts": "voltage",
    "diode": "voltage",
    "ohms": "resistance",
    "amps": "current",
}
_YES: Final = ("true", "yes", "closed", "in", "on", "plugged", "pulled", "alive", "pressed", "held")
_NO: Final = ("false", "no", "open", "out", "off", "unplugged", "released", "dead")


def parse_circuit(text: str, name: str = "circuit") -> tuple[Circuit | None, list[Problem]]:
    """Read a circuit file; (None, problems) when anything is wrong. Never raises on bad text."""
    raw, lines, problems = read_text(text, name)
    if problems:
        return None, problems
    return circuit_from(raw, name, lambda path: lines.get(path, 0))


def circuit_from(
    raw: Any, name: str = "circuit", line: Line = lambda path: 0, at: Path = ()
) -> tuple[Circuit | None, list[Problem]]:
    """A circuit from plain tables, lists and scalars, such as a section of a larger file.

    `at` is the section's own path there; `line` gives the line of a path such as
    (*at, "elements", 3, "pins", "a"), or 0.
    """
    reader = Reader(name, line)
    circuit = reader.circuit(raw, at)
    return (None if reader.problems else circuit), reader.problems


class Reader:
    """Collects problems while it turns plain values into elements, probes, faults and states."""

    def __init__(self, name: str, line: Line = lambda path: 0) -> None:
        self.name = name
        self.line = line
        self.problems: list[Problem] = []
        self.lost: frozenset[str] = frozenset()  # refs and nodes of elements that are wrong

    def bad(self, at: Path, message: str, fix: str = "") -> None:
        """Note a problem at the nearest path that has a line."""
        if len(self.problems) >= _MOST_PROBLEMS:
            return
        while at and not self.line(at):
            at = at[:-1]
        self.problems.append(Problem(self.name, self.line(at), message, fix))

    def near(self, word: str, known: Iterable[str]) -> str:
        """The nearest known word; not for the hundredth mistake, it takes time."""
        return nearest(word, known) if len(self.problems) < 50 else ""

    def circuit(self, raw: Any, at: Path = ()) -> Circuit | None:
        table = self.table(raw, at, "a circuit", _TOP)
        before = len(self.problems)
        elements = self.elements(table.get("elements"), (*at, "elements"))
        nodes = dict.fromkeys(n for e in elements for n in e.pins.values())
        ground = self.word(table, "ground", at)
        if ground and ground not in nodes and len(self.problems) == before:
            self.bad((*at, "ground"), f"no element touches {ground!r}", self.near(ground, nodes))
        if not elements and len(self.problems) == before:
            self.bad((*at, "elements"), "a circuit needs elements", "List at least a battery")
        whole = bool(ground) and len(self.problems) == before
        bare = Circuit(self.name, ground, tuple(elements))
        if not whole:  # probes and faults are told of their own mistakes, not of the elements'
            self.lost = _named(table.get("elements")) - {*bare.by_ref, *nodes}
        probes = self.probes(table.get("probes"), bare, (*at, "probes"))
        faults = self.faults(table.get("faults"), bare, (*at, "faults"))
        if not whole:
            return None
        if (len(faults) + 1) * (len(probes) + 1) > MOST_CELLS:
            count = f"{len(faults)} faults by {len(probes)} probes"
            self.bad((*at, "probes"), f"{count}: more than {MOST_CELLS} readings", "Ask for fewer")
        return Circuit(self.name, ground, tuple(elements), tuple(probes), tuple(faults))

    # Lists

    def elements(self, raw: Any, at: Path) -> list[Element]:
        """A list of elements; refs must differ."""
        out: dict[str, Element] = {}
        places: dict[str, int] = {}
        for i, (place, row) in enumerate(self.rows(raw, at, "elements")):
            ref = self.word(row, "ref", place)
            first = places.setdefault(ref, i) if ref else i
            if first != i:
                taken = f"{ref!r} is taken by elements[{first}]"
                self.bad((*place, "ref"), taken, "Give it another ref")
            element = self.element(row, place, ref)
            if element is not None and ref and first == i:
                out[ref] = element
        return list(out.values())

    def probes(self, raw: Any, circuit: Circuit, at: Path) -> list[Probe]:
        found = (self.probe(row, circuit, p) for p, row in self.rows(raw, at, "probes"))
        return [probe for probe in found if probe is not None]

    def faults(self, raw: Any, circuit: Circuit, at: Path) -> list[Fault]:
        found = (self.fault(row, circuit, p) for p, row in self.rows(raw, at, "faults"))
        return [fault for fault in found if fault is not None]

    # One of each

    def element(self, row: Mapping[Any, Any], at: Path, ref: str) -> Element | None:
        before = len(self.problems)
        kind = self.word(row, "kind", at)
        if kind and kind not in KINDS:
            self.bad((*at, "kind"), f"no kind {kind!r}", self.near(kind, KINDS))
            kind = near_word(kind, KINDS, 0.75) or ""  # the rest is looked at as if it were that
        cls = KINDS.get(kind)
        if cls is None:
            return None
        extra = {"wire": ("awg", "mm2", "length"), "winding3": ("form",)}.get(kind, ())
        known = [f.key for f in cls.FIELDS]
        self.keys(row, at, ("ref", "kind", "pins", "through", *_PEOPLE, *known, *extra), ref)
        values: dict[str, Any] = {"ref": ref, "pins": self.pins(row.get("pins"), at, cls, ref)}
        for name in _PEOPLE:
            if row.get(name) is not None:
                values[name] = str(row[name])[:400]
        if row.get("through") is not None:
            values["through"] = self.words(row["through"], (*at, "through"))
        attributes = {f.name: f for f in fields(cls)}
        for item in cls.FIELDS:
            attribute = "at_amps" if item.key == "at" else item.key
            found = self.value(row.get(item.key), item, (*at, item.key))
            if found is not None:
                values[attribute] = found
            elif attributes[attribute].default is MISSING and row.get(item.key) is None:
                example = EXAMPLE[item.dimension] if item.dimension else "true"
                self.bad(at, f"{ref or kind} needs {item.key}", f"Write {item.key}: {example}")
        if kind == "wire":
            self.wire(row, at, values)
        if kind == "winding3" and row.get("form") is not None:
            form = self.word(row, "form", at)
            if form not in ("wye", "delta"):
                self.bad((*at, "form"), f"no form {form!r}", "Write wye or delta")
            values["delta"] = form == "delta"
        if len(self.problems) > before:
            return None
        element = cls(**values)
        if wrong := element.wrong():
            self.bad(at, f"{ref}: {wrong[0]}", wrong[1])
        return element

    def pins(self, raw: Any, at: Path, cls: type[Element], ref: str) -> dict[str, str]:
        place = (*at, "pins")
        if not isinstance(raw, Mapping):
            need = ", ".join(f"{p}: NODE" for p in cls.PINS)
            self.bad(place, f"{ref} needs pins", f"Write pins: {{{need}}}")
            return {}
        out: dict[str, str] = {}
        for pin in raw:
            if pin not in (*cls.PINS, *cls.MAYBE):
                shown = str(pin)[:_LONGEST]
                fix = self.near(shown, (*cls.PINS, *cls.MAYBE))
                self.bad((*place, pin), f"a {cls.KIND} has no pin {shown!r}", fix)
            else:
                out[pin] = self.word(raw, pin, place)
        missing = [pin for pin in cls.PINS if pin not in raw]
        if missing:
            self.bad(place, f"{ref} has no {' and no '.join(missing)}", "Name a node for each pin")
        return out

    def wire(self, row: Mapping[Any, Any], at: Path, values: dict[str, Any]) -> None:
        """Ohms from gauge or area and length, if these are given."""
        size = [key for key in ("awg", "mm2") if row.get(key) is not None]
        if row.get("ohms") is not None or not (size or row.get("length") is not None):
            if size or row.get("length") is not None:
                self.bad(at, "ohms and a size as well", "Keep one: ohms, or awg or mm2 and length")
            elif row.get("ohms") is None:
                self.bad(at, "a wire needs ohms, or awg or mm2 and length", "Write ohms: 10 mohm")
            return
        if len(size) != 1 or row.get("length") is None:
            self.bad(
                at, "a wire needs one of awg and mm2, and a length", "Write awg: 18, length: 1 m"
            )
            return
        item = Field("length", "length", high=1e5)
        metres = self.value(row["length"], item, (*at, "length"))
        try:
            if size == ["awg"]:
                area = awg_area(awg_number(str(row["awg"])[:_LONGEST]))
            else:
                text = str(row["mm2"])[:_LONGEST]
                area = parse_as(text if "mm" in text else f"{text} mm2", "area")
            if isinstance(metres, float):
                values["ohms"] = wire_ohms(metres, area)
        except ValueError as error:
            self.bad((*at, size[0]), str(error))

    def probe(self, row: Mapping[Any, Any], circuit: Circuit, at: Path) -> Probe | None:
        before = len(self.problems)
        self.keys(row, at, ("read", "red", "black", "through", *_PROBE), "a probe")
        text = self.word(row, "read", at)
        read = next((r for r in READS if r == text), None)
        if read is None:
            if text:
                self.bad((*at, "read"), f"no reading {text!r}", self.near(text, READS))
            return None
        values: dict[str, Any] = {}
        for key, dimension in _PROBE.items():
            item = Field(key, _LIMIT[read] if key == "limit" else dimension)
            found = self.value(row.get(key), item, (*at, key))
            if found is not None:
                values[key] = found
        for key in ("red", "black", "through"):
            if row.get(key) is not None:
                values[key] = self.word(row, key, at)
        if len(self.problems) > before:
            return None
        probe = Probe(read, **values)
        refs = {probe.red, probe.black, probe.through, probe.through.rpartition(".")[0]}
        if not refs & self.lost and (wrong := wrong_probe(circuit, probe)):
            self.bad(at, *wrong)
        return probe

    def fault(self, row: Mapping[Any, Any], circuit: Circuit, at: Path) -> Fault | None:
        before = len(self.problems)
        self.keys(row, at, ("on", "mode", "ohms", "to"), "a fault")
        on, mode = self.word(row, "on", at), self.word(row, "mode", at)
        ohms = self.value(row.get("ohms"), Field("ohms", "resistance"), (*at, "ohms"))
        to = self.word(row, "to", at) if row.get("to") is not None else None
        if len(self.problems) > before:
            return None
        fault = Fault(on, mode, None if ohms is None else float(ohms), to)
        refs = {on, on.rpartition(".")[0], to or on}
        if not refs & self.lost and (wrong := wrong_fault(fault, circuit.by_ref, circuit.nodes)):
            self.bad((*at, "on" if wrong[0].startswith("no element") else "mode"), *wrong)
        return fault

    def states(self, raw: Any, circuit: Circuit, at: Path) -> dict[str, State]:
        """A table from element or connector to how it stands: closed, open, in, out, plugged,
        unplugged, pulled, released, alive, dead, true, false; a position; a temperature."""
        out: dict[str, State] = {}
        for name, value in self.table(raw, at, "states", None).items():
            place, known = (*at, name), str(name)[:_LONGEST]
            element = circuit.by_ref.get(known)
            state: State | None = _boolean(value)
            if state is None and element is not None and element.STATES[-1] != "bool":
                item = next(f for f in element.FIELDS if f.key == element.STATES[-1])
                state = self.value(value, item, place)
            elif state is None and (element is not None or known in circuit.connectors):
                shown = str(value)[:_LONGEST]
                self.bad(place, f"{known} cannot stand {shown!r}", "Write open, closed, in or out")
            elif state is None:
                self.bad(
                    place,
                    f"no element or connector {known!r}",
                    self.near(known, all_names(circuit)),
                )
            if state is not None:
                if wrong := wrong_state(circuit, known, state):
                    self.bad(place, *wrong)
                out[known] = state
        return out

    # Values

    def value(self, raw: Any, item: Field, at: Path) -> float | bool | None:
        """A number in base units or a yes or no; None if missing or wrong."""
        if raw is None:
            return None
        if item.dimension is None:
            state = _boolean(raw)
            if state is None:
                self.bad(at, f"{item.key} is {str(raw)[:_LONGEST]!r}", "Write true or false")
            return state
        if isinstance(raw, bool | Mapping | list):
            self.bad(at, f"{item.key} must be a value", f"Write {EXAMPLE[item.dimension]}")
            return None
        text = str(raw)
        try:
            if item.key == "position" and "%" in text:
                number = parse_as(text, "percent") / 100
            elif item.dimension == "number":
                number, found = parse_quantity(text)
                if found != "number":
                    raise UnitError(f"{text[:_LONGEST]!r} must be a plain number")
            else:
                number = parse_as(text, item.dimension)
        except UnitError as error:
            self.bad(at, f"{item.key}: {error}")
            return None
        if not item.low <= number <= item.high or not math.isfinite(number):
            span = f"{item.low:g} to {item.high:g}"
            self.bad(at, f"{item.key} is {text[:_LONGEST]!r}", f"It goes from {span} in base units")
            return None
        return number

    def word(self, row: Mapping[Any, Any], key: str, at: Path) -> str:
        """A name; "" if it is missing or no name."""
        raw = row.get(key)
        if raw is None or isinstance(raw, bool | Mapping | list):
            self.bad((*at, key), f"{key} is missing" if raw is None else f"{key} must be a word")
            return ""
        text = " ".join(str(raw).split())
        if not text or len(text) > _LONGEST or not text.isprintable():
            fix = f"Use 1 to {_LONGEST} plain signs"
            self.bad((*at, key), f"{key} is no name: {text[:20]!r}", fix)
            return ""
        return text

    def words(self, raw: Any, at: Path) -> tuple[str, ...]:
        items = raw if isinstance(raw, list) else [raw]
        return tuple(self.word({i: item}, i, at) for i, item in enumerate(items))  # type: ignore[arg-type]

    def table(
        self, raw: Any, at: Path, what: str, known: tuple[str, ...] | None
    ) -> Mapping[Any, Any]:
        if not isinstance(raw, Mapping):
            shown = "nothing" if raw is None else f"{str(raw)[:_LONGEST]!r}"
            need = ", ".join(known or ())
            self.bad(at, f"{what} must be a table, got {shown}", f"With {need}" if need else "")
            return {}
        if known is not None:
            self.keys(raw, at, known, what)
        return raw

    def rows(self, raw: Any, at: Path, what: str) -> Iterable[tuple[Path, Mapping[Any, Any]]]:
        if raw is None:
            return
        if not isinstance(raw, list):
            self.bad(at, f"{what} must be a list", "Start each with a dash")
            return
        if len(raw) > MOST[what]:
            self.bad(at, f"{len(raw)} {what}, more than {MOST[what]}", "Split the circuit")
            return
        for i, row in enumerate(raw):
            if isinstance(row, Mapping):
                yield (*at, i), row
            else:
                shown = str(row)[:_LONGEST]
                self.bad(
                    (*at, i), f"{what}[{i}] must be a table, got {shown!r}", "Write {key: value}"
                )

    def keys(self, row: Mapping[Any, Any], at: Path, known: tuple[str, ...], what: str) -> None:
        for key in row:
            if key not in known:
                shown = str(key)[:_LONGEST]
                self.bad((*at, key), f"{what} has no {shown!r}", self.near(shown, known))


def _boolean(raw: Any) -> bool | None:
    if isinstance(raw, bool):
        return raw
    text = str(raw).strip().lower()
    return True if text in _YES else False if text in _NO else None


def _named(raw: Any) -> frozenset[str]:
    """Every ref and node that a list of elements names, right or wrong."""
    rows = [row for row in raw if isinstance(row, Mapping)] if isinstance(raw, list) else []
    pins = [row["pins"] for row in rows if isinstance(row.get("pins"), Mapping)]
    refs = {str(row.get("ref")) for row in rows}
    return frozenset(refs | {str(node) for some in pins for node in some.values()})
