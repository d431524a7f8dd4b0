"""Safety rules that a machine file must keep; a breach is a problem with its way out.

Common practice at the bench: look, then dead tests (ohms, diode, capacitance), then live ones;
the source out and the capacitor shown discharged before a shell is open; nothing energised is
turned by hand; no open live work by default above 60 V dc, by the highest volts that the file names
(touch limit of IEC 61010-1 and IEC 62368-1, from memory).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Final

from knowngood.circuit.element import Battery, Capacitor
from knowngood.machines.machine import Condition, Machine, TeardownStep, Test
from knowngood.measure.units import format_value

Place = tuple[str | int, ...]
Breach = tuple[Place, str, str]

LIVE_LIMIT: Final = 60.0  # V dc
FULL_OVER_RATED: Final = 4.2 / 3.6  # full over nominal volts of a lithium-ion cell
DEAD_ONLY: Final = frozenset({"ohms", "diode", "capacitance"})
BULK: Final = 47e-6  # F; a smaller one holds too little to bite (common practice)
_BULK_WORDS: Final = re.compile(r"\bbulk[ -]capacitor", re.IGNORECASE)
_MOVED: Final = (
    r"(?:turn|rotat|twist|flick|mov|roll|swing|crank|nudg|whirl|revolv)(?:e|s|es|ed|ing)?"
    r"|swung|spin(?:s|ning)?|spun"
)
_CONTROL: Final = (
    r"key|knob|dial|switch|lever|trigger|bail|handle|button|throttle|choke|screw|plug|plunger|pedal"
    r"|seat|leads?|wires?|harness|probes?|clips?|clamp|pack"
)
_HAND: Final = (
    r"(?:by (?:your |the )?(?:bare )?(?:hands?|fingers?)"
    r"|with (?:(?:your|the|a|one|two|both|bare|gloved|free) )*(?:hands?|fingers?|fingertips?))"
)
_BY_HAND: Final = re.compile(
    rf"\b(?:{_MOVED})\b(?! (?:(?:the|its|a|each) )?(?:\w+ )?(?:{_CONTROL})\b)[^.;]*\b{_HAND}\b"
    rf"|\b{_HAND},? (?:{_MOVED})\b",
    re.IGNORECASE,
)
_NOT: Final = re.compile(r"\b(?:never|nothing|not|no)\b", re.IGNORECASE)
"""A clause with one of these forbids it."""


def with_needs(steps: Mapping[str, TeardownStep], wanted: tuple[str, ...]) -> frozenset[str]:
    """The steps and all that must be open for them; unknown ids are left out."""
    found: set[str] = set()
    queue = list(wanted)
    while queue:
        id = queue.pop()
        if id in steps and id not in found:
            found.add(id)
            queue += steps[id].needs
    return frozenset(found)


def charged_again(machine: Machine, condition: Condition) -> frozenset[str]:
    """Steps that showed a capacitor discharged and that do so no longer after a reading in this
    state, as it puts a source on what they were measured for: a bench supply on a controller."""
    steps = {t.id: t for t in machine.teardown} if condition.energised else {}
    return frozenset(o for o in with_needs(steps, condition.open) if steps[o].role == "discharge")


def with_dependents(
    steps: Mapping[str, TeardownStep], open: tuple[str, ...], closed: Iterable[str]
) -> tuple[str, ...]:
    """These steps and all that need one of them, in the order of the file: a cover is not back on
    while what was reached through it is off. What must be open stays open; that a capacitor was
    shown discharged the file says itself."""
    shut = dict.fromkeys(closed)
    opened = with_needs(steps, open)
    reached = set(shut)
    growing = True
    while growing:
        more = {s for s, step in steps.items() if s not in reached and s not in opened
                and step.role != "discharge" and not reached.isdisjoint(step.needs)}  # fmt: skip
        reached |= more
        growing = bool(more)
    return (*shut, *(s for s in steps if s in reached and s not in shut))


class _Bench:
    """What the teardown steps of a machine do."""

    def __init__(self, machine: Machine) -> None:
        self.steps = {s.id: s for s in machine.teardown}
        self.source_out = tuple(s.id for s in machine.teardown if s.role == "source out")
        self.discharge = tuple(s.id for s in machine.teardown if s.role == "discharge")
        self._shell = frozenset(s.id for s in machine.teardown if s.role == "shell")

    def open_in(self, open: tuple[str, ...]) -> frozenset[str]:
        return with_needs(self.steps, open)

    def shell(self, opened: frozenset[str]) -> bool:
        return bool(opened & self._shell)

    def unsafe(self, opened: frozenset[str]) -> tuple[str, ...]:
        """Steps that are still missing before the shell may be open."""
        return tuple(s for s in (*self.source_out, *self.discharge) if s not in opened)


def safety_breaches(machine: Machine) -> Iterator[Breach]:
    """Every breach, with the place in the file."""
    bench = _Bench(machine)
    yield from _volts(machine)
    yield from _source(machine, bench)
    for condition in machine.conditions:
        yield from _condition(machine, bench, condition)
    conditions = {c.id: c for c in machine.conditions}
    for test in machine.tests:
        if test.condition in conditions:
            yield from _test(bench, test, conditions[test.condition])
    for part in machine.parts:
        opened = bench.open_in(part.needs)
        out = [s for s in bench.source_out if s not in opened]
        missing = bench.unsafe(opened)
        if bench.shell(opened) and missing:
            yield (("parts", part.id, "needs"),
                   f"{part.id} is fitted in an open shell without {' and '.join(missing)}",
                   f"Add {', '.join(missing)} to its needs")
        elif part.needs and out:
            yield (("parts", part.id, "needs"),
                   f"{part.id} is fitted without {' and '.join(out)}",
                   f"Add {', '.join(out)} to its needs: nothing is fitted with the source in")
    yield from _order(machine, bench, conditions)


def condition_breaches(machine: Machine, condition: Condition) -> Iterator[Breach]:
    """The breaches of one condition, whether it is in the file or not."""
    yield from _condition(machine, _Bench(machine), condition)


def _source(machine: Machine, bench: _Bench) -> Iterator[Breach]:
    if not bench.source_out and any(s.role == "shell" for s in machine.teardown):
        yield (("teardown",), "no step takes the source of energy out",
               "Add a step such as pack_out with role: source out (pack or plug lead off, kept by"
               " the person)")
    shells = [s.id for s in machine.teardown if s.role == "shell"]
    bulk = _bulk_capacitor(machine)
    if shells and bulk and not bench.discharge:
        yield (("teardown",), f"{shells[0]} bares {bulk}, and no step shows it discharged",
               "Add a step such as cap_safe with role: discharge (wait, measure the capacitor on"
               " its own terminals) that needs the source out and the shell")


def _bulk_capacitor(machine: Machine) -> str:
    """The capacitor that stays charged when the source is out, in words; "" without one."""
    for element in machine.wires.circuit.elements if machine.wires else ():
        if isinstance(element, Capacitor) and element.farads >= BULK:
            known = math.isfinite(element.farads)
            worth = format_value(element.farads, "capacitance") if known else "farads not given"
            return f"{element.ref} ({worth})"
    inside = [p.id for p in machine.parts if any(map(_BULK_WORDS.search, (p.words, *p.contents)))]
    return f"the bulk capacitor of {inside[0]}" if inside else ""


def turns_by_hand(text: str) -> bool:
    """Whether a sentence there has something moved by hand or with fingers, controls apart."""
    clauses = re.split(r"[.;]", text)
    return any(_BY_HAND.search(c) and not _NOT.search(c) for c in clauses)


def _full_volts(machine: Machine, c: Condition) -> float | None:
    """The most that the machine's own source may have here, whichever entry says so."""
    rated = machine.rated_volts
    reckoned = None if rated is None else rated * FULL_OVER_RATED
    known = [rated, reckoned if machine.full_volts is None else machine.full_volts]
    if machine.wires:
        spreads = {**machine.wires.spreads, **c.spreads}
        for element in machine.wires.circuit.elements:
            if isinstance(element, Battery):
                span = spreads.get(f"{element.ref}.volts")
                known += [element.volts, *((span.low, span.high) if span else ())]
    return max((abs(v) for v in known if v is not None), default=None)


