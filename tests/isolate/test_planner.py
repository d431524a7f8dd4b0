"""The planner against an optimum found by trying everything, on tasks small enough for that."""

from __future__ import annotations

import dataclasses
import itertools
import json
import math
import time

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from benchmarks.planner_tasks import _task, large_task, small_task
from knowngood.isolate import graph, look, planner
from knowngood.isolate.group import Follow
from knowngood.isolate.planner import plan, too_large
from knowngood.isolate.policy import Node, Standing, after_test, evaluate, policy_json
from knowngood.isolate.task import Cover, Fault, Goal, Part, Task, Test
from knowngood.isolate.truncate import lines, truncate
from tests.isolate.brute import optimum, steps_by_force
from tests.isolate.exact import Exact

MANY = settings(
    max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)


def tiny(seed: int, goal: Goal, proof: bool = False, closing: bool = False) -> Task:
    """Up to 5 faults, 3 tests and 2 covers, some of them with zeros in their rows."""
    rng = np.random.default_rng(seed)
    n, n_tests = int(rng.integers(2, 6)), int(rng.integers(0, 4))
    covers = (
        Cover("a", float(rng.integers(0, 5)), (), float(rng.integers(0, 3))),
        Cover("b", float(rng.integers(0, 5)), ("a",) if rng.random() < 0.5 else ()),
    )

    def cover() -> tuple[str, ...]:
        return (str(rng.choice(["a", "b"])),) if rng.random() < 0.6 else ()

    def shut(needs: tuple[str, ...]) -> tuple[str, ...]:
        return ("a",) if closing and not needs and rng.random() < 0.5 else ()

    parts = []
    for i in range(n):
        needs = cover()
        parts.append(Part(f"p{i}", float(rng.integers(1, 20)), needs, shut(needs)))
    faults = []
    for i in range(n):
        cure = {f"p{i}"} if rng.random() < 0.8 else {f"p{i}", f"p{(i + 1) % n}"}
        faults.append(Fault(f"f{i}", float(rng.random() + 0.05), tuple(sorted(cure))))
    if rng.random() < 0.5:
        faults[-1] = Fault(faults[-1].id, faults[-1].weight)
    tests = []
    for k in range(n_tests):
        outcomes = int(rng.integers(2, 4))
        rows = rng.dirichlet(np.full(outcomes, 0.4), size=n).T
        if rng.random() < 0.3:
            rows = np.eye(outcomes)[rng.integers(outcomes, size=n)].T
        needs = cover()
        shows = (rows < 0.2) if proof else None
        names = tuple(f"o{j}" for j in range(outcomes))
        price = float(rng.integers(0, 5))
        tests.append(Test(f"t{k}", price, names, rows, needs, shut(needs), shows))
    task = Task(
        goal, tuple(faults), tuple(parts), covers, tuple(tests),
        give_up=float(rng.integers(5, 60)), wrong_price=float(rng.integers(5, 60)),
    )  # fmt: skip
    if proof:
        extra = rng.integers(0, 6, size=len(task.cure_sets)).astype(float)
        task = dataclasses.replace(task, unproven_price=10.0, proof_floor=0.9, stop_price=extra)
    return task


def close(a: float, b: float) -> bool:
    return math.isclose(a, b, rel_tol=1e-9, abs_tol=1e-9)


@MANY
@given(st.integers(0, 10**6), st.sampled_from(["part", "cured"]), st.booleans(), st.booleans())
def test_bounds_bracket_the_optimum_and_the_plan_reaches_it(
    seed: int, goal: Goal, proof: bool, closing: bool
) -> None:
    task = tiny(seed, goal, proof and goal == "part", closing)
    best = optimum(task)
    for limit in (1, 4, 20, None):
        p = plan(task, deadline=None, max_expansions=limit)
        assert p.lower <= best + 1e-9 * (1 + best)
        assert p.upper >= best - 1e-9 * (1 + best)
        assert p.upper <= p.expected_price + 1e-9
        assert close(evaluate(task, p.policy), p.expected_price)
        assert p.next[0].price == p.expected_price
        assert [s.price for s in p.next] == sorted(s.price for s in p.next)
        for s in p.next:
            assert s.lower <= s.price + 1e-9 and s.upper == s.price
    assert p.exact and close(p.expected_price, best)


