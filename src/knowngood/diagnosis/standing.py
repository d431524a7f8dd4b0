"""How each service part stands, and which causes to clear before the new one goes in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from knowngood.diagnosis.hazard import Hazard
from knowngood.diagnosis.views import PartView, Standing
from knowngood.isolate.belief import Belief
from knowngood.isolate.proof import Proof, shown_good, shown_out
from knowngood.machines.machine import Machine, RootCause

GOOD_SO_FAR = 0.01
WORTH_ASKING = 0.02


def part_views(
    machine: Machine, belief: Belief, out: Mapping[str, tuple[str, float]], proof: Proof,
    unsafe: Sequence[Hazard] = (),
) -> tuple[PartView, ...]:
    """Every service part, the likeliest first.

    Known good needs readings such as a good machine gives that show out every fault of the part;
    a reading that points elsewhere leaves it "good so far". A part that must be left alone is bad,
    whatever else was read.
    """
    alone = {h.part: h.why for h in unsafe}
    questions = {t.id: t.question for t in machine.tests}
    good = shown_good(belief)
    found = []
    for part in machine.parts:
        chance = 0.0
        standing_still = []
        tests: list[str] = []
        unmeasured = False
        for h, p in zip(belief.hypotheses, belief.p, strict=True):
            if part.id not in h.parts:
                continue
            chance += float(p)
            if h.kind == "primary" and h.id not in out:
                standing_still.append(h.id)
            by = good.get(h.id, "")
            unmeasured |= h.kind == "primary" and not by
            if by and by not in tests:
                tests.append(by)
        word = next((a.words for a in belief.accounts if a.part == part.id), "")
        standing: Standing
        if part.id in alone:
            standing, tests, word = "bad", [], f"unsafe: {alone[part.id]}"
        elif proof.proven and part.id in proof.parts:
            standing, tests = "bad", list(proof.tests)
        elif word:
            standing = "accepted"
        elif not unmeasured:
            standing = "known good"
        elif not standing_still or (chance < GOOD_SO_FAR and belief.weighed):
            standing = "good so far"
        else:
            standing = "open"
        said = word or ", ".join(questions.get(t, t) for t in tests[:3])
        found.append(PartView(part.id, part.words, chance, standing, said))
    return tuple(sorted(found, key=lambda v: -v.belief))


def causes_to_clear(machine: Machine, belief: Belief, proof: Proof) -> tuple[RootCause, ...]:
    """Root causes of the faults that are alive in the part (or parts) to be ordered: believed, and
    not shown out by a reading. What made a fault that is out is not asked, nor what would be a
    fault of the part itself, as of two that are sold as one."""
    wanted: dict[str, float] = {}
    out = shown_out(belief)
    for h, p in zip(belief.hypotheses, belief.p, strict=True):
        if h.parts and proof.parts <= h.parts and h.kind == "primary" and h.id not in out:
            for cause in h.causes:
                wanted[cause] = wanted.get(cause, 0.0) + float(p)
    share = {c: w / max(proof.belief, 1e-9) for c, w in wanted.items()}
    listed = [c for c in machine.causes if share.get(c.id, 0.0) >= WORTH_ASKING
              and not _inside(machine, c, proof.parts)]
    return tuple(sorted(listed, key=lambda c: -share[c.id]))


def _inside(machine: Machine, cause: RootCause, parts: frozenset[str]) -> bool:
    """Whether all that the cause's tests read are faults of these parts, none of them made by the
    cause: the new part brings them along mended."""
    read = [f for f in machine.faults for t in machine.tests
            if t.id in cause.read_by and t.expect.get(f.id, t.good) != t.good]  # fmt: skip
    return bool(read) and all(set(f.parts) <= parts and cause.id not in f.causes for f in read)
