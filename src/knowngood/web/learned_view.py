"""Known-good readings as a page shows them: words, and the strip of readings as plain figures.

The strip is drawn by the template: a line with the readings as marks, over it the stretch that the
file expects and the one that the next good machine is predicted to read, and the limits as posts.
Each kind of mark has its own shape.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from knowngood.learn.applied import interval_words
from knowngood.learn.good import GoodReading
from knowngood.learn.limits import FEWEST, TestLesson
from knowngood.learn.weights import learned_weights
from knowngood.machines.machine import Test
from knowngood.measure.units import DIMENSION_OF, format_value
from knowngood.places.learning import KnownGood, KnownTest, Question

Json = dict[str, Any]

WIDTH: Final = 320.0
EDGE: Final = 14.0
LANES: Final = 5  # readings at the same place stand above each other
NEAR: Final = 7.5
WHOSE: Final = {
    "maker": "the maker's value, or another named source", "shop": "this shop's own readings",
    "practice": "common practice", "": "",
}  # fmt: skip
SHAPES: Final = {"own": "●", "other": "○", "apart": "×", "asked": "?"}


@dataclass(frozen=True, slots=True)
class Mark:
    """A reading on the strip. ``shape``: own, other, apart or asked; ``x``, ``y`` in its units."""

    x: float
    y: float
    shape: str
    words: str


@dataclass(frozen=True, slots=True)
class Stretch:
    x: float
    width: float
    words: str


@dataclass(frozen=True, slots=True)
class Strip:
    """``low`` and ``high``: the ends of the line in words; ``posts``: limits."""

    width: float
    marks: tuple[Mark, ...]
    expected: Stretch | None
    next: Stretch | None
    posts: tuple[tuple[float, str], ...]
    low: str
    high: str
    words: str


def learned_view(known: KnownGood) -> Json:
    """A machine's page."""
    counted, weights = known.lessons.counted, learned_weights(known.machine, known.lessons.counted)
    whole = sum(weights.values()) or 1.0
    parts = []
    for part in known.machine.parts:
        file = sum(f.weight for f in known.machine.faults if part.id in f.parts) / whole
        now = sum(weights[f.id] for f in known.machine.faults if part.id in f.parts) / whole
        if file > 0 or counted.by_part.get(part.id):
            parts.append({"words": part.words, "count": counted.by_part.get(part.id, 0),
                          "file": f"{file:.0%}", "now": f"{now:.0%}"})  # fmt: skip
    questions = {t.id: t.question for t in known.machine.tests}
    steps = {s.id: s.words for s in known.machine.teardown}
    return {
        "id": known.machine.id, "words": known.machine.words, "said": known.lessons.words,
        "model": known.model, "models": known.models, "jobs": counted.jobs,
        "share": f"{counted.share:.0%}", "parts": parts,
        "tests": [test_view(one) for one in known.tests],
        "minutes": [
            {"words": questions.get(t.what.removeprefix("test "), steps.get(t.what, t.what)),
             "n": t.n, "measured": f"{t.measured:g}", "file": f"{t.file:g}",
             "minutes": f"{t.minutes:g}"}
            for t in known.minutes
        ],
        "left_out": [{"job": o.job, "name": o.job_name, "why": o.why}
                     for o in known.lessons.left_out],
    }  # fmt: skip


def test_view(one: KnownTest) -> Json:
    """One test: what it is judged by and why, its strip, its readings."""
    it, test = one.lesson, one.test
    each = _each(it)
    return {
        "id": test.id, "question": test.question, "words": it.words,
        "said": _said(test, it), "why_not": it.why_not, "tolerance": _tolerance(test, it),
        "strip": strip(test, it) if each and not it.why_not else None,
        "readings": [reading_view(r, shape) for r, shape in each],
    }  # fmt: skip


def _each(it: TestLesson) -> list[tuple[GoodReading, str]]:
    """Every reading of a test with the shape of its mark."""
    groups = ((it.own, "own"), (it.others, "other"), (it.apart, "apart"),
              (tuple(a.reading for a in it.asked), "asked"))  # fmt: skip
    return [(r, shape) for readings, shape in groups for r in readings]


def _said(test: Test, it: TestLesson) -> str:
    if it.why_not:
        return f"Kept, not learned: {it.why_not}."
    if it.next is None:
        left = FEWEST - len(it.own) - len(it.others)
        return f"{left} more and they set the limit; until then {WHOSE[it.by] or 'nothing'} does."
    ahead = interval_words(*it.next.interval(0.95), test.quantity)
    text = f"The next good one reads {ahead} (95 %)."
    limits = limit_words(test, it)
    return f"{text} Judged by {limits}: {WHOSE[it.by]}." if limits else text


