"""What the evidence says: the probability of each hypothesis, always from the prior.

    belief(h) ~ prior(h) * accounts(h) * sum over nodes of weight(node)
                * product over groups g of [ s * prod L(r | h faulty, node)
                                             + (1-s) * prod L(r | healthy, node) ]

A group is what was read in one visit under one circumstance (rest, wiggled, warm, loaded); ``s``
is the chance that an intermittent fault shows then, and 1 for a fault that is always there.
``L = (1-slip) * mass + slip * anything``. The same test taken again in the same visit is one
reading taken several times: see `repeats`. Readings that follow the machine's source share where it
stands, as long as it is the same source: in one visit, and not before and after it is filled. What
they said together of a source that stands elsewhere by now goes on to count.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from knowngood.isolate.hypotheses import Hypothesis
from knowngood.isolate.likelihood import Node, extremeness, extremeness_at
from knowngood.isolate.read import JUMPY as JUMPY
from knowngood.isolate.read import Group, Read, keep, logs_of, read_at
from knowngood.isolate.repeats import jumping
from knowngood.isolate.table import Row, Table
from knowngood.isolate.taken import Item as Item
from knowngood.isolate.taken import Key, Taken, taken_from
from knowngood.measure.reading import Reading

Array = NDArray[np.float64]

IN_DOUBT = 0.05  # a run this likely to show the machine is not passed over as a slip
ACCEPTED_WRONG = 0.01  # a part accepted as good by a person, and yet bad
FINE = "fine"  # the name of all the cells of a source


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
    ``extreme``: probability of a reading at least this extreme, shape (hypotheses,), no slip, given
    what readings before tell of the source; ``leans``: those readings, by test; ``alone``: the same
    with nothing told of the source.
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
    read: Read
    nodes: int
    extreme: Array
    extreme_good: float
    slipped: Array
    slip: float
    kept: tuple[str, ...]
    words: str
    row: Row
    alone: Array
    leans: tuple[str, ...] = ()

    @property
    def faulty(self) -> Array:
        return np.broadcast_to(self.read.faulty.log, (len(self.extreme), self.nodes))

    @property
    def healthy(self) -> Array:
        return np.broadcast_to(self.read.healthy.log, (self.nodes,))


@dataclass(frozen=True, slots=True)
class Belief:
    """``joint``: shape (hypotheses, nodes), sums to 1. ``showing``: per group the chance that
    each hypothesis shows in it, shape (hypotheses, nodes). ``undone``: marks of which a further
    reading says nothing (`Table.undoes`). ``nodes``: what the columns stand for; ``finer``: what
    the product of the likelihoods at these nodes is multiplied by, (hypotheses, nodes) as a
    logarithm, for the source was looked at in finer steps (None: it is not)."""

    hypotheses: tuple[Hypothesis, ...]
    joint: Array
    weighed: tuple[Weighed, ...]
    accounts: tuple[Account, ...]
    showing: Mapping[Group, Array]
    undone: frozenset[str] = frozenset()
    nodes: tuple[Node, ...] = ()
    finer: Array | None = None

    @property
    def p(self) -> Array:
        return np.asarray(self.joint.sum(axis=1))

    def of_parts(self) -> dict[frozenset[str], float]:
        """Belief by cure set, largest first; the empty set is "nothing on the list"."""
        found: dict[frozenset[str], float] = {}
        for h, p in zip(self.hypotheses, self.p, strict=True):
            found[h.parts] = found.get(h.parts, 0.0) + float(p)
        return dict(sorted(found.items(), key=lambda kv: -kv[1]))


class _Known(NamedTuple):
    """What is known of the source: nodes, what each is worth (nodes, hypotheses and a good
    machine), and the tests that say so."""

    at: Sequence[Node]
    worth: Array
    tests: tuple[str, ...]


def extreme_of(
    table: Table, row: Row, reading: Reading, known: _Known | None = None
) -> tuple[Array, float]:
    """P(at least this extreme) under each hypothesis, intermittents included, (h,), and of a good
    machine; no slip. ``known``: of the source, from other readings."""
    each = extremeness(row.mixture, reading, row.spread)
    faulty, good = each[row.index], each[row.good]
    if known is not None and reading.kind in ("value", "interval"):
        seen = extremeness_at(row.mixture, reading, known.at, known.worth, row.spread)
        faulty, good = seen[row.index, np.arange(len(row.index))], seen[row.good, -1]
    shows = table.shows_at(row.circumstance)
    jumpy = table.intermittent & (row.index != row.good)
    if row.quantity != "yes_no":
        jumps = 1.0 if reading.kind == "unsteady" else 0.0
        faulty = np.where(jumpy, (1 - JUMPY) * faulty + JUMPY * jumps, faulty)
    found = shows * faulty + (1 - shows) * good
    return np.where(table.other, 1.0, found), float(good)


@dataclass(frozen=True, slots=True)
class _Extremes:
    """Of each run, P(at least this extreme), shape (runs, h), and that of a good machine; with the
    tests before that tell of the source."""

    of: Array
    good: tuple[float, ...]
    leans: tuple[str, ...] = ()


def _extremes(table: Table, read: Read, known: _Known | None = None) -> _Extremes:
    found = [extreme_of(table, read.row, run.reading, known) for run in read.runs]
    leans = known.tests if known else ()
    return _Extremes(np.array([e for e, _ in found]), tuple(good for _, good in found), leans)


class _Parted(NamedTuple):
    """The belief, (h, nodes), where each fault shows in a group and where it does not; and both
    over all nodes, in one column."""

    shows: Array
    rests: Array
    shows_at_all: Array
    rests_at_all: Array

    @property
    def over_nodes(self) -> Array:
        return (self.shows_at_all + self.rests_at_all)[:, 0]


def _parted(joint: Array, showing: Array) -> _Parted:
    shows = joint * showing
    rests = joint - shows
    return _Parted(shows, rests, shows.sum(axis=1, keepdims=True), rests.sum(axis=1, keepdims=True))


def _true(read: Read, parted: _Parted) -> Array:
    """Probability of each hypothesis *and* that this run shows the machine, (runs, h)."""
    if read.faulty.log.shape[-1] == 1:  # the same at all nodes
        shows, rests = parted.shows_at_all, parted.rests_at_all
        found = (read.faulty.shares * shows)[:, :, 0] + read.healthy.shares @ rests.T
    else:
        found = np.einsum("rhn,hn->rh", read.faulty.shares, parted.shows)
        found += read.healthy.shares @ parted.rests.T
    return np.asarray(found)


def _weighed(
    table: Table, read: Read, belief: _Parted, true: Array, extremes: _Extremes, alone: _Extremes
) -> Weighed:
    """The same when the belief is known: which run shows the machine, if any; ``true``: see
    `_true`."""
    row, listed, p = read.row, ~table.other, belief.over_nodes
    whole = max(float(p[listed].sum()), 1e-300)
    of_run = (true[:, listed].sum(axis=1) / whole).tolist()
    best = of_run.index(max(of_run))
    kept = [r for r, share in enumerate(of_run) if r == best or share >= IN_DOUBT]
    if row.quantity == "yes_no":
        kept = list(range(len(read.runs)))
    same, jumps = {best}, jumping(read.runs)
    if jumps is not None:
        beside = float((belief.shows * read.faulty.jumps)[listed].sum()) / whole
        same |= {jumps} if beside > of_run[best] / 2 else set()
    members = sorted(i for r in same for i in read.runs[r].members)
    return Weighed(
        tuple(i.id for i in read.items), row.id, read.group, read.runs[best].reading,
        read, belief.shows.shape[1], extremes.of[kept].max(axis=0),
        min(extremes.good[r] for r in kept), np.maximum(p - true[kept].sum(axis=0), 0.0),
        max(1.0 - sum(of_run[r] for r in kept), 0.0) if row.slip else 0.0,
        tuple(read.items[i].id for i in members), row.words or row.id, row,
        alone.of[kept].max(axis=0), extremes.leans,
    )  # fmt: skip


def accepted(table: Table, part: str, words: str) -> Account:
    """A part taken as good on a person's word: every hypothesis that needs it drops."""
    given = np.array([ACCEPTED_WRONG if part in h.parts else 1.0 for h in table.hypotheses])
    return Account(f"accept:{part}", words, given, "accepted", part)


