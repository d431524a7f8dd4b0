"""What a plan for paper loses against the plan it is cut from, on shipped machines.

For every complaint of the mower the plan found by a fixed number of looks is cut down to a card of
127 lines. What is not on the card sends its reader back to the planner, each time at the price of
the minutes for typing in what was read; beside it a card whose reader never comes back, but stops
where it ends. And the bench card as it is printed, of one page, which sends nobody back and has
bands with round edges: what following it costs with the tests that its ends tell to take, on the
mower, the rider that does not crank, and the dead saw and hedge trimmer.

    python -m benchmarks card
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from statistics import fmean
from typing import Any

from benchmarks.machine_plan import METER, setups
from knowngood.diagnosis.assess import Setup, set_up
from knowngood.documents.parties import Shop
from knowngood.isolate.advice import advise
from knowngood.isolate.belief import weigh
from knowngood.isolate.prices import Prices
from knowngood.isolate.truncate import lines, truncate
from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped
from knowngood.places.card import CardPlans, fitted
from knowngood.places.plan import COME_BACK_MINUTES

LOOKS, NODES = 1500, 127
MOWER = "mower"
OTHERS = (("rider-start-12v", "no_crank"), ("chainsaw-56v", "dead"), ("hedge-trimmer-36v", "dead"))
NOW = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)
SHOP = Shop("Alder Lane Small Engine & Cordless", (), "555 0114")


def jobs() -> Iterator[tuple[str, str, Setup]]:
    """(machine, complaint, setup)"""
    for complaint, setup in setups().items():
        yield MOWER, complaint, setup
    for name, complaint in OTHERS:
        machine, problems = parse_machine(load_shipped(name), name)
        if machine is None:
            raise AssertionError(problems)
        yield name, complaint, set_up(machine, complaint, METER, Prices())


def run() -> dict[str, Any]:
    """Prices of plan, cards and printed page for each complaint."""
    rows, losses, alones, printed = [], [], [], []
    for name, complaint, setup in jobs():
        belief, fee = weigh(setup.bench.table, []), setup.bench.prices.of_minutes(COME_BACK_MINUTES)
        plan = advise(setup.bench, belief, deadline=None, max_expansions=LOOKS).plan
        card, alone = truncate(plan, NODES, fee), truncate(plan, NODES)
        pages = CardPlans(setup, LOOKS)
        _, page, _ = fitted(pages, complaint, SHOP, now=NOW)
        whole = plan.expected_price
        losses.append(card.expected_price / whole - 1)
        alones.append(alone.expected_price / whole - 1)
        printed.append(page / whole - 1)
        rows.append(
            {
                "machine": name,
                "complaint": complaint,
                "plan": f"{whole:.2f}",
                "its lines": lines(plan.policy),
                "card": f"{card.expected_price:.2f}",
                "lines": lines(card.policy),
                "loss": f"{losses[-1]:.2%}",
                "loss, never coming back": f"{alones[-1]:.1%}",
                "plan in bands for paper": f"{pages.advice.plan.expected_price:.2f}",
                "printed page": f"{page:.2f}",
                "loss of the printed page": f"{printed[-1]:.0%}",
            }
        )
    return {
        "title": "Plans for paper",
        "claim": (
            f"A card of {NODES} lines loses at most {max(losses):.1%} against the plan it is cut "
            f"from, as long as its reader may come back; never coming back it loses up to "
            f"{max(alones):.0%}. One printed page, followed alone, costs {min(printed):.0%} to "
            f"{max(printed):.0%} more than the plan."
        ),
        "rows": rows,
        "notes": (
            f"Plans found by {LOOKS} looks, prices in the shop's money without the price of the "
            f"part. Coming back costs {COME_BACK_MINUTES:g} minutes each time. On average the card "
            f"loses {fmean(losses):.2%}. Outcomes of one test that go on alike are one line. The "
            "printed page is the one that the bench card takes (8 pt, with how its steps are "
            "taken); an end that is not sure costs what its tests cost, taken in their order, and "
            "the part that they tell, or the likeliest part where it tells none to take."
        ),
        "command": "python -m benchmarks card",
    }


if __name__ == "__main__":
    answer = run()
    for row in answer["rows"]:
        print(row)
    print(answer["claim"])
