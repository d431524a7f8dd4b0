"""Published or independently computed answers on which step comes next.

Pattipati & Alexandridis, "Application of heuristic search and information theory to sequential
fault diagnosis", IEEE Trans. SMC 20 (1990): the six-state test matrix (from memory; the figures
are computed by dynamic programming). Heckerman, Breese & Rommelse, "Decision-theoretic
troubleshooting", CACM 38 (1995): without tests, fit by chance per price. Ottosen & Jensen, "The
cost of troubleshooting cost clusters with inside information", UAI 2010: why covers break that
rule. The network ``win95pts`` (Microsoft's printer troubleshooter) is read from the installed
pgmpy package; pyAgrum does the inference.
"""

from __future__ import annotations

import gzip
import importlib.metadata
import itertools
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyagrum
import pytest

from knowngood.isolate.planner import plan
from knowngood.isolate.policy import evaluate, policy_json
from knowngood.isolate.task import Fault, Part, Task, Test
from knowngood.isolate.task_file import parse_task
from tests.isolate.brute import optimum

SIX = {
    "s0": (0.70, "00000"),
    "s1": (0.01, "01001"),
    "s2": (0.02, "00110"),
    "s3": (0.10, "10011"),
    "s4": (0.05, "11000"),
    "s5": (0.12, "11110"),
}


def six_states() -> Task:
    """The six-state case as the JSON a script would send; unit test prices."""
    text = {
        "goal": "part",
        "faults": [{"id": s, "weight": p, "parts": [f"p-{s}"]} for s, (p, _) in SIX.items()],
        "parts": [{"id": f"p-{s}", "price": 20} for s in SIX],
        "tests": [
            {
                "id": f"t{j + 1}",
                "price": 1,
                "outcomes": ["pass", "fail"],
                "given": {s: [1 - int(r[j]), int(r[j])] for s, (_, r) in SIX.items()},
            }
            for j in range(5)
        ],
    }
    task, problems = parse_task(json.dumps(text))
    assert task is not None, problems
    return task


def test_six_states_cost_2_18() -> None:
    task = six_states()
    p = plan(task)
    assert p.exact and p.expected_price == pytest.approx(2.18, abs=1e-9)
    tree = policy_json(p.policy)
    assert tree["do"] == {"kind": "test", "id": "t2"}
    assert tree["then"]["fail"]["do"]["id"] == "t3"
    assert tree["then"]["pass"]["do"]["id"] == "t4"
    assert evaluate(task, p.policy) == pytest.approx(2.18, abs=1e-9)
    assert optimum(task) == pytest.approx(2.18, abs=1e-9)


def test_six_states_greedy_information_gain_costs_2_86_and_the_entropy_is_1_455() -> None:
    weight = np.array([p for p, _ in SIX.values()])
    rows = np.array([[int(c) for c in r] for _, r in SIX.values()])

    def bits(w: np.ndarray) -> float:
        q = w[w > 0] / w.sum()
        return float(-(q * np.log2(q)).sum())

    def greedy(alive: tuple[int, ...]) -> float:
        if len(alive) == 1:
            return 0.0
        w = weight[list(alive)]
        best, split = -1.0, None
        for t in range(5):
            one = [i for i in alive if rows[i, t]]
            two = [i for i in alive if not rows[i, t]]
            if one and two:
                left = sum(weight[s].sum() / w.sum() * bits(weight[s]) for s in (one, two))
                if bits(w) - left > best + 1e-12:
                    best, split = bits(w) - left, (tuple(one), tuple(two))
        assert split is not None
        return float(w.sum()) + sum(greedy(s) for s in split)

    assert greedy(tuple(range(6))) == pytest.approx(2.86, abs=1e-9)
    assert bits(weight) == pytest.approx(1.455, abs=5e-4)
    # Huffman's bound for unit prices is 1.59; the planner's own bound must not pass the optimum.
    heap = sorted(weight)
    total = 0.0
    while len(heap) > 1:
        pair = heap[0] + heap[1]
        total += pair
        heap = sorted([*heap[2:], pair])
    assert total == pytest.approx(1.59, abs=1e-9)
    start = plan(six_states(), max_expansions=1, deadline=None)
    assert start.lower <= 2.18