def weigh(table: Table, items: Sequence[Item], accounts: Sequence[Account] = ()) -> Belief:
    """The belief after all evidence. Items that are no evidence, or whose test is not in the
    table, are passed over."""
    taken, undone = taken_from(table, items)
    at, whole, finer = table.nodes, None, None
    earlier = _earlier(table, taken)
    beside = sum((e.said for e in earlier), np.zeros(len(table.hypotheses)))[:, None]
    if table.levels is not None and any(t.follows and t.same for t in taken):
        cells = table.levels.all
        whole, _ = _joint(table, [read_at(table, t, cells, FINE) for t in taken], cells, accounts)
        whole = _corrected(whole, beside)
        at, lies = table.levels.chosen(whole[~table.other].sum(axis=0))
    nodes = Key(at)
    at = keep(table, nodes, lambda: nodes)  # the equal ones of the last time are found sooner
    reads = [read_at(table, t, at, at) for t in taken]
    joint, showing = _joint(table, reads, at, accounts)
    if whole is not None:
        finer = _finer(joint, whole @ lies)
    elif earlier:
        finer = np.repeat(beside, len(at), axis=1)
    if finer is not None:
        joint = _corrected(joint, finer)
    reads = [next((e.slips(r) for e in earlier if r.taken.source == e.source), r) for r in reads]
    parted = {group: _parted(joint, shows) for group, shows in showing.items()}
    true = [_true(r, parted[r.group]) for r in reads]
    extremes = alone = [keep(table, (r.taken.key, "extremes"), partial(_extremes, table, r))
                        for r in reads]  # fmt: skip
    if finer is not None:
        half = float(joint[~table.other].sum()) / 2
        slips = [float(t[:, ~table.other].sum()) < half for t in true]
        extremes = _by_source(table, reads, alone, slips)
    weighed = tuple(_weighed(table, r, parted[r.group], t, e, a)
                    for r, t, e, a in zip(reads, true, extremes, alone, strict=True))  # fmt: skip
    return Belief(table.hypotheses, joint, weighed, tuple(accounts), showing, undone, at, finer)


