"""When a part is proven bad, and if not, what is missing.

Proven: under every listed suspect outside the part a reading this extreme has probability 1 % or
less (slip left out), and the belief in the part is .95 or more with "something not on this list"
counted; or everything else is shown good by readings such as a good machine gives or by accepted
evidence, and "other" and "no fault" are .05 or less each. What the customer told never shows a
suspect out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from knowngood.isolate.bands import SHOWN_OUT
from knowngood.isolate.belief import Belief
from knowngood.isolate.hypotheses import Hypothesis

FLOOR = 0.95
LEFT_OPEN = 0.05
UNEXPLAINED = "a reading speaks against this part, too: read it once more, or it is not on the list"
NEGLIGIBLE = 1e-4  # a double fault less believed than this need not be shown out


@dataclass(frozen=True, slots=True)
class Proof:
    """``parts``: the set most believed (or called). ``tests``: the readings that the proof rests
    on, most telling first. ``open``: suspects not yet shown out, by hypothesis id. ``missing``:
    why it is not proven yet, in words ("" when proven)."""

    parts: frozenset[str]
    proven: bool
    belief: float
    tests: tuple[str, ...]
    items: tuple[str, ...]
    open: tuple[str, ...]
    missing: str


def shown_out(belief: Belief) -> Mapping[str, tuple[str, float]]:
    """Hypotheses shown out by a reading or by acceptance: id -> (test or account, probability)."""
    found: dict[str, tuple[str, float]] = {}
    for i, h in enumerate(belief.hypotheses):
        if h.kind == "other":
            continue
        best: tuple[str, float] | None = None
        for w in belief.weighed:
            if (
                w.slip <= 0.5
                and w.extreme[i] <= SHOWN_OUT
                and (best is None or w.extreme[i] < best[1])
            ):
                best = (w.test, float(w.extreme[i]))
        for account in belief.accounts:
            if account.grade == "accepted" and account.part in h.parts and best is None:
                best = (account.id, float(account.given[i]))
        if best is not None:
            found[h.id] = best
    return found


def shown_good(belief: Belief) -> Mapping[str, str]:
    """Hypotheses shown out by a reading such as a good machine gives, or by a person's word:
    id -> test or account. A reading that is itself not good shows out by surprise only, and may
    be a slip: it is not among these."""
    found: dict[str, str] = {}
    for i, h in enumerate(belief.hypotheses):
        tests = [
            (float(w.extreme[i]), w.test)
            for w in belief.weighed
            if w.slip <= 0.5 and w.extreme[i] <= SHOWN_OUT < w.extreme_good
        ]
        words = [a.id for a in belief.accounts if a.grade == "accepted" and a.part in h.parts]
        if tests:
            found[h.id] = min(tests)[1]
        elif words:
            found[h.id] = words[0]
    return found


def outside(h: Hypothesis, parts: frozenset[str]) -> bool:
    """The suspect does not involve the part at all."""
    return h.kind != "other" and not parts <= h.parts


def judge_proof(belief: Belief, called: frozenset[str] | None = None) -> Proof:
    """The proof for the most believed set of parts, or for the one a person called."""
    by_set = belief.of_parts()
    listed = [s for s in by_set if s]
    if not listed:
        return Proof(frozenset(), False, 0.0, (), (), (), "no listed part can be the cause")
    parts = called if called is not None else listed[0]
    p = sum(float(v) for s, v in by_set.items() if parts <= s)
    out = shown_out(belief)
    standing: list[Hypothesis] = []
    rests: dict[str, float] = {}
    for h, ph in zip(belief.hypotheses, belief.p, strict=True):
        if not outside(h, parts):
            continue
        if h.id in out:
            test, extreme = out[h.id]
            rests[test] = max(rests.get(test, 0.0), extreme)
        elif h.parts and not (h.kind == "double" and ph < NEGLIGIBLE):
            standing.append(h)
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
    proven = explained and not standing and (p >= FLOOR or by_elimination)
    tests = _needed(belief, parts, out)
    items = tuple(i for w in belief.weighed if w.test in tests for i in w.items)
    return Proof(
        parts, proven, p, tests, items, tuple(h.id for h in standing),
        "" if proven else _missing(standing, p, elsewhere) if explained else UNEXPLAINED,
    )  # fmt: skip


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


def _missing(standing: list[Hypothesis], p: float, elsewhere: Mapping[str, float]) -> str:
    if standing:
        names = "; ".join(h.words for h in standing[:3])
        more = f" and {len(standing) - 3} more" if len(standing) > 3 else ""
        return f"not yet shown out by a reading: {names}{more}"
    doubt = max(elsewhere, key=lambda k: elsewhere[k], default="other")
    words = {"other": "something not on the list", "no fault": "no fault at all"}
    return (
        f"every other suspect is shown out, but belief in the part is {p:.0%} and must reach "
        f"{FLOOR:.0%}; left: {words[doubt]} {elsewhere.get(doubt, 0):.0%}. One more reading that "
        "the part alone explains would settle it"
    )