def test_repairs_only_go_by_chance_per_price() -> None:
    chance, price = (0.5, 0.3, 0.2), (4.0, 1.0, 2.0)
    task = Task(
        "cured",
        tuple(Fault(f"f{i}", chance[i], (f"p{i}",)) for i in range(3)),
        tuple(Part(f"p{i}", price[i]) for i in range(3)),
    )
    p = plan(task)
    assert p.exact and p.expected_price == pytest.approx(4.2, abs=1e-9)
    assert fit_sequence(policy_json(p.policy)) == ["p1", "p0", "p2"]


def fit_sequence(tree: dict) -> list[str]:  # type: ignore[type-arg]
    """Parts in the order in which a plan without tests fits them."""
    out: list[str] = []
    while "do" in tree:
        out.append(tree["do"]["id"])
        tree = tree["then"].get("not cured", {})
    return out + tree.get("fit_order", [])


def test_repairs_under_a_cover() -> None:
    task, _ = parse_task(
        """{"goal": "cured",
            "faults": [{"id": "a", "weight": 0.3, "parts": ["a"]},
                       {"id": "b", "weight": 0.5, "parts": ["b"]},
                       {"id": "d", "weight": 0.2, "parts": ["d"]}],
            "parts": [{"id": "a", "price": 2},
                      {"id": "b", "price": 1, "needs": ["lid"]},
                      {"id": "d", "price": 1, "needs": ["lid"]}],
            "covers": [{"id": "lid", "price": 5}]}"""
    )
    assert task is not None
    p = plan(task)
    assert p.exact and p.expected_price == pytest.approx(6.4, abs=1e-9)
    assert fit_sequence(policy_json(p.policy)) == ["a", "b", "d"]
    chance = {"a": 0.3, "b": 0.5, "d": 0.2}

    def price(order: tuple[str, ...]) -> float:
        spent = total = 0.0
        for k, part in enumerate(order):
            spent += 2 if part == "a" else 1
            if part != "a" and not set(order[:k]) & {"b", "d"}:
                spent += 5
            total += chance[part] * spent
        return total

    prices = sorted(price(o) for o in itertools.permutations("abd"))
    assert prices[0] == pytest.approx(6.4) and prices[1] == pytest.approx(6.7)


# The printer network

ROOTS = [
    "FllCrrptdBffr",
    "PrtOn",
    "PrtDriver",
    "PrtTimeOut",
    "PrtMem",
    "DskLocal",
    "PrtCbl",
    "PrtPaper",
    "PrtPort",
    "PrtSel",
    "CblPrtHrdwrOK",
    "DrvOK",
]
SHOWN = ["PrtFile", "PrtStatOff", "PrtStatMem", "PrtStatPaper", "REPEAT"]


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> pyagrum.BayesNet:
    files = importlib.metadata.distribution("pgmpy").files or []
    packed = next(f for f in files if f.name == "win95pts.bif.gz")
    path: Path = tmp_path_factory.mktemp("network") / "win95pts.bif"
    path.write_bytes(gzip.decompress(Path(str(packed.locate())).read_bytes()))
    return pyagrum.loadBN(str(path))


def chances(network: pyagrum.BayesNet, evidence: dict[str, int], node: str) -> list[float]:
    inference = pyagrum.LazyPropagation(network)
    inference.setEvidence(evidence)
    inference.makeInference()
    return list(inference.posterior(node).tolist())


def test_chance_of_no_output(network: pyagrum.BayesNet) -> None:
    assert network.size() == 76
    assert list(network.variable("Problem1").labels())[1] == "No_Output"
    assert chances(network, {}, "Problem1")[1] == pytest.approx(0.427446, abs=5e-7)


