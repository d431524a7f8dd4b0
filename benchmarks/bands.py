"""What it costs the planner to tell few stretches of readings apart.

A reading is a number; the planner sees it as one of at most six stretches of a test. With twice as
many allowed, a few tests of the shipped mower get finer stretches, each of which lies in one of the
six; so a plan for six can be followed with twelve, and is priced so. Two comparisons:

Whole plans: with all tests, found by the same number of looks for six and for twelve. The yardstick
is the cheaper of the two plans, priced with twelve. The search for twelve is far from its end: a
loss of 0 says only that it found nothing better.

Finer tests alone: with no other tests than those that twelve tell more finely, and none that must
come first, so few that the search comes to its end or close to it. The loss is that of the best
plan for six against the lower bound of every plan for twelve, over the price of the whole plan.

    python -m benchmarks bands
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from benchmarks.machine_plan import setups
from knowngood.isolate.advice import Advice, Bench, advise
from knowngood.isolate.bands import MOST_BANDS
from knowngood.isolate.belief import weigh
from knowngood.isolate.planner import plan
from knowngood.isolate.policy import Node, evaluate
from knowngood.isolate.task import Task

LOOKS = 6000
ALONE = 40_000
AIM = 0.02


def finer(few: Bench, many: Bench) -> list[str]:
    """Tests that ``many`` stretches tell more finely."""
    return [t for t in few.table.rows if len(many.bands(t).labels) > len(few.bands(t).labels)]


def with_more(few: Bench, many: Bench, node: Node, done: dict[int, Node]) -> Node:
    """The same plan where a test comes out in ``many`` stretches: each goes on as that of ``few``
    in which it lies. ``done``: steps seen before, by id. AssertionError where one lies in two."""
    if id(node) not in done:
        then = dict(node.then)
        names = {name: name for name in then}
        if node.kind == "test":
            wide, fine = few.bands(node.id), many.bands(node.id)
            assert set(wide.edges) <= set(fine.edges), node.id
            for n, low in enumerate(fine.edges[:-1]):
                place = sum(edge <= low for edge in wide.edges) - 1
                names[fine.labels[n]] = wide.labels[place]
        ways = {id(kid): with_more(few, many, kid, done) for kid in then.values()}
        wanted = many.bands(node.id).labels if node.kind == "test" else tuple(then)
        kids = [(o, ways[id(then[names[o]])]) for o in wanted if names.get(o) in then]
        done[id(node)] = replace(node, then=tuple(kids))
    return done[id(node)]


def alone(advice: Advice, tests: list[str]) -> Task:
    """The task with these tests only, none waiting for another."""
    kept = tuple(replace(t, after=()) for t in advice.task.tests if t.id in tests)
    return replace(advice.task, tests=kept)


def run() -> dict[str, Any]:
    """Prices of both plans for each complaint, and of the finer tests alone."""
    rows, losses = [], []
    for complaint, setup in setups().items():
        belief = weigh(setup.bench.table, [])
        few, many = (replace(setup.bench, most=m, _bands={}) for m in (MOST_BANDS, 2 * MOST_BANDS))
        found = [advise(b, belief, deadline=None, max_expansions=LOOKS) for b in (few, many)]
        wide = evaluate(found[1].task, with_more(few, many, found[0].plan.policy, {}))
        fine = found[1].plan.expected_price
        tests = finer(few, many)
        small = [plan(alone(a, tests), deadline=None, max_expansions=ALONE) for a in found]
        least = evaluate(small[1].task, with_more(few, many, small[0].policy, {}))
        loss = least - small[1].lower
        losses += [wide / min(wide, fine) - 1, loss / min(wide, fine)]
        rows.append(
            {
                "complaint": complaint,
                "tests told more finely": f"{len(tests)} of {len(few.table.rows)}",
                f"plan, {MOST_BANDS} stretches": f"{wide:.2f}",
                f"plan, {2 * MOST_BANDS} stretches": f"{fine:.2f}",
                "loss against the cheaper": f"{losses[-2]:.2%}",
                f"finer tests alone, {MOST_BANDS}": f"{least:.2f}",
                f"finer tests alone, {2 * MOST_BANDS}, at least": f"{small[1].lower:.2f}",
                "loss at most, of the plan's price": f"{losses[-1]:.2%}",
            }
        )
        print(rows[-1], flush=True)
    return {
        "title": "Stretches of readings in a plan",
        "claim": f"Six stretches a test lose at most {AIM:.0%} against twelve, in each of two "
        f"comparisons. Found: at most {max(losses):.2%}.",
        "rows": rows,
        "notes": (__doc__ or "").split("\n\n    python")[0]
        + f"\n\n{LOOKS} looks for whole plans, at most {ALONE} for the finer tests alone. Prices "
        "in the shop's money without the price of the part.",
        "command": "python -m benchmarks bands",
    }


if __name__ == "__main__":
    run()
