""" "I call it": of the steps possible now, which proves the named part soonest."""

from __future__ import annotations

import numpy as np

from knowngood.diagnosis.views import StepView
from knowngood.isolate.bands import outcome_table
from knowngood.isolate.proof import FLOOR, outside, shown_out
from knowngood.places.gather import View

SETTLED = 1e-6
LIKELY = 0.8
SPARE = 1.0  # minutes around each test


def proving_steps(view: View) -> tuple[StepView, ...]:
    """The tests possible now, the one first that would lift the belief in the called part most for
    each minute it takes, if that part is the bad one; those that would then settle it before all.

    Empty when no part is called.
    """
    called = view.evidence.called
    if called is None:
        return ()
    bench, belief = view.setup.bench, view.assessment.belief
    tests = tuple(s for s in view.assessment.steps if s.kind == "test")
    mass = belief.p * np.array([h.parts == frozenset({called}) for h in belief.hypotheses])
    now = float(mass.sum())
    if now <= SETTLED:
        return tests
    out = shown_out(belief)
    part = frozenset({called})
    cleared = not any(outside(h, part) and h.id not in out for h in belief.hypotheses)

    again = () if view.assessment.proof.open else view.assessment.proof.again

    def score(step: StepView) -> tuple[int, float]:
        if step.id in again:  # nothing but this is missing
            return 2, -step.minutes
        row = bench.table.without(bench.table.rows[step.id], belief.undone)
        p, _ = outcome_table(bench.table, row, bench.bands(step.id), belief)
        seen = mass @ p / now  # chance of each outcome if the part is the bad one
        after = mass @ p / np.maximum(belief.p @ p, 1e-300)
        settles = float(seen[after >= FLOOR].sum())
        if cleared and settles >= LIKELY:
            return 1, settles / (step.minutes + SPARE)
        return 0, (float(seen @ after) - now) / (step.minutes + SPARE)

    return tuple(sorted(tests, key=score, reverse=True))
