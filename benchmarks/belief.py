"""Belief and next-step prices of one step against one posterior of a general network library.

The same one-fault network with the same readings; the library is pyAgrum (exact inference by lazy
propagation). Both beliefs must agree to 1e-8 before anything is timed. Timed in turn, pair by
pair, on the shipped mower: our figure includes weighing every reading, the bands of all tests and
the prices of all next steps at a fixed number of expansions; the library's is one posterior,
its network already built.
"""

from __future__ import annotations

import time
from statistics import median
from typing import Any

import numpy as np
import pyagrum as gum

from knowngood.diagnosis.assess import set_up
from knowngood.isolate.advice import advise
from knowngood.isolate.belief import weigh
from knowngood.isolate.prices import Prices
from knowngood.machines.parse import parse_machine
from knowngood.machines.shipped import load_shipped
from knowngood.measure.meter import load_shipped_meter
from tests.known_answers.test_belief_network import network
from tests.simulate import World, draw_truth

COMMAND = "python -m benchmarks belief"
MACHINE, COMPLAINT, METER = "mower-battery-56v", "dead", "generic-6000"
READINGS, ROUNDS, EXPANSIONS = 6, 15, 60


def run() -> dict[str, Any]:
    """Agreement, and the ratio of medians."""
    machine, problems = parse_machine(load_shipped(MACHINE), MACHINE)
    if machine is None:
        raise AssertionError(problems)
    setup = set_up(machine, COMPLAINT, load_shipped_meter(METER), Prices())
    table, rng = setup.bench.table, np.random.default_rng(5)
    world = World(table, load_shipped_meter(METER), rng, draw_truth(table, rng))
    tests = [str(t) for t in rng.permutation(list(table.rows))[:READINGS]]
    items = [world.read(t) for t in tests]
    belief = weigh(table, items)
    net, evidence = network(table, belief)
    inference = gum.LazyPropagation(net)
    inference.setEvidence(evidence)
    inference.makeInference()
    apart = float(np.abs(belief.p - np.array(inference.posterior("fault").tolist())).max())
    if apart > 1e-8:
        raise AssertionError(f"the two beliefs differ by {apart:g}")
    read = frozenset(tests)
    ours, update, theirs = [], [], []
    for _ in range(ROUNDS):
        t0 = time.perf_counter()
        b = weigh(table, items)
        t1 = time.perf_counter()
        advise(setup.bench, b, read=read, deadline=None, max_expansions=EXPANSIONS)
        t2 = time.perf_counter()
        inference.eraseAllEvidence()
        inference.setEvidence(evidence)
        inference.makeInference()
        inference.posterior("fault")
        t3 = time.perf_counter()
        update.append(t1 - t0)
        ours.append(t2 - t0)
        theirs.append(t3 - t2)
    rows = [
        {"figure": "hypotheses", "value": f"{len(table.hypotheses)}"},
        {"figure": "tests", "value": f"{len(table.rows)}"},
        {"figure": "readings", "value": f"{READINGS}"},
        {"figure": "largest difference of belief", "value": f"{apart:.1e}"},
        {
            "figure": "belief update / one posterior of the library",
            "value": f"{median(update) / median(theirs):.2f}",
        },
        {
            "figure": f"update and every next step ({EXPANSIONS} expansions) / one posterior",
            "value": f"{median(ours) / median(theirs):.2f}",
        },
    ]
    return {
        "title": "Belief and prices of one step against a network library",
        "claim": "the belief equals the library's to 1e-8; the ratio is reported",
        "rows": rows,
        "notes": __doc__ or "",
        "command": COMMAND,
    }


if __name__ == "__main__":
    for row in run()["rows"]:
        print(f"{row['figure']}: {row['value']}")
