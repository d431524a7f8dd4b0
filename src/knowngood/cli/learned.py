"""What ``knowngood learn`` prints."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from knowngood.cli.paperwork import moment, said
from knowngood.cli.show import wrapped
from knowngood.cli.to_read import to_read
from knowngood.learn.applied import interval_words
from knowngood.learn.good import GoodReading
from knowngood.learn.lessons import to_text
from knowngood.learn.limits import FEWEST, JUDGED
from knowngood.learn.weights import WORTH, learned_weights
from knowngood.measure.units import DIMENSION_OF, format_value
from knowngood.places import learning
from knowngood.places.learning import KnownGood, KnownTest, Question
from knowngood.places.record import At, Record, Refused
from knowngood.store.problem import not_written
from knowngood.store.where import store_path

WHOSE = {"maker": "the maker's value or another source", "shop": "known-good readings of this shop",
         "practice": "common practice", "": "nobody"}  # fmt: skip
Json = dict[str, Any]


def show_list(store: Path | None, json_out: bool) -> int:
    """Print the machine files with closed jobs; exit code."""

    def work() -> None:
        with to_read(store) as record:
            found = learning.learned(record)
        if json_out:
            print(json.dumps([
                {"machine": one.machine, "words": one.words, "closed": one.jobs,
                 "proven": one.proven, "known_good": one.readings, "asked": one.questions}
                for one in found
            ], ensure_ascii=False))  # fmt: skip
            return
        if not found:
            print("No job is closed yet; each one closed with a proven part teaches the next.")
        for one in found:
            asked = f"; {one.questions} to ask about (knowngood learn ask)" * bool(one.questions)
            print(f"{one.machine}: {one.jobs} closed, {one.proven} proven, "
                  f"{one.readings} known-good readings{asked}")  # fmt: skip

    return said(work)


def show_machine(
    store: Path | None, machine: str, test: str, model: str, json_out: bool
) -> int:
    """Print what is known of a machine file, or of one of its tests; exit code."""

    def work() -> None:
        with Record.open(store_path(store), make=False) as record:
            file = learning.machine_called(record, machine)
            known = learning.known_good(record, file, model)
            if test:
                one = learning.known_of_test(record, file, test, model)
                known = replace(known, tests=(one,))
        if json_out:
            print(json.dumps(_machine_json(known), ensure_ascii=False, allow_nan=False))
        elif test:
            print("\n".join(test_lines(known.tests[0])))
        else:
            print("\n".join(machine_lines(known)))

    return said(work)


def show_questions(store: Path | None, machine: str, json_out: bool) -> int:
    """Print the readings to ask about; exit code."""

    def work() -> None:
        with Record.open(store_path(store), make=False) as record:
            found = learning.questions(record, machine)
        if json_out:
            print(json.dumps([_question_json(q) for q in found], ensure_ascii=False))
            return
        if not found:
            print("No known-good reading stands out.")
        for q in found:
            print("\n".join(question_lines(q)))
        if found:
            print("Answer: knowngood learn answer READING keep, wrong or differs")

    return said(work)


def give_answer(store: Path | None, reading: str, word: str, reason: str, by: str) -> int:
    """Keep an answer; exit code."""

    def work() -> None:
        name, _, number = reading.rpartition("/")
        if not name or not (number.isascii() and number.isdigit()):
            raise Refused(f"{reading!r} names no reading; learn ask names each, such as 26-0007/3")
        with Record.open(store_path(store), make=False) as record:
            job = record.log.find(name)
            at = At(moment(), by)
            print(f"kept: {learning.answer(record, job, int(number), word, at, reason)}")

    return said(work)


def save(store: Path | None, machine: str, file: Path, model: str) -> int:
    """Write the lessons of a machine file; exit code."""

    def work() -> None:
        with Record.open(store_path(store), make=False) as record:
            known = learning.known_good(record, learning.machine_called(record, machine), model)
        text = to_text(replace(known.lessons, model=known.model))
        try:
            file.write_text(text, encoding="utf-8")
        except OSError as error:
            raise Refused(not_written(file, error)) from error
        print(f"written: {file}, {known.lessons.words} "
              f"({hashlib.sha256(text.encode()).hexdigest()[:12]})")  # fmt: skip

    return said(work)


def machine_lines(known: KnownGood) -> Iterator[str]:
    """All tests with known-good readings, the weights and the minutes."""
    counted = known.lessons.counted
    yield f"{known.machine.words}: {known.lessons.words}"
    if known.model:
        yield f"of the model {known.model} first"
    for one in known.tests:
        yield from _short(one)
    if counted.jobs:
        yield (f"Which part it was, in {counted.jobs} closed jobs; {counted.share:.0%} of the "
               f"weights is this shop's own (the file counts as {WORTH:g} jobs):")  # fmt: skip
        weights, words = learned_weights(known.machine, counted), known.machine.parts
        whole = sum(weights.values()) or 1.0
        for part in words:
            file = sum(f.weight for f in known.machine.faults if part.id in f.parts)
            now = sum(weights[f.id] for f in known.machine.faults if part.id in f.parts)
            if file or now:
                yield (f"  {part.words}: {counted.by_part.get(part.id, 0)}, "
                       f"{file / whole:.0%} in the file, now {now / whole:.0%}")  # fmt: skip
    for t in known.minutes:
        yield (f"  {t.what}: {t.measured:g} min here ({t.n} measured), {t.file:g} in the file; "
               f"reckoned {t.minutes:g}")  # fmt: skip
    for left in known.lessons.left_out:
        yield f"  not counted: job {left.job_name}, {left.why}"


def _short(one: KnownTest) -> Iterator[str]:
    it, test = one.lesson, one.test
    count = len(it.own) + len(it.others)
    if it.why_not:
        yield from wrapped(f"{test.id}: {len(it.apart)} kept, not learned: {it.why_not}", "  ")
        return
    text = f"{test.id}: {it.words}"
    if it.next is None:
        text += f"; {FEWEST - count} more and they count"
    else:
        next_one = interval_words(*it.next.interval(0.95), test.quantity)
        text += f"; the next good one reads {next_one}"
    text += f" (95 %). Limit set by {WHOSE[it.by]}" if it.next is not None else ""
    if it.asked:
        text += f"; {len(it.asked)} to ask about"
    yield from wrapped(text, "  ", "      ")


def test_lines(one: KnownTest) -> Iterator[str]:
    """One test: its limits with where they come from, and every reading."""
    it, test = one.lesson, one.test
    dimension = DIMENSION_OF[test.quantity]
    yield f"{test.id}: {test.question}"
    if it.why_not:
        yield f"  not learned: {it.why_not}"
    if it.expected is not None:
        yield f"  the file expects {interval_words(*it.expected, test.quantity)} (95 %)"
    if it.next is not None:
        yield (f"  the next good one reads {interval_words(*it.next.interval(0.95), test.quantity)}"
               f" (95 %), {interval_words(*it.next.interval(JUDGED), test.quantity)} (99 %)")
    if it.limits is not None:
        ends = [format_value(x, dimension) if x is not None else "-"
                for x in (it.limits.low, it.limits.high)]  # fmt: skip
        yield f"  judged by {' to '.join(ends)}: {WHOSE[it.by]} ({it.limits.source})"
    tolerance = it.tolerance
    if tolerance is not None:
        yield (f"  tolerance limits, {tolerance.share:.0%} of good machines with "
               f"{tolerance.confidence:.0%} confidence: "
               f"{interval_words(tolerance.low, tolerance.high, test.quantity)} "
               f"(k = {tolerance.k:.3f}, n = {tolerance.n})")  # fmt: skip
    for r in it.own:
        yield f"    {_reading_words(r)}"
    for r in it.others:
        yield f"    {_reading_words(r)}, {r.model or 'no model'}"
    for r in it.apart:
        yield f"    not counted: {_reading_words(r)}, {r.standing or 'kept'}"
    for asked in it.asked:
        yield f"    to ask about: {_reading_words(asked.reading)}"


def _reading_words(r: GoodReading) -> str:
    """ "0.21 ohm, job 26-0007, 2026-03-02, Ana, generic-6000, 22 degC"."""
    u = r.reading.u
    warm = f", {r.celsius:g} degC" if r.celsius is not None else ""
    when = "after the repair" if r.after else "beside what was bad"
    doubt = f" ± {2 * u:.2g} {r.reading.unit}" if u else ""
    return (f"{r.reading.text}{doubt}, job {r.job_name}, {r.day}, {r.by or 'nobody named'}, "
            f"{r.reading.meter or 'no meter'}{warm}, {when}")  # fmt: skip


def question_lines(q: Question) -> Iterator[str]:
    """A question as it is asked."""
    often = min(q.asked.once_in, 1e6)
    about = f"{10 ** math.floor(math.log10(often)):,.0f}"
    yield from wrapped(
        f"{q.name}: {q.test.question} read {q.asked.reading.reading.text} on a machine that was "
        f"good there. Others lie in {interval_words(q.asked.low, q.asked.high, q.test.quantity)}; "
        f"less than one in {about} good ones reads so. Keep it as good, a wrong reading, or does "
        f"this machine differ?", "", "    ",
    )  # fmt: skip


def _question_json(q: Question) -> Json:
    return {
        "reading": q.name, "job": q.job, "number": q.number, "machine": q.machine,
        "test": q.test.id, "value": q.asked.reading.value, "once_in": round(q.asked.once_in),
        "low": q.asked.low, "high": q.asked.high,
    }  # fmt: skip


def _machine_json(known: KnownGood) -> Json:
    counted = known.lessons.counted
    text = to_text(replace(known.lessons, model=known.model))
    return {
        "machine": known.machine.id, "model": known.model, "models": list(known.models),
        "digest": hashlib.sha256(text.encode()).hexdigest(),
        "tests": [_test_json(one) for one in known.tests],
        "jobs": counted.jobs, "share": counted.share, "by_part": dict(counted.by_part),
        "weights": learned_weights(known.machine, counted),
        "minutes": [{"what": t.what, "file": t.file, "measured": t.measured, "n": t.n,
                     "minutes": t.minutes} for t in known.minutes],
        "left_out": [{"job": o.job_name, "why": o.why} for o in known.lessons.left_out],
        "asked": [_question_json(q) for q in known.questions],
    }  # fmt: skip


def _test_json(one: KnownTest) -> Json:
    it = one.lesson
    limits, tolerance = it.limits, it.tolerance
    return {
        "test": it.test, "quantity": one.test.quantity, "own": [_reading_json(r) for r in it.own],
        "others": [_reading_json(r) for r in it.others],
        "apart": [_reading_json(r) for r in it.apart], "why_not": it.why_not or None,
        "expected": it.expected, "set_by": it.by or None,
        "limits": None if limits is None else {"low": limits.low, "high": limits.high,
                                               "source": limits.source},
        "next": None if it.next is None else {"low": it.next.interval(0.95)[0],
                                              "high": it.next.interval(0.95)[1], "share": 0.95},
        "tolerance": None if tolerance is None else {
            "low": tolerance.low, "high": tolerance.high, "k": tolerance.k, "n": tolerance.n,
            "share": tolerance.share, "confidence": tolerance.confidence},
    }  # fmt: skip


def _reading_json(r: GoodReading) -> Json:
    return {
        "job": r.job_name, "id": r.id, "value": r.value, "u_random": r.reading.u_random,
        "u_shared": r.reading.u_shared, "meter": r.reading.meter, "day": r.day, "by": r.by,
        "celsius": r.celsius, "model": r.model, "after": r.after, "standing": r.standing or None,
    }  # fmt: skip
