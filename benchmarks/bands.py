"""What it costs the planner to tell few stretches of readings apart.

A reading is a number; the planner sees it as one of at most six stretches of a test. For every
complaint of the shipped mower the plan is found by the same number of looks with six and with twice
as many. A plan that sees more can only be cheaper, but for what the looks leave unfinished.

    python -m benchmarks bands
"""

from __future__ import annotations

from dataclasses import replace
from statistics import fmean
from typing import Any

from benchmarks.machine_plan import setups
from knowngood.isolate.advice import advise
from knowngood.isolate.bands import MOST_BANDS
from knowngood.isolate.belief import weigh

LOOKS = 1500
AIM = 0.02


def run() -> dict[str, Any]:
    """Prices of both plans for each complaint."""
    rows, losses = [], []
    for complaint, setup in setups().items():
        belief = weigh(setup.bench.table, [])
        wide, fine = (
            advise(
                replace(setup.bench, most=most, _bands={}), belief,
                deadline=None, max_expansions=LOOKS,
            ).plan.expected_price
            for most in (MOST_BANDS, 2 * MOST_BANDS)
        )  # fmt: skip
        losses.append(wide / fine - 1)
        rows.append(
            {
                "complaint": complaint,
                f"plan, {MOST_BANDS} stretches": f"{wide:.2f}",
                f"plan, {2 * MOST_BANDS} stretches": f"{fine:.2f}",
                "loss": f"{losses[-1]:.2%}",
            }
        )
    return {
        "title": "Stretches of readings in a plan",
        "claim": f"Six stretches a test lose on average at most {AIM:.0%} against twelve.",
        "rows": rows,
        "notes": (__doc__ or "").split("    python")[0] + f"On average {fmean(losses):.2%} (below "
        "zero where so many looks do not go as far into the finer plan). Prices in the shop's "
        "money without the price of the part.",
        "command": "python -m benchmarks bands",
    }


if __name__ == "__main__":
    for row in run()["rows"]:
        print(row)
