"""A plan as a tree: what to do, and what next for each outcome."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from knowngood.isolate.task import Bools, Floats, Task

Kind = Literal["test", "part", "stop", "give_up", "fit_order", "come_back"]
COME_BACK: Literal["come_back"] = "come_back"
CURED, NOT_CURED = "cured", "not cured"
NOTHING = 1e-250


@dataclass(frozen=True, slots=True)
class Node:
    """One step of a plan.

    ``test`` and ``part`` name ``id`` and go on by outcome in ``then`` (for a part: `CURED`,
    `NOT_CURED`). ``stop`` names the set of ``parts``; after `CURED` it holds what cured.
    ``fit_order`` fits ``parts`` one by one until cured; if they run out, the way on is
    giving up. Outcomes of probability zero are left out. ``come_back`` is the end of a card:
    back to the planner, which from here would do as in its one branch.
    """

    kind: Kind
    id: str = ""
    parts: tuple[str, ...] = ()
    then: tuple[tuple[str, Node], ...] = ()
    _hash: int = field(default=0, init=False, repr=False, compare=False)

    def __hash__(self) -> int:
        """Worked out once: trees share their steps."""
        if not self._hash:
            found = hash((self.kind, self.id, self.parts, self.then))
            object.__setattr__(self, "_hash", found)
        return self._hash


def policy_json(node: Node) -> dict[str, Any]:
    """The tree as plain JSON values.

    ``{"do": {"kind", "id"}, "then": {outcome: node}}``, ``{"stop": [part ids]}``,
    ``{"fit_order": [part ids]}``, ``{"give_up": true}`` or, on a card, ``{"come_back": true}``.
    """
    if node.kind == COME_BACK:
        return {"come_back": True}
    if node.kind == "stop":
        return {"stop": list(node.parts)}
    if node.kind == "fit_order":
        return {"fit_order": list(node.parts)}
    if node.kind == "give_up":
        return {"give_up": True}
    then = {outcome: policy_json(child) for outcome, child in node.then}
    return {"do": {"kind": node.kind, "id": node.id}, "then": then}


def size(node: Node) -> int:
    """How many steps the tree has, its leaves with them."""
    if node.kind == COME_BACK:
        return 1
    return 1 + sum(size(child) for _, child in node.then)


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one is on the way through a task: mass (faults,) still in play, covers, parts."""

    mass: Floats
    open: int
    fitted: frozenset[str]
    excluded: Bools

    @classmethod
    def start(cls, task: Task) -> Standing:
        """The start of the task."""
        none = np.zeros(len(task.faults), dtype=bool)
        excluded = none if task.excluded0 is None else task.excluded0
        return cls(task.weights, task.cover_mask(task.opened), task.fitted, excluded)


def evaluate(task: Task, policy: Node, come_back: float = 0.0) -> float:
    """The exact expected price of following ``policy``; ValueError where it has no answer.
    ``come_back``: what coming back costs by itself, each time."""
    return price_from(task, policy, Standing.start(task), come_back)


def stop_price(task: Task, at: Standing, parts: tuple[str, ...]) -> float:
    """Price of stopping on this set, times the mass in play; inf when not allowed."""
    k = task.cure_sets.index(task.set_key(parts))
    mine = task.set_of == k
    total, right = float(at.mass.sum()), float(at.mass[mine].sum())
    alive = at.mass > 0
    price = total * (float(task.stop_price[k]) if task.stop_price is not None else 0.0)
    if not np.any(alive & ~mine):
        return price
    if task.wrong_price is None:
        return math.inf
    price += task.wrong_price * (total - right)
    if task.unproven_price > 0 and not is_proven(task, at, k):
        price += task.unproven_price * total
    return price


def is_proven(task: Task, at: Standing, k: int) -> bool:
    """Cure set ``k`` is proven at this standing; `Task` says what that is."""
    inside, total = task.inside[:, k], float(at.mass.sum())
    standing = (at.mass > 0) & task.curable & ~inside & ~at.excluded
    return not standing.any() and float(at.mass[inside].sum()) >= task.proof_floor * total


def after_test(task: Task, at: Standing, test_id: str) -> tuple[float, list[Standing]]:
    """(price of one go, standing after each outcome)."""
    t = next(t for t in task.tests if t.id == test_id)
    price, opened = task.reach(t.needs, t.closed, at.open)
    out = []
    for o in range(len(t.outcomes)):
        excluded = at.excluded if t.excludes is None else at.excluded | t.excludes[o]
        out.append(Standing(at.mass * t.given[o], opened, at.fitted, excluded))
    return price + t.price, out


def after_part(task: Task, at: Standing, part_id: str) -> tuple[float, Standing]:
    """(price of fitting it, standing if that did not cure)."""
    p = task.parts[task.part_at[part_id]]
    price, opened = task.reach(p.needs, p.closed, at.open)
    fitted = at.fitted | {part_id}
    cured = np.array([bool(f.parts) and set(f.parts) <= fitted for f in task.faults])
    return price + p.price, Standing(np.where(cured, 0.0, at.mass), opened, fitted, at.excluded)


def price_from(task: Task, node: Node, at: Standing, come_back: float = 0.0) -> float:
    """Price of following ``node`` from a standing, times the mass in play there."""
    total = float(at.mass.sum())
    if total <= 0:
        return 0.0
    if node.kind == COME_BACK:
        return come_back * total + price_from(task, node.then[0][1], at)
    if node.kind == "stop":
        price = stop_price(task, at, node.parts)
        if math.isinf(price):
            raise ValueError(f"stops on {node.parts} while another set is possible")
        return price
    if node.kind == "give_up":
        if task.give_up is None:
            raise ValueError("gives up, but the task has no price for that")
        return task.give_up * total
    then = dict(node.then)
    if node.kind == "test":
        price, after = after_test(task, at, node.id)
        names = next(t for t in task.tests if t.id == node.id).outcomes
        out = price * total
        for name, nxt in zip(names, after, strict=True):
            if nxt.mass.sum() > NOTHING * total:
                if name not in then:
                    raise ValueError(f"{node.id}: nothing planned for outcome {name!r}")
                out += price_from(task, then[name], nxt, come_back)
        return out
    order = (node.id,) if node.kind == "part" else node.parts
    out = 0.0
    for part in order:
        if not at.mass.sum() > 0:
            return out
        price, nxt = after_part(task, at, part)
        out += price * float(at.mass.sum())
        at = nxt
    if not at.mass.sum() > 0:
        return out
    if node.kind == "part":
        if NOT_CURED not in then:
            raise ValueError(f"{node.id}: nothing planned for {NOT_CURED!r}")
        return out + price_from(task, then[NOT_CURED], at, come_back)
    if task.give_up is None:
        raise ValueError("an order of fitting leaves a fault that giving up has no price for")
    return out + task.give_up * float(at.mass.sum())
