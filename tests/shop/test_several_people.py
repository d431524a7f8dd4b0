"""The order of work of several people against every order there is, on small cases."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise, permutations, product

import numpy as np
import pytest

from knowngood.shop.order_of_work import Waiting, order_of_work, weighted_finish
from knowngood.shop.several_people import Person, Rota, cost_of, rota

TODAY = date(2026, 5, 4)


def whole(found: Rota, people: list[Person]) -> float:
    days = {p.name: p.minutes_a_day for p in people}
    return sum(cost_of(t.job, t.finish, days[t.person], TODAY) for t in found.turns)


def brute(jobs: list[Waiting], people: list[Person], needs: dict[str, frozenset[str]]) -> float:
    """Every assignment and, for each person, every order."""
    best = float("inf")
    for who in product(people, repeat=len(jobs)):
        if any(not p.can(needs.get(j.id, frozenset())) for j, p in zip(jobs, who, strict=True)):
            continue
        total = 0.0
        for person in people:
            mine = [j for j, p in zip(jobs, who, strict=True) if p is person]
            total += min(
                sum(
                    cost_of(j, sum(x.minutes for x in order[: n + 1]), person.minutes_a_day, TODAY)
                    for n, j in enumerate(order)
                )
                for order in permutations(mine)
            )
            if total >= best:
                break
        best = min(best, total)
    return best


def drawn(seed: int) -> tuple[list[Waiting], list[Person], dict[str, frozenset[str]]]:
    rng = np.random.default_rng(seed)
    jobs = [
        Waiting(
            f"j{n}", f"machine {n}", float(rng.integers(1, 9)), int(rng.integers(0, 6)),
            TODAY + timedelta(int(rng.integers(0, 2))) if rng.random() < 0.4 else None,
        )
        for n in range(int(rng.integers(3, 6)))
    ]  # fmt: skip
    people = [Person("Ana", frozenset({"engine", "electric"}), 12.0),
              Person("Ida", frozenset({"electric"}), 10.0)]  # fmt: skip
    if rng.random() < 0.5:
        people.append(Person("Sam", frozenset(), 8.0))
    kinds = [frozenset({"engine"}), frozenset({"electric"}), frozenset[str]()]
    needs = {j.id: kinds[int(rng.integers(0, 3))] for j in jobs}
    return jobs, people, needs


@pytest.mark.parametrize("seed", range(14))
def test_no_order_is_better(seed: int) -> None:
    jobs, people, needs = drawn(seed)
    found = rota(jobs, people, TODAY, needs)
    assert found.exact and found.left == ()
    assert sorted(t.job.id for t in found.turns) == sorted(j.id for j in jobs)
    for turn in found.turns:
        person = next(p for p in people if p.name == turn.person)
        assert person.can(needs[turn.job.id])
    for turns in found.by_person.values():
        assert all(a.finish == b.start for a, b in pairwise(turns))
    assert whole(found, people) == pytest.approx(brute(jobs, people, needs), rel=1e-6)


def test_one_person_without_promises_is_smiths_rule() -> None:
    """W. E. Smith, 1956: weight over minutes, falling."""
    jobs = [Waiting(f"j{n}", f"m{n}", m, w) for n, (m, w) in enumerate([(9, 0), (2, 3), (5, 9)])]
    found = rota(jobs, [Person("Ana")], TODAY)
    listed = [n.job for n in order_of_work(jobs, TODAY)]
    assert weighted_finish([t.job for t in found.turns]) == pytest.approx(weighted_finish(listed))


def test_what_nobody_can_do_is_left_and_said() -> None:
    jobs = [Waiting("a", "rider", 30.0), Waiting("b", "saw", 10.0)]
    found = rota(jobs, [Person("Ida", frozenset({"electric"}))], TODAY,
                 {"a": frozenset({"engine"})})  # fmt: skip
    assert [t.job.id for t in found.turns] == ["b"] and [j.id for j in found.left] == ["a"]


def test_too_many_fall_back_to_the_list_rule_with_the_reason() -> None:
    jobs = [Waiting(f"j{n}", f"m{n}", 20.0 + n, promised=TODAY if n == 7 else None)
            for n in range(60)]  # fmt: skip
    found = rota(jobs, [Person("Ana"), Person("Ida")], TODAY, most_cells=500)
    assert not found.exact and "too many to solve exactly" in found.reason
    assert len(found.turns) == 60 and found.turns[0].job.id in ("j7", "j0")
    first = {name: turns[0].job.id for name, turns in found.by_person.items()}
    assert "j7" in first.values()  # a promise for today goes first
    assert "by the list rule" in found.turns[0].why


def test_the_promise_is_in_the_sentence() -> None:
    jobs = [Waiting("a", "rider", 50.0, promised=TODAY), Waiting("b", "saw", 10.0)]
    found = rota(jobs, [Person("Ana", minutes_a_day=55.0)], TODAY)
    assert [t.job.id for t in found.turns] == ["a", "b"]  # else it would be late
    assert "promised for 2026-05-04, in time" in found.turns[0].why


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="nobody works here"):
        rota([], [], TODAY)
    with pytest.raises(ValueError, match="above 0"):
        rota([Waiting("a", "saw", 0.0)], [Person("Ana")], TODAY)
    with pytest.raises(ValueError, match="minutes a day"):
        rota([Waiting("a", "saw", 1.0)], [Person("Ana", minutes_a_day=0)], TODAY)
