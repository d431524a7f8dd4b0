"""A machine is handed back with its checks made, or held; an override has a name and a reason."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.machines.machine import ReleaseCheck
from knowngood.shop.release import Made, Override, release_of

# 16 CFR 1205.5(a)(1)(iii): the blade stops within 3.0 s; the others are common practice.
STOP = ReleaseCheck("stop", "Blade seen still within 3.0 s", source="16 CFR 1205.5(a)(1)(iii)")
GUARD = ReleaseCheck("guard", "Guard in place")
LATCH = ReleaseCheck("latch", "Pack latches", safety=False)
CHECKS = (STOP, GUARD, LATCH)
ALL_PASS = (Made("stop", "pass", seq=1), Made("guard", "pass", seq=2), Made("latch", "pass", seq=3))


def test_all_passed_may_go() -> None:
    found = release_of(CHECKS, ALL_PASS)
    assert not found.held
    assert found.words == "may go"


@pytest.mark.parametrize("result", ["pass", "fail", "not applicable", None])
@pytest.mark.parametrize("check", CHECKS)
def test_failed_or_blank_holds(check: ReleaseCheck, result: str | None) -> None:
    made = [m for m in ALL_PASS if m.check != check.id]
    if result:
        made.append(Made(check.id, result, "because", seq=9))  # type: ignore[arg-type]
    held = result == "fail" or (result is None and check.safety)
    assert release_of(CHECKS, made).held is held


def test_not_applicable_without_a_reason_is_blank() -> None:
    made = (*ALL_PASS[1:], Made("stop", "not applicable", "  ", seq=4))
    assert [c.check for c in release_of(CHECKS, made).holding] == ["stop"]


def test_a_check_made_before_the_machine_was_opened_again_is_blank() -> None:
    found = release_of(CHECKS, ALL_PASS, opened={"Cover off": 7})
    assert [c.check for c in found.holding] == ["stop", "guard"]
    assert found.holding[0].stale == "Cover off came off after it"
    assert not release_of(CHECKS, ALL_PASS, opened={"Cover off": 0}).held


def test_the_latest_result_counts_whatever_the_order_they_come_in() -> None:
    made = [Made("stop", "pass", seq=8), Made("stop", "fail", "4 s", seq=5), *ALL_PASS[1:]]
    assert not release_of(CHECKS, made).held


@pytest.mark.parametrize(
    ("by", "reason", "held"),
    [("Sam", "bench sample, blade off", False), ("", "why", True), ("Sam", " ", True)],
)
def test_an_override_needs_name_and_reason(by: str, reason: str, held: bool) -> None:
    made = (*ALL_PASS[1:], Made("stop", "fail", "4 s", seq=4))
    found = release_of(CHECKS, made, [Override(("stop",), by, reason, 5)])
    assert found.held is held
    if not held:
        assert [c.check for c in found.overridden] == ["stop"]
        assert found.words == "may go by override of 1 check"


def test_an_override_covers_what_stood_then_and_nothing_later() -> None:
    override = Override(("stop",), "Sam", "no blade on it", 5)
    later = (*ALL_PASS[1:], Made("stop", "fail", "4 s", seq=6))
    assert release_of(CHECKS, later, [override]).held
    assert release_of(CHECKS, ALL_PASS, [override], {"Cover off": 6}).held
    other = (ALL_PASS[0], Made("guard", "fail", "cracked", seq=3))
    assert release_of(CHECKS, other, [override]).held


def test_a_failed_check_that_the_file_no_longer_has_still_holds() -> None:
    old = Made("brake", "fail", "slips", seq=9, words="Brake holds")
    assert [c.words for c in release_of(CHECKS, [*ALL_PASS, old]).holding] == ["Brake holds"]


made_checks = st.lists(
    st.builds(
        Made,
        check=st.sampled_from(["stop", "guard", "latch"]),
        result=st.sampled_from(["pass", "fail", "not applicable"]),
        reason=st.sampled_from(["", "why"]),
        seq=st.integers(1, 30),
    ),
    max_size=12,
    unique_by=lambda m: m.seq,
)
overrides = st.lists(
    st.builds(
        Override,
        checks=st.lists(st.sampled_from(["stop", "guard", "latch"])).map(tuple),
        by=st.sampled_from(["", "Sam"]),
        reason=st.sampled_from(["", "why"]),
        seq=st.integers(31, 60),
    ),
    max_size=3,
)


@given(made_checks, overrides)
def test_never_released_with_a_blank_or_failed_safety_check(
    made: list[Made], given_: list[Override]
) -> None:
    found = release_of(CHECKS, made, given_)
    named = {c for o in given_ if o.by and o.reason for c in o.checks}
    last = {m.check: m for m in sorted(made, key=lambda m: m.seq)}
    for check in (STOP, GUARD):
        fine = check.id in last and (
            last[check.id].result == "pass"
            or (last[check.id].result == "not applicable" and last[check.id].reason != "")
        )
        if not fine and check.id not in named:
            assert found.held
    assert release_of(CHECKS, [replace(m) for m in reversed(made)], given_) == found
