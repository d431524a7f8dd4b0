"""What a page tells its reader to do where it ends unsure: tests in a row, each naming a part.

"f OL: main fuse; d no: controller; else key switch" is a plan of its own, a chain of tests each
with one way to a part and one to the next test. It is chosen greedily, by the price of following it
on all the ways that lead to the end, which is exact: `Tail.node` is that chain as a policy.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from knowngood.isolate.group import Follow, Group
from knowngood.isolate.policy import Node
from knowngood.isolate.task import Floats, Test

MOST_ASKED, TRIED = 3, 2
"""Tests in a row at most; splits of which the exact price is worked out for each of them."""
WORTH_ASKING, WORTH_PRINTING = 0.5, 0.1
"""Money that a further test must save, each time its end is come to, and in the mean of a job."""

Passed = Mapping[str, Collection[str]]
"""Test -> the outcomes it may have had on the way here."""
Way = tuple[Group, Passed]
Barred = Callable[[Passed], Collection[str]]


@dataclass(frozen=True, slots=True)
class Ask:
    """One test of a tail: where its outcome is one of ``named`` (``inverse``: none of them), it is
    these ``parts``; else the next test is taken. ``ends``: those outcomes spelled out."""

    test: str
    named: tuple[str, ...]
    inverse: bool
    ends: tuple[str, ...]
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Tail:
    """Tests in order, the ``parts`` where none of them told; ``price`` of it, times the mass."""

    asks: tuple[Ask, ...]
    parts: tuple[str, ...]
    price: float

    def node(self, tests: Mapping[str, Test]) -> Node:
        """The same as a policy."""
        node = Node("stop", parts=self.parts)
        for ask in reversed(self.asks):
            stop = Node("stop", parts=ask.parts)
            then = tuple((o, stop if o in ask.ends else node) for o in tests[ask.test].outcomes)
            node = Node("test", ask.test, then=then)
        return node


@dataclass(frozen=True, slots=True)
class _Split:
    test: Test
    named: tuple[str, ...]
    inside: tuple[bool, ...]


class Tails:
    """Tails of one task (goal ``part`` with a ``wrong_price``). ``barred``: tests that must not be
    taken where these were read."""

    def __init__(self, follow: Follow, barred: Barred = lambda passed: ()) -> None:
        self.follow, self.barred = follow, barred
        self.splits = [split for test in follow.task.tests for split in _splits(test)]
        rows = [s.test.given[np.array(s.inside)].sum(0) for s in self.splits]
        self.chances = np.array(rows).reshape(len(rows), len(follow.task.faults))

    def of(
        self, ways: Sequence[Way], only: Collection[str] | None = None) -> Tail:
        """The tail for an end that all these ways lead to, of these tests ``only``; without a test
        where none saves as much."""
        groups = self._joined([at for at, _ in ways])
        passed: list[Passed] = [p for _, p in ways]
        parts, end = self._end(groups)
        asks: list[Ask] = []
        spent = 0.0
        while len(asks) < MOST_ASKED:
            found = self._next(groups, passed, end, only)
            if found is None:
                break
            ask, (groups, end), parts, paid = found
            going = [o for o in self._test(ask.test).outcomes if o not in ask.ends]
            passed = [{**p, ask.test: going} for p in passed]
            asks.append(ask)
            spent += paid
        return Tail(tuple(asks), parts, spent + end)

    def _next(
        self, groups: list[Group], passed: list[Passed], end: float,
        only: Collection[str] | None,
    ) -> tuple[Ask, tuple[list[Group], float], tuple[str, ...], float] | None:  # fmt: skip
        """(test, what is left and its price, the parts then, what test and end cost)"""
        mass = np.sum([g.mass.sum(0) for g in groups], axis=0)
        total = float(mass.sum())
        least = max(WORTH_ASKING * total, WORTH_PRINTING)
        if end <= least:
            return None
        out = self.follow.task.used.union(*(self.barred(p) for p in passed), *passed)
        read = frozenset(passed[0]).intersection(*passed[1:]) | self.follow.task.used
        able = {t.id for t in self.follow.task.tests
                if t.id not in out and read.issuperset(t.after) and (only is None or t.id in only)}
        at = np.array([k for k, s in enumerate(self.splits) if s.test.id in able], dtype=int)
        if not len(at):
            return None
        inside = self.chances[at] * mass
        costs = {id: sum(self.follow.reach(id, g.open)[0] * g.total for g in groups) for id in able}
        price = np.array([costs[self.splits[k].test.id] for k in at])
        price += self._roughly(inside) + self._roughly(np.maximum(mass - inside, 0.0))
        best = None
        for k in at[np.argsort(price, kind="stable")[:TRIED]]:
            split = self.splits[k]
            spent, sides = self._parted(groups, split)
            ends = [self._end(side) for side in sides]
            whole = spent + ends[0][1] + ends[1][1]
            if ends[0][0] == ends[1][0] or end - whole < least:
                continue  # a test after which the same part is named tells the reader nothing
            if best is None or whole < best[0]:
                best = (whole, split, spent, sides, ends)
        if best is None:
            return None
        _, split, spent, sides, ends = best
        stop = 0 if ends[0][1] <= ends[1][1] else 1  # goes on where more is at stake
        pairs = zip(split.test.outcomes, split.inside, strict=True)
        told = tuple(o for o, inside in pairs if inside == (stop == 0))
        ask = Ask(split.test.id, split.named, stop == 1, told, ends[stop][0])
        return ask, (sides[1 - stop], ends[1 - stop][1]), ends[1 - stop][0], spent + ends[stop][1]

    def _test(self, id: str) -> Test:
        return self.follow.task.tests[self.follow.test_at[id]]

    def _roughly(self, mass: Floats) -> Floats:
        """(splits,) about the price of ending with this (splits, faults), proof left out."""
        wrong = self.follow.task.wrong_price or 0.0
        total = mass.sum(1, keepdims=True)
        prices = total * (self.follow.extra + wrong) - wrong * (mass @ self.follow.member)
        return np.asarray(prices.min(1))

    def _end(self, groups: Sequence[Group]) -> tuple[tuple[str, ...], float]:
        if not groups:
            return (), 0.0
        prices = np.sum([self.follow.stops(g).sum(0) for g in groups], axis=0)
        k = int(prices.argmin())
        return self.follow.task.cure_sets[k], float(prices[k])

    def _parted(self, groups: list[Group], split: _Split) -> tuple[float, list[list[Group]]]:
        """(price of the test, groups in the split's outcomes and in the others)"""
        spent, sides = 0.0, ([], [])  # type: tuple[float, tuple[list[Group], list[Group]]]
        inside = dict(zip(split.test.outcomes, split.inside, strict=True))
        for group in groups:
            price, after = self.follow.test(group, split.test.id)
            spent += price * group.total
            for outcome, one in after.items():
                sides[0 if inside[outcome] else 1].append(one)
        return spent, [self._joined(side) for side in sides]

    def _joined(self, groups: Sequence[Group]) -> list[Group]:
        """Ways with the same covers and parts as rows of one group; each is proven by itself."""
        alike: dict[tuple[int, frozenset[str]], list[Group]] = {}
        for group in groups:
            alike.setdefault((group.open, group.fitted), []).append(group)
        found = []
        for key, some in alike.items():
            mass, out = [g.mass for g in some], [g.out for g in some]
            found.append(Group(np.concatenate(mass), np.concatenate(out), *key))
        return found


def _splits(test: Test) -> list[_Split]:
    """Each outcome against the others, and what is below each edge of the bands."""
    names = test.outcomes
    bands = [o for o in names if o.startswith("band")]
    sets: list[tuple[str, ...]] = [(o,) for o in (names[:1] if len(names) == 2 else names)]
    sets += [tuple(bands[:k]) for k in range(2, len(bands))]
    return [_Split(test, s, tuple(o in s for o in names)) for s in sets]
