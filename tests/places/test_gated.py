"""On paper and on a phone without network a live step follows only from the good band of the dead
proof that it waits for (the machine files' own caution, common practice)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from math import inf

import pytest

from knowngood.diagnosis.assess import Setup
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.gate import barriers, good_stretches, waiting_for
from knowngood.diagnosis.hazard import bad_answer
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.isolate.policy import Node, Standing
from knowngood.isolate.prices import Prices
from knowngood.machines.machine import Limits
from knowngood.measure.display import first_count
from knowngood.measure.typed import read_text
from knowngood.places import gated
from knowngood.places import plan as plans
from knowngood.places.card import CardPlans
from knowngood.places.gated import Gate, good_labels
from knowngood.places.library import find_machine, find_meter, make_setup
from knowngood.places.plan import Json, advice_on, plan_tree, tree_json

Reads = tuple[str, tuple[str, ...], float | None, float | None]
"""Test, outcomes, and from where to where where these are values."""


@pytest.fixture(scope="module", params=["chainsaw-56v", "mower-battery-56v"])
def setup(request: pytest.FixtureRequest) -> Setup:
    it = find_machine(request.param).it
    return make_setup(it, "dead", find_meter("generic-6000").it, Prices())


def ways(node: Json, before: tuple[Reads, ...] = ()) -> Iterator[tuple[str, tuple[Reads, ...]]]:
    """(test taken or to go on with, what was read before it) everywhere in a plan."""
    if "do" in node:
        yield node["do"]["id"], before
    for ask in node.get("tail", ()):  # what was read in the tail itself frees nothing
        yield ask["test"], before
    for b in node.get("then", ()):
        here = (node["do"]["id"], tuple(b["outcomes"]), b["low"], b["high"])
        yield from ways(b["next"], (*before, here))


def breaches(setup: Setup, policy: Json) -> list[tuple[str, str, Reads | None]]:
    """Live tests with the proof that they wait for, where that was not read or did not read within
    its limits; and those with the pack in where it read lower than these, or jumped."""
    tests = {t.id: t for t in setup.machine.tests}
    found = []
    for proof, barrier in barriers(setup.machine, setup.bench.table).items():
        limits = tests[proof].limits
        for id, before in ways(policy):
            if id not in barrier.waits | barrier.connected:
                continue
            read = next((r for r in before if r[0] == proof), None)
            good = read is None and id not in barrier.waits
            if read is not None and barrier.kind == "look":
                good = bad_answer(tests[proof]) not in read[1]
            elif read is not None and barrier.kind == "path":
                good = True
            elif read is not None and limits is None:  # good is OL, nothing else
                good = read[1] == ("over",)
            elif read is not None:
                assert limits is not None and limits.low is not None
                top = inf if limits.high is None else limits.high
                value = all(o.startswith("band") for o in read[1])
                least = read[2] if value else {("over",): 1e99}.get(read[1])
                most = read[3] if value else None
                if top == inf and set(read[1]) == {"over"}:
                    most = inf
                good = least is not None and least >= limits.low
                if id in barrier.waits:
                    good = good and most is not None and most <= top
            if not good:
                found.append((id, proof, read))
    return found


def live_on(setup: Setup, policy: Json) -> set[str]:
    waiting = frozenset[str]().union(*waiting_for(setup.machine).values())
    return {id for id, _ in ways(policy)} & waiting


def test_the_plan_for_a_phone(setup: Setup) -> None:
    tree = plan_tree(setup, Evidence(), deadline=None, max_expansions=300)
    policy = tree_json(tree)["policy"]
    assert live_on(setup, policy)
    assert breaches(setup, policy) == []


def test_the_card_and_the_steps_it_says_to_go_on_with(setup: Setup) -> None:
    plans = CardPlans(setup, 300)
    policies = [plans.tree(at) for at in (0, len(plans.found) // 2, len(plans.found) - 1)]
    assert any(live_on(setup, policy) for policy in policies)
    for policy in policies:
        assert breaches(setup, policy) == []


def test_no_end_goes_on_to_what_its_own_reading_holds(setup: Setup) -> None:
    plans, asked = CardPlans(setup, 300), 0
    outcomes = {t.id: t.outcomes for t in plans.advice.task.tests}
    for at in (0, len(plans.found) // 2):
        for tail in plans.page(at).tails.values():
            held: set[str] = set()
            for ask in tail.asks:
                assert ask.test not in held
                holds = plans.gate.holds.get(ask.test, {})
                for label in set(outcomes[ask.test]) - set(ask.ends):
                    held |= holds.get(label, frozenset())
                asked += 1
    assert asked


def test_a_shorted_input_ends_every_run(setup: Setup) -> None:
    task = advice_on(setup, Evidence(), max_expansions=1).task
    labels = setup.bench.bands("input_ohms").labels
    then = tuple((label, Node("test", "verify")) for label in labels)
    node = Node("test", "input_ohms", then=then)
    kept = Gate.of(setup, task).kept(node, Standing.start(task))
    still = {label for label, kid in kept.then if kid.id == "verify"}
    assert "over" in still and good_labels(setup.bench, "input_ohms") <= still
    assert "band1" not in still and "unsteady" not in still


@pytest.mark.parametrize("setup", ["hedge-trimmer-36v"], indirect=True)  # the other two have none
def test_without_the_gate_it_would_not_hold(setup: Setup, monkeypatch: pytest.MonkeyPatch) -> None:
    tree = plan_tree(setup, Evidence(), deadline=None, max_expansions=300)
    assert not breaches(setup, tree_json(tree)["policy"])
    monkeypatch.setattr(plans, "keep_gate", lambda setup, advice: advice)
    monkeypatch.setattr(plans, "cut_with_gate", lambda setup, task, cut: cut)
    tree = plan_tree(setup, Evidence(), deadline=None, max_expansions=300)
    assert breaches(setup, tree_json(tree)["policy"])


def test_bands_end_where_good_ends(setup: Setup) -> None:
    low, high = setup.bench.good["input_ohms"]
    limits = next(t.limits for t in setup.machine.tests if t.id == "input_ohms")
    assert limits is not None and limits.low is not None and limits.high is not None
    assert limits.low < low < 1.05 * limits.low and 0.95 * limits.high < high < limits.high
    for bench in (setup.bench, CardPlans(setup, 20).setup.bench):
        edges = bench.bands("input_ohms").edges
        assert {low, high} <= set(edges)
        assert good_labels(bench, "input_ohms")


def test_what_is_not_good_is_planned_to_its_end(setup: Setup) -> None:
    tree = plan_tree(setup, Evidence(), most=10_000, deadline=None, max_expansions=300)

    def ends(node: Node) -> bool:
        then: Mapping[str, Node] = dict(node.then)
        return node.kind != "test" or all(map(ends, then.values()))

    assert ends(tree.advice.plan.policy)
    assert tree.advice.plan.lower <= tree.advice.plan.expected_price


def test_no_band_ends_between_two_counts_of_the_display(setup: Setup) -> None:
    for bench in (setup.bench, CardPlans(setup, 20).setup.bench):
        for row in bench.table.rows.values():
            sheet = bench.meter if bench.readable(row) else None
            for edge in bench.bands(row.id).edges[1:-1]:
                assert first_count(sheet, row.quantity, edge) == pytest.approx(edge, abs=1e-12)


def test_a_reading_on_an_edge_is_in_the_band_that_begins_there(setup: Setup) -> None:
    bands = setup.bench.bands("input_ohms")
    low = setup.bench.good["input_ohms"][0]
    reading = read_text(f"{low:g} ohm", "ohms", setup.bench.meter)
    assert bands.labels[bands.place(reading)] in good_labels(setup.bench, "input_ohms")


def _with_proof(setup: Setup, good: str, limits: Limits | None = None) -> Setup:
    """The saw, with the ohms of the switch harness to minus before one live test."""
    tests = [replace(t, after=(*t.after, "chain_minus")) if t.id == "enable_volts" else t
             for t in setup.machine.tests]  # fmt: skip
    pieces = {"OL": (Piece("over"),), "jumps": (Piece("unsteady"),)}[good]
    at = next(n for n, t in enumerate(tests) if t.id == "chain_minus")
    tests[at] = replace(tests[at], limits=limits)
    machine = replace(setup.machine, tests=tuple(tests))
    table = setup.bench.table
    row = table.rows["chain_minus"]
    forecasts = tuple(Forecast(pieces) if n == row.good else f for n, f in enumerate(row.forecasts))
    rows = {**table.rows, row.id: replace(row, forecasts=forecasts)}
    table = replace(table, rows=rows)
    found = good_stretches(machine, table, setup.bench.meter)
    return Setup(machine, replace(setup.bench, table=table, good=found, _bands={}))


def held_on_paper(setup: Setup, proof: str) -> Mapping[str, frozenset[str]]:
    """Per outcome of the proof the live tests that a plan on paper does not go on with."""
    test = next(t for t in setup.machine.tests if t.id == proof)
    return gated._holds(setup.bench, test, barriers(setup.machine, setup.bench.table)[proof])


@pytest.fixture(scope="module")
def saw() -> Setup:
    meter = find_meter("generic-6000").it
    return make_setup(find_machine("chainsaw-56v").it, "dead", meter, Prices())


def test_a_proof_that_is_good_open_lets_go_from_OL(saw: Setup) -> None:
    at = _with_proof(saw, "OL")
    assert good_labels(at.bench, "chain_minus") == {"over"}
    held = held_on_paper(at, "chain_minus")
    assert "over" not in held
    assert {"enable_volts", "verify"} <= held["band1"] and "verify" in held["unsteady"]


def test_a_proof_that_is_good_open_lets_go_from_its_lower_limit_on(saw: Setup) -> None:
    at = _with_proof(saw, "OL", Limits(1e5, None, "common practice"))
    low, high = at.bench.good["chain_minus"]
    assert 1e5 < low < 1.05e5 and high == inf
    bands = at.bench.bands("chain_minus")
    tenth = bands.labels[bands.place(read_text("10 kohm", "ohms", at.bench.meter))]
    above = bands.labels[bands.place(read_text("2 Mohm", "ohms", at.bench.meter))]
    assert good_labels(at.bench, "chain_minus") == {above, "over"}
    assert "verify" in held_on_paper(at, "chain_minus")[tenth]


def test_a_proof_that_never_reads_good_is_not_taken_for_open(saw: Setup) -> None:
    """All of its bands lie above nothing: a dead short among them keeps the pack out."""
    held = held_on_paper(_with_proof(saw, "jumps"), "chain_minus")
    assert all({"enable_volts", "verify"} <= held[label] for label in held)
    assert {"band1", "over", "unsteady"} <= set(held)
