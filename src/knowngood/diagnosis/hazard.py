"""A part that must be left alone: what shows it, which tests that holds back, what to do.

A swollen, hot, leaking, wet or dropped lithium pack is isolated, not measured, charged, loaded or
plugged in (common practice; a damaged cell may go into thermal runaway). So is one above 4.25 V a
cell: a lithium-ion cell is full at 4.20 V with a tolerance of 0.05 V (common practice for cells of
the 4.2 V chemistry).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from knowngood.isolate.belief import Item
from knowngood.machines.machine import Condition, Machine, ServicePart, Test
from knowngood.measure.reading import Reading
from knowngood.measure.units import format_value

CELL_TOP: Final = 4.25  # V
STOP: Final = "Stop. This pack may catch fire."
TO_DO: Final = (
    "Do not charge it, do not open it, do not put it on a machine.",
    "Set it outdoors, away from buildings and from anything that burns, on bare ground or in a"
    " container that cannot burn.",
    "It smokes, hisses or gets hotter: keep away and call the fire service.",
    "Nobody ships it as it is; the rules for damaged cells apply.",
)
LOCAL: Final = "Local rules come first."
OVERCHARGED: Final = (
    "Overcharged: the charger is not used again, with no pack, until it was checked."
)
INSTEAD: Final = "only a known-good pack of the shop may take its place"


@dataclass(frozen=True, slots=True)
class Hazard:
    """A part to be left alone. ``why``: what was seen or read, in words; ``overcharged``: its
    volts were above the top of its chemistry."""

    part: str
    words: str
    why: str
    overcharged: bool = False

    @property
    def to_do(self) -> tuple[str, ...]:
        """What to do, a sentence each."""
        return (*TO_DO, OVERCHARGED, LOCAL) if self.overcharged else (*TO_DO, LOCAL)

    @property
    def held(self) -> str:
        """Why a test is held back."""
        return f"unsafe: {self.why}. {self.words} is left alone; {INSTEAD}"


def used_parts(machine: Machine, condition: Condition) -> tuple[str, ...]:
    """Parts that are measured, charged, loaded or plugged in there: as the file says, else those
    whose source-out step must be closed in an energised state."""
    if condition.uses is not None:
        return condition.uses
    if not condition.energised or condition.volts is not None:
        return ()
    out = {s.id for s in machine.teardown if s.role == "source out"} & set(condition.closed)
    return tuple(p.id for p in machine.parts if out & set(p.needs) and _can_be_unsafe(machine, p))


def _can_be_unsafe(machine: Machine, part: ServicePart) -> bool:
    return part.cells is not None or any(t.hazard == part.id for t in machine.tests)


def uses(machine: Machine, test: Test) -> tuple[str, ...]:
    """Parts that this test measures, charges, loads or plugs in."""
    if test.uses is not None:
        return test.uses
    found = used_parts(machine, next(c for c in machine.conditions if c.id == test.condition))
    touched = _points(test)
    own = _own_points(machine) if touched else {}
    more = [id for id, points in own.items() if touched & points]
    return tuple(dict.fromkeys((*found, *more)))


def _points(test: Test) -> frozenset[str]:
    return frozenset(p for pair in test.probe.pairs for p in pair) if test.probe else frozenset()


def _own_points(machine: Machine) -> Mapping[str, frozenset[str]]:
    """The points of each part by itself: those of the file's tests where it alone is at hand."""
    alone = {c.id: c.uses for c in machine.conditions if c.uses}
    found: dict[str, frozenset[str]] = {}
    for test in machine.tests:
        if not test.generated:
            for part in alone.get(test.condition, ()):
                found[part] = found.get(part, frozenset()) | _points(test)
    return found


def hazards(
    machine: Machine, items: Iterable[Item], told: Sequence[str] = ()
) -> tuple[Hazard, ...]:
    """Every part that must be left alone, once, by the readings that stand and by what the
    counter was ``told`` of the packs ("swollen, hot")."""
    tests = {t.id: t for t in machine.tests}
    parts = {p.id: p for p in machine.parts}
    found: dict[str, Hazard] = {}
    for part in dict.fromkeys(t.hazard for t in machine.tests if t.hazard):
        if told and part in parts:
            why = f"seen at the counter: {', '.join(told)}"
            found[part] = Hazard(part, parts[part].words, why)
    for item in items:
        test = tests.get(item.test)
        if test is None:
            continue
        if test.hazard in parts and _bad_look(test, item.reading):
            why = f"{test.question.rstrip(' ?')}: {item.reading.kind}"
            found.setdefault(test.hazard, Hazard(test.hazard, parts[test.hazard].words, why))
        for over in _above(machine, test, item.reading):
            high = format_value(_least(item.reading), "voltage")
            top = format_value((over.cells or 0) * CELL_TOP, "voltage")
            why = f"{test.question}: {high}, above {top} ({over.cells} cells at {CELL_TOP:g} V)"
            found[over.id] = Hazard(over.id, over.words, why, True)
    return tuple(found.values())


def bad_answer(test: Test) -> str:
    """The answer of a look for a hazard at which to stop: "yes" or "no"."""
    return "no" if test.good.yes is None or test.good.yes >= 0.5 else "yes"


def _bad_look(test: Test, reading: Reading) -> bool:
    return reading.kind == bad_answer(test)


def _above(machine: Machine, test: Test, reading: Reading) -> tuple[ServicePart, ...]:
    """Parts of which this reading of volts is above the top."""
    least = _least(reading)
    if test.quantity != "volts" or not least or not reading.is_evidence:
        return ()
    used = uses(machine, test)
    return tuple(p for p in machine.parts
                 if p.id in used and p.cells and least > p.cells * CELL_TOP)  # fmt: skip


def _least(reading: Reading) -> float:
    """The least it may have been, whichever way the leads were; 0 when that is not said."""
    if reading.low is None:
        return 0.0
    ends = reading.low, reading.low if reading.high is None else reading.high
    return min(map(abs, ends)) if ends[0] * ends[1] > 0 else 0.0


def barred(machine: Machine, found: Iterable[Hazard]) -> Mapping[str, str]:
    """Tests that are held back by these, with the reason; looks are not. A test that measures
    nothing of a part in use is free."""
    why = {h.part: h.held for h in found}
    held: dict[str, str] = {}
    for test in machine.tests if why else ():
        for part in uses(machine, test):
            if part in why and test.hazard != part:
                held[test.id] = why[part]
    return held


def look_before(
    machine: Machine, test: Test, done: frozenset[str], called: bool = False
) -> Test | None:
    """The look that comes before this test: one for a hazard, neither made nor passed over, where
    the test runs something or uses the part. Before any test where a part was ``called`` with no
    first look at the machine."""
    condition = next(c for c in machine.conditions if c.id == test.condition)
    for look in looks_before(machine, done):
        near = called or condition.energised or look.hazard in uses(machine, test)
        if look.id != test.id and near:
            return look
    return None


def looks_before(machine: Machine, read: frozenset[str]) -> tuple[Test, ...]:
    """Looks for hazards that come before any run and were neither made nor passed over."""
    return tuple(t for t in machine.tests if t.hazard and t.id not in read)
