"""Belief against pyAgrum (general-purpose Bayesian networks, exact junction-tree inference).

The one-fault network: fault, nuisance node, one "does it show" node for each group of readings,
and one node a reading whose chance of being what was read is the likelihood; where readings follow
a source, one more for what they say together beyond each at its node.
"""

from __future__ import annotations

import numpy as np
import pyagrum as gum
import pytest

from knowngood.isolate.belief import Belief, Item, weigh
from knowngood.isolate.table import Table
from knowngood.measure.meter import load_shipped_meter
from tests.isolate.small import small_table
from tests.simulate import World, draw_truth

METER = load_shipped_meter("generic-6000")


def network(table: Table, belief: Belief) -> tuple[gum.BayesNet, dict[str, int]]:
    """The network, and the evidence that every reading is what was read."""
    net = gum.BayesNet("bench")
    n, k = len(table.hypotheses), len(belief.nodes)
    fault = net.add(gum.LabelizedVariable("fault", "", n))
    node = net.add(gum.LabelizedVariable("node", "", k))
    net.cpt(fault).fillWith([float(w) for w in table.prior])
    net.cpt(node).fillWith([x.weight for x in belief.nodes])
    shows: dict[tuple[int, str], int] = {}
    evidence: dict[str, int] = {}
    for group in {w.group for w in belief.weighed}:
        shows[group] = net.add(gum.LabelizedVariable(f"shows_{group[0]}_{group[1]}", "", 2))
        net.addArc(fault, shows[group])
        for h, s in enumerate(table.shows_at(group[1])):
            net.cpt(shows[group])[{"fault": h}] = [1 - float(s), float(s)]
    for number, w in enumerate(belief.weighed):
        name = f"reading{number}"
        reading = net.add(gum.LabelizedVariable(name, "", 2))
        for parent in (fault, node, shows[w.group]):
            net.addArc(parent, reading)
        shown = net.variable(shows[w.group]).name()
        for h in range(n):
            for j in range(k):
                for s, log in ((0, w.healthy[j]), (1, w.faulty[h, j])):
                    p = float(np.exp(log))
                    net.cpt(reading)[{"fault": h, "node": j, shown: s}] = [1 - p, p]
        evidence[name] = 1
    if belief.finer is not None:
        source = net.add(gum.LabelizedVariable("source", "", 2))
        net.addArc(fault, source)
        net.addArc(node, source)
        for h, j in np.ndindex(n, k):
            p = float(np.exp(belief.finer[h, j] - belief.finer.max()))
            net.cpt(source)[{"fault": h, "node": j}] = [1 - p, p]
        evidence["source"] = 1
    return net, evidence


@pytest.mark.parametrize("seed", range(6))
def test_belief_is_the_posterior_of_the_one_fault_network(seed: int) -> None:
    table = small_table()
    rng = np.random.default_rng(seed)
    world = World(table, METER, rng, draw_truth(table, rng))
    items: list[Item] = [world.read(t) for t in rng.permutation(list(table.rows))[:5]]
    items.append(world.read(items[0].test, visit=1))
    belief = weigh(table, items)
    net, evidence = network(table, belief)
    inference = gum.LazyPropagation(net)
    inference.setEvidence(evidence)
    inference.makeInference()
    expected = np.array(inference.posterior("fault").tolist())
    assert belief.p == pytest.approx(expected, abs=1e-8)
