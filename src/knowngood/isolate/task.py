"""A task for the planner: suspects, parts, covers, tests and what each of them costs.

A task knows nothing of machines or meters. Exactly one fault is present; outcomes of different
tests are independent given the fault; a test is used once. Prices are in one money unit,
weights are relative and normalised here.

Two goals:

* ``part``: name the set of parts that cures the fault. Stopping is free when every fault still
  possible has the same set; with ``wrong_price`` one may stop at any time for
  ``wrong_price * (1 - P(named set))``. ``give_up`` plays no role here.
* ``cured``: fit parts until the fault is gone. A fault is gone once its whole set is fitted;
  success shows at no cost. ``give_up`` is a final step, open at any time.

Covers: a step needs its covers (and theirs) open and the covers in ``closed`` shut. Getting
there costs the ``price`` of each cover to open and the ``close_price`` of each cover to shut;
an opened cover stays open until a step needs it shut.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Goal = Literal["part", "cured"]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Fault:
    """A suspect. ``parts``: the set that cures it; empty when nothing on the list does."""

    id: str
    weight: float
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """A service part; ``price`` is what fitting it costs, paid once."""

    id: str
    price: float
    needs: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Cover:
    """What must come off; ``needs``: the covers that must be open before this one."""

    id: str
    price: float
    needs: tuple[str, ...] = ()
    close_price: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Test:
    """A test with its outcomes.

    ``given``: (outcomes, faults), the probability of each outcome under each fault; columns
    sum to 1. ``excludes``: same shape, bool, or None: this outcome shows this fault out.
    ``after``: tests that must be used before this one.
    """

    __test__ = False

    id: str
    price: float
    outcomes: tuple[str, ...]
    given: Floats
    needs: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()
    excludes: Bools | None = None
    after: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Task:
    """The whole problem, checked on creation (ValueError names the mistake).

    ``opened``, ``fitted``, ``used``: covers, parts and tests already open, fitted, used.

    Proof (goal ``part`` only): with ``unproven_price`` > 0, stopping on a set costs that much
    more unless it is *proven*: every possible fault outside the set is shown out (``excluded0``
    (faults,), then ``Test.excludes``) and the belief in the faults inside it is at least
    ``proof_floor``. Inside are those whose cure contains the set; outside the others that have
    a cure (see `inside`). ``stop_price``: a further price of stopping, one for each of `cure_sets`.
    """

    goal: Goal
    faults: tuple[Fault, ...]
    parts: tuple[Part, ...] = ()
    covers: tuple[Cover, ...] = ()
    tests: tuple[Test, ...] = ()
    give_up: float | None = None
    wrong_price: float | None = None
    opened: frozenset[str] = frozenset()
    fitted: frozenset[str] = frozenset()
    used: frozenset[str] = frozenset()
    excluded0: Bools | None = None
    proof_floor: float = 0.95
    unproven_price: float = 0.0
    stop_price: Floats | None = field(default=None)

    def __post_init__(self) -> None:
        mistakes = _mistakes(self)
        if mistakes:
            raise ValueError("; ".join(mistakes))

    @cached_property
    def weights(self) -> Floats:
        """(faults,), summing to 1; faults that the fitted parts would have cured weigh 0."""
        w = np.array([f.weight for f in self.faults], dtype=float)
        if self.goal == "cured" and self.fitted:
            for i, f in enumerate(self.faults):
                if f.parts and set(f.parts) <= self.fitted:
                    w[i] = 0.0
        top = w.max()
        return np.asarray((w / top) / (w / top).sum()) if top > 0 else w

    @cached_property
    def cure_sets(self) -> tuple[tuple[str, ...], ...]:
        """The different sets of parts, each sorted as in ``parts``, by first appearance."""
        return tuple(dict.fromkeys(self.set_key(f.parts) for f in self.faults))

    @cached_property
    def set_of(self) -> NDArray[np.int64]:
        """(faults,): the index in `cure_sets` of what cures each fault."""
        at = {s: i for i, s in enumerate(self.cure_sets)}
        return np.array([at[self.set_key(f.parts)] for f in self.faults], dtype=np.int64)

    @cached_property
    def inside(self) -> Bools:
        """(faults, cure sets): fault inside the set, that is, its cure contains the set; the empty
        set has only the faults that nothing cures inside."""
        parts = [frozenset(f.parts) for f in self.faults]
        sets = [frozenset(s) for s in self.cure_sets]
        return np.array([[s <= p if s else not p for s in sets] for p in parts], dtype=bool)

    @cached_property
    def curable(self) -> Bools:
        """(faults,): something on the list cures it."""
        return np.array([bool(f.parts) for f in self.faults], dtype=bool)

    @cached_property
    def part_at(self) -> dict[str, int]:
        """Place of each part in ``parts``."""
        return {p.id: i for i, p in enumerate(self.parts)}

    @cached_property
    def cover_at(self) -> dict[str, int]:
        """Place of each cover in ``covers``."""
        return {c.id: i for i, c in enumerate(self.covers)}

    def set_key(self, parts: Iterable[str]) -> tuple[str, ...]:
        """The set in the order of ``parts``."""
        return tuple(sorted(set(parts), key=self.part_at.__getitem__))

    def cover_mask(self, ids: Iterable[str]) -> int:
        """Bits of the covers named."""
        mask = 0
        for i in ids:
            mask |= 1 << self.cover_at[i]
        return mask

    @cached_property
    def _cover_closure(self) -> tuple[int, ...]:
        return tuple(
            self.cover_mask(_closure(c.id, {k.id: k.needs for k in self.covers}))
            for c in self.covers
        )

    def must_open(self, needs: Sequence[str]) -> int:
        """Bits of every cover that must be open for a step with these ``needs``."""
        mask = 0
        for i in needs:
            mask |= self._cover_closure[self.cover_at[i]]
        return mask

    def reach(
        self, needs: Sequence[str], closed: Sequence[str], open_now: int
    ) -> tuple[float, int]:
        """(price, covers open afterwards) of getting to where a step can be done."""
        want, shut = self.must_open(needs), self.cover_mask(closed)
        price = 0.0
        for i, c in enumerate(self.covers):
            bit = 1 << i
            if want & bit and not open_now & bit:
                price += c.price
            elif shut & bit and open_now & bit:
                price += c.close_price
        return price, (open_now | want) & ~shut


def unanswerable(task: Task) -> tuple[str, str] | None:
    """A pair of faults that may stay apart forever, so that no plan ends (goal ``part``).

    Two faults of different sets for which every unused test has an outcome possible under
    both can leave the support split; without ``wrong_price`` there is then no answer.
    """
    if task.goal != "part" or task.wrong_price is not None:
        return None
    alive = np.flatnonzero(task.weights > 0)
    together = np.ones((len(alive), len(alive)), dtype=bool)
    for t in task.tests:
        if t.id not in task.used:
            can = t.given[:, alive] > 0
            together &= (can.T.astype(np.int64) @ can.astype(np.int64)) > 0
    sets = task.set_of[alive]
    together &= sets[:, None] != sets[None, :]
    if not together.any():
        return None
    a, b = np.argwhere(together)[0]
    return task.faults[alive[a]].id, task.faults[alive[b]].id


def _closure(start: str, needs: dict[str, tuple[str, ...]]) -> list[str]:
    """``start`` and all it needs; a cycle is walked once."""
    seen, todo = {start: None}, [start]
    while todo:
        for n in needs.get(todo.pop(), ()):
            if n not in seen:
                seen[n] = None
                todo.append(n)
    return list(seen)


def find_cycle(needs: dict[str, tuple[str, ...]]) -> list[str] | None:
    """One cycle of ``needs``, its first id repeated at the end, or None."""
    done: set[str] = set()
    for start in needs:
        path: list[str] = []
        on_path: set[str] = set()
        stack = [(start, iter(needs[start]))] if start not in done else []
        if stack:
            path.append(start)
            on_path.add(start)
        while stack:
            here, rest = stack[-1]
            nxt = next((n for n in rest if n in needs and n not in done), None)
            if nxt is None:
                done.add(here)
                on_path.discard(path.pop())
                stack.pop()
            elif nxt in on_path:
                return [*path[path.index(nxt) :], nxt]
            else:
                stack.append((nxt, iter(needs[nxt])))
                path.append(nxt)
                on_path.add(nxt)
    return None


def clash(
    needs: Iterable[str], closed: Iterable[str], covers: dict[str, tuple[str, ...]]
) -> str | None:
    """A cover that a step wants both open (perhaps through another) and shut, or None."""
    want: set[str] = set()
    for n in needs:
        want.update(_closure(n, covers))
    return next((c for c in closed if c in want), None)


def _mistakes(task: Task) -> list[str]:
    """What makes a task built in memory unusable; a file is checked in more words."""
    out: list[str] = []
    covers = {c.id: c.needs for c in task.covers}
    parts, tests = {p.id for p in task.parts}, {t.id for t in task.tests}
    n = len(task.faults)
    steps: tuple[Part | Test, ...] = (*task.parts, *task.tests)
    if not n or len({f.id for f in task.faults}) != n:
        out.append("faults: none, or an id twice")
    if len(parts) != len(task.parts) or len(tests) != len(task.tests):
        out.append("parts or tests: an id twice")
    if len(covers) != len(task.covers) or find_cycle(covers):
        out.append("covers: an id twice, or a cycle in needs")
    if find_cycle({t.id: t.after for t in task.tests}):
        out.append("tests: a cycle in after")
    named = [(f.id, f.parts, parts) for f in task.faults]
    named += [(c.id, c.needs, set(covers)) for c in task.covers]
    named += [(s.id, s.needs + s.closed, set(covers)) for s in steps]
    named += [(t.id, t.after, tests) for t in task.tests]
    named += [("opened", tuple(task.opened), set(covers)), ("fitted", tuple(task.fitted), parts)]
    named += [("used", tuple(task.used), tests)]
    out += [f"{who}: unknown {i!r}" for who, ids, known in named for i in ids if i not in known]
    if out:
        return out
    for s in steps:
        if both := clash(s.needs, s.closed, covers):
            out.append(f"{s.id}: {both!r} must be open and shut")
    prices = [s.price for s in steps] + [c.price for c in task.covers]
    prices += [c.close_price for c in task.covers] + [task.unproven_price]
    prices += [p for p in (task.give_up, task.wrong_price) if p is not None]
    if not all(0 <= p <= 1e15 for p in prices):
        out.append("a price below 0 or not finite")
    for t in task.tests:
        g = t.given
        if g.shape != (len(t.outcomes), n) or not np.all(g >= 0):
            out.append(f"{t.id}: given must be (outcomes, faults), none below 0")
        elif not np.all(np.abs(g.sum(0) - 1) <= 1e-9):
            out.append(f"{t.id}: a column of given does not sum to 1")
        if t.excludes is not None and t.excludes.shape != g.shape:
            out.append(f"{t.id}: excludes must have the shape of given")
    if not all(0 <= f.weight <= 1e300 for f in task.faults) or not task.weights.max() > 0:
        out.append("weights: one below 0 or not finite, or none above 0")
    if task.excluded0 is not None and task.excluded0.shape != (n,):
        out.append("excluded0 must have one value for each fault")
    if task.stop_price is not None and task.stop_price.shape != (len(task.cure_sets),):
        out.append("stop_price must have one value for each cure set")
    if task.goal == "cured" and task.give_up is None and any(not f.parts for f in task.faults):
        out.append("a fault that nothing cures needs give_up")
    return out