@MANY
@given(st.integers(0, 10**6), st.sampled_from(["part", "cured"]), st.booleans(), st.booleans())
@example(248, "cured", False, True)  # fitting a part opens what the best order has to shut
@example(14, "part", True, True)  # a test read first, and not used, takes a proof away
def test_price_of_every_next_step(seed: int, goal: Goal, proof: bool, closing: bool) -> None:
    _bracket_every_step(tiny(seed, goal, proof and goal == "part", closing))


@MANY
@given(st.integers(0, 10**6), st.sampled_from(["part", "cured"]), st.booleans(), st.booleans())
@example(63, "part", True, False)
@example(101, "cured", False, True)
def test_bounds_hold_where_few_tests_are_looked_at_at_once(
    seed: int, goal: Goal, proof: bool, closing: bool
) -> None:
    """As on large tasks, where most tests have only the bounds of not using their answer. Half of
    the tasks begin with a proof that an answer may take away, and covers are dear to shut."""
    task = tiny(seed, goal, proof and goal == "part", closing)
    covers = tuple(dataclasses.replace(c, close_price=5 * c.close_price) for c in task.covers)
    task = dataclasses.replace(task, covers=covers)
    if seed % 2:
        out = np.ones(len(task.faults), dtype=bool)
        task = dataclasses.replace(task, excluded0=out, proof_floor=0.4)
    best = optimum(task)
    with pytest.MonkeyPatch.context() as patch:
        for place in (look, graph, planner):
            patch.setattr(place, "FEW", 1)
        patch.setattr(look, "AT_ONCE", 1)
        _bracket_every_step(task)
        for limit in (1, 4, None):
            p = plan(task, deadline=None, max_expansions=limit)
            assert p.lower <= best + 1e-9 * (1 + best) and p.upper >= best - 1e-9 * (1 + best)
            assert close(evaluate(task, p.policy), p.expected_price)


def _bracket_every_step(task: Task) -> None:
    true = {(k, i): q for k, i, q in Exact(task).steps()}
    for limit in (1, 10, None):
        p = plan(task, deadline=None, max_expansions=limit)
        named = {(s.kind, s.id) for s in p.next if s.kind in ("test", "part")}
        assert named == {x for x in true if x[0] in ("test", "part")}
        for s in p.next:
            if s.kind in ("test", "part"):
                assert s.lower - 1e-9 <= true[s.kind, s.id] <= s.upper + 1e-9


@pytest.mark.parametrize("goal", ["part", "cured"])
def test_price_of_every_next_step_with_covers_to_shut(goal: Goal) -> None:
    for seed in range(300, 360):
        task = tiny(seed, goal, closing=True)
        true = {(k, i): q for k, i, q in steps_by_force(task)}
        for s in plan(task, deadline=None).next:
            if (s.kind, s.id) in true:
                assert s.lower - 1e-9 <= true[s.kind, s.id] <= s.upper + 1e-9


def gated(task: Task, seed: int) -> Task:
    """The same, some tests only after others; half the time the first of all tells nothing."""
    rng = np.random.default_rng([seed, 5])
    tests = list(task.tests)
    for k in range(1, len(tests)):
        after = tuple(t.id for t in tests[:k] if rng.random() < 0.6)
        tests[k] = dataclasses.replace(tests[k], after=after)
    if tests and rng.random() < 0.5:
        same = np.repeat(tests[0].given[:, :1], len(task.faults), axis=1)
        tests[0] = dataclasses.replace(tests[0], given=same, excludes=None)
    return dataclasses.replace(task, tests=tuple(tests[::-1]))


@MANY
@given(st.integers(0, 10**6), st.sampled_from(["part", "cured"]), st.booleans(), st.booleans())
def test_a_test_behind_another_is_planned_for(
    seed: int, goal: Goal, proof: bool, closing: bool
) -> None:
    task = gated(tiny(seed, goal, proof and goal == "part", closing), seed)
    best = optimum(task)
    true = {(k, i): q for k, i, q in steps_by_force(task)}
    assert close(Exact(task).root()[0], best)
    for limit in (1, 4, 20, None):
        p = plan(task, deadline=None, max_expansions=limit)
        assert p.lower <= best + 1e-9 * (1 + best) and p.upper >= best - 1e-9 * (1 + best)
        assert close(evaluate(task, p.policy), p.expected_price)
        for s in p.next:
            if s.kind in ("test", "part"):
                assert s.lower - 1e-9 <= true[s.kind, s.id] <= s.upper + 1e-9
        in_order(p.policy, {t.id: t.after for t in task.tests}, ())
    assert p.exact and close(p.expected_price, best)


