"""What may be wrong: one hypothesis for each way, each with the service parts that cure it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal, Protocol

HypothesisKind = Literal["primary", "double", "other", "no fault"]
OTHER, NO_FAULT = "other", "no_fault"
MOST_PAIRS = 60
PAIR_MASS = 0.99
PAIR_RATE = 0.02  # chance of an independent second fault; common practice, settable


class Consequence(Protocol):
    @property
    def fault(self) -> str: ...
    @property
    def chance(self) -> float: ...


class FaultLike(Protocol):
    """What this room needs to know of a fault."""

    @property
    def id(self) -> str: ...
    @property
    def words(self) -> str: ...
    @property
    def parts(self) -> tuple[str, ...]: ...
    @property
    def weight(self) -> float: ...
    @property
    def leaves(self) -> Sequence[Consequence]: ...
    @property
    def shows(self) -> Mapping[str, float] | None: ...
    @property
    def causes(self) -> tuple[str, ...]: ...


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """``marks``: the faults present, the primary first. ``parts``: the cure; empty when nothing
    on the list cures it. ``shows``: chance that an intermittent fault shows, by circumstance."""

    id: str
    words: str
    kind: HypothesisKind
    weight: float
    parts: frozenset[str]
    marks: tuple[str, ...]
    shows: Mapping[str, float] | None = None
    causes: tuple[str, ...] = ()


def list_hypotheses(
    faults: Sequence[FaultLike],
    doubles: Sequence[tuple[str, str, float]],
    likelihood: Mapping[str, float],
    no_fault_likelihood: float,
    other_weight: float,
    no_fault_weight: float,
    pair_rate: float = PAIR_RATE,
) -> tuple[Hypothesis, ...]:
    """Every hypothesis with its weight after the complaint; the weights sum to 1.

    ``likelihood``: chance that each fault makes this complaint. ``other_weight`` is the share of
    the whole that stays with "something not on this list", whatever the complaint. Pairs of
    independent faults in different parts come largest first until 99 % of their mass or 60; what
    is left of them joins "other". Raises ValueError when no fault can make the complaint.
    """
    by_id = {f.id: f for f in faults}
    total = sum(f.weight for f in faults)
    if total <= 0 or not any(f.weight * likelihood.get(f.id, 0) > 0 for f in faults):
        raise ValueError(
            "no listed fault can make this complaint; give at least one a weight and a likelihood"
        )
    found: list[Hypothesis] = []
    for fault in faults:
        weight = fault.weight / total * likelihood.get(fault.id, 0.0)
        if weight > 0:
            found += _single(fault, weight, by_id)
    pairs, left = _pairs(faults, doubles, by_id, likelihood, total, pair_rate)
    found += pairs
    healthy = no_fault_weight * no_fault_likelihood
    found.append(
        Hypothesis(NO_FAULT, "no fault found", "no fault", healthy, frozenset(), ())
        if healthy > 0
        else Hypothesis(NO_FAULT, "no fault found", "no fault", 0.0, frozenset(), ())
    )
    listed = sum(h.weight for h in found)
    other = listed * other_weight / (1.0 - other_weight) + left
    found.append(Hypothesis(OTHER, "something not on this list", "other", other, frozenset(), ()))
    whole = listed + other
    return tuple(
        Hypothesis(h.id, h.words, h.kind, h.weight / whole, h.parts, h.marks, h.shows, h.causes)
        for h in found
        if h.weight > 0
    )


def _single(fault: FaultLike, weight: float, by_id: Mapping[str, FaultLike]) -> list[Hypothesis]:
    """The fault alone and with each secondary fault it may leave behind."""
    found = []
    alone = weight
    for secondary in fault.leaves:
        other = by_id.get(secondary.fault)
        if other is None or secondary.chance <= 0:
            continue
        share = weight * min(secondary.chance, 1.0)
        alone -= share
        found.append(
            Hypothesis(
                f"{fault.id}+{other.id}",
                f"{fault.words}, which took along: {other.words}",
                "primary",
                share,
                frozenset(fault.parts) | frozenset(other.parts),
                (fault.id, other.id),
                fault.shows,
                tuple(dict.fromkeys((*fault.causes, *other.causes))),
            )
        )
    if alone > 1e-12:
        found.insert(
            0,
            Hypothesis(
                fault.id,
                fault.words,
                "primary",
                alone,
                frozenset(fault.parts),
                (fault.id,),
                fault.shows,
                fault.causes,
            ),
        )
    return found


def _pairs(
    faults: Sequence[FaultLike],
    doubles: Sequence[tuple[str, str, float]],
    by_id: Mapping[str, FaultLike],
    likelihood: Mapping[str, float],
    total: float,
    rate: float,
) -> tuple[list[Hypothesis], float]:
    """Declared and independent double faults, and the mass of the pairs left out."""
    declared = {frozenset((a, b)): w / total for a, b, w in doubles}
    # an intermittent fault beside another one adds little and cannot be read apart: not paired
    steady = [f for f in faults if f.weight > 0 and f.shows is None]
    weighted: dict[frozenset[str], float] = {}
    for a, b in combinations(steady, 2):
        if set(a.parts) != set(b.parts):
            weighted[frozenset((a.id, b.id))] = rate * a.weight * b.weight / total**2
    weighted |= {k: w for k, w in declared.items() if k <= by_id.keys()}
    order = {id: n for n, id in enumerate(by_id)}
    scored = []
    for key, weight in weighted.items():
        a_id, b_id = sorted(key, key=lambda i: (-by_id[i].weight, order[i]))
        miss = (1 - likelihood.get(a_id, 0.0)) * (1 - likelihood.get(b_id, 0.0))
        scored.append((weight * (1 - miss), key in declared, a_id, b_id))
    scored.sort(key=lambda s: (-s[1], -s[0], s[2], s[3]))
    mass = sum(s[0] for s in scored)
    kept: list[Hypothesis] = []
    running = 0.0
    for weight, is_declared, a_id, b_id in scored:
        if weight <= 0 or (not is_declared and running >= PAIR_MASS * mass):
            break
        if len(kept) >= MOST_PAIRS:
            break
        a, b = by_id[a_id], by_id[b_id]
        running += weight
        kept.append(
            Hypothesis(
                f"{a_id}&{b_id}",
                f"{a.words}; and {b.words}",
                "double",
                weight,
                frozenset(a.parts) | frozenset(b.parts),
                (a_id, b_id),
                a.shows or b.shows,
                tuple(dict.fromkeys((*a.causes, *b.causes))),
            )
        )
    return kept, max(0.0, mass - running)
