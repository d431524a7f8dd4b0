"""In which state two points can be reached at once: one of the file, or one with more taken off.

A state that the file does not declare is one that it does, with further covers off or connectors
parted. Its id says so (``dead+foot_plate``), it keeps to the safety rules of the file, and nothing
is taken off a machine that moves.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from knowngood.circuit.probe import Read
from knowngood.machines.electric import Point
from knowngood.machines.generate import dead_trouble, safe_read
from knowngood.machines.machine import Condition, Machine, TeardownStep
from knowngood.machines.safety import condition_breaches, with_needs
from knowngood.machines.wiring import JOIN, Wiring


@dataclass(frozen=True, slots=True)
class Way:
    """A state for two points, what is read there, and the minutes to get there. ``plain``: nothing
    leads from one to the other there, on any machine of the file."""

    condition: Condition
    read: Read
    minutes: float
    plain: bool
    added: bool


def ways_to(
    machine: Machine, wiring: Wiring, red: str, black: str, opened: Collection[str] = ()
) -> list[Way]:
    """Every state in which the two can be read safely: those in which something leads from one to
    the other, of those the ones of the file, of those the least to open or shut first."""
    steps = {s.id: s for s in machine.teardown}
    kept = {c.id: c.generate for c in machine.conditions}
    found: list[tuple[tuple[bool, bool, bool, float, bool, int], Way]] = []
    for n, condition in enumerate(_states(machine, red, black)):
        wiring.learn(condition)
        read = _read_in(wiring, condition, red, black)
        if read is None:
            continue
        wanted = with_needs(steps, condition.open)
        minutes = sum(steps[s].minutes for s in wanted - set(opened))
        minutes += sum(steps[s].back_minutes for s in set(condition.closed) & set(opened))
        plain = safe_read(wiring, condition, red, black) is None
        way = Way(condition, read, minutes, plain, JOIN in condition.id)
        odd = way.added and not kept[condition.id.split(JOIN)[0]]
        found.append(((plain, way.added, odd, minutes, condition.energised, n), way))
    return [w for _, w in sorted(found, key=lambda f: f[0])]


def state_named(machine: Machine, id: str) -> Condition | None:
    """The condition with this id: one of the file, or one of it with more taken off."""
    base, *more = id.split(JOIN)
    condition = next((c for c in machine.conditions if c.id == id), None)
    if condition is None and more:
        start = next((c for c in machine.conditions if c.id == base), None)
        if start is not None:
            condition = _with(machine, start, tuple(more))
    return condition


def why_not(machine: Machine, red: str, black: str) -> str:
    """Why no state has both points, in a sentence."""
    points = machine.wires.points if machine.wires else {}
    for node in (red, black):
        if node not in points:
            return f"{node} is no test point: nothing of it is bare for a probe"
    steps = {s.id: s for s in machine.teardown}
    for a, b in ((red, black), (black, red)):
        off = with_needs(steps, points[b].open) & set(points[a].closed)
        if off:
            step = steps[min(off)]
            return (f"{a} is a point only as long as this is not done, and {b} only when it is:"
                    f" {step.words.lower()}")
    return (f"{red} and {black} are bare at once only in a state that is not safe to measure in:"
            " a source is in with the shell open, or something turns")


def _states(machine: Machine, red: str, black: str) -> Iterator[Condition]:
    """States of the file that reach both, and those that do with more taken off."""
    points = machine.wires.points if machine.wires else {}
    two = [points[n] for n in (red, black) if n in points]
    if len(two) < 2:
        return
    steps = {s.id: s for s in machine.teardown}
    for condition in machine.conditions:
        opened = with_needs(steps, condition.open)
        more = _missing(steps, two, opened)
        if any(opened & set(p.closed) for p in two) or any(more & set(p.closed) for p in two):
            continue
        if not more:
            yield condition
        elif made := _with(machine, condition, tuple(s for s in steps if s in more)):
            yield made


def _missing(
    steps: dict[str, TeardownStep], points: list[Point], opened: frozenset[str]
) -> frozenset[str]:
    return frozenset(s for p in points for s in with_needs(steps, p.open) if s not in opened)


def _with(machine: Machine, base: Condition, more: tuple[str, ...]) -> Condition | None:
    """The state with these steps done too; None where that cannot or may not be."""
    steps = {s.id: s for s in machine.teardown}
    if any(s not in steps for s in more) or base.does or (base.energised and not base.generate):
        return None
    opened = with_needs(steps, (*base.open, *more))
    if opened & set(base.closed):
        return None
    off = "; ".join(f"{steps[s].words} ({steps[s].minutes:g} min)" for s in more)
    cautions = dict.fromkeys(c for c in (base.caution, *(steps[s].caution for s in more)) if c)
    made = replace(
        base, id=JOIN.join((base.id, *more)), words=f"{base.words}; besides: {off}",
        open=(*base.open, *more), caution=" ".join(cautions), generate=False,
    )  # fmt: skip
    return None if any(condition_breaches(machine, made)) else made


def _read_in(wiring: Wiring, condition: Condition, red: str, black: str) -> Read | None:
    """What is read there; over range or nothing where the two are apart, which is a reading too."""
    if fitting := safe_read(wiring, condition, red, black):
        return fitting
    if not dead_trouble(wiring, condition, red, black):
        return "ohms"
    live = any(wiring.model.is_live(condition.id, n) for n in (red, black))
    return "volts" if live else None
