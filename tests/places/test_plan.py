"""The plan as a bounded tree: bands as numbers, every outcome somewhere, readable on paper."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import pytest

from knowngood.diagnosis.assess import Setup
from knowngood.diagnosis.evidence import Evidence
from knowngood.isolate.prices import Prices
from knowngood.machines.machine import Machine
from knowngood.measure.meter import MeterSheet
from knowngood.places.complaints import as_expected, closest, look_list, verifying_test
from knowngood.places.library import Known, make_setup
from knowngood.places.plan import PlanTree, outcome_words, plan_lines, plan_tree, tree_json


@pytest.fixture(scope="module")
def setup(small: Known[Machine], meter: Known[MeterSheet]) -> Setup:
    return make_setup(small.it, "dead", meter.it, Prices())


@pytest.fixture(scope="module")
def tree(setup: Setup) -> PlanTree:
    return plan_tree(setup, Evidence(), most=127, deadline=None, max_expansions=2000)


def places(node: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield node
    for branch in node.get("then", []):
        yield from places(branch["next"])


def test_outcomes_cover_the_line_and_chances_add_up(tree: PlanTree) -> None:
    for node in places(tree_json(tree)["policy"]):
        branches = node.get("then", [])
        if not branches:
            continue
        assert sum(b["chance"] for b in branches) == pytest.approx(1, abs=1e-6)
        assert sum(b["next"]["chance"] for b in branches) == pytest.approx(node["chance"])
        bands = [b for b in branches if b["outcomes"][0].startswith("band")]
        for left, right in pairwise(bands):
            assert left["high"] == right["low"]
        if bands:
            assert bands[0]["low"] is None and bands[-1]["high"] is None


@pytest.mark.parametrize("most", [1, 6, 20, 127])
def test_the_tree_is_as_large_as_asked_at_most(setup: Setup, most: int) -> None:
    made = plan_tree(setup, Evidence(), most=most, deadline=None, max_expansions=300)
    answer = tree_json(made)
    count = sum(1 for place in places(answer["policy"]) if not place.get("cut"))
    assert count == answer["nodes"] <= most


def test_what_is_cut_says_what_is_in_question(setup: Setup) -> None:
    made = plan_tree(setup, Evidence(), most=9, deadline=None, max_expansions=300)
    cut = [n for n in places(tree_json(made)["policy"]) if n.get("cut")]
    assert cut and all(n["in_question"] for n in cut)


def test_leaves_name_part_number_and_proof(tree: PlanTree) -> None:
    leaves = [n for n in places(tree_json(tree)["policy"]) if "stop" in n]
    named = {tuple(n["stop"]): n for n in leaves if n["proven"]}
    assert ("start_box",) in named and named["start_box",]["numbers"] == ["BW-210"]
    assert all(n["belief"] >= 0.95 for n in named.values())


def test_on_paper_every_outcome_says_where_to_go(tree: PlanTree) -> None:
    lines = list(plan_lines(tree))
    steps = [int(line.split(".")[0]) for line in lines if line[:1].isdigit()]
    assert steps == list(range(1, len(steps) + 1))
    sent = [int(line.rsplit(" ", 1)[1]) for line in lines if "  go to " in line]
    assert set(sent) == set(steps) - {1}  # each step is reached, from one place
    assert any("! Wait, then measure the capacitor" in line for line in lines)
    assert any("order Start box BW-210 (proven)" in line for line in lines)


def test_each_step_of_the_plan_has_its_cautions(tree: PlanTree, small: Known[Machine]) -> None:
    """Of its test and its state, and of each cover beside the cover; on paper below each."""
    tests = {t.id: t for t in small.it.tests}
    covers = {s.words: s.caution for s in small.it.teardown}
    lines, said, minded = list(plan_lines(tree)), set(), set()
    for node in places(tree_json(tree)["policy"]):
        if "do" not in node:
            continue
        test = tests[node["do"]["id"]]
        wanted = [c for c in (test.caution, small.it.state_of(test).caution) if c]
        assert node["do"]["cautions"] == list(dict.fromkeys(wanted))
        assert [f["minding"] for f in node["do"]["first"]] == [
            covers[f["words"]] for f in node["do"]["first"]]  # fmt: skip
        said |= {f"     ! {c}" for c in wanted}
        minded |= {f"       ! {f['minding']}" for f in node["do"]["first"] if f["minding"]}
    assert said and minded and said | minded <= set(lines)


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        ("It won't start, nothing happens", "dead"),
        ("it is DEAD", "dead"),
        ("dies going over bumps", "cuts_out"),
        ("quits on the hill", "cuts_out"),
        ("no power in the tall grass", "no_power"),
        ("", "dead"),
        ("сломалась", "dead"),
    ],
)
def test_the_customers_words_find_the_complaint(
    small: Known[Machine], words: str, complaint: str
) -> None:
    found = closest(small.it, words)
    assert found[0].id == complaint
    assert len(found) == len(small.it.complaints)


def test_the_look_list_has_what_needs_no_tool(small: Known[Machine]) -> None:
    assert [t.id for t in look_list(small.it)] == ["terminals", "water_marks"]


def test_the_verifying_test_is_found(setup: Setup) -> None:
    test = verifying_test(setup)
    assert test is not None and test.id == "shows_here"


@pytest.mark.parametrize(
    ("test", "text"),
    [
        ("pack_rest", "50 V to 59 V"),
        ("box_ohms", "< 2 ohm"),
        ("terminals", "yes"),
        ("shows_here", "no"),
    ],
)
def test_as_expected_is_the_good_range(small: Known[Machine], test: str, text: str) -> None:
    assert as_expected(next(t for t in small.it.tests if t.id == test)) == text


def test_one_place_for_any_number_is_said_with_the_limits(
    small: Known[Machine], meter: Known[MeterSheet]
) -> None:
    """A number where an open reads OL: 5 ohm of a fuse is no good fuse either."""
    tests = {t.id: t for t in small.it.tests}
    ends = float("-inf"), float("inf")
    box = outcome_words(tests["box_ohms"], ["band1"], *ends, meter.it)
    assert box == "at most 2 ohm"
    assert outcome_words(tests["pack_rest"], ["band1"], *ends, meter.it) == "50 V to 59 V"
    assert outcome_words(tests["box_ohms"], ["band1", "band2"], *ends, meter.it) == "any number"