def _volts(machine: Machine) -> Iterator[Breach]:
    rated, full = machine.rated_volts, machine.full_volts
    for name, volts in (("rated_volts", rated), ("full_volts", full)):
        if volts is not None and volts <= 0:
            yield (name,), f"{name} is {volts:g} V", f"Write {name} as a number above 0"
    if rated is not None and full is not None and 0 < full < rated:
        yield (("full_volts",), f"full_volts, {full:g} V, is less than rated_volts, {rated:g} V",
               "Write full_volts: of this machine's own full pack; a variant that has another"
               " rated_volts than its family needs both")


def _condition(machine: Machine, bench: _Bench, c: Condition) -> Iterator[Breach]:
    place: Place = ("conditions", c.id)
    opened = bench.open_in(c.open)
    if not c.energised:
        missing = bench.unsafe(opened)
        if bench.shell(opened) and missing:
            yield (place, f"{c.id} opens the shell without {' and '.join(missing)}",
                   f"Add {', '.join(missing)} to open, or say energised: true with a caution")
        return
    if not c.caution:
        yield place, f"{c.id} is energised and has no caution", "Add caution: with what to mind"
    if c.volts is not None and c.volts <= 0:
        yield place, f"{c.id} has volts of {c.volts:g} V", "Write volts: as a number above 0"
    out = [s for s in bench.source_out if s in opened]
    if out and c.volts is None:
        yield (place, f"{c.id} is energised while {out[0]} is open",
               "Say what energises it: volts: of the bench supply; or take energised out")
    if not bench.shell(opened):
        return
    if c.volts is None:
        shut = [s for s in (*bench.source_out, *bench.discharge) if s not in c.closed]
        if shut:
            names = " and ".join(shut)
            yield (place, f"{c.id} is live with the shell open, but {names} may be open",
                   f"Add {', '.join(shut)} to closed")
    volts = abs(c.volts) if c.volts is not None else _full_volts(machine, c)
    if volts is not None and volts > LIVE_LIMIT:
        yield (place, f"{c.id} is live with the shell open at {volts:g} V, above"
               f" {LIVE_LIMIT:g} V dc",
               "Measure dead, or from a bench supply of 60 V or less; write full_volts: when the"
               " full pack has less than reckoned from rated_volts")


