"""What a bench card says where it ends without being sure: what is left, and the tests to take in a
row there, each with the part that it tells.

A step of the card may be come to on several ways. It is printed once, and so are its ends: what
they say holds for all the ways together.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from knowngood.diagnosis.assess import Setup
from knowngood.isolate.tailed import Tailed
from knowngood.isolate.tails import Ask, Tail
from knowngood.isolate.task import Task
from knowngood.places.plan import Json, Leaf, outcome_words

NAMED = 3
NAMED_FROM = 0.1
"""Share of what is left from which on a part is named."""

_Place = tuple[int, tuple[str, ...]]


@dataclass(slots=True)
class _End:
    """An end of the card on all ways to it, and what it tells to take."""

    written: list[Json] = field(default_factory=list)
    leaves: list[Leaf] = field(default_factory=list)
    tail: Tail | None = None


def tell_ends(policy: Json, root: Leaf, task: Task, tailed: Tailed, setup: Setup) -> None:
    """Write what is left, and how to go on, into the ends that are not proven; and into every way
    on how often it is taken, on all the ways that lead to its step."""
    ends: dict[_Place, _End] = {}
    mass: dict[int, float] = {}
    taken: dict[_Place, float] = {}
    branches: list[tuple[_Place, Json]] = []

    def down(json: Json, leaf: Leaf, place: _Place, tail: Tail | None) -> None:
        if leaf.node.kind != "test":
            end = ends.setdefault(place, _End())
            end.written.append(json)
            end.leaves.append(leaf)
            end.tail = tail
            return
        step = id(leaf.node)
        mass[step] = mass.get(step, 0.0) + leaf.mass
        for branch, kid in zip(json["then"], leaf.then, strict=True):
            here = (step, tuple(kid.outcomes))
            taken[here] = taken.get(here, 0.0) + kid.leaf.mass
            branches.append((here, branch))
            down(branch["next"], kid.leaf, here, tailed.tails.get((leaf.node, kid.outcomes[0])))

    down(policy, root, (0, ()), None)
    for here, branch in branches:
        branch["chance"] = taken[here] / mass[here[0]]
    for end in ends.values():
        if end.tail or not all(json["proven"] for json in end.written):
            _tell(end, task, setup)


def _tell(end: _End, task: Task, setup: Setup) -> None:
    mass = np.sum([leaf.standing.mass for leaf in end.leaves], axis=0)
    whole = float(mass.sum())
    sets = np.bincount(task.set_of, weights=mass, minlength=len(task.cure_sets))
    order = np.argsort(-sets, kind="stable")[:NAMED]
    told = {
        "left": [
            {"parts": list(task.cure_sets[k]), "belief": round(float(sets[k]) / whole, 2)}
            for n, k in enumerate(order) if n == 0 or sets[k] >= NAMED_FROM * whole
        ],
        "tail": [_asked(setup, ask) for ask in end.tail.asks] if end.tail else [],
    }  # fmt: skip
    shares = [leaf.mass / whole for leaf in end.leaves]
    belief = sum(s * json["belief"] for s, json in zip(shares, end.written, strict=True))
    for json in end.written:
        json |= {**told, "proven": False, "belief": round(belief, 2)}
        if end.tail:
            json["else"] = list(end.tail.parts)


def _asked(setup: Setup, ask: Ask) -> Json:
    """A test of a tail, with what it reads where it ends there: "not OL"."""
    test = next(t for t in setup.machine.tests if t.id == ask.test)
    bands = setup.bench.bands(test.id)
    edges = {f"band{n}": pair for n, pair in enumerate(pairwise(bands.edges), start=1)}
    low, high = edges.get(ask.named[0], (None, None))[0], edges.get(ask.named[-1], (None, None))[1]
    words = outcome_words(test, list(ask.named), low, high, setup.bench.meter)
    if test.quantity == "yes_no":
        words = ask.ends[0]
    elif ask.inverse:
        words = f"not {words}"
    return {"test": ask.test, "words": words, "ends": list(ask.ends), "parts": list(ask.parts)}