def limit_words(test: Test, it: TestLesson) -> str:
    """ "at most 0.29 ohm"; "" without limits."""
    if it.limits is None:
        return ""
    dimension = DIMENSION_OF[test.quantity]
    low = None if it.limits.low is None else format_value(it.limits.low, dimension)
    high = None if it.limits.high is None else format_value(it.limits.high, dimension)
    if low is not None and high is not None:
        return f"{low} to {high}"
    return f"at most {high}" if high is not None else f"at least {low}" if low is not None else ""


def _tolerance(test: Test, it: TestLesson) -> str:
    t = it.tolerance
    if t is None or it.next is None:
        return ""
    return (f"Tolerance limits (ISO 16269-6), {t.share:.0%} of good machines with "
            f"{t.confidence:.0%} confidence from {t.n} readings, k = {t.k:.2f}: "
            f"{interval_words(t.low, t.high, test.quantity)}.")  # fmt: skip


def reading_view(r: GoodReading, shape: str) -> Json:
    """One reading in a line."""
    more = [r.day, r.by or "nobody named", r.reading.meter or "no meter noted"]
    if r.celsius is not None:
        more.append(f"{r.celsius:g} °C")
    if shape == "other":
        more.append(r.model or "model not known")
    if r.standing:
        more.append({"keep": "asked about, kept", "wrong": "a wrong reading",
                     "differs": "this machine differs"}.get(r.standing, r.standing))  # fmt: skip
    if shape == "asked":
        more.append("asked about, not counted until answered")
    return {
        "mark": SHAPES[shape], "text": r.reading.text, "doubt": f"± {2 * r.reading.u:.2g}",
        "job": r.job, "name": r.job_name, "more": ", ".join(more),
    }  # fmt: skip


def question_view(q: Question) -> Json:
    """A reading that stands out, with what the others read."""
    return {
        "job": q.job, "name": q.job_name, "number": q.number, "machine": q.machine,
        "question": q.test.question, "text": q.asked.reading.reading.text,
        "others": interval_words(q.asked.low, q.asked.high, q.test.quantity),
        "day": q.asked.reading.day, "by": q.asked.reading.by,
    }  # fmt: skip


def strip(test: Test, it: TestLesson) -> Strip:
    """The readings of a test on a line."""
    each = _each(it)
    ends = [r.value for r, _ in each]
    ahead = it.next.interval(0.95) if it.next is not None else None
    for interval in (ahead, it.expected):
        ends += interval or ()
    if it.limits is not None:
        ends += [x for x in (it.limits.low, it.limits.high) if x is not None]
    low, high = min(ends), max(ends)
    span = high - low or max(abs(high), 1.0)

    def at(value: float) -> float:
        return round(EDGE + (value - low) / span * (WIDTH - 2 * EDGE), 1)

    def stretch(interval: tuple[float, float] | None, what: str) -> Stretch | None:
        if interval is None:
            return None
        a, b = at(interval[0]), at(interval[1])
        return Stretch(a, max(round(b - a, 1), 1.0),
                       f"{what}: {interval_words(*interval, test.quantity)}")  # fmt: skip

    dimension = DIMENSION_OF[test.quantity]
    posts = []
    if it.limits is not None:
        for end, word in ((it.limits.low, "at least"), (it.limits.high, "at most")):
            if end is not None:
                posts.append((at(end), f"limit: {word} {format_value(end, dimension)}"))
    return Strip(
        WIDTH, _marks([(at(r.value), shape, f"{r.reading.text}, job {r.job_name}")
                       for r, shape in each]),
        stretch(it.expected, "the file expects"), stretch(ahead, "the next good one"),
        tuple(posts), format_value(low, dimension, 3), format_value(high, dimension, 3),
        f"{len(each)} readings from {format_value(min(r.value for r, _ in each), dimension, 3)} to "
        f"{format_value(max(r.value for r, _ in each), dimension, 3)}",
    )  # fmt: skip


def _marks(placed: list[tuple[float, str, str]]) -> tuple[Mark, ...]:
    """Marks that would cover each other stand in lanes."""
    taken: list[list[float]] = [[] for _ in range(LANES)]
    found: list[Mark] = []
    for x, shape, words in sorted(placed):
        free = (n for n in range(LANES) if all(abs(x - other) >= NEAR for other in taken[n]))
        lane = next(free, len(found) % LANES)
        taken[lane].append(x)
        found.append(Mark(x, 46.0 - 8.0 * lane, shape, words))
    return tuple(found)