def _corrected(joint: Array, log: Array) -> Array:
    joint = joint * np.exp(log - log.max())
    return np.asarray(joint / joint.sum())


def _finer(joint: Array, stretches: Array) -> Array:
    """What makes the belief at the nodes (h, nodes) that in their stretches (h, stretches), as a
    logarithm; in a stretch the nodes of the meter stand side by side."""
    each = joint.shape[1] // stretches.shape[1]
    sums = joint.reshape(len(joint), -1, each).sum(axis=2)
    log = np.log(np.maximum(stretches, 1e-300)) - np.log(np.maximum(sums, 1e-300))
    return np.asarray(np.repeat(log, each, axis=1))


def _by_source(
    table: Table, reads: Sequence[Read], extremes: Sequence[_Extremes], slips: Sequence[bool]
) -> list[_Extremes]:
    """How extreme each is when those before have told of the source, where they have; what is
    itself likelier a slip tells nothing of it."""
    assert table.levels is not None
    cells = table.levels.all
    found: list[_Extremes] = []
    told_by: dict[object, tuple[Read, ...]] = {}

    def told(r: Read, before: tuple[Read, ...]) -> _Extremes:
        log = np.log([n.weight for n in cells]) + sum(
            np.vstack([b.faulty.log, b.healthy.log]) for b in before)  # fmt: skip
        worth = np.exp(log - log.max(axis=1, keepdims=True))
        worth /= worth.sum(axis=1, keepdims=True)
        return _extremes(table, r, _Known(cells, worth.T, tuple(b.row.id for b in before)))

    for own, alone, slip in zip(reads, extremes, slips, strict=True):
        if not own.taken.follows:
            found.append(alone)
            continue
        before = told_by.get(own.taken.source, ())
        r = read_at(table, replace(own.taken, same=True), cells, FINE)
        key = (r.taken.key, *(b.taken.key for b in before), "source")
        found.append(keep(table, key, partial(told, r, before)) if before else alone)
        told_by[own.taken.source] = before if slip else (*before, r)
    return found


def _joint(
    table: Table, reads: Sequence[Read], at: Sequence[Node], accounts: Sequence[Account]
) -> tuple[Array, dict[Group, Array]]:
    """(hypotheses, nodes) summing to 1, and for each group the chance that each shows in it."""
    log, showing = logs_of(table, reads, at)
    log = log + np.log(np.maximum(table.prior, 1e-300))[:, None]
    for account in accounts:
        log = log + np.log(np.maximum(account.given, 1e-300))[:, None]
    joint = np.exp(log - log.max())
    return joint / joint.sum(), showing


@dataclass(frozen=True, slots=True)
class _Earlier:
    """A source that stands elsewhere by now. ``said``: (h,), a logarithm, what its readings say
    together beyond each for itself; ``worth``: (h, cells), ``good``: (cells,), where it stood."""

    source: tuple[int, int] | None
    at: tuple[Read, ...]
    said: Array
    worth: Array
    good: Array

    def slips(self, read: Read) -> Read:
        """The reading with the chance of each run by where the source stood."""
        at = next(r for r in self.at if r.items == read.items)
        n = read.faulty.log.shape[1]
        if at.faulty.shares.shape[-1] == 1:
            return read
        faulty = np.einsum("rhc,hc->rh", at.faulty.shares, self.worth)[:, :, None]
        healthy = (at.healthy.shares @ self.good)[:, None]
        return replace(
            read, faulty=replace(read.faulty, shares=np.repeat(faulty, n, axis=2)),
            healthy=replace(read.healthy, shares=np.repeat(healthy, n, axis=1)),
        )  # fmt: skip


def _earlier(table: Table, taken: Sequence[Taken]) -> list[_Earlier]:
    """Of another day, or before it was filled: what was read of it then still tells."""
    found = []
    for source in dict.fromkeys(t.source for t in taken if t.follows and not t.same):
        its = tuple(t for t in taken if t.source == source)
        if table.levels is None or sum(t.follows for t in its) < 2:
            continue
        cells = table.levels.all
        at = tuple(read_at(table, replace(t, same=True), cells, FINE) for t in its)
        log, _ = logs_of(table, at, cells)
        apart, _ = logs_of(table, [read_at(table, t, table.nodes, table.nodes) for t in its],
                         table.nodes)  # fmt: skip
        whole = logsumexp(log, axis=1, keepdims=True)
        good = np.log([c.weight for c in cells]) + sum(r.healthy.log for r in at)
        said = whole[:, 0] - logsumexp(apart, axis=1)
        good = np.exp(good - logsumexp(good))
        found.append(_Earlier(source, at, said, np.exp(log - whole), good))
    return found
