"""What the evidence says: the probability of each hypothesis, always from the prior.

    belief(h) ~ prior(h) * accounts(h) * sum over nodes of weight(node)
                * product over groups g of [ s * prod L(r | h faulty, node)
                                             + (1-s) * prod L(r | healthy, node) ]

A group is what was read in one visit under one circumstance (rest, wiggled, warm, loaded); ``s``
is the chance that an intermittent fault shows then, and 1 for a fault that is always there.
``L = (1-slip) * mass + slip * anything``. The same test taken again in the same visit is averaged.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean

import numpy as np
from numpy.typing import NDArray

from knowngood.isolate.hypotheses import Hypothesis
from knowngood.isolate.likelihood import anything, extremeness, mass
from knowngood.isolate.table import Row, Table
from knowngood.measure.reading import Reading

Array = NDArray[np.float64]

JUMPY = 0.3  # an intermittent fault that shows makes the reading jump this often; common practice
AGREE = 4.0  # readings of one test within so many random standard uncertainties are averaged
ACCEPTED_WRONG = 0.01  # a part accepted as good by a person, and yet bad
Group = tuple[int, str]


@dataclass(frozen=True, slots=True)
class Item:
    """One reading as evidence; ``visit`` counts from 0."""

    id: str
    test: str
    reading: Reading
    visit: int = 0


@dataclass(frozen=True, slots=True)
class Account:
    """Evidence from a person: the chance of it under each hypothesis, shape (hypotheses,)."""

    id: str
    words: str
    given: Array
    grade: str  # "told" or "accepted"
    part: str | None = None


@dataclass(frozen=True, slots=True)
class Weighed:
    """One test's evidence in one visit, all repeats together.

    ``faulty`` and ``healthy``: log-likelihoods, shapes (hypotheses, nodes) and (nodes,).
    ``extreme``: probability of a reading at least this extreme, shape (hypotheses,), no slip.
    ``extreme_good``: the same for a machine with no fault at all.
    ``slip``: probability that the reading is a slip, given everything.
    """

    items: tuple[str, ...]
    test: str
    group: Group
    reading: Reading
    faulty: Array
    healthy: Array
    extreme: Array
    extreme_good: float
    slip_share: Array
    slip: float = 0.0


@dataclass(frozen=True, slots=True)
class Belief:
    """``joint``: shape (hypotheses, nodes), sums to 1. ``showing``: per group the chance that
    each hypothesis shows in it, shape (hypotheses, nodes)."""

    hypotheses: tuple[Hypothesis, ...]
    joint: Array
    weighed: tuple[Weighed, ...]
    accounts: tuple[Account, ...]
    showing: Mapping[Group, Array]

    @property
    def p(self) -> Array:
        return np.asarray(self.joint.sum(axis=1))

    def of_parts(self) -> dict[frozenset[str], float]:
        """Belief by cure set, largest first; the empty set is "nothing on the list"."""
        found: dict[frozenset[str], float] = {}
        for h, p in zip(self.hypotheses, self.p, strict=True):
            found[h.parts] = found.get(h.parts, 0.0) + float(p)
        return dict(sorted(found.items(), key=lambda kv: -kv[1]))


def weigh_one(table: Table, row: Row, reading: Reading) -> tuple[Array, Array, Array]:
    """Likelihoods of one reading with slips: faulty (h, nodes), healthy (nodes,), slip share."""
    per_forecast = mass(row.mixture, reading, table.nodes, row.spread)
    any_ = anything(reading)
    good = per_forecast[row.good]
    faulty = per_forecast[row.index]
    jumpy = table.intermittent & (row.index != row.good)
    if row.quantity != "yes_no" and jumpy.any():
        jumps = 1.0 if reading.kind == "unsteady" else 0.0
        faulty[jumpy] = (1 - JUMPY) * faulty[jumpy] + JUMPY * jumps
    faulty[table.other] = any_
    slip = row.slip
    with_slip = (1 - slip) * faulty + slip * any_
    return (
        np.maximum(with_slip, 1e-300),
        np.maximum((1 - slip) * good + slip * any_, 1e-300),
        slip * any_ / np.maximum(with_slip, 1e-300),
    )


def extreme_of(table: Table, row: Row, reading: Reading) -> Array:
    """P(at least this extreme) under each hypothesis, intermittents included, no slip; (h,)."""
    each = extremeness(row.mixture, reading, row.spread)
    shows = table.shows_at(row.circumstance)
    faulty = each[row.index]
    jumpy = table.intermittent & (row.index != row.good)
    if row.quantity != "yes_no":
        jumps = 1.0 if reading.kind == "unsteady" else 0.0
        faulty = np.where(jumpy, (1 - JUMPY) * faulty + JUMPY * jumps, faulty)
    found = shows * faulty + (1 - shows) * each[row.good]
    return np.where(table.other, 1.0, found)


def _averaged(items: Sequence[Item]) -> Reading | None:
    """One reading for several that agree, or None when they cannot be averaged."""
    readings = [i.reading for i in items]
    first = readings[0]
    if len(readings) == 1:
        return first
    if any(r.kind != "value" or r.meter != first.meter for r in readings):
        return None
    middle = fmean(r.value for r in readings)
    u_random = fmean(r.u_random for r in readings)
    if any(abs(r.value - middle) > AGREE * u_random + r.resolution for r in readings):
        return None
    return replace(
        first,
        low=middle,
        high=middle,
        u_random=u_random / len(readings) ** 0.5,
        u_shared=fmean(r.u_shared for r in readings),
        resolution=min(r.resolution for r in readings),
        text=f"mean of {len(readings)}",
    )


def _weigh_group(table: Table, items: Sequence[Item]) -> Weighed:
    row = table.rows[items[0].test]
    merged = _averaged(items)
    readings = [merged] if merged is not None else [i.reading for i in items]
    parts = [weigh_one(table, row, r) for r in readings]
    return Weighed(
        tuple(i.id for i in items),
        row.id,
        (items[0].visit, row.circumstance),
        readings[-1],
        np.mean([np.log(p[0]) for p in parts], axis=0),
        np.mean([np.log(p[1]) for p in parts], axis=0),
        np.min([extreme_of(table, row, r) for r in readings], axis=0)
        if len(readings) == 1
        else np.max([extreme_of(table, row, r) for r in readings], axis=0),
        min(float(extremeness(row.mixture, r, row.spread)[row.good]) for r in readings),
        np.mean([p[2] for p in parts], axis=0),
    )


def accepted(table: Table, part: str, words: str) -> Account:
    """A part taken as good on a person's word: every hypothesis that needs it drops."""
    given = np.array([ACCEPTED_WRONG if part in h.parts else 1.0 for h in table.hypotheses])
    return Account(f"accept:{part}", words, given, "accepted", part)


