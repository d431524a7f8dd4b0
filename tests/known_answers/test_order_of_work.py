"""The order of work against Smith's rule worked by hand, and against every order there is."""

from __future__ import annotations

import itertools
import random
from datetime import date

import pytest

from knowngood.shop.order_of_work import Waiting, order_of_work, weighted_finish

TODAY = date(2026, 5, 4)


def test_two_jobs_of_a_textbook() -> None:
    """J. Kleinberg & E. Tardos, Algorithm Design, 2005, chapter 4, exercise 13: times 1 and 3,
    weights 10 and 2: 18 in this order, 46 in the other."""
    one = Waiting("1", "one", 1, weight=10)
    two = Waiting("2", "two", 3, weight=2)
    assert weighted_finish([one, two]) == 18
    assert weighted_finish([two, one]) == 46
    assert [n.job for n in order_of_work([two, one], TODAY)] == [one, two]


@pytest.mark.parametrize("seed", range(40))
def test_no_order_is_better(seed: int) -> None:
    draw = random.Random(seed)
    jobs = [
        Waiting(str(i), f"job {i}", draw.choice([5, 10, 20, 45, 90]), draw.randrange(20))
        for i in range(draw.randrange(1, 7))
    ]
    best = min(weighted_finish(order) for order in itertools.permutations(jobs))
    assert weighted_finish([n.job for n in order_of_work(jobs, TODAY)]) == pytest.approx(best)


@pytest.mark.parametrize("seed", range(40))
def test_promises_are_kept_when_they_can_be(seed: int) -> None:
    """By J. R. Jackson, 1955: if any order keeps every promise, the one by day of promise does;
    found here by trying every order."""
    draw = random.Random(seed)
    jobs = [
        Waiting(str(i), f"job {i}", draw.choice([60, 120, 240, 360]),
                promised=None if draw.random() < 0.4
                else date(2026, 5, draw.randrange(4, 9)))
        for i in range(draw.randrange(1, 7))
    ]  # fmt: skip

    def kept(order: tuple[Waiting, ...]) -> bool:
        clock = 0.0
        for job in order:
            clock += job.minutes
            if job.promised and clock > ((job.promised - TODAY).days + 1) * 360:
                return False
        return True

    possible = any(kept(order) for order in itertools.permutations(jobs))
    assert kept(tuple(n.job for n in order_of_work(jobs, TODAY))) == possible


def test_each_place_has_a_reason_of_its_own() -> None:
    jobs = [Waiting("1", "26-1 mower. STOP: pack", 60), Waiting("2", "26-2 saw", 10),
            Waiting("3", "26-3 blower", 75, waited=3)]  # fmt: skip
    whys = [n.why for n in order_of_work(jobs, TODAY)]
    assert len(set(whys)) == 3
    assert "sooner done than 26-3 blower, which takes 75" in whys[0]
    assert "counts for more than 26-1 mower, which" in whys[1]


def test_one_machine_and_none() -> None:
    assert order_of_work([], date(2026, 5, 4)) == ()
    one = Waiting("a", "26-0001 BT-5", 10.0)
    (alone,) = order_of_work([one], date(2026, 5, 4))
    assert alone.why == "nothing else can go on now"
    first, last = order_of_work([one, Waiting("b", "26-0002 BT-5", 4.0)], date(2026, 5, 4))
    assert first.why == "sooner done than 26-0001 BT-5, which takes 10"
    assert last.why == "26-0002 BT-5 is done sooner, or counts for more"
