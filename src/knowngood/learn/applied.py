"""A machine as this shop knows it: its file with what the closed jobs have taught.

Whose word counts: the maker's own value (or another named source) stands as it is; else the shop's
known-good readings; else the file's common practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from knowngood.isolate.forecast import Forecast, Piece, unheld
from knowngood.learn.lessons import Lessons
from knowngood.learn.limits import NEVER_BELOW_ZERO, TestLesson, lessons_of, rounded
from knowngood.learn.minutes import drawn
from knowngood.learn.weights import learned_weights
from knowngood.machines.machine import Machine, Test
from knowngood.measure.units import DIMENSION_OF, Quantity, format_value


def with_lessons(machine: Machine, lessons: Lessons, model: str = "") -> Machine:
    """The machine, its wiring worked out, with the good readings, limits, weights and minutes of
    these lessons. `model`: maker and model as compared (`ClosedJob.full_model`), "" for
    the one that the lessons name, if any."""
    if lessons.machine != machine.id or lessons.empty:
        return machine
    learned = lessons_of(machine, lessons.readings, model or lessons.model)
    minutes = {t.what: t.minutes for t in drawn(machine, lessons.minutes)}
    weights = learned_weights(machine, lessons.counted)
    return replace(
        machine,
        tests=tuple(
            replace(_taught(t, learned), minutes=minutes.get(f"test {t.id}", t.minutes))
            for t in machine.tests
        ),
        teardown=tuple(replace(s, minutes=minutes.get(s.id, s.minutes)) for s in machine.teardown),
        faults=tuple(replace(f, weight=weights[f.id]) for f in machine.faults),
    )


def _taught(test: Test, learned: Mapping[str, TestLesson]) -> Test:
    it = learned.get(test.id)
    if it is None or it.next is None or it.by == "maker":
        return test
    good = good_forecast(test.good, it.next.pieces())  # of machines whose source is not known:
    expect = {f: good if e == test.good else unheld(e) for f, e in test.expect.items()}
    together = {m: good if e == test.good else unheld(e) for m, e in test.together.items()}
    low, high = it.next.interval(0.95)
    reads = f"{interval_words(low, high, test.quantity)} ({it.words})"
    return replace(
        test, good=good, expect=expect, together=together, limits=it.limits, good_reads=reads
    )


def good_forecast(was: Forecast, pieces: tuple[Piece, ...]) -> Forecast:
    """The learned pieces where the file has figures; its share of "over" and "unsteady" stays."""
    rest = tuple(p for p in was.pieces if p.kind in ("over", "unsteady"))
    figures = 1.0 - sum(p.share for p in rest)
    return Forecast((*(replace(p, share=p.share * figures) for p in pieces), *rest))


def interval_words(low: float, high: float, quantity: Quantity) -> str:
    """ "57.1 V to 58.2 V", let out to two digits of its width; ohms and the like not below 0."""
    dimension = DIMENSION_OF[quantity]
    if quantity in NEVER_BELOW_ZERO:
        low = max(low, 0.0)
    low, high = rounded(low, high)
    return f"{format_value(low, dimension)} to {format_value(high, dimension)}"
