"""What a plan for paper loses against the plan it is cut from, on the shipped mower.

For every complaint the plan found by a fixed number of looks is cut down to a card. What is not on
the card sends its reader back to the planner, each time at the price of the minutes for typing in
what was read. Beside it: a card whose reader never comes back, but stops where it ends, and the
bench card of one printed page, which sends nobody back and has a few bands with round edges.

    python -m benchmarks card
"""

from __future__ import annotations

from statistics import fmean
from typing import Any

from benchmarks.machine_plan import setups
from knowngood.isolate.advice import advise
from knowngood.isolate.belief import weigh
from knowngood.isolate.page import page_lines
from knowngood.isolate.truncate import lines, truncate
from knowngood.places.card import CardPlans
from knowngood.places.plan import COME_BACK_MINUTES

LOOKS, NODES, PAGE = 1500, 127, 150.0


def run() -> dict[str, Any]:
    """Prices of plan and cards for each complaint."""
    rows, losses = [], []
    for complaint, setup in setups().items():
        belief, fee = weigh(setup.bench.table, []), setup.bench.prices.of_minutes(COME_BACK_MINUTES)
        plan = advise(setup.bench, belief, deadline=None, max_expansions=LOOKS).plan
        card, alone = truncate(plan, NODES, fee), truncate(plan, NODES)
        pages = CardPlans(setup, LOOKS).found
        page = next((price for node, price in pages if page_lines(node) <= PAGE), pages[-1][1])
        whole = plan.expected_price
        losses.append(card.expected_price / whole - 1)
        rows.append(
            {
                "complaint": complaint,
                "plan": f"{whole:.2f}",
                "its lines": lines(plan.policy),
                "card": f"{card.expected_price:.2f}",
                "lines": lines(card.policy),
                "loss": f"{losses[-1]:.2%}",
                "loss, never coming back": f"{alone.expected_price / whole - 1:.1%}",
                "loss of one page": f"{page / whole - 1:.0%}",
            }
        )
    return {
        "title": "Plans for paper",
        "claim": f"A card of {NODES} lines loses at most 1.5 % against the plan it is cut from.",
        "rows": rows,
        "notes": (
            f"Plans found by {LOOKS} looks, prices in the shop's money without the price of the "
            f"part. Coming back costs {COME_BACK_MINUTES:g} minutes each time. On average the card "
            f"loses {fmean(losses):.2%}. Outcomes of one test that go on alike are one line. One "
            f"page (about {PAGE:g} lines of 8 pt with how its steps are taken) ends more often "
            "unproven, and says there what is left and what to try: what following that "
            "advice saves is not counted."
        ),
        "command": "python -m benchmarks card",
    }


if __name__ == "__main__":
    for row in run()["rows"]:
        print(row)