def in_order(node: Node, after: dict[str, tuple[str, ...]], done: tuple[str, ...]) -> None:
    if node.kind == "test":
        assert set(after[node.id]) <= set(done)
        done = (*done, node.id)
    for _, then in node.then:
        in_order(then, after, done)


def test_a_useless_test_is_taken_for_what_lies_behind_it() -> None:
    tells = np.array([[1.0, 0.0], [0.0, 1.0]])
    faults = (Fault("a", 0.5, ("a",)), Fault("b", 0.5, ("b",)))
    parts = (Part("a", 0.0), Part("b", 0.0))
    gate = Test("gate", 2.0, ("x", "y"), np.full((2, 2), 0.5))
    behind = Test("behind", 3.0, ("x", "y"), tells, after=("gate",))
    p = plan(Task("part", faults, parts, (), (behind, gate), wrong_price=100.0), deadline=None)
    assert p.policy.id == "gate" and close(p.expected_price, 5.0)
    assert (p.next[0].kind, p.next[0].id) == ("test", "gate")
    assert "behind" not in {s.id for s in p.next}


@MANY
@given(st.integers(0, 10**6), st.sampled_from(["part", "cured"]))
def test_dynamic_programming_agrees(seed: int, goal: Goal) -> None:
    task = tiny(seed, goal, proof=goal == "part")
    price, node = Exact(task).root()
    assert close(price, optimum(task))
    assert close(price, evaluate(task, node))


@MANY
@given(st.integers(0, 10**6), st.floats(1e-9, 1e9), st.sampled_from(["part", "cured"]))
def test_scale_of_the_weights_does_not_matter(seed: int, scale: float, goal: Goal) -> None:
    task = tiny(seed, goal)
    faults = tuple(dataclasses.replace(f, weight=f.weight * scale) for f in task.faults)
    other = dataclasses.replace(task, faults=faults)
    a, b = plan(task, deadline=None), plan(other, deadline=None)
    assert close(a.expected_price, b.expected_price)
    assert math.isclose(float(other.weights.sum()), 1.0, rel_tol=1e-12)


@MANY
@given(st.integers(0, 10**6))
def test_belief_splits_into_its_outcomes(seed: int) -> None:
    task = tiny(seed, "part")
    at = Standing.start(task)
    for t in task.tests:
        _, after = after_test(task, at, t.id)
        assert np.allclose(sum(a.mass for a in after), at.mass, rtol=1e-9, atol=0)


@pytest.mark.parametrize("goal", ["part", "cured"])
def test_fixed_number_of_expansions_repeats_itself(goal: Goal) -> None:
    task = small_task(np.random.default_rng(3), goal)
    a, b = (plan(task, deadline=None, max_expansions=300) for _ in range(2))
    assert a.policy == b.policy and a.next == b.next and a.expansions == b.expansions == 300


@pytest.mark.parametrize("goal", ["part", "cured"])
def test_large_task_in_small(goal: Goal) -> None:
    task = large_task(np.random.default_rng(5), goal)
    p = plan(task, deadline=None, max_expansions=250)
    assert close(evaluate(task, p.policy), p.expected_price)
    start = plan(task, deadline=None, max_expansions=1)
    assert p.lower >= start.lower - 1e-9 and p.expected_price < 0.95 * start.expected_price
    assert len(p.next) == len(task.tests) + 1 + (len(task.parts) if goal == "cured" else 0)
    short = truncate(p, 40)
    assert lines(short.policy) <= 40
    assert close(evaluate(task, short.policy), short.expected_price)
    assert p.lower - 1e-9 <= short.expected_price < truncate(p, 1).expected_price
    json.dumps(policy_json(short.policy), allow_nan=False)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("goal", ["part", "cured"])
def test_a_longer_card_is_no_dearer(seed: int, goal: Goal) -> None:
    task = small_task(np.random.default_rng(seed), goal)
    p = plan(task, deadline=None, max_expansions=150)
    prices = [truncate(p, n).expected_price for n in (1, 7, 31, 127, 100_000)]
    # Where a card is cut, its order of fitting may be a little better than the plan's own.
    assert all(a >= b * 0.995 for a, b in itertools.pairwise(prices))
    assert prices[3] <= 1.02 * p.expected_price
    assert close(prices[-1], p.expected_price)


