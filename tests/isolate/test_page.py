"""Pages cut from a plan and their ends sent on: each price is that of the page carried out by
separate code, step by step, on tasks drawn by seed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from benchmarks.planner_tasks import small_task
from knowngood.isolate.group import Follow
from knowngood.isolate.page import page_lines, pages
from knowngood.isolate.planner import plan
from knowngood.isolate.policy import Node, evaluate
from knowngood.isolate.shared import share
from knowngood.isolate.tailed import with_tails
from knowngood.isolate.tails import Tails


def ways(node: Node, read: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    if not node.then:
        yield read
    for _, kid in node.then:
        yield from ways(kid, (*read, node.id))


def test_what_a_page_costs_is_what_following_it_costs() -> None:
    sent = 0
    for seed in range(6):
        task = small_task(np.random.default_rng([seed, 8]), "part")
        whole = plan(task, deadline=None, max_expansions=200)
        found, follow = pages(whole), Follow(task)
        assert found[0][1] >= whole.expected_price * (1 - 1e-9)
        for node, price in found:
            assert price == pytest.approx(evaluate(task, node), rel=1e-9)
            new, less = share(follow, node, lambda step, passed: True)
            assert less == pytest.approx(evaluate(task, new), rel=1e-9)
            assert whole.lower - 1e-9 <= less <= price + 1e-9
            assert page_lines(new) <= page_lines(node) + 1e-9
            assert all(len(set(way)) == len(way) for way in ways(new))  # no test twice
            sent += less < price - 1e-6
    assert sent


def test_what_a_page_with_tails_costs_is_what_following_it_costs() -> None:
    told = 0
    for seed in range(6):
        task = small_task(np.random.default_rng([seed, 8]), "part")
        whole, follow = plan(task, deadline=None, max_expansions=200), Follow(task)
        tails = Tails(follow)
        for node, price in pages(whole, tails.barred)[::4]:
            for most in (0, 3):
                found = with_tails(tails, node, price, most=most)
                one = found.followed(follow)
                assert found.price == pytest.approx(evaluate(task, one), rel=1e-9)
                assert whole.lower - 1e-9 <= found.price <= price + 1e-9
                assert all(len(set(way)) == len(way) for way in ways(one))
                told += bool(found.tails)
    assert told


def test_a_test_that_is_barred_is_in_no_tail() -> None:
    seen = 0
    for seed in range(6):
        task = small_task(np.random.default_rng([seed, 8]), "part")
        whole, follow = plan(task, deadline=None, max_expansions=200), Follow(task)
        for node, price in pages(whole)[::4]:
            free = with_tails(Tails(follow), node, price, most=3)
            used = {ask.test for tail in free.tails.values() for ask in tail.asks}
            shut = with_tails(Tails(follow, lambda passed, used=used: used), node, price, most=3)
            assert not used & {ask.test for tail in shut.tails.values() for ask in tail.asks}
            seen += bool(used)
    assert seen


def test_a_step_that_may_not_follow_is_not_gone_on_at() -> None:
    task = small_task(np.random.default_rng([0, 8]), "part")
    node, price = pages(plan(task, deadline=None, max_expansions=300))[0]
    assert share(Follow(task), node, lambda step, passed: False) == (
        node, pytest.approx(price, rel=1e-9))  # fmt: skip
