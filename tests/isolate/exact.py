"""The optimum of a small task by plain dynamic programming over what is known.

It looks at every step from every standing once, so it serves tasks of a handful of faults and
tests; larger ones go to the bounded search, which closes its bounds on many of them too.
"""

from __future__ import annotations

import math

import numpy as np

from knowngood.isolate.policy import (
    CURED,
    NOT_CURED,
    Node,
    Standing,
    after_part,
    after_test,
    stop_price,
)
from knowngood.isolate.task import Task

_Key = tuple[bytes, int, frozenset[str], frozenset[str], bytes]


class TooLarge(Exception):
    """The task has more standings than allowed."""


class Exact:
    """Optimal prices and steps of one task; ``most`` limits the standings looked at."""

    def __init__(self, task: Task, most: int = 200_000) -> None:
        self.task = task
        self.most = most
        self.table: dict[_Key, tuple[float, Node]] = {}

    def root(self) -> tuple[float, Node]:
        """(optimal expected price, an optimal plan)."""
        return self._best(Standing.start(self.task), self.task.used)

    def steps(self) -> list[tuple[str, str, float]]:
        """(kind, id, optimal expected price if one starts with it) of every step, cheapest first.

        The id of a stop is its parts joined by ``+``.
        """
        at, used = Standing.start(self.task), self.task.used
        out = [(k, i, q) for k, i, q, _ in self._ends(at)]
        for t in self.task.tests:
            if t.id not in used and used.issuperset(t.after):
                out.append(("test", t.id, self._test(at, used, t.id)[0]))
        for p in self._fittable(at):
            out.append(("part", p, self._part(at, used, p)[0]))
        return sorted(out, key=lambda s: s[2])

    def _fittable(self, at: Standing) -> list[str]:
        if self.task.goal != "cured":
            return []
        return [p.id for p in self.task.parts if p.id not in at.fitted]

    def _ends(self, at: Standing) -> list[tuple[str, str, float, Node]]:
        task = self.task
        if task.goal == "cured":
            if task.give_up is None:
                return []
            return [("give_up", "", task.give_up, Node("give_up"))]
        prices = [(stop_price(task, at, s), s) for s in task.cure_sets]
        price, parts = min(prices)
        if math.isinf(price):
            return []
        return [("stop", "+".join(parts), price, Node("stop", parts=parts))]

    def _best(self, at: Standing, used: frozenset[str]) -> tuple[float, Node]:
        """At a standing whose mass is 1."""
        task, alive = self.task, at.mass > 0
        parts = at.fitted
        key = (
            np.round(at.mass, 13).tobytes(),
            at.open,
            at.fitted,
            used,
            at.excluded.tobytes() if task.unproven_price > 0 else b"",
        )
        if key in self.table:
            return self.table[key]
        if len(self.table) >= self.most:
            raise TooLarge(f"more than {self.most} standings")
        best, plan = math.inf, Node("give_up")
        for _, _, price, node in self._ends(at):
            if price < best:
                best, plan = price, node
        wanted = {p for i in np.flatnonzero(alive) for p in task.faults[i].parts} - parts
        for p in self._fittable(at):
            if p in wanted:
                price, node = self._part(at, used, p, best)
                if price < best:
                    best, plan = price, node
        for t in task.tests:
            if t.id in used or not used.issuperset(t.after):
                continue
            rows = t.given[:, alive]
            shows = t.excludes is not None and task.unproven_price > 0 and t.excludes.any()
            waited = any(t.id in other.after for other in task.tests)
            if not (shows or waited) and np.all(rows == rows[:, :1]):
                continue
            price, node = self._test(at, used, t.id, best)
            if price < best:
                best, plan = price, node
        self.table[key] = (best, plan)
        return best, plan

    def _part(
        self, at: Standing, used: frozenset[str], part: str, limit: float = math.inf
    ) -> tuple[float, Node]:
        price, nxt = after_part(self.task, at, part)
        left = float(nxt.mass.sum())
        then: list[tuple[str, Node]] = []
        if np.any((nxt.mass == 0) & (at.mass > 0)):
            then.append((CURED, Node("stop", parts=self.task.set_key(nxt.fitted))))
        if left > 0 and price < limit:
            more, node = self._best(_scaled(nxt, left), used)
            price += left * more
            then.append((NOT_CURED, node))
        return price, Node("part", part, then=tuple(then))

    def _test(
        self, at: Standing, used: frozenset[str], test: str, limit: float = math.inf
    ) -> tuple[float, Node]:
        price, after = after_test(self.task, at, test)
        names = next(t for t in self.task.tests if t.id == test).outcomes
        then: list[tuple[str, Node]] = []
        for name, nxt in zip(names, after, strict=True):
            p = float(nxt.mass.sum())
            if p <= 0:
                continue
            if price >= limit:
                return math.inf, Node("give_up")
            more, node = self._best(_scaled(nxt, p), used | {test})
            price += p * more
            then.append((name, node))
        return price, Node("test", test, then=tuple(then))


def _scaled(at: Standing, total: float) -> Standing:
    return Standing(at.mass / total, at.open, at.fitted, at.excluded)
