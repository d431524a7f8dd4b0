"""When a part is proven bad, and if not, what is missing.

Proven: under every listed suspect outside the part a reading this extreme has probability 1 % or
less (slip left out), and the belief in the part is .95 or more with "something not on this list"
counted; or everything else is shown good by readings such as a good machine gives or by accepted
evidence, and "other" and "no fault" are .05 or less each. What the customer told never shows a
suspect out.

And no single touch of the probes carries it: where a reading taken once is the only one that shows
some suspects out, the chance that it was a slip and one of them is the fault must be 1 in 1000 or
less. If it is more, it is taken once more with the probes set anew, or another reading has to show
them out, too. One that never comes to rest is not asked for without end: after `MOST_TIMES` in a
visit the proof needs another reading.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from knowngood.isolate.bands import SHOWN_OUT
from knowngood.isolate.belief import Belief, Weighed
from knowngood.isolate.hypotheses import Hypothesis

FLOOR = 0.95
LEFT_OPEN = 0.05
UNEXPLAINED = "a reading speaks against this part, too"
UNREACHABLE = 2.0  # a floor for what no reading can prove any more
SLIP_ROOM = 1e-3  # chance that a proof hangs on a slip of one reading
MOST_TIMES = 4  # readings of one test in a visit; what has not settled then does not by one more
NEGLIGIBLE = 1e-4  # a double fault less believed than this need not be shown out


@dataclass(frozen=True, slots=True)
class Proof:
    """``parts``: the set most believed (or called). ``tests``: the readings that the proof rests
    on, most telling first. ``open``: suspects not yet shown out, by hypothesis id. ``again``:
    tests to be read once more, the weakest first: those that the proof hangs on, and those in
    ``against``, which speak against the part. ``restless``: those that would be among them but
    were read so often in this visit that once more tells nothing new. ``explained``: a fault of
    just these parts stands. ``missing``: why it is not proven yet, in words ("" when proven)."""

    parts: frozenset[str]
    proven: bool
    belief: float
    tests: tuple[str, ...]
    items: tuple[str, ...]
    open: tuple[str, ...]
    again: tuple[str, ...]
    against: tuple[str, ...]
    restless: tuple[str, ...]
    explained: bool
    missing: str

    @property
    def unsettled(self) -> tuple[str, ...]:
        """Tests that prove nothing as they stand: to be read once more, or restless."""
        return (*self.again, *self.restless)


def shown_out(belief: Belief) -> Mapping[str, tuple[str, float]]:
    """Hypotheses shown out by a reading or by acceptance: id -> (test or account, probability)."""
    least, telling = _most_telling([w for w in belief.weighed if w.slip <= 0.5])
    accepted = [a for a in belief.accounts if a.grade == "accepted"]
    found: dict[str, tuple[str, float]] = {}
    for i, h in enumerate(belief.hypotheses):
        if h.kind == "other":
            continue
        if telling and least[i] <= SHOWN_OUT:
            found[h.id] = telling[i], float(least[i])
            continue
        for account in accepted:
            if account.part in h.parts:
                found[h.id] = account.id, float(account.given[i])
                break
    return found


def _most_telling(weighed: Sequence[Weighed]) -> tuple[NDArray[np.float64], list[str]]:
    """Of each hypothesis the least probability that a reading gives it, and the test, the first
    of several; nothing without readings."""
    if not weighed:
        return np.zeros(0), []
    extremes = np.array([w.extreme for w in weighed])
    return extremes.min(axis=0), [weighed[k].test for k in extremes.argmin(axis=0)]


def shown_good(belief: Belief) -> Mapping[str, str]:
    """Hypotheses shown out by a reading such as a good machine gives, or by a person's word:
    id -> test or account. A reading that is itself not good shows out by surprise only, and may
    be a slip: it is not among these."""
    good = [w for w in belief.weighed if w.slip <= 0.5 and w.extreme_good > SHOWN_OUT]
    least, telling = _most_telling(sorted(good, key=lambda w: w.test))
    accepted = [a for a in belief.accounts if a.grade == "accepted"]
    found: dict[str, str] = {}
    for i, h in enumerate(belief.hypotheses):
        words = [a.id for a in accepted if a.part in h.parts]
        if telling and least[i] <= SHOWN_OUT:
            found[h.id] = telling[i]
        elif words:
            found[h.id] = words[0]
    return found


def outside(h: Hypothesis, parts: frozenset[str]) -> bool:
    """The suspect does not involve the part at all."""
    return h.kind != "other" and not parts <= h.parts


def hanging_on(belief: Belief, parts: frozenset[str]) -> dict[str, str]:
    """Tests read once whose slip would bring suspects outside the part back: id -> what it asks,
    the one that most hangs on first; with it those that told of its source, which also moves by
    itself: a battery's surface charge is gone after a load. Safe from a slip is a reading taken
    twice and agreeing, one such as a slip hardly shows, and a suspect that two readings show out;
    safe from a source that moved, one that shows the suspect out wherever the source stands."""
    telling = [w for w in belief.weighed if w.slip <= 0.5]
    if not telling:
        return {}
    by = np.array([w.extreme <= SHOWN_OUT for w in telling])  # readings, hypotheses
    taken = {a.part for a in belief.accounts if a.grade == "accepted"}
    alone = (by.sum(axis=0) == 1) & np.array(
        [outside(h, parts) and not h.parts & taken for h in belief.hypotheses]
    )
    found = []
    for w, shows in zip(telling, by, strict=True):
        for one in (w, *(v for v in telling if v.test in w.leans)):
            at_stake = float(one.slipped[alone & shows].sum())
            moved = one is not w and bool((alone & shows & (w.alone > SHOWN_OUT)).any())
            if len(one.kept) == 1 and (moved or at_stake > SLIP_ROOM):
                found.append((-at_stake, one.test, one.words))
    return {test: words for _, test, words in sorted(found)}


def speaking_against(belief: Belief, parts: frozenset[str]) -> dict[str, str]:
    """Readings taken once that show out the likeliest fault of these parts: id -> what it asks."""
    mine = [(p, i) for i, p in enumerate(belief.p) if belief.hypotheses[i].parts == parts]
    if not mine:
        return {}
    likeliest = max(mine)[1]
    return {
        w.test: w.words
        for w in belief.weighed
        if len(w.kept) == 1 and 0 < w.slip <= 0.5 and w.extreme[likeliest] <= SHOWN_OUT
    }


def read_often(belief: Belief) -> frozenset[str]:
    """Tests read `MOST_TIMES` or more in the last visit: not asked for again in it, whatever
    the reason."""
    now = max((w.group[0] for w in belief.weighed), default=0)
    return frozenset(
        w.test for w in belief.weighed if w.group[0] == now and len(w.items) >= MOST_TIMES
    )


def firmly_out(belief: Belief, again: Collection[str]) -> frozenset[str]:
    """Suspects shown out by acceptance, by two readings, or by one that does not wait to be taken
    again."""
    count = np.zeros(len(belief.hypotheses))
    for w in belief.weighed:
        if w.slip <= 0.5:
            count += (w.extreme <= SHOWN_OUT) * (1 if w.test in again else 2)
    taken = {a.part for a in belief.accounts if a.grade == "accepted"}
    return frozenset(
        h.id
        for h, n in zip(belief.hypotheses, count, strict=True)
        if h.kind != "other" and (n >= 2 or h.parts & taken)
    )


def judge_proof(belief: Belief, called: frozenset[str] | None = None) -> Proof:
    """The proof for the most believed set of parts, or for the one a person called."""
    by_set = belief.of_parts()
    listed = [s for s in by_set if s]
    if not listed:
        words = "no listed part can be the cause"
        return Proof(frozenset(), False, 0.0, (), (), (), (), (), (), False, words)
    parts = called if called is not None else listed[0]
    p = sum(float(v) for s, v in by_set.items() if parts <= s)
    out = shown_out(belief)
    standing = [
        h
        for h, ph in zip(belief.hypotheses, belief.p, strict=True)
        if must_be_out(h, parts, float(ph)) and h.id not in out
    ]
    elsewhere: dict[str, float] = {
        h.kind: float(ph)
        for h, ph in zip(belief.hypotheses, belief.p, strict=True)
        if h.kind in ("other", "no fault")
    }
    good = shown_good(belief)
    by_elimination = all(v <= LEFT_OPEN for v in elsewhere.values()) and all(
        h.id in good for h in belief.hypotheses if outside(h, parts) and h.parts and h.id in out
    )
    explained = any(h.parts == parts and h.id not in out for h in belief.hypotheses)
    against = {} if explained else speaking_against(belief, parts)
    unsettled = against | hanging_on(belief, parts)
    often = read_often(belief)
    again = {t: w for t, w in unsettled.items() if t not in often}
    restless = {t: w for t, w in unsettled.items() if t in often}
    against = {t: w for t, w in against.items() if t not in often}
    sure = p >= FLOOR or by_elimination
    proven = explained and not standing and sure and not unsettled
    tests = _needed(belief, parts, out)
    items = tuple(i for w in belief.weighed if w.test in tests for i in w.kept)
    missing = (
        "" if proven
        else _unexplained(against, restless) if not explained
        else _left_standing(standing) if standing
        else _once_more(again) if again
        else _does_not_settle(restless) if restless
        else _too_little(p, elsewhere)
    )  # fmt: skip
    return Proof(
        parts, proven, p, tests, items, tuple(h.id for h in standing), tuple(again),
        tuple(against), tuple(restless), explained, missing,
    )  # fmt: skip


def as_planned(
    belief: Belief, proof: Proof, keep: Sequence[int], weight: NDArray[np.float64]
) -> tuple[NDArray[np.bool_], float]:
    """The proof as judged, in the terms of a planning task: which of the hypotheses kept are shown
    out, and the belief in the part that is asked of the planner's ``weight``, (kept,).

    What is judged proven is proven there, and what is not is not: planning folds hypotheses, so
    the floor moves with the belief in the part.
    """
    kept = [belief.hypotheses[i] for i in keep]
    away = np.array([outside(h, proof.parts) for h in kept], dtype=bool)
    inside = np.array([bool(proof.parts) and proof.parts <= h.parts for h in kept], dtype=bool)
    share = float(weight[inside].sum() / weight.sum())
    if proof.proven:  # a fault inside is shown out where a reading speaks against it
        out = shown_out(belief)
        return away | np.array([h.id in out for h in kept]), min(FLOOR, share * (1 - 1e-9))
    if not proof.explained:  # only a reading that was a slip can still prove it
        gone = frozenset(shown_out(belief))
        excluded = np.array([h.id in gone for h in kept], dtype=bool)
        return excluded & ~away, min(FLOOR, share) if proof.against else UNREACHABLE
    gone = firmly_out(belief, proof.unsettled)
    excluded = np.array([h.id in gone for h in kept], dtype=bool)
    named = np.array([bool(h.parts) for h in kept], dtype=bool)
    open_ = bool((away & named & ~excluded & (weight > 0)).any())
    return excluded, FLOOR if open_ or share < FLOOR else (1.0 + share) / 2


def must_be_out(h: Hypothesis, parts: frozenset[str], belief: float) -> bool:
    """A proof of these parts has to show this suspect out."""
    listed = outside(h, parts) and bool(h.parts)
    return listed and not (h.kind == "double" and belief < NEGLIGIBLE)


def _needed(
    belief: Belief, parts: frozenset[str], out: Mapping[str, tuple[str, float]]
) -> tuple[str, ...]:
    """Few readings that together show out everything outside the part: greedy cover."""
    index = [i for i, h in enumerate(belief.hypotheses) if outside(h, parts) and h.id in out]
    left = np.array(index, dtype=int)
    rows = {w.test: w.extreme <= SHOWN_OUT for w in belief.weighed if w.slip <= 0.5}
    weight = belief.p + 1e-6
    chosen: list[str] = []
    while left.size and rows:
        best = max(rows, key=lambda t: float(weight[left] @ rows[t][left]))
        covered: NDArray[np.bool_] = rows[best][left]
        if not covered.any():
            break
        chosen.append(best)
        left = left[~covered]
    return tuple(chosen)


def _unexplained(against: Mapping[str, str], restless: Mapping[str, str]) -> str:
    if restless and not against:
        return f"{UNEXPLAINED}: {_does_not_settle(restless)}"
    if not against:
        return f"{UNEXPLAINED}: it may not be on the list"
    return f"{UNEXPLAINED}: read {_asked(against)} once more with the probes set anew"


def _left_standing(standing: list[Hypothesis]) -> str:
    names = "; ".join(h.words for h in standing[:3])
    more = f" and {len(standing) - 3} more" if len(standing) > 3 else ""
    return f"not yet shown out by a reading: {names}{more}"


def _once_more(again: Mapping[str, str]) -> str:
    return (
        f"it hangs on one touch of the probes: read {_asked(again)} once more with the probes set "
        "anew"
    )


def _does_not_settle(restless: Mapping[str, str]) -> str:
    return (
        f"{_asked(restless)} was read {MOST_TIMES} times and does not settle: find what moves it "
        "(a lead, a contact, the charge of the pack), or let another reading show it"
    )


def _asked(tests: Mapping[str, str]) -> str:
    return " and ".join(f'"{words}"' for words in tests.values())


def _too_little(p: float, elsewhere: Mapping[str, float]) -> str:
    doubt = max(elsewhere, key=lambda k: elsewhere[k], default="other")
    words = {"other": "something not on the list", "no fault": "no fault at all"}
    return (
        f"every other suspect is shown out, but belief in the part is {p:.0%} and must reach "
        f"{FLOOR:.0%}; left: {words[doubt]} {elsewhere.get(doubt, 0):.0%}. One more reading that "
        "the part alone explains would settle it"
    )
