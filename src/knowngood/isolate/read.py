"""The readings of one test in one visit, their likelihood at nodes, and that of all together."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from knowngood.isolate.likelihood import Node, anything, mass
from knowngood.isolate.repeats import Run, Together, runs_of, together
from knowngood.isolate.table import Row, Table
from knowngood.isolate.taken import Item, Key, Taken
from knowngood.measure.reading import Reading

Array = NDArray[np.float64]

JUMPY = 0.3  # an intermittent fault that shows makes the reading jump this often; common practice
KEPT = 240  # what is worked out of tests read, so much is kept with a table
Group = tuple[int, str]
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Read:
    """One test in one visit before the belief is known: its runs, and what they say together, at
    each node; in one column where it says the same at all."""

    taken: Taken
    runs: tuple[Run, ...]
    faulty: Together
    healthy: Together

    @property
    def row(self) -> Row:
        return self.taken.row

    @property
    def items(self) -> tuple[Item, ...]:
        return self.taken.items

    def spread_over(self, place: NDArray[np.intp]) -> Read:
        """At the nodes that are alike to it: ``place`` (n,) of each among its own. One for all
        nodes stays one column."""
        if self.faulty.log.shape[-1] == 1:
            return self
        faulty, healthy = (Together(t.log[..., place], t.shares[..., place], t.jumps[..., place])
                           for t in (self.faulty, self.healthy))  # fmt: skip
        return replace(self, faulty=faulty, healthy=healthy)

    @property
    def group(self) -> Group:
        return self.items[0].visit, self.row.circumstance


def keep(table: Table, key: Hashable, make: Callable[[], T]) -> T:
    """Kept with the table: of the readings of a job only the newest is worked out at a step. The
    oldest goes first."""
    kept: dict[Hashable, Any] = table.kept
    found: T | None = kept.get(key)
    if found is None:
        while len(kept) >= KEPT:
            del kept[next(iter(kept))]
        found = kept[key] = make()
    return found


def read_at(table: Table, taken: Taken, at: tuple[Node, ...], name: Hashable) -> Read:
    """``name``: of these nodes. Most readings follow no source: they are worked out once for all
    nodes that are alike to them."""
    row = taken.row
    kind = (row.quantity == "yes_no", row.spread > 0, taken.same and row.mixture.follows)
    alike, place = keep(table, (kind, name), lambda: _alike(at, *kind))
    read = keep(table, (taken.key, alike), lambda: _worked_out(table, taken, alike))
    return read if len(alike) == len(at) else read.spread_over(place)


def _alike(
    at: Sequence[Node], seen: bool, scaled: bool, follows: bool
) -> tuple[Key[Node], NDArray[np.intp]]:
    """The nodes in which a reading of this kind may differ, and which of them each is."""
    found: dict[Node, int] = {}
    place = []
    for n in at:
        node = Node(
            0.0 if seen else n.gain, n.scale if scaled and not seen else 0.0, 1.0,
            *((n.level, n.cell, n.beyond, n.around) if follows and not seen else ()),
        )  # fmt: skip
        place.append(found.setdefault(node, len(found)))
    return Key(found), np.array(place, dtype=np.intp)


def _worked_out(table: Table, taken: Taken, at: Sequence[Node]) -> Read:
    row, items = taken.row, taken.items
    runs = runs_of([i.reading for i in items])
    masses = [_masses(table, row, run.reading, at) for run in runs]
    if row.quantity == "yes_no":  # the same eyes: averaged, and no further slip
        counts = np.array([len(run.members) for run in runs], dtype=float)
        faulty, healthy = (_averaged([m[k] for m in masses], counts) for k in (0, 1))
    else:
        moving = (table.intermittent & (row.index != row.good)).astype(float)[:, None]
        faulty = together(row.slip, runs, [m[0] for m in masses], moving)
        healthy = together(row.slip, runs, [m[1] for m in masses])
    return Read(taken, runs, faulty, healthy)


def _masses(table: Table, row: Row, reading: Reading, at: Sequence[Node]) -> tuple[Array, Array]:
    """Probability of a reading without slips: faulty (h, nodes), healthy (nodes,)."""
    per_forecast = mass(row.mixture, reading, at, row.spread)
    faulty = per_forecast[row.index]
    jumpy = table.intermittent & (row.index != row.good)
    if row.quantity != "yes_no" and jumpy.any():
        jumps = 1.0 if reading.kind == "unsteady" else 0.0
        faulty[jumpy] = (1 - JUMPY) * faulty[jumpy] + JUMPY * jumps
    if not row.everyday:
        faulty[table.other] = anything(reading)
    return faulty, per_forecast[row.good]


def _averaged(masses: Sequence[Array], counts: Array) -> Together:
    logs = np.log(np.maximum(np.array(masses), 1e-300))
    log = np.tensordot(counts / counts.sum(), logs, axes=1)
    return Together(log, np.full(logs.shape, 1.0 / len(masses)), np.zeros(log.shape))


def logs_of(
    table: Table, reads: Sequence[Read], at: Sequence[Node]
) -> tuple[Array, dict[Group, Array]]:
    """The same without prior and accounts, as logarithms, not made to sum to 1. What says the same
    at all nodes stays one column as long as it can."""
    log = np.zeros((len(table.hypotheses), 1)) + np.log([a.weight for a in at])
    groups: dict[tuple[Group, int], tuple[Array, Array]] = {}
    for r in reads:
        key = r.group, r.faulty.log.shape[-1]
        before = groups.get(key)
        said = r.faulty.log, r.healthy.log
        groups[key] = said if before is None else (before[0] + said[0], before[1] + said[1])
    showing: dict[Group, Array] = {}
    for group in dict.fromkeys(g for g, _ in groups):
        some = [said for (g, _), said in groups.items() if g == group]
        faulty, healthy = (sum(told[1:], told[0]) for told in zip(*some, strict=True))
        s = table.shows_at(group[1])
        found = np.where((s > 0)[:, None], faulty, healthy)
        shown = np.repeat(s[:, None], found.shape[1], axis=1)
        doubt = (s > 0) & (s < 1)  # the few that come and go
        if doubt.any():
            seen = np.log(s[doubt, None]) + faulty[doubt]
            found[doubt] = np.logaddexp(seen, np.log1p(-s[doubt, None]) + healthy)
            shown[doubt] = np.exp(seen - found[doubt])
        showing[group] = np.broadcast_to(shown, log.shape)
        log = log + found
    return log, showing
