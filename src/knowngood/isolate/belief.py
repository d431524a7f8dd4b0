"""What the evidence says: the probability of each hypothesis, always from the prior.

    belief(h) ~ prior(h) * accounts(h) * sum over nodes of weight(node)
                * product over groups g of [ s * prod L(r | h faulty, node)
                                             + (1-s) * prod L(r | healthy, node) ]

A group is what was read in one visit under one circumstance (rest, wiggled, warm, loaded); ``s``
is the chance that an intermittent fault shows then, and 1 for a fault that is always there.
``L = (1-slip) * mass + slip * anything``. The same test taken again in the same visit is one
reading taken several times: see `repeats`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from knowngood.isolate.hypotheses import Hypothesis
from knowngood.isolate.likelihood import anything, extremeness, mass
from knowngood.isolate.repeats import Run, Together, jumping, runs_of, together
from knowngood.isolate.table import Row, Table
from knowngood.measure.reading import Reading

Array = NDArray[np.float64]

JUMPY = 0.3  # an intermittent fault that shows makes the reading jump this often; common practice
IN_DOUBT = 0.05  # a run this likely to show the machine is not passed over as a slip
KEPT = 500  # tests read that are kept worked out with a table
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
    ``slipped``: (hypotheses,) probability of the hypothesis *and* that the reading is a slip, given
    everything; ``slip``: that it is one, given everything and a fault on the list. ``kept``: the
    readings of the run that is likeliest to show the machine, ``reading`` their mean, and those
    that jump beside it where a fault comes and goes. ``words``: what the test asks. ``row``: what
    was expected of it, also after another test undid something (`Table.without`).
    """

    items: tuple[str, ...]
    test: str
    group: Group
    reading: Reading
    faulty: Array
    healthy: Array
    extreme: Array
    extreme_good: float
    slipped: Array
    slip: float
    kept: tuple[str, ...]
    words: str
    row: Row


@dataclass(frozen=True, slots=True)
class Belief:
    """``joint``: shape (hypotheses, nodes), sums to 1. ``showing``: per group the chance that
    each hypothesis shows in it, shape (hypotheses, nodes). ``undone``: marks of which a further
    reading says nothing (`Table.undoes`)."""

    hypotheses: tuple[Hypothesis, ...]
    joint: Array
    weighed: tuple[Weighed, ...]
    accounts: tuple[Account, ...]
    showing: Mapping[Group, Array]
    undone: frozenset[str] = frozenset()

    @property
    def p(self) -> Array:
        return np.asarray(self.joint.sum(axis=1))

    def of_parts(self) -> dict[frozenset[str], float]:
        """Belief by cure set, largest first; the empty set is "nothing on the list"."""
        found: dict[frozenset[str], float] = {}
        for h, p in zip(self.hypotheses, self.p, strict=True):
            found[h.parts] = found.get(h.parts, 0.0) + float(p)
        return dict(sorted(found.items(), key=lambda kv: -kv[1]))


def _masses(table: Table, row: Row, reading: Reading) -> tuple[Array, Array]:
    """Probability of a reading without slips: faulty (h, nodes), healthy (nodes,)."""
    per_forecast = mass(row.mixture, reading, table.nodes, row.spread)
    faulty = per_forecast[row.index]
    jumpy = table.intermittent & (row.index != row.good)
    if row.quantity != "yes_no" and jumpy.any():
        jumps = 1.0 if reading.kind == "unsteady" else 0.0
        faulty[jumpy] = (1 - JUMPY) * faulty[jumpy] + JUMPY * jumps
    faulty[table.other] = anything(reading)
    return faulty, per_forecast[row.good]


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


@dataclass(frozen=True, slots=True)
class _Read:
    """One test in one visit before the belief is known: its runs, and what they say together.
    ``extremes``, ``extremes_good``: of each run, P(at least this extreme), shape (runs, h), and
    that of a good machine."""

    row: Row
    items: tuple[Item, ...]
    runs: tuple[Run, ...]
    faulty: Together
    healthy: Together
    extremes: Array
    extremes_good: tuple[float, ...]

    @property
    def group(self) -> Group:
        return self.items[0].visit, self.row.circumstance


def _read(table: Table, items: tuple[Item, ...], undone: frozenset[str]) -> _Read:
    """Kept with the table: of the readings of a job only the newest is worked out at a step."""
    kept: dict[object, _Read] = table.kept
    key = (items, undone)
    if key not in kept:
        if len(kept) >= KEPT:
            kept.clear()
        kept[key] = _worked_out(table, items, undone)
    return kept[key]