def weigh(table: Table, items: Sequence[Item], accounts: Sequence[Account] = ()) -> Belief:
    """The belief after all evidence. Items that are no evidence, or whose test is not in the
    table, are passed over."""
    by_test: dict[tuple[int, str], list[Item]] = {}
    for item in items:
        if item.reading.is_evidence and item.test in table.rows:
            by_test.setdefault((item.visit, item.test), []).append(item)
    weighed = [_weigh_group(table, group) for group in by_test.values()]
    n, k = len(table.hypotheses), len(table.nodes)
    log = np.log(np.maximum(table.prior, 1e-300))[:, None] + np.log(
        np.array([node.weight for node in table.nodes])
    )
    for account in accounts:
        log = log + np.log(np.maximum(account.given, 1e-300))[:, None]
    groups: dict[Group, tuple[Array, Array]] = {}
    for w in weighed:
        faulty, healthy = groups.get(w.group, (np.zeros((n, k)), np.zeros(k)))
        groups[w.group] = (faulty + w.faulty, healthy + w.healthy)
    showing: dict[Group, Array] = {}
    for group, (faulty, healthy) in groups.items():
        s = table.shows_at(group[1])[:, None]
        with np.errstate(divide="ignore"):
            seen = np.log(s) + faulty
            hidden = np.log1p(-s) + healthy
        both = np.logaddexp(seen, hidden)
        showing[group] = np.exp(seen - both)
        log = log + both
    joint = np.exp(log - log.max())
    joint /= joint.sum()
    return Belief(
        table.hypotheses,
        joint,
        tuple(replace(w, slip=_slip_of(table, w, joint, showing[w.group])) for w in weighed),
        tuple(accounts),
        showing,
    )


def _slip_of(table: Table, w: Weighed, joint: Array, showing: Array) -> float:
    """P(this reading is a slip | everything, and the fault is on the list)."""
    row = table.rows[w.test]
    if row.slip == 0:
        return 0.0
    weight = joint * ~table.other[:, None]
    if weight.sum() <= 0:
        return 0.0
    healthy = row.slip * anything(w.reading) / np.exp(w.healthy)
    share = showing * w.slip_share + (1 - showing) * np.minimum(healthy, 1.0)
    return float((weight * share).sum() / weight.sum())
