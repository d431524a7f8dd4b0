"""Does a machine file make sense: ids, order, safety, and what its tests can tell."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtr

from knowngood.isolate.likelihood import Mixture
from knowngood.machines.apart import (
    TOLD_APART,
    Pair,
    ProofTest,
    proof_tests,
    seen_by,
    untold_pairs,
)
from knowngood.machines.doing import doing_breaches, doing_notes
from knowngood.machines.electric_check import (
    floating_breaches,
    reading_breaches,
    wiring_breaches,
    wiring_notes,
)
from knowngood.machines.forecast_text import forecast_words
from knowngood.machines.machine import Machine, ServicePart, Test
from knowngood.machines.nearest import did_you_mean
from knowngood.machines.parse import draft_machine, line_of, tidy
from knowngood.machines.part_numbers import two_parts_one_number
from knowngood.machines.safety import Breach, safety_breaches, with_needs
from knowngood.machines.serial import in_order
from knowngood.machines.tree import in_its_file
from knowngood.machines.variant import Bases, shipped_base
from knowngood.machines.wire import wire
from knowngood.machines.wiring import Wiring
from knowngood.measure.problem import Problem

RESERVED: Final = frozenset({"other", "no_fault"})
HEALTHY_PASSES: Final = 0.95  # chance that a healthy machine is within the limits of a test


@dataclass(frozen=True, slots=True)
class Report:
    """``problems`` must be mended before the file can be used; ``notes`` are worth knowing.
    ``untold``: pairs of faults in different service parts that no test tells apart. ``proofs``:
    for each fault the test that proves it most often with one reading."""

    problems: tuple[Problem, ...] = ()
    notes: tuple[Problem, ...] = ()
    untold: tuple[Pair, ...] = ()
    proofs: tuple[ProofTest, ...] = ()


def read_machine(
    text: str, name: str, bases: Bases = shipped_base
) -> tuple[Machine | None, list[Problem]]:
    """The machine of a file that may be used as it stands, or None and every problem.
    ``bases``: the text of the file that a variant stands on, by name."""
    machine, problems = draft_machine(text, name, bases)
    if machine is None:
        return None, problems
    if problems:
        return None, tidy([*problems, *_problems(_found(machine), machine, name)], name)
    problems = check_machine(machine, name)
    return (None if problems else machine), problems


def report_text(
    text: str, name: str, bases: Bases = shipped_base
) -> tuple[Machine | None, Report]:
    """The same with a report."""
    machine, problems = read_machine(text, name, bases)
    if machine is None:
        return None, Report(tuple(problems))
    return machine, report_machine(machine, name)


def check_machine(machine: Machine, name: str) -> list[Problem]:
    """Everything that must be mended, by line; empty for a sound machine."""
    found = _found(machine)
    if not found:  # these rely on figures that can be
        found = [*_healthy(machine), *doing_breaches(machine)]
    return _problems(found, machine, name)


def _found(machine: Machine) -> list[Breach]:
    """All that can be told of a file in one go: the rules of order, safety and wiring rely on ids
    that lead somewhere, without rings."""
    ids = [*_ids(machine), *_loops(machine)]
    more = [*floating_breaches(machine)] if ids else [
        *_reach(machine), *safety_breaches(machine), *wiring_breaches(machine)]
    return [*ids, *_taken_along(machine), *_numbers(machine), *more]


def report_machine(machine: Machine, name: str) -> Report:
    """The problems, and for a file without any also what its tests can and cannot tell. The wiring
    is solved for an ordinary meter, and the tests that it offers count."""
    problems = check_machine(machine, name)
    if problems:
        return Report(tuple(problems))
    own, machine = machine, wire(machine, None)
    if isinstance(machine.wiring, Wiring):
        problems = _problems([*reading_breaches(own, machine.wiring), *_healthy(machine)], machine,
                             name)
        if problems:
            return Report(tuple(problems))
    untold, proofs = untold_pairs(machine), proof_tests(machine)
    if unseen := _problems(_unseen(own, machine), machine, name):
        return Report(tuple(unseen), (), untold, proofs)
    notes = [*_pair_notes(machine, untold), *_proof_notes(proofs), *_idle(machine),
             *wiring_notes(machine), *doing_notes(machine)]
    return Report((), tuple(_problems(notes, machine, name)), untold, proofs)


def _problems(found: Iterable[Breach], machine: Machine, name: str) -> list[Problem]:
    made = (in_its_file(Problem(name, line_of(machine.lines, place) if machine.lines else 0,
                                message, fix)) for place, message, fix in found)
    return sorted(dict.fromkeys(made), key=lambda p: (p.file != name, p.line))


def _ids(m: Machine) -> Iterator[Breach]:
    """Repeated ids, and ids that lead nowhere."""
    sections: dict[str, list[str]] = {
        "parts": [x.id for x in m.parts], "teardown": [x.id for x in m.teardown],
        "conditions": [x.id for x in m.conditions], "faults": [x.id for x in m.faults],
        "tests": [x.id for x in m.tests], "complaints": [x.id for x in m.complaints],
        "told": [x.id for x in m.told], "causes": [x.id for x in m.causes],
        "release": [x.id for x in m.release], "nuisances": [x.id for x in m.nuisances],
    }  # fmt: skip
    for section, ids in sections.items():
        for id, count in Counter(ids).items():
            if count > 1:
                yield (section, id), f"{section}.{id} is here {count} times", "Rename all but one"
    for section in ("parts", "conditions", "faults", "tests", "complaints"):
        if not sections[section]:
            yield (section,), f"{section} is empty", f"Describe at least one of {section}"
    if not sections["release"]:
        yield (("release",), "release is empty: nothing is checked before the machine goes back",
               "Describe what must be seen first, such as blade_stop: {words: Blade seen still"
               " within 3.0 s of release, source: ...}")
    for id in sections["faults"]:
        if id in RESERVED:
            yield ("faults", id), f"the id {id} is taken", "Choose another id for this fault"
    for place, section, wanted in _references(m):
        for id in wanted:
            if id not in sections[section]:
                where = ".".join(str(p) for p in place)
                yield ((*place, id), f"{where} names {id}, which is not among {section}",
                       did_you_mean(id, sections[section]))
        for id, count in Counter(wanted).items():
            if count > 1:
                where = ".".join(str(p) for p in place)
                yield place, f"{where} names {id} {count} times", "Name it once"


def _references(m: Machine) -> Iterator[tuple[tuple[str | int, ...], str, tuple[str, ...]]]:
    """Every place that names ids, the section they belong to, and the ids."""
    for p in m.parts:
        yield ("parts", p.id, "needs"), "teardown", p.needs
    for s in m.teardown:
        yield ("teardown", s.id, "needs"), "teardown", s.needs
    for c in m.conditions:
        yield ("conditions", c.id, "open"), "teardown", c.open
        yield ("conditions", c.id, "closed"), "teardown", c.closed
        yield ("conditions", c.id, "uses"), "parts", c.uses or ()
    for f in m.faults:
        yield ("faults", f.id, "parts"), "parts", f.parts
        yield ("faults", f.id, "causes"), "causes", f.causes
        yield ("faults", f.id, "leaves"), "faults", tuple(x.fault for x in f.leaves)
    for cause in m.causes:
        yield ("causes", cause.id, "read_by"), "tests", cause.read_by
    for n, d in enumerate(m.doubles):
        yield ("doubles", n, "faults"), "faults", d.faults
    for t in m.tests:
        yield ("tests", t.id, "condition"), "conditions", (t.condition,)
        yield ("tests", t.id, "expect"), "faults", tuple(t.expect)
        yield ("tests", t.id, "after"), "tests", t.after
        yield ("tests", t.id, "holds"), "tests", t.holds
        yield ("tests", t.id, "hazard"), "parts", (t.hazard,) if t.hazard else ()
        yield ("tests", t.id, "uses"), "parts", t.uses or ()
        if t.follows is not None:
            yield ("tests", t.id, "follows"), "nuisances", (t.follows,)
    for k in m.complaints:
        yield ("complaints", k.id, "given"), "faults", tuple(k.given)
        yield ("complaints", k.id, "shown_by"), "tests", k.shown_by
    for a in m.told:
        yield ("told", a.id, "given"), "faults", tuple(a.given)
    yield ("fixed_order",), "tests", m.fixed_order


def _loops(m: Machine) -> Iterator[Breach]:
    for section, key, edges in (
        ("teardown", "needs", {s.id: s.needs for s in m.teardown}),
        ("tests", "after", {t.id: t.after for t in m.tests}),
        ("faults", "leaves", {f.id: tuple(x.fault for x in f.leaves) for f in m.faults}),
    ):
        for loop in _cycles(edges):
            ring = _ring(loop, key)
            yield (section, loop[0], key), f"{section}: {ring}, a ring", f"Take one out of {key}"


def _taken_along(m: Machine) -> Iterator[Breach]:
    """What a fault leaves behind is one fault or the other, or none: shares of one whole."""
    for f in m.faults:
        whole = sum(x.chance for x in f.leaves)
        if whole > 1 + 1e-9:
            yield (
                ("faults", f.id, "leaves"),
                f"{f.id} leaves chances of {whole:g} altogether",
                "Each is its share of all cases, one secondary fault at a time: 1 at most",
            )


def _cycles(edges: Mapping[str, tuple[str, ...]]) -> list[list[str]]:
    """The rings in a graph, each once, from the node that comes first."""
    found: list[list[str]] = []
    done: set[str] = set()
    for start in edges:
        path: list[str] = []
        stack = [(start, iter(edges[start]))] if start not in done else []
        while stack:
            node, rest = stack[-1]
            if not path or path[-1] != node:
                path.append(node)
            following = next(rest, None)
            if following is None:
                stack.pop()
                path.pop()
                done.add(node)
            elif following in path:
                found.append(path[path.index(following):])
            elif following in edges and following not in done:
                stack.append((following, iter(edges[following])))
    return found


def _ring(loop: list[str], word: str) -> str:
    shown = loop if len(loop) <= 5 else [*loop[:4], "..."]
    return f" {word} ".join([*shown, loop[0]])


def _numbers(m: Machine) -> Iterator[Breach]:
    """Figures that cannot be, part numbers that name two parts, parts and faults by themselves."""
    for place, value in _at_least_zero(m):
        if not value >= 0:
            yield place, f"{'.'.join(str(p) for p in place)} is {value:g}", "It must be 0 or more"
    if sum(f.weight for f in m.faults) <= 0:
        yield ("faults",), "no fault has a weight", "Give the faults weights, such as 5"
    yield from two_parts_one_number(m.parts)
    for part in m.parts:
        yield from _supersession(part)
    named = {p for f in m.faults for p in f.parts}
    for part in m.parts:
        if part.id not in named:
            yield (("parts", part.id), f"no fault names the part {part.id}",
                   "Add a fault that it cures, or take the part out")
    for k in m.complaints:
        if not any(f.weight * k.given.get(f.id, k.others) > 0 for f in m.faults):
            yield ("complaints", k.id), f"no fault makes the complaint {k.id}", "Add given: chances"


def _at_least_zero(m: Machine) -> Iterator[tuple[tuple[str | int, ...], float]]:
    for p in m.parts:
        yield ("parts", p.id, "price"), p.price
        yield ("parts", p.id, "minutes"), p.minutes
    for s in m.teardown:
        yield ("teardown", s.id, "minutes"), s.minutes
        yield ("teardown", s.id, "back_minutes"), s.back_minutes
    for t in m.tests:
        yield ("tests", t.id, "minutes"), t.minutes
    for f in m.faults:
        yield ("faults", f.id, "weight"), f.weight


def _supersession(part: ServicePart) -> Iterator[Breach]:
    """Rings of superseded numbers, serials that end before they begin, and two numbers for one
    machine."""
    for n, x in enumerate(part.numbers):
        first, last = x.serial_from, x.serial_to
        if first and last and not (ordered := in_order(first, last)):
            why = "comes after" if ordered is False else "is not written like"
            yield (("parts", part.id, "numbers", n, "serial_from"),
                   f"{x.number}: the first serial {first} {why} the last, {last}",
                   "Put the lower one in serial_from, both written as on the plate")
    for loop in _cycles({x.number: x.supersedes for x in part.numbers}):
        yield (("parts", part.id, "numbers"), f"{_ring(loop, 'replaces')}, a ring",
               "Let the newest number supersede the older ones only")
    for i, a in enumerate(part.numbers):
        for b in part.numbers[i + 1 :]:
            both = set(a.models) & set(b.models)
            apart = any(x.serial_to and y.serial_from
                        and in_order(y.serial_from, x.serial_to) is False
                        for x, y in ((a, b), (b, a)))
            replaced = b.number in a.supersedes or a.number in b.supersedes
            if both and not apart and not replaced:
                yield (("parts", part.id, "numbers"),
                       f"{a.number} and {b.number} fit the same {min(both)}",
                       "Part their serials (serial_from, serial_to), or say which supersedes which")


def _reach(m: Machine) -> Iterator[Breach]:
    steps = {s.id: s for s in m.teardown}
    for c in m.conditions:
        both = sorted(with_needs(steps, c.open) & set(c.closed))
        if both:
            yield (("conditions", c.id),
                   f"{c.id} cannot be reached: {both[0]} must be open (by open or by what that"
                   " needs) and closed",
                   f"Take {both[0]} out of closed, or choose other steps for open")


def _healthy(m: Machine) -> Iterator[Breach]:
    """The healthy machine passes its own tests."""
    for t in m.tests:
        if t.limits is None or not (t.good.pieces or t.good.yes is not None):
            continue  # none, or still to be worked out from the wiring
        inside = within_limits(t)
        if inside < HEALTHY_PASSES:
            good = forecast_words(t.good, t.quantity)
            yield (("tests", t.id, "limits"), f"a healthy machine ({good}) is within the limits of"
                   f" {t.id} in {inside:.0%} of cases",
                   "Let good lie inside the limits, or widen the limits")
        if not t.limits.source:
            yield ("tests", t.id, "limits"), f"the limits of {t.id} have no source", "Add source:"


def within_limits(test: Test) -> float:
    """Chance that a healthy machine reads within the limits of the test, no meter error."""
    if test.limits is None:
        return 1.0
    mixture = Mixture([test.good])
    low, high = test.limits.low, test.limits.high
    size = max(abs(v) for v in (low, high, 1e-9) if v is not None)
    ends = np.array([-np.inf if low is None else low - 1e-9 * size,
                     np.inf if high is None else high + 1e-9 * size])
    share = 0.0
    for box, weight in enumerate(mixture.share):
        a, b, sd = mixture.low[box], mixture.high[box], max(float(mixture.sd[box]), 1e-12 * size)
        if b > a:
            inside = max(0.0, min(b, ends[1]) - max(a, ends[0])) / (b - a)
        else:
            inside = float(np.diff(ndtr((ends - a) / sd))[0])
        share += float(weight) * inside
    return share + (float(mixture.over[0]) if high is None else 0.0)


def _unseen(own: Machine, m: Machine) -> Iterator[Breach]:
    """Every fault shows in some test; one that only the wiring could show is a note."""
    by_hand = {f for t in own.tests for f in t.expect}
    for fault, (test, distance) in seen_by(m).items():
        if distance < TOLD_APART and (own.wires is None or fault in by_hand):
            near = f"; {test} comes nearest, in {distance:.0%} of readings" if test else ""
            yield (("faults", fault), f"no test tells {fault} from a healthy machine{near}",
                   f"Add a test whose expect: has {fault}, with readings unlike good:")


def _pair_notes(m: Machine, pairs: Iterable[Pair]) -> Iterator[Breach]:
    faults = {f.id: f for f in m.faults}
    for pair in pairs:
        a, b = faults[pair.first], faults[pair.second]
        near = (f"; {pair.test} comes nearest, and parts them in {pair.distance:.0%} of readings"
                if pair.test else "")
        yield (("faults", b.id), f"no test tells {a.id} from {b.id}{near}",
               f"Add a test that acts on {' or '.join(dict.fromkeys((*a.parts, *b.parts)))} alone,"
               " such as a measurement at its own terminals")


def _proof_notes(proofs: Iterable[ProofTest]) -> Iterator[Breach]:
    for proof in proofs:
        if proof.test is None:
            yield (("faults", proof.fault), f"no single reading proves {proof.fault}",
                   "Add a reading that no fault of another part gives more than once in a hundred")


def _idle(m: Machine) -> Iterator[Breach]:
    used = {t.condition for t in m.tests}
    for c in m.conditions:
        if c.id not in used and (m.wires is None or not c.generate):
            yield ("conditions", c.id), f"no test uses the condition {c.id}", "Use it or drop it"
    for t in m.tests:
        if not any(forecast != t.good for forecast in t.expect.values()):
            yield ("tests", t.id), f"{t.id} reads the same under every fault", "Fill in expect:"
    ordered = set(m.fixed_order)
    for t in m.tests:
        if ordered and t.id not in ordered and not t.generated:
            yield ("tests", t.id), f"{t.id} has no place in fixed_order", "Add it where it belongs"