def _test(bench: _Bench, test: Test, c: Condition) -> Iterator[Breach]:
    place: Place = ("tests", test.id)
    if test.quantity in DEAD_ONLY:
        if c.energised:
            yield (place, f"{test.id} measures {test.quantity} in {c.id}, which is energised",
                   "Choose a condition that is not energised; ohms and diode tests are dead tests")
        missing = [s for s in bench.source_out if s not in bench.open_in(c.open)]
        if missing and not c.energised:
            yield (place, f"{test.id} measures {test.quantity} while the source may be in",
                   f"Add {', '.join(missing)} to open of the condition {c.id}")
    if test.holds and (c.energised or test.quantity != "yes_no"):
        yield ((*place, "holds"), f"{test.id} holds runs and is no yes or no look at rest",
               "Put holds at a look that is not energised; ohms hold by after of the live test")
    if c.energised and (turns_by_hand(test.words) or turns_by_hand(c.words)):
        yield (place, f"{test.id} turns something by hand in {c.id}, which is energised",
               "Nothing energised is turned by hand: use a condition with the source out")


def _order(
    machine: Machine, bench: _Bench, conditions: Mapping[str, Condition]
) -> Iterator[Breach]:
    """In the usual order no dead test with the shell open comes after a live one."""
    tests = {t.id: t for t in machine.tests}
    live: str | None = None
    for n, id in enumerate(machine.fixed_order):
        condition = conditions.get(tests[id].condition) if id in tests else None
        if condition is None or not bench.shell(bench.open_in(condition.open)):
            continue
        if condition.energised:
            live = live or id
        elif live is not None:
            yield (("fixed_order", n), f"{id} is a dead test and comes after {live}, a live one",
                   f"Put {id} before {live}: look, then dead tests, then live ones")
