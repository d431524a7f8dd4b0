"""Standings followed together down one branch of a card, as arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from knowngood.isolate.policy import COME_BACK, CURED, NOT_CURED, NOTHING, Node
from knowngood.isolate.task import Bools, Floats, Task


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Outcomes that share what comes next.

    ``mass`` (k, faults): the mass of each way here that shows other faults out, ``out`` (k,
    faults) which; one row when proof plays no role. ``open``, ``fitted``: covers and parts.
    """

    mass: Floats
    out: Bools
    open: int
    fitted: frozenset[str]

    @property
    def total(self) -> float:
        """The mass of all ways."""
        return float(self.mass.sum())


class Follow:
    """Following steps of one task from groups; ``come_back``: what coming back costs."""

    def __init__(self, task: Task, come_back: float = np.inf) -> None:
        self.task = task
        self.come_back = come_back
        self.test_at = {t.id: i for i, t in enumerate(task.tests)}
        self.proof = task.goal == "part" and task.unproven_price > 0
        self.inside = task.inside.astype(float)
        self.member = np.eye(len(task.cure_sets))[task.set_of]
        self.set_at = {s: i for i, s in enumerate(task.cure_sets)}
        none = np.zeros(len(task.cure_sets))
        self.extra = none if task.stop_price is None else task.stop_price
        self.wants = [frozenset(f.parts) for f in task.faults]
        self._reach: dict[tuple[str, int], tuple[float, int]] = {}
        self._cured: dict[frozenset[str], Bools] = {}
        self._after: dict[tuple[str, str, Group], tuple[float, dict[str, Group]]] = {}
        self._price: dict[tuple[Node, Group], float] = {}
        out = np.zeros(len(task.faults), bool) if task.excluded0 is None else task.excluded0
        self._start = Group(task.weights[None], out[None], task.cover_mask(task.opened),
                            task.fitted)  # fmt: skip

    def start(self) -> Group:
        """The start of the task, the same group each time."""
        return self._start

    def test(self, at: Group, test: str) -> tuple[float, dict[str, Group]]:
        """(price of one go, group after each outcome that can happen)."""
        t = self.task.tests[self.test_at[test]]
        price, then = self.reach(test, at.open)
        floor = NOTHING * at.total
        joint = at.mass * t.given[:, None, :]
        there = joint.sum(axis=(1, 2)) > floor
        after: dict[str, Group] = {}
        for o, name in enumerate(t.outcomes):
            if there[o]:
                out = at.out | t.excludes[o] if self.proof and t.excludes is not None else at.out
                after[name] = Group(joint[o], out, then, at.fitted)
        return price, after

    def reach(self, step: str, now: int) -> tuple[float, int]:
        """(price, covers open then) of a test or, with a leading ``+``, of fitting a part."""
        key = (step, now)
        if key not in self._reach:
            task = self.task
            s = (
                task.parts[task.part_at[step[1:]]]
                if step not in self.test_at
                else task.tests[self.test_at[step]]
            )
            price, then = task.reach(s.needs, s.closed, now)
            self._reach[key] = price + s.price, then
        return self._reach[key]

    def fit(self, at: Group, part: str) -> tuple[float, Group]:
        """(price of fitting it, group if that did not cure)."""
        price, then = self.reach("+" + part, at.open)
        fitted = at.fitted | {part}
        if fitted not in self._cured:
            self._cured[fitted] = np.array([bool(w) and w <= fitted for w in self.wants])
        mass = np.where(self._cured[fitted], 0.0, at.mass)
        return price, Group(mass, at.out, then, fitted)

    def join(self, groups: list[Group]) -> Group:
        """Groups with the same covers and parts as one."""
        first = groups[0]
        mass = np.concatenate([g.mass for g in groups])
        if not self.proof:
            return Group(mass.sum(0, keepdims=True), first.out[:1], first.open, first.fitted)
        out = np.concatenate([g.out for g in groups])
        rows: dict[bytes, int] = {}
        which = [rows.setdefault(o.tobytes(), len(rows)) for o in out]
        if len(rows) < len(out):
            total = np.zeros((len(rows), mass.shape[1]))
            np.add.at(total, which, mass)
            mass, out = total, out[[which.index(k) for k in range(len(rows))]]
        return Group(mass, out, first.open, first.fitted)

    def stops(self, at: Group) -> Floats:
        """(k, sets) price of stopping on each set, times the mass, by row."""
        task = self.task
        share = at.mass @ self.member
        total = at.mass.sum(1, keepdims=True)
        price = total * self.extra
        alive = at.mass > 0
        sole = alive.astype(float) @ self.member == alive.sum(1, keepdims=True)
        if task.wrong_price is None:
            return np.where(sole, price, np.inf)
        price = price + task.wrong_price * (total - share)
        if self.proof:
            standing = (alive & task.curable & ~at.out).astype(float)
            sure = standing.sum(1, keepdims=True) - standing @ self.inside < 0.5
            sure &= at.mass @ self.inside >= task.proof_floor * total
            price = price + task.unproven_price * total * ~(sure | sole)
        return np.asarray(price)

    def prices(self, node: Node, at: Group) -> Floats:
        """(k,) price of following ``node`` from here, times the mass, by row; inf where it leads
        nowhere."""
        if not at.mass.any():
            return np.zeros(len(at.mass))
        if node.kind == "stop":
            return np.asarray(self.stops(at)[:, self.set_at[self.task.set_key(node.parts)]])
        total = at.mass.sum(1)
        if node.kind == COME_BACK:
            back = np.where(total > 0, self.come_back * np.where(total > 0, total, 1.0), 0.0)
            return np.asarray(back + self.prices(node.then[0][1], at))
        if node.kind == "give_up":
            end = np.inf if self.task.give_up is None else self.task.give_up
            return np.where(total > 0, end, 0.0) * np.where(total > 0, total, 1.0)
        if node.kind == "test":
            then = dict(node.then)
            price, after = self.test(at, node.id)
            if any(name not in then for name in after):
                return np.full(len(at.mass), np.inf)
            stops = [name for name in after if then[name].kind == "stop"]
            spent = np.asarray(price * total + self._stopped(
                [(then[name], after[name]) for name in stops], len(total)))  # fmt: skip
            for name, group in after.items():
                if then[name].kind != "stop":
                    spent = spent + self.prices(then[name], group)
            return np.asarray(spent)
        spent = np.zeros(len(at.mass))
        for part in (node.id,) if node.kind == "part" else node.parts:
            price, rest = self.fit(at, part)
            spent = spent + price * at.mass.sum(1)
            at = rest
        if not at.mass.any():
            return np.asarray(spent)
        left = dict(node.then).get(NOT_CURED) if node.kind == "part" else Node("give_up")
        return np.asarray(spent + (np.inf if left is None else self.prices(left, at)))

    def _stopped(self, ends: list[tuple[Node, Group]], k: int) -> Floats:
        """(k,) price of all these stops, each from a group of k rows, times the mass, by row."""
        if not ends:
            return np.zeros(k)
        first = ends[0][1]
        mass, out = (np.concatenate(each) for each in zip(*((at.mass, at.out) for _, at in ends),
                                                          strict=True))  # fmt: skip
        which = np.repeat([self.set_at[self.task.set_key(n.parts)] for n, _ in ends], k)
        each = self.stops(Group(mass, out, first.open, first.fitted))[np.arange(len(which)), which]
        return np.asarray(each.reshape(len(ends), k).sum(axis=0))

    def price(self, node: Node, at: Group) -> float:
        """The same, all rows together; worked out once for a group."""
        key = (node, at)
        if key not in self._price:
            self._price[key] = float(self.prices(node, at).sum())
        return self._price[key]

    def after(self, node: Node, at: Group) -> tuple[float, dict[str, Group]]:
        """(price of one go, group after each outcome) of a node with outcomes; the same groups
        each time."""
        key = (node.kind, node.id, at)
        if key not in self._after:
            self._after[key] = self._gone(node, at)
        return self._after[key]

    def _gone(self, node: Node, at: Group) -> tuple[float, dict[str, Group]]:
        if node.kind == "test":
            return self.test(at, node.id)
        price, rest = self.fit(at, node.id)
        ends = {CURED: Group(at.mass * 0.0, at.out, rest.open, rest.fitted)}
        if rest.total > 0:
            ends[NOT_CURED] = rest
        return price, ends

    def end(self, at: Group) -> tuple[Node, float]:
        """The best way to end without another test, and its price times the mass."""
        task, total = self.task, at.total
        if task.goal == "part":
            prices = self.stops(at).sum(0)
            k = int(prices.argmin())
            return Node("stop", parts=task.cure_sets[k]), float(prices[k])
        order: list[str] = []
        spent = 0.0
        options = [] if task.give_up is None else [(task.give_up * total, 0)]
        while at.total > 1e-15 * total:
            pick = self._next_set(at)
            if not pick:
                break
            for part in pick:
                mass = at.total
                price, at = self.fit(at, part)
                spent += price * mass
                order.append(part)
            rest = 0.0 if task.give_up is None else task.give_up * at.total
            options.append((spent + rest, len(order)))
        if task.give_up is None:
            options = options[-1:]
        price, k = min(options)
        return (Node("fit_order", parts=tuple(order[:k])) if k else Node("give_up")), price

    def _next_set(self, at: Group) -> list[str]:
        """The missing parts of the cure set with the most chance for its price."""
        best, pick = -1.0, []
        share = at.mass.sum(0) @ self.member
        for k, parts in enumerate(self.task.cure_sets):
            missing = [p for p in parts if p not in at.fitted]
            if share[k] <= 0 or not missing:
                continue
            price, now = 0.0, at.open
            for p in missing:
                more, now = self.reach("+" + p, now)
                price += more
            ratio = float(share[k]) / (price + 1e-9)
            if ratio > best:
                best, pick = ratio, missing
        return pick
