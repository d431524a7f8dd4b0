"""The list of hypotheses: weights, secondary and double faults, and what is always on it."""

from __future__ import annotations

import pytest

from knowngood.isolate.hypotheses import MOST_PAIRS, list_hypotheses
from tests.isolate.small import FAULTS, F, Left


def listed(*faults: F, doubles=(), **likelihood: float):  # type: ignore[no-untyped-def]
    given = {f.id: likelihood.get(f.id, 1.0) for f in faults}
    found = list_hypotheses(faults, list(doubles), given, 0.5, 0.05, 0.1)
    return {h.id: h for h in found}


def test_weights_are_prior_times_the_chance_of_the_complaint() -> None:
    found = listed(F("a", ("p",), 3), F("b", ("q",), 1), a=0.5, b=1.0)
    assert found["a"].weight / found["b"].weight == pytest.approx(1.5)
    assert sum(h.weight for h in found.values()) == pytest.approx(1.0)


def test_other_and_no_fault_are_always_there() -> None:
    found = listed(F("a", ("p",), 1))
    assert found["other"].parts == frozenset() == found["no_fault"].parts
    assert found["other"].weight == pytest.approx(0.05)


def test_a_secondary_fault_splits_its_primary_and_unites_the_cure() -> None:
    found = listed(F("short", ("bridge",), 8, leaves=(Left("fuse", 0.75),)), F("fuse", ("f",), 2))
    assert found["short+fuse"].marks == ("short", "fuse")
    assert found["short+fuse"].parts == {"bridge", "f"}
    assert found["short+fuse"].weight == pytest.approx(3 * found["short"].weight)


def test_a_secondary_fault_that_always_comes_leaves_no_single() -> None:
    found = listed(F("short", ("bridge",), 8, leaves=(Left("fuse", 1.0),)), F("fuse", ("f",), 2))
    assert "short" not in found and "short+fuse" in found


def test_pairs_need_different_cures_and_join_the_larger_first() -> None:
    found = listed(F("a", ("p",), 3), F("b", ("p",), 2), F("c", ("q",), 1))
    assert "a&b" not in found and "a&c" in found
    assert found["a&c"].marks == ("a", "c")


def test_at_most_sixty_pairs_and_the_rest_joins_other() -> None:
    many = [F(f"f{i}", (f"p{i}",), 1) for i in range(20)]
    found = listed(*many)
    pairs = [h for h in found.values() if h.kind == "double"]
    assert len(pairs) == MOST_PAIRS
    assert found["other"].weight > 0.05  # 130 of 190 equal pairs are left out


def test_declared_doubles_come_with_their_own_weight() -> None:
    found = listed(F("a", ("p",), 6), F("b", ("q",), 4), doubles=[("a", "b", 1.0)])
    assert found["a&b"].weight / found["a"].weight == pytest.approx(1 / 6)


def test_a_complaint_that_no_fault_makes_says_so() -> None:
    with pytest.raises(ValueError, match="no listed fault can make this complaint"):
        listed(F("a", ("p",), 1), a=0.0)


def test_an_intermittent_fault_is_not_paired() -> None:
    ids = {h for h in listed(*FAULTS) if "joint_loose" in h}
    assert ids == {"joint_loose"}
