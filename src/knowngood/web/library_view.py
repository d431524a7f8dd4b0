"""A machine file as the Library shows it: plain lists of words, each figure with its origin."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

from knowngood.machines.check import Report
from knowngood.machines.forecast_text import expected_words
from knowngood.machines.machine import NOT_SEEN, Machine, ServicePart, TeardownStep, Test
from knowngood.measure.problem import Problem
from knowngood.measure.units import DIMENSION_OF, format_value

Json = dict[str, Any]

COMMON = "common practice"
MOST_LINE = 160


def machine_view(machine: Machine) -> Json:
    """All sections of the page of one file."""
    return {
        "id": machine.id, "words": machine.words, "family": machine.family,
        "makers": machine.makers, "models": machine.models, "cautions": machine.cautions,
        "rated": _volts(machine.rated_volts), "full": _volts(machine.full_volts),
        "parts": [_part(machine, p) for p in machine.parts],
        "complaints": [_complaint(machine, c.id) for c in machine.complaints],
        "tests": [_test(machine, t) for t in machine.tests if not t.generated],
        "further": sum(t.generated for t in machine.tests),
        "steps": [_step(machine, s) for s in machine.teardown],
        "faults": _faults(machine),
        "causes": [{"words": c.words, "ask": c.ask, "mend": c.mend, "caution": c.caution,
                    "source": c.source} for c in machine.causes],
        "release": [{"words": r.words, "caution": r.caution, "safety": r.safety,
                     "source": r.source} for r in machine.release],
        "sources": origins(machine), "wired": machine.wires is not None,
    }  # fmt: skip


def origins(machine: Machine) -> list[Json]:
    """Where the file's figures come from, the commonest first: how many entries each."""
    named: list[str] = []
    for section in (machine.parts, machine.teardown, machine.faults, machine.tests,
                    machine.complaints, machine.causes, machine.release):  # fmt: skip
        named += [entry.source or machine.source for entry in section]
    named += [t.limits.source for t in machine.tests if t.limits is not None]
    named += [n.source for p in machine.parts for n in p.numbers]
    counted = Counter(named).most_common()
    return [{"words": w, "count": n, "common": w == COMMON} for w, n in counted if w]


def problem_lines(problems: Iterable[Problem], text: str, name: str) -> list[Json]:
    """Each problem with the line of the text that it is about, where it is of this text."""
    lines = text.splitlines()
    found = []
    for one in problems:
        own = one.file == name and 0 < one.line <= len(lines)
        found.append({"file": "" if one.file == name else one.file, "line": one.line,
                      "message": one.message, "fix": one.fix,
                      "text": lines[one.line - 1][:MOST_LINE] if own else ""})  # fmt: skip
    return found


def report_view(report: Report, text: str, name: str) -> Json:
    """What a check found: problems, or what the tests can tell."""
    proven = sum(p.test is not None for p in report.proofs)
    return {
        "problems": problem_lines(report.problems, text, name),
        "notes": problem_lines(report.notes, text, name),
        "untold": len(report.untold), "proven": proven, "faults": len(report.proofs),
    }  # fmt: skip


def _volts(value: float | None) -> str:
    return "" if value is None else format_value(value, "voltage", 4)


def _part(machine: Machine, part: ServicePart) -> Json:
    numbers = []
    for n in part.numbers:
        serials = f"serial {n.serial_from or 'any'} to {n.serial_to or 'any'}"
        fits = [*n.models, *([serials] if n.serial_from or n.serial_to else [])]
        numbers.append({"number": n.number, "fits": ", ".join(fits), "source": n.source,
                        "read_at": n.read_at,
                        "supersedes": ", ".join(n.supersedes)})  # fmt: skip
    return {
        "words": part.words, "contents": part.contents, "numbers": numbers,
        "price": f"{part.price:g}", "minutes": f"{part.minutes:g}", "days": f"{part.days:g}",
        "needs": _step_words(machine, part.needs), "source": part.source,
    }  # fmt: skip


def _complaint(machine: Machine, id: str) -> Json:
    """The complaint and the parts behind it, each with its share, the largest first."""
    it = next(c for c in machine.complaints if c.id == id)
    words = {p.id: p.words for p in machine.parts}
    mass: Counter[str] = Counter()
    for f in machine.faults:
        names = " with ".join(words.get(p, p) for p in f.parts) or "nothing on the list"
        mass[names] += f.weight * it.given.get(f.id, it.others)  # type: ignore[assignment]
    whole = sum(mass.values()) or 1.0
    likely = [f"{name} {share / whole:.0%}" for name, share in mass.most_common(5)]
    return {"id": it.id, "words": it.words, "likely": likely, "source": it.source}


def _test(machine: Machine, test: Test) -> Json:
    condition = machine.state_of(test)
    limits = ""
    if test.limits is not None:
        ends = [_figure(test, e) for e in (test.limits.low, test.limits.high)]
        limits = " to ".join(e or open_ for e, open_ in zip(ends, ("any", "any"), strict=True))
    reads = test.good_reads
    if not reads and (test.good.pieces or test.good.yes is not None):
        reads = expected_words(test.good, test.quantity)
    from_wiring = test.probe is not None and "" not in test.by_hand
    return {
        "id": test.id, "question": test.question, "words": test.words, "reads": reads,
        "limits": limits, "limits_source": test.limits.source if test.limits else "",
        "source": test.source, "condition": condition.words, "minutes": f"{test.minutes:g}",
        "caution": test.caution or condition.caution, "live": condition.energised,
        "wiring": from_wiring, "red": test.red, "black": test.black,
    }  # fmt: skip


def _figure(test: Test, value: float | None) -> str:
    return "" if value is None else format_value(value, DIMENSION_OF[test.quantity], 4)


def _step(machine: Machine, step: TeardownStep) -> Json:
    screws = [" ".join(x for x in (f"{f.count} {f.drive}", f.length, f.where) if x)
              for f in step.fasteners]  # fmt: skip
    return {
        "words": step.words, "minutes": f"{step.minutes:g}", "back": f"{step.back_minutes:g}",
        "needs": _step_words(machine, step.needs), "screws": screws, "caution": step.caution,
        "traps": step.known_traps,
        "unseen": [t.removeprefix(NOT_SEEN) for t in step.traps if t.startswith(NOT_SEEN)],
        "source": step.source,
    }  # fmt: skip


def _faults(machine: Machine) -> list[Json]:
    words = {p.id: p.words for p in machine.parts}
    return [
        {"words": f.words, "mode": f.mode, "weight": f"{f.weight:g}", "source": f.source,
         "parts": ", ".join(words.get(p, p) for p in f.parts) or "no part on the list cures it",
         "leaves": [f"{_fault_words(machine, s.fault)} {s.chance:.0%}" for s in f.leaves]}
        for f in sorted(machine.faults, key=lambda f: -f.weight)
    ]  # fmt: skip


def _fault_words(machine: Machine, id: str) -> str:
    return next((f.words for f in machine.faults if f.id == id), id)


def _step_words(machine: Machine, ids: Iterable[str]) -> str:
    steps = {s.id: s.words for s in machine.teardown}
    return ", ".join(_lower(steps.get(id, id)) for id in ids)


def _lower(words: str) -> str:
    return words if words[1:2].isupper() else words[:1].lower() + words[1:]


def found_in(words: str, texts: Iterable[str]) -> bool:
    """Whether each word begins one of the words of the texts."""
    have = " ".join(texts).casefold().replace("-", " ").split()
    return all(any(h.startswith(w) for h in have) for w in words.casefold().split())

