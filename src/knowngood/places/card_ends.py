"""What a bench card says where it ends without being sure: what is left, and how to go on.

A step of the card may be come to on several ways. It is printed once, and so are its ends: what
they say holds for all the ways together.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from knowngood.isolate.group import Follow, Group
from knowngood.isolate.policy import Node, Standing
from knowngood.isolate.task import Task
from knowngood.places.gated import Gate
from knowngood.places.plan import Json, Leaf

NAMED, TO_GO_ON = 3, 3
WORTH_TRYING = 0.5  # of the shop's money
MOST_ELSEWHERE: Final = 1
LEAST_ELSEWHERE: Final = 0.3
"""Steps that the card takes nowhere: so many at most, each saving so much of the money of a whole
job; how it is taken needs lines of its own, and with three of them the tree lost half its steps."""
NAMED_FROM: Final = 0.03
"""Share of what is left from which on a part is named."""

Passed = Mapping[str, Sequence[str]]
_Place = tuple[int, tuple[str, ...]]


@dataclass(slots=True)
class _End:
    """An end of the card on all ways to it; ``passed``: the tests of each way, by outcomes;
    ``worth``: what steps save that may still be taken."""

    written: list[Json] = field(default_factory=list)
    leaves: list[Leaf] = field(default_factory=list)
    passed: list[Passed] = field(default_factory=list)
    worth: dict[str, float] = field(default_factory=dict)


def tell_ends(policy: Json, root: Leaf, task: Task, gate: Gate) -> None:
    """Write what is left, and how to go on, into the ends that are not proven; and into every way
    on how often it is taken, on all the ways that lead to its step."""
    ends: dict[_Place, _End] = {}
    mass: dict[int, float] = {}
    taken: dict[_Place, float] = {}
    branches: list[tuple[_Place, Json]] = []

    def down(json: Json, leaf: Leaf, passed: Passed, place: _Place) -> None:
        if leaf.node.kind != "test":
            end = ends.setdefault(place, _End())
            end.written.append(json)
            end.leaves.append(leaf)
            end.passed.append(passed)
            return
        step = id(leaf.node)
        mass[step] = mass.get(step, 0.0) + leaf.mass
        for branch, kid in zip(json["then"], leaf.then, strict=True):
            here = (step, tuple(kid.outcomes))
            taken[here] = taken.get(here, 0.0) + kid.leaf.mass
            branches.append((here, branch))
            down(branch["next"], kid.leaf, {**passed, leaf.node.id: kid.outcomes}, here)

    down(policy, root, {}, (0, ()))
    for here, branch in branches:
        branch["chance"] = taken[here] / mass[here[0]]
    left = _Left(task, root.node, gate)
    unsure = [end for end in ends.values() if not all(json["proven"] for json in end.written)]
    for end in unsure:
        whole = np.sum([leaf.standing.mass for leaf in end.leaves], axis=0)
        end.worth = left.worth(replace(end.leaves[0].standing, mass=whole), end.passed)
    named = left.on_page | _elsewhere(unsure, left.on_page)
    for end in unsure:
        _tell(end, task, named)


def _elsewhere(ends: Sequence[_End], on_page: Collection[str]) -> frozenset[str]:
    """The few steps worth their words that the page takes nowhere: those that save most, on all
    ends together, beyond the best one of the page."""
    more: dict[str, float] = {}
    for end in ends:
        mass = sum(leaf.mass for leaf in end.leaves)
        best = max((saves for id, saves in end.worth.items() if id in on_page), default=0.0)
        for id, saves in end.worth.items():
            if id not in on_page and saves > best:
                more[id] = more.get(id, 0.0) + mass * (saves - best)
    order = sorted(more, key=lambda id: (-more[id], id))
    return frozenset(id for id in order[:MOST_ELSEWHERE] if more[id] >= LEAST_ELSEWHERE)


def _tell(end: _End, task: Task, named: Collection[str]) -> None:
    mass = np.sum([leaf.standing.mass for leaf in end.leaves], axis=0)
    whole = float(mass.sum())
    sets = np.bincount(task.set_of, weights=mass, minlength=len(task.cure_sets))
    order = np.argsort(-sets, kind="stable")[:NAMED]
    able = sorted((id for id in end.worth if id in named), key=lambda id: (-end.worth[id], id))
    told = {
        "left": [
            {"parts": list(task.cure_sets[k]), "belief": round(float(sets[k]) / whole, 2)}
            for k in order if sets[k] >= NAMED_FROM * whole
        ],
        "go_on": able[:TO_GO_ON],
    }  # fmt: skip
    shares = [leaf.mass / whole for leaf in end.leaves]
    belief = sum(s * json["belief"] for s, json in zip(shares, end.written, strict=True))
    for json in end.written:
        json |= {**told, "proven": False, "belief": round(belief, 2)}


class _Left:
    """What may be done where a page ends without being sure."""

    def __init__(self, task: Task, page: Node, gate: Gate) -> None:
        self.task, self.gate = task, gate
        self.follow = Follow(task)
        self.on_page = frozenset(_ids(page))

    def worth(self, at: Standing, ways: Sequence[Passed]) -> dict[str, float]:
        """Steps not taken yet on any of the ways here, with what each saves as the last one;
        nothing live that waits for a proof that was not read, or is not good."""
        out = frozenset[str]().union(*(self.gate.barred(passed) for passed in ways))
        passed = self.task.used.union(*ways)
        here = Group(at.mass[None], at.excluded[None], at.open, at.fitted)
        end, whole = float(self.follow.stops(here).sum(0).min()), max(here.total, 1e-300)
        found = {}
        for test in self.task.tests:
            if test.id in out or test.id in passed or not passed.issuperset(test.after):
                continue
            price, after = self.follow.test(here, test.id)
            then = sum(float(self.follow.stops(one).sum(0).min()) for one in after.values())
            saves = (end - then) / whole - price
            if saves >= WORTH_TRYING:
                found[test.id] = saves
        return found


def _ids(node: Node) -> Iterator[str]:
    if node.then:
        yield node.id
        for _, kid in node.then:
            yield from _ids(kid)
