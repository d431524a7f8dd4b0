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
    """The tests possible now, the one first that is expected to show most of what else it could be
    out for each minute it takes, if the called part is the bad one.

    Where all else is shown out already, the one first that most likely lifts the belief in the part
    to what a proof needs. Empty when no part is called.
    """
    called = view.evidence.called
    if called is None:
        return ()
    bench, belief = view.setup.bench, view.assessment.belief
    part, out = frozenset({called}), shown_out(belief)
    mine = np.array([h.parts == part for h in belief.hypotheses])
    rest = np.array([outside(h, part) and h.id not in out for h in belief.hypotheses])
    tests = tuple(s for s in view.assessment.steps if s.kind == "test")
    doubt, mass = belief.p * rest, belief.p * mine
    if mass.sum() <= SETTLED:
        return tests

    def score(step: StepView) -> tuple[bool, float]:
        row = bench.table.rows[step.id]
        p, excludes = outcome_table(bench.table, row, bench.bands(step.id), belief)
        seen = mass @ p / mass.sum()  # chance of each outcome if the part is the bad one
        if doubt.sum() > SETTLED:
            return False, float(seen @ (doubt @ excludes)) / (step.minutes + SPARE)
        after = mass @ p / np.maximum(belief.p @ p, 1e-300)
        settles = float(seen[after >= FLOOR].sum())
        likely = settles >= LIKELY
        return likely, settles / (step.minutes + SPARE) if likely else float(seen @ after)

    return tuple(sorted(tests, key=score, reverse=True))