def printer(network: pyagrum.BayesNet, n: int) -> Task:
    """One root bad, the others good; five tests at 1, looking at a root at 3."""
    names = {i: network.variable(i).name() for i in network.nodes()}
    above = network.ancestors("Problem1")
    good = {names[i]: 0 for i in above if not network.parents(i)}
    good |= {"NetPrint": 0, "DSApplctn": 1}  # a local printer, under Windows
    faults, rows = [], {t: [] for t in SHOWN}
    for root in ROOTS[:n]:
        state = good | {root: 1}
        prior = network.cpt(root).tolist()
        weight = prior[1] / prior[0] * chances(network, state, "Problem1")[1]
        faults.append(Fault(root, weight, (root,)))
        for t in SHOWN:
            rows[t].append(chances(network, state | {"Problem1": 1}, t))
    tests = [Test(t, 1.0, tuple(network.variable(t).labels()), np.array(rows[t]).T) for t in SHOWN]
    for i, root in enumerate(ROOTS[:n]):
        bad = np.zeros(n)
        bad[i] = 1.0
        tests.append(Test(f"look at {root}", 3.0, ("good", "bad"), np.array([1 - bad, bad])))
    parts = tuple(Part(r, 0.0) for r in ROOTS[:n])
    return Task("part", tuple(faults), parts, (), tuple(tests))


@pytest.mark.parametrize(("n", "best"), [(6, 6.737954), (8, 7.582493), (10, 8.195950)])
def test_printer_optimum(network: pyagrum.BayesNet, n: int, best: float) -> None:
    """Optima by dynamic programming over the same model; our prices."""
    task = printer(network, n)
    p = plan(task, deadline=None)
    assert p.exact and p.expected_price == pytest.approx(best, abs=1e-6)
    assert p.next[0].id == "PrtStatOff"
    assert evaluate(task, p.policy) == pytest.approx(best, abs=1e-6)


@pytest.mark.parametrize(("n", "price"), [(6, 6.851810), (8, 7.764320), (10, 8.386760)])
def test_printer_by_information_for_the_price(
    network: pyagrum.BayesNet, n: int, price: float
) -> None:
    """What the greedy rule costs on the same model: the model is the one meant."""
    task = printer(network, n)

    def bits(w: np.ndarray) -> float:
        q = w[w > 0] / w.sum()
        return float(-(q * np.log2(q)).sum())

    def greedy(w: np.ndarray, used: frozenset[str]) -> float:
        if np.count_nonzero(w) <= 1:
            return 0.0
        best, pick = -1.0, None
        for t in task.tests:
            if t.id in used:
                continue
            after = [w * row for row in t.given]
            left = sum(a.sum() / w.sum() * bits(a) for a in after if a.sum() > 0)
            gain = (bits(w) - left) / t.price
            if gain > best + 1e-12:
                best, pick = gain, (t, after)
        assert pick is not None
        t, after = pick
        return t.price * float(w.sum()) + sum(
            greedy(a, used | {t.id}) for a in after if a.sum() > 0
        )

    assert greedy(task.weights, frozenset()) == pytest.approx(price, abs=1e-5)


@pytest.mark.parametrize(("n", "price"), [(6, 7.618687), (8, 8.740808), (10, 9.480590)])
def test_printer_by_looking_alone(network: pyagrum.BayesNet, n: int, price: float) -> None:
    """Without the five cheap tests: each root looked at, the likeliest first; the last needs no
    look. By dynamic programming over the same model, and summed here by hand."""
    task = printer(network, n)
    looks = replace(task, tests=task.tests[len(SHOWN) :])
    w = np.sort(task.weights / task.weights.sum())[::-1]
    by_hand = 3.0 * float(sum(w[i] * min(i + 1, n - 1) for i in range(n)))
    assert by_hand == pytest.approx(price, abs=1e-6)
    p = plan(looks, deadline=None)
    assert p.exact and p.expected_price == pytest.approx(price, abs=1e-6)
