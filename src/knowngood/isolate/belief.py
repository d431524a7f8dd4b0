"""What the evidence says: the probability of each hypothesis, always from the prior.

    belief(h) ~ prior(h) * accounts(h) * sum over nodes of weight(node)
                * product over groups g of [ s * prod L(r | h faulty, node)
                                             + (1-s) * prod L(r | healthy, node) ]

A group is what was read in one visit under one circumstance (rest, wiggled, warm, loaded); ``s``
is the chance that an intermittent fault shows then, and 1 for a fault that is always there.
``L = (1-slip) * mass + slip * anything``. The same test taken again in the same visit is one
reading taken several times: see `repeats`. Readings that follow the machine's source share where it
stands, as long as it is the same source: in one visit, and not before and after it is filled.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from knowngood.isolate.hypotheses import Hypothesis
from knowngood.isolate.likelihood import Node, anything, extremeness, extremeness_at, mass
from knowngood.isolate.repeats import Run, Together, jumping, runs_of, together
from knowngood.isolate.table import Row, Table
from knowngood.measure.reading import Reading

Array = NDArray[np.float64]

JUMPY = 0.3  # an intermittent fault that shows makes the reading jump this often; common practice
IN_DOUBT = 0.05  # a run this likely to show the machine is not passed over as a slip
KEPT = 150  # what is worked out of tests read, so much is kept with a table
ACCEPTED_WRONG = 0.01  # a part accepted as good by a person, and yet bad
FINE = "fine"  # the name of all the cells of a source
Group = tuple[int, str]
T = TypeVar("T")


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
    ``extreme``: probability of a reading at least this extreme, shape (hypotheses,), no slip, given
    what readings before tell of the source; ``leans``: those readings, by test.
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
    leans: tuple[str, ...] = ()


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


def _masses(
    table: Table, row: Row, reading: Reading, at: Sequence[Node]
) -> tuple[Array, Array]:
    """Probability of a reading without slips: faulty (h, nodes), healthy (nodes,)."""
    per_forecast = mass(row.mixture, reading, at, row.spread)
    faulty = per_forecast[row.index]
    jumpy = table.intermittent & (row.index != row.good)
    if row.quantity != "yes_no" and jumpy.any():
        jumps = 1.0 if reading.kind == "unsteady" else 0.0
        faulty[jumpy] = (1 - JUMPY) * faulty[jumpy] + JUMPY * jumps
    faulty[table.other] = anything(reading)
    return faulty, per_forecast[row.good]


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
class _Taken:
    """The readings of one test in one visit, and the marks undone by then; ``same``: from the
    source as it stands now."""

    row: Row
    items: tuple[Item, ...]
    undone: frozenset[str]
    same: bool

    @property
    def follows(self) -> bool:
        return self.same and self.row.mixture.follows

    @property
    def key(self) -> tuple[object, ...]:
        return self.items, self.undone, self.same


@dataclass(frozen=True, slots=True)
class _Extremes:
    """Of each run, P(at least this extreme), shape (runs, h), and that of a good machine; with the
    tests before that tell of the source."""

    of: Array
    good: tuple[float, ...]
    leans: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Read:
    """One test in one visit before the belief is known: its runs, and what they say together."""

    taken: _Taken
    runs: tuple[Run, ...]
    faulty: Together
    healthy: Together

    @property
    def row(self) -> Row:
        return self.taken.row

    @property
    def items(self) -> tuple[Item, ...]:
        return self.taken.items

    @property
    def group(self) -> Group:
        return self.items[0].visit, self.row.circumstance


def _keep(table: Table, key: object, make: Callable[[], T]) -> T:
    """Kept with the table: of the readings of a job only the newest is worked out at a step."""
    kept: dict[object, Any] = table.kept
    if key not in kept:
        if len(kept) >= KEPT:
            kept.clear()
        kept[key] = make()
    return kept[key]  # type: ignore[no-any-return]


def _read(table: Table, taken: _Taken, at: tuple[Node, ...], name: object) -> _Read:
    """``name``: of these nodes."""
    return _keep(table, (taken.key, name), lambda: _worked_out(table, taken, at))


def _worked_out(table: Table, taken: _Taken, at: Sequence[Node]) -> _Read:
    row, items = taken.row, taken.items
    if not taken.same:
        at = [replace(n, level=0.0, cell=0.0, beyond=0.0, around=0.0) for n in at]
    runs = runs_of([i.reading for i in items])
    masses = [_masses(table, row, run.reading, at) for run in runs]
    if row.quantity == "yes_no":  # the same eyes: averaged, and no further slip
        counts = np.array([len(run.members) for run in runs], dtype=float)
        faulty, healthy = (_averaged([m[k] for m in masses], counts) for k in (0, 1))
    else:
        moving = (table.intermittent & (row.index != row.good)).astype(float)[:, None]
        faulty = together(row.slip, runs, [m[0] for m in masses], moving)
        healthy = together(row.slip, runs, [m[1] for m in masses])
    return _Read(taken, runs, faulty, healthy)


def _extremes(table: Table, read: _Read, known: _Known | None = None) -> _Extremes:
    found = [extreme_of(table, read.row, run.reading, known) for run in read.runs]
    leans = known.tests if known else ()
    return _Extremes(np.array([e for e, _ in found]), tuple(good for _, good in found), leans)


def _averaged(masses: Sequence[Array], counts: Array) -> Together:
    logs = np.log(np.maximum(np.array(masses), 1e-300))
    log = np.tensordot(counts / counts.sum(), logs, axes=1)
    return Together(log, np.full(logs.shape, 1.0 / len(masses)), np.zeros(log.shape))


def _true(table: Table, read: _Read, joint: Array, showing: Array) -> tuple[Array, Array]:
    """Chance that each run shows the machine: (runs, h, nodes), and (runs,) for what is listed."""
    weight = joint * ~table.other[:, None]
    shares = showing * read.faulty.shares + (1 - showing) * read.healthy.shares[:, None, :]
    return shares, np.einsum("hn,rhn->r", weight, shares) / max(float(weight.sum()), 1e-300)


def _weighed(
    table: Table, read: _Read, joint: Array, showing: Array, extremes: _Extremes
) -> Weighed:
    """The same when the belief is known: which run shows the machine, if any."""
    row, weight = read.row, joint * ~table.other[:, None]
    shares, true = _true(table, read, joint, showing)
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
        extremes.of[kept].max(axis=0), min(extremes.good[r] for r in kept),
        (joint * slip).sum(axis=1), float(1.0 - true[kept].sum()) if row.slip else 0.0,
        tuple(read.items[i].id for i in members), row.words or row.id, row,
        extremes.leans,
    )  # fmt: skip


def accepted(table: Table, part: str, words: str) -> Account:
    """A part taken as good on a person's word: every hypothesis that needs it drops."""
    given = np.array([ACCEPTED_WRONG if part in h.parts else 1.0 for h in table.hypotheses])
    return Account(f"accept:{part}", words, given, "accepted", part)