def _worked_out(table: Table, items: tuple[Item, ...], undone: frozenset[str]) -> _Read:
    row = table.without(table.rows[items[0].test], undone)
    runs = runs_of([i.reading for i in items])
    masses = [_masses(table, row, run.reading) for run in runs]
    if row.quantity == "yes_no":  # the same eyes: averaged, and no further slip
        counts = np.array([len(run.members) for run in runs], dtype=float)
        faulty, healthy = (_averaged([m[k] for m in masses], counts) for k in (0, 1))
    else:
        moving = (table.intermittent & (row.index != row.good)).astype(float)[:, None]
        faulty = together(row.slip, runs, [m[0] for m in masses], moving)
        healthy = together(row.slip, runs, [m[1] for m in masses])
    extremes = [extreme_of(table, row, run.reading) for run in runs]
    good = [extremeness(row.mixture, run.reading, row.spread)[row.good] for run in runs]
    return _Read(row, items, runs, faulty, healthy, np.array(extremes), tuple(map(float, good)))


def _averaged(masses: Sequence[Array], counts: Array) -> Together:
    logs = np.log(np.maximum(np.array(masses), 1e-300))
    log = np.tensordot(counts / counts.sum(), logs, axes=1)
    return Together(log, np.full(logs.shape, 1.0 / len(masses)), np.zeros(log.shape))


def _weighed(table: Table, read: _Read, joint: Array, showing: Array) -> Weighed:
    """The same when the belief is known: which run shows the machine, if any."""
    row, weight = read.row, joint * ~table.other[:, None]
    shares = showing * read.faulty.shares + (1 - showing) * read.healthy.shares[:, None, :]
    true = np.einsum("hn,rhn->r", weight, shares) / max(float(weight.sum()), 1e-300)
    best = int(true.argmax())
    kept = [r for r, run in enumerate(read.runs) if r == best or true[r] >= IN_DOUBT]
    if row.quantity == "yes_no":
        kept = list(range(len(read.runs)))
    jumps = jumping(read.runs)
    beside = float((weight * showing * read.faulty.jumps).sum() / max(float(weight.sum()), 1e-300))
    same = {best, jumps} if jumps is not None and beside > true[best] / 2 else {best}
    members = sorted(i for r in same for i in read.runs[r].members)
    slip = np.clip(1.0 - shares[kept].sum(axis=0), 0.0, 1.0)
    return Weighed(
        tuple(i.id for i in read.items), row.id, read.group, read.runs[best].reading,
        read.faulty.log, read.healthy.log,
        read.extremes[kept].max(axis=0), min(read.extremes_good[r] for r in kept),
        (joint * slip).sum(axis=1), float(1.0 - true[kept].sum()) if row.slip else 0.0,
        tuple(read.items[i].id for i in members), row.words or row.id, row,
    )  # fmt: skip


def accepted(table: Table, part: str, words: str) -> Account:
    """A part taken as good on a person's word: every hypothesis that needs it drops."""
    given = np.array([ACCEPTED_WRONG if part in h.parts else 1.0 for h in table.hypotheses])
    return Account(f"accept:{part}", words, given, "accepted", part)


def weigh(table: Table, items: Sequence[Item], accounts: Sequence[Account] = ()) -> Belief:
    """The belief after all evidence. Items that are no evidence, or whose test is not in the
    table, are passed over."""
    by_test: dict[tuple[int, str, frozenset[str]], list[Item]] = {}
    undone = frozenset[str]()
    for item in items:
        if item.reading.is_evidence and item.test in table.rows:
            undone |= table.undoes.get(item.test, frozenset())
            by_test.setdefault((item.visit, item.test, undone), []).append(item)
    reads = [_read(table, tuple(group), gone) for (_, _, gone), group in by_test.items()]
    n, k = len(table.hypotheses), len(table.nodes)
    log = np.log(np.maximum(table.prior, 1e-300))[:, None] + np.log(
        np.array([node.weight for node in table.nodes])
    )
    for account in accounts:
        log = log + np.log(np.maximum(account.given, 1e-300))[:, None]
    groups: dict[Group, tuple[Array, Array]] = {}
    for r in reads:
        faulty, healthy = groups.get(r.group, (np.zeros((n, k)), np.zeros(k)))
        groups[r.group] = (faulty + r.faulty.log, healthy + r.healthy.log)
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
    weighed = tuple(_weighed(table, r, joint, showing[r.group]) for r in reads)
    return Belief(table.hypotheses, joint, weighed, tuple(accounts), showing, undone)