@pytest.mark.parametrize("goal", ["part", "cured"])
@pytest.mark.parametrize("nodes", [3, 15, 40])
def test_a_card_that_sends_back_costs_what_it_says(goal: Goal, nodes: int) -> None:
    for seed in range(4):
        task = small_task(np.random.default_rng([9, seed]), goal)
        p = plan(task, deadline=None, max_expansions=150)
        alone, free = truncate(p, nodes), truncate(p, nodes, 0.0)
        card = truncate(p, nodes, 2.0)
        assert max(lines(card.policy), lines(free.policy)) <= nodes
        assert close(evaluate(task, card.policy, 2.0), card.expected_price)
        assert card.expected_price <= alone.expected_price * 1.005
        assert close(free.expected_price, p.expected_price)  # coming back costs nothing
        assert card.expected_price <= p.expected_price + 2.0 + 1e-9


@MANY
@given(st.integers(0, 10**6), st.sampled_from(["part", "cured"]))
def test_following_many_ways_at_once_costs_the_same(seed: int, goal: Goal) -> None:
    task = tiny(seed, goal, proof=goal == "part", closing=True)
    p, follow = plan(task, deadline=None), Follow(task)
    assert close(follow.price(p.policy, follow.start()), evaluate(task, p.policy))
    card = truncate(p, 6)
    assert lines(card.policy) <= 6
    if p.policy.then and p.policy.kind == "test":  # the ways together cost what each does alone
        _, after = follow.test(follow.start(), p.policy.id)
        same = p.policy.then[0][1]
        alone = sum(follow.price(same, g) for g in after.values())
        assert close(follow.price(same, follow.join(list(after.values()))), alone)


def test_what_is_already_done_counts() -> None:
    task = next(t for t in (tiny(s, "cured") for s in range(12, 99)) if len(t.tests) > 1)
    more = dataclasses.replace(task, opened=frozenset({"a", "b"}), used=frozenset({"t0"}))
    p = plan(more, deadline=None)
    assert close(p.expected_price, optimum(more))
    assert "t0" not in {s.id for s in p.next}
    fitted = dataclasses.replace(task, fitted=frozenset({"p0"}))
    assert close(plan(fitted, deadline=None).expected_price, optimum(fitted))


@pytest.mark.parametrize(
    ("goal", "faults"), [("part", 36), ("cured", 36), ("part", 1500), ("cured", 250)]
)
def test_deadline_counts_the_setting_up(goal: Goal, faults: int) -> None:
    task = _task(np.random.default_rng(1), goal, faults, 50, 5, bands=5)
    plan(task, max_expansions=2)
    clock = time.process_time  # the machine may be busy
    seconds = min(plan(task, deadline=0.15, clock=clock).seconds for _ in range(3))
    assert seconds < 0.15 * 2


def test_too_large_is_said_before_memory_is_spent() -> None:
    task = _task(np.random.default_rng(1), "cured", 1500, 40, 5, bands=5)
    assert "too many to plan for" in too_large(task)
    with pytest.raises(ValueError, match="leave out the least likely faults"):
        plan(task)


def test_no_plan_ends() -> None:
    rows = np.array([[0.9, 0.1], [0.1, 0.9]])
    task = Task(
        "part",
        (Fault("f", 1, ("p",)), Fault("g", 1, ("q",))),
        (Part("p", 1), Part("q", 1)),
        tests=(Test("t", 1, ("a", "b"), rows),),
    )
    with pytest.raises(ValueError, match=r"'f' and 'g'"):
        plan(task)


def test_a_plan_that_forgets_an_outcome_is_refused() -> None:
    task = tiny(2, "part")
    bad = Node("test", "t0", then=(("o0", Node("stop", parts=task.cure_sets[0])),))
    with pytest.raises(ValueError, match="nothing planned for outcome"):
        evaluate(task, bad)


def test_what_to_do_once_every_part_is_fitted() -> None:
    """Nothing is left but to give up, whatever can still be tested."""
    task = small_task(np.random.default_rng(3), "cured")
    task = dataclasses.replace(task, fitted=frozenset(p.id for p in task.parts))
    answer = plan(task, deadline=None, max_expansions=4, exact=False)
    assert answer.policy.kind == "give_up" and answer.expected_price == task.give_up