def weigh(table: Table, items: Sequence[Item], accounts: Sequence[Account] = ()) -> Belief:
    """The belief after all evidence. Items that are no evidence, or whose test is not in the
    table, are passed over."""
    taken, undone = _taken(table, items)
    at, fine, finer = table.nodes, None, None
    if table.levels is not None and any(t.follows for t in taken):
        cells = table.levels.all
        fine = [_read(table, t, cells, FINE) for t in taken]
        whole, _ = _joint(table, fine, cells, accounts)
        at, lies = table.levels.chosen(whole[~table.other].sum(axis=0))
    reads = [_read(table, t, at, at) for t in taken]
    joint, showing = _joint(table, reads, at, accounts)
    if fine is not None:
        finer = _finer(joint, whole @ lies)
        joint = joint * np.exp(finer)
    extremes = [_keep(table, (r.taken.key, "extremes"), partial(_extremes, table, r))
                for r in reads]  # fmt: skip
    if fine is not None:
        slips = [_true(table, r, joint, showing[r.group])[1].sum() < 0.5 for r in reads]
        extremes = _by_source(table, fine, extremes, slips)
    weighed = tuple(_weighed(table, r, joint, showing[r.group], e)
                    for r, e in zip(reads, extremes, strict=True))  # fmt: skip
    return Belief(table.hypotheses, joint, weighed, tuple(accounts), showing, undone, at, finer)


def _finer(joint: Array, stretches: Array) -> Array:
    """What makes the belief at the nodes (h, nodes) that in their stretches (h, stretches), as a
    logarithm; in a stretch the nodes of the meter stand side by side."""
    each = joint.shape[1] // stretches.shape[1]
    sums = joint.reshape(len(joint), -1, each).sum(axis=2)
    log = np.log(np.maximum(stretches, 1e-300)) - np.log(np.maximum(sums, 1e-300))
    return np.asarray(np.repeat(log, each, axis=1))


def _by_source(
    table: Table, fine: Sequence[_Read], extremes: Sequence[_Extremes], slips: Sequence[bool]
) -> list[_Extremes]:
    """How extreme each is when those before have told of the source, where they have; what is
    itself likelier a slip tells nothing of it."""
    assert table.levels is not None
    cells = table.levels.all
    found: list[_Extremes] = []
    before: tuple[_Read, ...] = ()

    def told(r: _Read) -> _Extremes:
        log = np.log([n.weight for n in cells]) + sum(
            np.vstack([b.faulty.log, b.healthy.log]) for b in before)  # fmt: skip
        worth = np.exp(log - log.max(axis=1, keepdims=True))
        worth /= worth.sum(axis=1, keepdims=True)
        return _extremes(table, r, _Known(cells, worth.T, tuple(b.row.id for b in before)))

    for r, alone, slip in zip(fine, extremes, slips, strict=True):
        if not r.taken.follows:
            found.append(alone)
            continue
        key = (r.taken.key, *(b.taken.key for b in before), "source")
        found.append(_keep(table, key, partial(told, r)) if before else alone)
        before = before if slip else (*before, r)
    return found


def _taken(table: Table, items: Sequence[Item]) -> tuple[list[_Taken], frozenset[str]]:
    """The readings by visit and test, and the marks undone in the end."""
    by_test: dict[tuple[int, str, frozenset[str]], list[Item]] = {}
    undone = frozenset[str]()
    fills, filled = 0, dict[tuple[int, str, frozenset[str]], int]()
    for item in items:
        if item.reading.is_evidence and item.test in table.rows:
            undone |= table.undoes.get(item.test, frozenset())
            fills += item.test in table.refills
            key = (item.visit, item.test, undone)
            by_test.setdefault(key, []).append(item)
            filled.setdefault(key, fills)
    latest = max((visit for visit, _, _ in by_test), default=0)
    return [
        _Taken(table.without(table.rows[test], gone), tuple(group), gone,
               visit == latest and filled[visit, test, gone] == fills)
        for (visit, test, gone), group in by_test.items()
    ], undone  # fmt: skip


def _joint(
    table: Table, reads: Sequence[_Read], at: Sequence[Node], accounts: Sequence[Account]
) -> tuple[Array, dict[Group, Array]]:
    """(hypotheses, nodes) summing to 1, and for each group the chance that each shows in it."""
    n, k = len(table.hypotheses), len(at)
    log = np.log(np.maximum(table.prior, 1e-300))[:, None] + np.log([a.weight for a in at])
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
    return joint / joint.sum(), showing
