"""A file of readings, as scripts write it, to evidence; every problem with its index."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from knowngood.diagnosis.evidence import Acceptance, Evidence
from knowngood.diagnosis.steps import opening_order
from knowngood.isolate.belief import Item
from knowngood.machines.ask import with_test
from knowngood.machines.machine import Machine
from knowngood.machines.nearest import did_you_mean
from knowngood.machines.safety import charged_again
from knowngood.measure.meter import MeterSheet
from knowngood.measure.reading import PASSED_OVER, Reading
from knowngood.places.library import find_meter
from knowngood.places.points import points_test
from knowngood.places.record import Refused
from knowngood.places.taking import read_for

KINDS = ("test", "points", "open", "close", "told", "accept", "call")
ALLOWED = {
    "test": {"test", "text", "meter", "at", "withdrawn"},
    "points": {"points", "read", "condition", "text", "meter", "at", "withdrawn"},
    "open": {"open", "at"},
    "close": {"close", "at"},
    "told": {"told", "at", "withdrawn"},
    "accept": {"accept", "by", "at", "withdrawn"},
    "call": {"call", "at", "withdrawn"},
}
EXAMPLE = '[{"test": "pack_rest", "text": "57.9 V"}]'


@dataclass(frozen=True, slots=True)
class Entry:
    """One reading of the file: its place (from 0), what was understood, whether it counts."""

    index: int
    test: str
    text: str
    at: str
    reading: Reading
    withdrawn: bool
    visit: int

    @property
    def id(self) -> str:
        return str(self.index)


@dataclass(frozen=True, slots=True)
class ReadingsFile:
    """All the file says. ``entries``: its readings in order, those that do not count with them."""

    entries: tuple[Entry, ...]
    evidence: Evidence


def parse_readings(
    text: str, name: str, machine: Machine, meter: MeterSheet | None
) -> tuple[ReadingsFile | None, list[str]]:
    """The readings in this JSON text, or None with every problem as "NAME[index]: what, way out".

    ``meter`` is taken where an entry names none. ``machine``: of the setup, so that the tests
    worked out from its wiring and any two of its points can be read.
    """
    try:
        data = json.loads(text, object_pairs_hook=_object)
    except (ValueError, RecursionError) as error:
        reason = "nested too deep" if isinstance(error, RecursionError) else str(error)
        return None, [f"{name}: not JSON: {reason}. Write it like {EXAMPLE}"]
    if not isinstance(data, list):
        return None, [f"{name}: not a list. Write it like {EXAMPLE}"]
    reader = _Reader(name, machine, meter)
    for index, entry in enumerate(data):
        reader.entry(index, entry)
    if reader.problems:
        return None, reader.problems
    return reader.finish(), []


class _Twice(dict[str, Any]):
    """An object in which names stand more than once."""

    names: tuple[str, ...] = ()


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    names = [name for name, _ in pairs]
    if len(set(names)) == len(names):
        return dict(pairs)
    found = _Twice(pairs)
    found.names = tuple(dict.fromkeys(n for n in names if names.count(n) > 1))
    return found


@dataclass
class _Reader:
    name: str
    machine: Machine
    meter: MeterSheet | None
    problems: list[str] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    accepted: list[Acceptance] = field(default_factory=list)
    called: str | None = None
    opened: set[str] = field(default_factory=set)
    days: list[str] = field(default_factory=list)
    meters: dict[str, MeterSheet | None] = field(default_factory=dict)

    def entry(self, index: int, entry: object) -> None:
        if not isinstance(entry, Mapping):
            self._problem(index, f"not an object. Write it like {EXAMPLE[1:-1]}")
            return
        if isinstance(entry, _Twice):
            named = ", ".join(repr(n[:40]) for n in entry.names)
            self._problem(index, f"{named} is here twice. Keep one, or make two entries of it")
            return
        kinds = [k for k in KINDS if k in entry]
        if len(kinds) != 1:
            what = " and ".join(kinds) if kinds else "none of them"
            self._problem(index, f"needs exactly one of {', '.join(KINDS)}; it has {what}")
            return
        kind = kinds[0]
        sound = True
        for key in entry:
            if key not in ALLOWED[kind]:
                hint = did_you_mean(str(key), ALLOWED[kind])
                self._problem(index, f"{str(key)[:40]!r} does not belong to a {kind}. {hint}")
                sound = False
        value = entry[kind]
        if kind == "points":
            value = self._points(index, entry, value)
            kind = "test"
            if value is None:
                return
        if not isinstance(value, str):
            self._problem(index, f"{kind} must be text; it is {json.dumps(value)[:40]}")
            return
        if not isinstance(entry.get("withdrawn", False), bool):
            self._problem(index, "withdrawn must be true or false")
            sound = False
        visit = self._visit(index, entry.get("at"))
        if sound and visit is not None:
            getattr(self, f"_{kind}")(index, entry, value, visit)

    def _visit(self, index: int, at: object) -> int | None:
        """The sitting: the calendar day as written; without a time that of the entry before."""
        if at is None:
            self.days = self.days or [""]
            return len(self.days) - 1
        try:
            day = datetime.fromisoformat(str(at)).date().isoformat()
        except ValueError:
            self._problem(index, f"at {str(at)[:40]!r} is no time. Write it like 2026-03-01T10:00Z")
            return None
        if day not in self.days:
            self.days.append(day)
        return self.days.index(day)

    def _points(self, index: int, entry: Mapping[str, Any], value: object) -> str | None:
        """The id of the test between two points."""
        two = value if isinstance(value, list) else []
        if len(two) != 2 or not all(isinstance(v, str) for v in two):
            self._problem(index, 'points must be two names. Write it like {"points": ["SP1", "B-"],'
                          ' "read": "volts", "condition": "plug_live", "text": "11.9 V"}')
            return None
        read, condition = (str(entry.get(key) or "") for key in ("read", "condition"))
        try:
            test = points_test(self.machine, two[0], two[1], read, condition, self.opened)
        except Refused as refused:
            self._problem(index, str(refused))
            return None
        if test.id not in {t.id for t in self.machine.tests}:
            self.machine = with_test(self.machine, test)
        return test.id

    def _test(self, index: int, entry: Mapping[str, Any], value: str, visit: int) -> None:
        test = next((t for t in self.machine.tests if t.id == value), None)
        text = entry.get("text")
        if test is None:
            self._unknown(index, "test", value, [t.id for t in self.machine.tests])
        if not isinstance(text, str):
            self._problem(index, 'text is missing or no text. Write it like "text": "57.9 V"')
        sheet = self._meter(index, entry.get("meter"))
        if test is None or not isinstance(text, str) or (sheet is None and entry.get("meter")):
            return
        withdrawn = bool(entry.get("withdrawn"))
        before = [e.reading for e in self.entries if e.test == test.id and not e.withdrawn]
        reading = read_for(test, text, sheet, before[-1] if before else None)
        at = str(entry.get("at") or "")
        self.entries.append(Entry(index, test.id, text, at, reading, withdrawn, visit))
        if reading.is_evidence:
            condition = self.machine.state_of(test)
            self.opened |= set(opening_order(self.machine, condition.open, frozenset()))
            self.opened -= {*condition.closed, *charged_again(self.machine, condition)}

    def _meter(self, index: int, name: object) -> MeterSheet | None:
        if name is None:
            return self.meter
        if not isinstance(name, str):
            self._problem(index, "meter must be the name of a meter")
            return None
        if name not in self.meters:
            try:
                self.meters[name] = find_meter(name).it
            except Refused as refused:
                self.meters[name] = None
                self._problem(index, str(refused))
        elif self.meters[name] is None:
            self._problem(index, f"the same meter {name!r}")
        return self.meters[name]

    def _open(self, index: int, entry: Mapping[str, Any], value: str, visit: int) -> None:
        if self._known(index, "teardown step", value, [t.id for t in self.machine.teardown]):
            self.opened |= set(opening_order(self.machine, [value], frozenset()))

    def _close(self, index: int, entry: Mapping[str, Any], value: str, visit: int) -> None:
        if self._known(index, "teardown step", value, [t.id for t in self.machine.teardown]):
            self.opened.discard(value)

    def _told(self, index: int, entry: Mapping[str, Any], value: str, visit: int) -> None:
        known = self._known(index, "told", value, [t.id for t in self.machine.told])
        if known and not entry.get("withdrawn") and value not in self.told:
            self.told.append(value)

    def _accept(self, index: int, entry: Mapping[str, Any], value: str, visit: int) -> None:
        by = entry.get("by")
        if not isinstance(by, str) or not by.strip():
            self._problem(index, 'accept needs whose word it is: "by": "NAME"')
        known = self._known(index, "part", value, [p.id for p in self.machine.parts])
        if known and isinstance(by, str) and by.strip() and not entry.get("withdrawn"):
            self.accepted = [a for a in self.accepted if a.part != value]
            self.accepted.append(Acceptance(value, by.strip()))

    def _call(self, index: int, entry: Mapping[str, Any], value: str, visit: int) -> None:
        known = self._known(index, "part", value, [p.id for p in self.machine.parts])
        if known and not entry.get("withdrawn"):
            self.called = value

    def _known(self, index: int, what: str, value: str, known: list[str]) -> bool:
        if value not in known:
            self._unknown(index, what, value, known)
        return value in known

    def _unknown(self, index: int, what: str, value: str, known: list[str]) -> None:
        self._problem(index, f"no {what} {value[:60]!r}. {did_you_mean(value, known)}")

    def _problem(self, index: int, message: str) -> None:
        self.problems.append(f"{self.name}[{index}]: {message}")

    def finish(self) -> ReadingsFile:
        items = tuple(
            Item(e.id, e.test, e.reading, e.visit)
            for e in self.entries
            if not e.withdrawn and (e.reading.is_evidence or e.reading.note in PASSED_OVER)
        )
        evidence = Evidence(
            items, tuple(self.told), tuple(self.accepted), self.called, frozenset(self.opened)
        )
        return ReadingsFile(tuple(self.entries), evidence)
