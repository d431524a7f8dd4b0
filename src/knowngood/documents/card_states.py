"""How the tests of a bench card are taken: by the state that they share, what comes off for it and
goes back on, then each by its letter."""

from __future__ import annotations

import re
import string
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

from knowngood.diagnosis.steps import opening_order, way_there
from knowngood.documents.document import Detail
from knowngood.documents.wording import minutes, sentence
from knowngood.machines.machine import Condition, Machine, TeardownStep, Test, in_state

_CAPITALS = "".join(c for c in string.ascii_uppercase if c not in "BRIO")
"""B and R are the leads, I and O are read as figures."""


def test_of(machine: Machine, id: Any) -> Test | None:
    """The test of the machine with this id."""
    return next((t for t in machine.tests if t.id == id), None)


class Taken:
    """``letter``: of each test that the card names, ids in the order of their states. ``points``:
    numbers of the nodes in the drawing; ``opened``: teardown steps that are off already."""

    def __init__(
        self, machine: Machine, letter: Mapping[str, str], points: Mapping[str, int],
        opened: frozenset[str],
    ) -> None:  # fmt: skip
        self.machine, self.letter, self.points, self.opened = machine, letter, points, opened
        states = [self.condition(test) for id in letter if (test := self.test(id))]
        opens = (opening_order(machine, one.open, opened) for one in states)
        self.comes_off = opened.union(*opens)
        asked = Counter(step.id for one in {one.id: one for one in states}.values()
                        for some in self.touched(one) for step in some)  # fmt: skip
        often = [step.id for step in machine.teardown if asked[step.id] > 1]
        self.capital = dict(zip(often, _CAPITALS, strict=False))
        """Of the teardown steps that several states name; how each is done is printed once."""

    def test(self, id: Any) -> Test | None:
        return test_of(self.machine, id)

    def pairs(self, test: Test) -> str:
        """ "R 7 B 0", for each pair of points that the drawing numbers."""
        pairs = test.probe.pairs if test.probe else ()
        known = [(self.points[r], self.points[b]) for r, b in pairs
                 if r in self.points and b in self.points]  # fmt: skip
        return ", ".join(f"R {red} B {black}" for red, black in known)

    def condition(self, test: Test) -> Condition:
        """The state of a test, with all that must be back for those on the card that share it."""
        found = next((one for one in self.machine.conditions if one.id == test.condition), None)
        if found is None:
            return Condition("", test.condition)
        for id in self.letter:
            other = self.test(id)
            if other is not None and other.condition == found.id:
                found = in_state(found, other)
        return found

    def details(self) -> Iterator[Detail]:
        if self.capital:
            yield Detail("Off and back on, for several of the states below", "", "", ())
        for step in self.machine.teardown:
            if step.id in self.capital:
                spent = minutes(step.minutes)
                back = f"; back: {_lower(step.back)}" if _says_more(step) else ""
                cautions = (sentence(step.caution),) if step.caution else ()
                yield Detail("", self.capital[step.id], f"{step.words}, {spent}{back}.", cautions)
        last: str | None = None
        for id, letter in self.letter.items():
            test = self.test(id)
            if test is None:
                yield Detail("", letter, id, ())
                continue
            if test.condition != last:
                yield self.head(self.condition(test))
            last = test.condition
            words = [self.lead_words(test), minutes(test.minutes)]
            words += [f"good: {test.good_reads}"] if test.good_reads else []
            caution = (sentence(test.caution),) if test.caution else ()
            said = "; ".join(one for one in words if one)
            yield Detail("", letter, f"{sentence(test.words)} {said}.", caution)

    def lead_words(self, test: Test) -> str:
        if not (test.red or test.black):
            return ""
        pairs = test.probe.pairs if test.probe else ()
        number = self.points.get
        red, black = pairs[0] if len(pairs) == 1 else ("", "")
        told = bool(pairs) and all(one and one in test.words for one in (test.red, test.black))
        if told and red in self.points and black in self.points:
            return self.pairs(test)
        leads = (("R", red, test.red), ("B", black, test.black))
        at = [f"{lead} {f'{number(node)} ' if node in self.points else ''}{words or 'not used'}"
              for lead, node, words in leads]  # fmt: skip
        several = f" ({self.pairs(test)})" if len(pairs) > 1 and self.pairs(test) else ""
        return ", ".join(at) + several

    def head(self, condition: Condition) -> Detail:
        """The state for the tests that follow, what comes off for it, and its cautions."""
        off, back, undone = self.touched(condition)
        said = [f"{'LIVE: ' if condition.energised else ''}{condition.words}"]
        if off:
            spent = minutes(sum(one.minutes for one in off))
            said.append(f"off first ({spent}): {self.named(off, _minded)}")
        if back:
            said.append(f"then back: {self.named(back, _goes_back)}")
        if undone:
            said.append(f"if off, back first: {self.named(undone, _goes_back)}")
        return Detail(
            _upper(said[0]), "", "".join(f"{_upper(one)}. " for one in said[1:]).strip(),
            (sentence(condition.caution),) if condition.caution else (),
        )  # fmt: skip

    def touched(self, condition: Condition) -> tuple[tuple[TeardownStep, ...], ...]:
        """(what comes off for this state, what goes back on then, what must be back on if another
        state of the card had it off), each in order."""
        way = way_there(self.machine, condition, self.opened)
        elsewhere = way_there(self.machine, condition, self.comes_off).back
        return way.off, way.back, tuple(one for one in elsewhere if one not in way.back)

    def named(self, steps: Sequence[TeardownStep], words: Callable[[TeardownStep], str]) -> str:
        """In their order, by letter or in words: "A, C; Cover off (Pack out first)"."""
        runs = groupby(steps, key=lambda one: one.id in self.capital)
        return "; ".join(
            ", ".join(self.capital[one.id] for one in run) if lettered
            else "; ".join(words(one) for one in run)
            for lettered, run in runs
        )  # fmt: skip


def _minded(step: TeardownStep) -> str:
    """What comes off, with what to mind while it does."""
    return f"{step.words} ({step.caution.rstrip('.')})" if step.caution else step.words


def _goes_back(step: TeardownStep) -> str:
    return step.goes_back


def _says_more(step: TeardownStep) -> bool:
    """Whether how it goes back says more than that what came off is back on."""
    return not set(re.findall(r"\w+", step.back.lower())) <= {
        "back", "on", "in", *re.findall(r"\w+", step.words.lower())
    }  # fmt: skip


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
