"""From a belief to the next step: the tests left as bands, priced by the planner.

The planner sees outcomes, prices and covers only. Here the belief becomes its task: hypotheses of
little weight are folded into a likelier one with the same cure, tests become bands on the meter
at hand, minutes become money, and what is open stays open.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Container, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from knowngood.isolate import task as planning
from knowngood.isolate.bands import MOST_BANDS, Bands, make_bands, outcome_table
from knowngood.isolate.belief import Belief
from knowngood.isolate.hypotheses import Hypothesis
from knowngood.isolate.planner import Plan, plan
from knowngood.isolate.prices import Prices
from knowngood.isolate.proof import (
    Proof,
    as_planned,
    firmly_out,
    judge_proof,
    read_often,
    shown_out,
)
from knowngood.isolate.table import Row, Table
from knowngood.isolate.watch import Watch
from knowngood.measure.meter import MeterSheet

MOST_FAULTS = 36
KEEP_MASS = 0.997
LEAST = 0.4  # of the deadline, at least, for planning itself
DOUBLE_FLOOR = 0.02  # a double fault less believed than this is planned for as its first fault
CALLED_BELIEF = 0.9
LIKELY = 0.75  # belief in a part from which on a reading of that part alone is preferred
PREFERRED = 1.0  # minutes that such a reading counts as shorter: it says what one wants to know
SHORTEST = 0.1  # minutes
NOT_ELECTRICAL = {"rpm", "pressure", "seconds", "torque", "percent", "temperature", "yes_no"}
OTHER_ID = "nothing listed"
FIRST_READ = "first read "


@dataclass(frozen=True, slots=True)
class Access:
    """What has to be opened, unplugged or taken out, with the minutes there and back."""

    id: str
    minutes: float
    back_minutes: float
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Fit:
    """A service part as far as planning goes: minutes to fit, price, what must be open."""

    id: str
    price: float
    minutes: float
    returnable: float
    needs: tuple[str, ...] = ()


@dataclass
class Bench:
    """What stays the same during a job: table, meter, prices, access. Bands are made once."""

    table: Table
    meter: MeterSheet | None
    prices: Prices
    access: tuple[Access, ...]
    parts: tuple[Fit, ...]
    for_paper: bool = False
    """Bands with round edges, to be read off a page."""
    good: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """Tests that others wait for until they read from low to high (base units): no band of theirs
    goes past an end of that stretch."""
    most: int = MOST_BANDS  # stretches of readings that the planner tells apart in one test
    _bands: dict[str, Bands] = field(default_factory=dict)

    def readable(self, row: Row) -> bool:
        """The meter at hand has the function for this test."""
        if row.quantity in NOT_ELECTRICAL or self.meter is None:
            return True
        return bool(self.meter.ranges(row.quantity))

    def bands(self, test: str) -> Bands:
        """Outcomes of this test on this meter."""
        if test not in self._bands:
            row = self.table.rows[test]
            meter = None if row.quantity in NOT_ELECTRICAL else self.meter
            nodes, most = self.table.nodes, self.most
            chances = self.table.chances(row) if self.for_paper else None
            cuts = [end for end in self.good.get(test, ()) if np.isfinite(end)]
            self._bands[test] = make_bands(row, meter, nodes, most, chances=chances, cuts=cuts)
        return self._bands[test]


@dataclass(frozen=True, slots=True)
class Advice:
    """The plan from here, the tests held back with the reason, and the task behind it."""

    plan: Plan
    held: Mapping[str, str]
    task: planning.Task


def held_back(
    bench: Bench,
    read: frozenset[str],
    skipped: frozenset[str],
    decided: bool,
    again: Collection[str] = (),
    seen: Collection[str] = (),
) -> dict[str, str]:
    """Tests not offered now, with the reason in words; ``again``: those to be read once more;
    ``seen``: what the machine was seen to do, whatever the complaint says."""
    held: dict[str, str] = {}
    for row in bench.table.rows.values():
        not_seen = [d for d in row.does if d not in seen]
        waiting = waits_for(bench, row, read)
        if row.id in read and row.id not in again:
            held[row.id] = "already read"
        elif row.id in skipped:
            held[row.id] = "skipped"
        elif row.alters and not decided:
            held[row.id] = "it alters the failed part: only after the part is decided"
        elif not_seen:
            held[row.id] = f"not with this complaint, until it was seen: {not_seen[0]}"
        elif waiting:
            held[row.id] = f"{FIRST_READ}{waiting[0]}"
        elif not bench.readable(row):
            held[row.id] = "the meter at hand has no such function"
    return held


def waits_for(bench: Bench, row: Row, read: Collection[str]) -> list[str]:
    """Tests that must be read before this one, and are not yet."""
    return [t for t in row.after if t in bench.table.rows and t not in read]


def within_reach(
    bench: Bench, held: Mapping[str, str], read: Collection[str]
) -> dict[str, list[str]]:
    """Tests held back only until others are read that can be read now, or after others still: the
    plan may go through them. Test -> what it waits for."""
    waiting = {
        row.id: first
        for row in bench.table.rows.values()
        if held.get(row.id, "").startswith(FIRST_READ) and bench.readable(row)
        and (first := waits_for(bench, row, read))
    }  # fmt: skip
    while out := [t for t, first in waiting.items()
                  if any(q in held and q not in waiting for q in first)]:  # fmt: skip
        for t in out:
            del waiting[t]
    return waiting


def seen_to_do(belief: Belief, table: Table) -> frozenset[str]:
    """What the machine was seen to do: by a test that reads good, or because a test was taken that
    it could not be taken without."""
    found: set[str] = set()
    for w in belief.weighed:
        row = table.rows[w.test]
        found |= {*row.does, *(row.sees if row.is_good(w.reading) else ())}
    return frozenset(found)


def make_task(
    bench: Bench,
    belief: Belief,
    held: Mapping[str, str],
    opened: frozenset[str],
    called: frozenset[str] | None = None,
    proof: Proof | None = None,
    behind: Mapping[str, Sequence[str]] | None = None,
    direct: Collection[str] = (),
) -> planning.Task:
    """The planner's task for this belief. With ``called``, planning (not the belief) takes the
    person's word for the part, and that nothing is paid without its proof. ``proof``: as judged
    now, if that is known already. ``behind``: tests held only until others are read, with those
    (see `within_reach`); the plan may use them in that order. ``direct``: see `of_one_part`."""
    proof = proof or judge_proof(belief, called)
    keep, weight, sets = _fold(belief, None if proof.proven else called, proof)
    excluded, floor = as_planned(belief, proof, keep, weight)
    faults = [
        planning.Fault(belief.hypotheses[i].id, float(weight[k]), tuple(sorted(sets[k])))
        for k, i in enumerate(keep)
    ]
    names = {p for s in sets for p in s}
    fits = {f.id: f for f in bench.parts}
    of = bench.prices.of_minutes
    parts = tuple(
        planning.Part(p, fits[p].price + of(fits[p].minutes), fits[p].needs) for p in sorted(names)
    )
    covers = tuple(
        planning.Cover(a.id, of(a.minutes + a.back_minutes), a.needs) for a in bench.access
    )
    tests = []
    behind = behind or {}
    known = shown_out(belief)
    gone = np.array([h.id in known for h in belief.hypotheses])
    for row in bench.table.rows.values():
        if row.id in held and row.id not in behind:
            continue
        bands = bench.bands(row.id)
        minutes = row.minutes
        if row.id in direct:
            minutes = max(min(SHORTEST, minutes), minutes - PREFERRED)
        now = bench.table.without(row, belief.undone)
        p, excludes = outcome_table(bench.table, now, bands, belief)
        if row.id in proof.against:  # if it does not agree, what the others showed out is out
            agrees = excludes.any(axis=0)
            excludes = np.outer(gone, ~agrees)
        tests.append(
            planning.Test(
                row.id, of(minutes), bands.labels, _columns(p[keep]), row.open, row.closed,
                np.ascontiguousarray(excludes[keep].T), tuple(behind.get(row.id, ())),
            )
        )  # fmt: skip
    lost = [
        float(p) * sum(fits[x].price * (1 - fits[x].returnable) for x in s)
        for p, s in zip(weight, sets, strict=True)
    ]
    prices = bench.prices if called is None else replace(bench.prices, denied=1.0)
    return planning.Task(
        goal="part",
        faults=tuple(faults),
        parts=parts,
        covers=covers,
        tests=tuple(tests),
        wrong_price=prices.wrong + sum(lost) + prices.shelf_day * 7,
        opened=opened & {a.id for a in bench.access},
        excluded0=excluded,
        proof_floor=floor,
        unproven_price=prices.unproven,
    )


def of_one_part(
    table: Table, belief: Belief, called: frozenset[str] | None = None
) -> frozenset[str]:
    """Measurements that read the part called, or a part believed bad by `LIKELY` or more, alone:
    its likeliest fault moves them, and whatever reads like that has this part in it."""
    share: dict[str, float] = {}
    for h, p in zip(belief.hypotheses, belief.p, strict=True):
        for part in h.parts:
            share[part] = share.get(part, 0.0) + float(p)
    wanted = called or frozenset(part for part, p in share.items() if p >= LIKELY)
    found = set()
    for part in wanted:
        has = np.array([part in h.parts for h in belief.hypotheses])
        if not has.any():
            continue
        lead = int(np.where(has, belief.p, -1.0).argmax())
        for row in table.rows.values():
            place = row.index[lead]
            alike = (row.index == place) & ~table.other
            if row.quantity != "yes_no" and place != row.good and not (alike & ~has).any():
                found.add(row.id)
    return frozenset(found)


def _columns(p: NDArray[np.float64]) -> NDArray[np.float64]:
    """Outcomes by faults, each column summing to 1 to the last digit."""
    q = np.ascontiguousarray(p.T)
    return np.asarray(q / q.sum(axis=0, keepdims=True))


def _fold(
    belief: Belief, called: frozenset[str] | None, proof: Proof
) -> tuple[list[int], NDArray[np.float64], list[frozenset[str]]]:
    """Hypotheses kept for planning, their weights, and the cure each is planned for."""
    hypotheses, p = belief.hypotheses, belief.p.copy()
    if called is not None:
        inside = np.array([h.parts == called for h in hypotheses])
        if 0 < p[inside].sum() < CALLED_BELIEF:
            p[inside] *= CALLED_BELIEF / p[inside].sum()
            p[~inside] *= (1 - CALLED_BELIEF) / max(p[~inside].sum(), 1e-300)
    index = {h.id: i for i, h in enumerate(hypotheses)}
    weight = p.copy()
    for i, h in enumerate(hypotheses):
        small = h.kind == "double" and p[i] < DOUBLE_FLOOR and h.id not in proof.open
        if small and h.marks[0] in index:
            weight[index[h.marks[0]]] += weight[i]
            weight[i] = 0.0
    order = np.argsort(-weight, kind="stable")
    running = np.cumsum(weight[order])
    count = min(MOST_FAULTS, int(np.searchsorted(running, KEEP_MASS)) + 1)
    kept_first = [int(i) for i in order[:count]]
    out = firmly_out(belief, proof.unsettled) if proof.explained else frozenset[str]()
    for i in order[count:]:  # however unlikely, a proof has to show them out
        if len(kept_first) < MOST_FAULTS and _to_show_out(hypotheses[i], out, proof):
            kept_first.append(int(i))
    keep = sorted(i for i in kept_first if weight[i] > 0)
    other = next((i for i, h in enumerate(hypotheses) if h.kind == "other"), None)
    if other is not None and other not in keep:
        keep.append(other)
    place = {i: k for k, i in enumerate(keep)}
    by_set: dict[frozenset[str], int] = {}
    for i in keep:
        s = hypotheses[i].parts
        if s not in by_set or weight[i] > weight[keep[by_set[s]]]:
            by_set[s] = place[i]
    kept = np.array([weight[i] for i in keep])
    for i in range(len(hypotheses)):
        if i not in place and weight[i] > 0:
            home = by_set.get(hypotheses[i].parts)
            kept[home if home is not None else place.get(other or 0, 0)] += weight[i]
    return keep, kept, [hypotheses[i].parts for i in keep]


def _to_show_out(h: Hypothesis, out: Container[str], proof: Proof) -> bool:
    listed = h.kind == "primary" and bool(h.parts) and h.id not in out
    return listed or h.id in proof.open


def advise(
    bench: Bench,
    belief: Belief,
    *,
    opened: frozenset[str] = frozenset(),
    read: frozenset[str] = frozenset(),
    skipped: frozenset[str] = frozenset(),
    called: frozenset[str] | None = None,
    decided: bool = False,
    deadline: float | None = 0.15,
    max_expansions: int | None = None,
    proof: Proof | None = None,
    clock: Callable[[], float] | None = None,
    barred: Mapping[str, str] | None = None,
    once_more: Collection[str] = (),
) -> Advice:
    """Every possible next step with its price and bounds, cheapest first, and the plan.
    ``skipped`` tests are not offered, nor, when read, asked for once more; nor are those ``barred``
    as unsafe, with the reason. ``once_more``: tests read that are offered again."""
    watch = Watch(deadline, clock)
    proof = proof or judge_proof(belief, called)
    again = frozenset((*proof.again, *once_more)) - skipped - read_often(belief)
    held = held_back(bench, read, skipped, decided, again, seen_to_do(belief, bench.table))
    held |= {id: why for id, why in (barred or {}).items() if id in bench.table.rows}
    behind = within_reach(bench, held, read)
    direct = of_one_part(bench.table, belief, called)
    task = make_task(bench, belief, held, opened, called, proof, behind, direct)
    found = plan(
        task, deadline=watch.left(0.0, LEAST), max_expansions=max_expansions, clock=watch.clock,
        wanted=direct,
    )  # fmt: skip
    return Advice(found, held, task)


def leaves_of(
    bench: Bench, belief: Belief, test: str
) -> Sequence[tuple[str, float, dict[frozenset[str], float]]]:
    """What each outcome would leave: label, its probability, belief by cure set (over 1 %)."""
    row = bench.table.without(bench.table.rows[test], belief.undone)
    bands = bench.bands(test)
    p, _ = outcome_table(bench.table, row, bands, belief)
    joint = belief.p[:, None] * p
    found = []
    for o, label in enumerate(bands.labels):
        whole = float(joint[:, o].sum())
        if whole <= 1e-9:
            continue
        sets: dict[frozenset[str], float] = {}
        for h, ph in zip(belief.hypotheses, joint[:, o] / whole, strict=True):
            sets[h.parts] = sets.get(h.parts, 0.0) + float(ph)
        left = sorted(sets.items(), key=lambda kv: -kv[1])
        found.append((label, whole, {s: v for s, v in left if v >= 0.01}))
    return found
