"""A machine described by answers alone, in under five minutes, plans like one made by hand."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from benchmarks.described import MACHINES, SIGNS_A_SECOND, Invented, describe, halved, over, played
from benchmarks.families import read
from knowngood.machines.shipped import load_shipped
from tests.families import each

FIVE_MINUTES = 300.0
AT_MOST = 1.10  # price of the described file over the one made by hand
APART = [one for one in MACHINES if one.of_its_own]
FEW, MANY = 8, 30  # jobs


def by_hand(one: Invented) -> str:
    return one.hand


@pytest.mark.parametrize("one", each(MACHINES, by_hand), ids=lambda one: one.hand)
def test_a_described_machine_is_sound_in_under_five_minutes(one: object) -> None:
    invented = next(m for m in MACHINES if m is one)
    machine, problems, seconds = describe(invented)
    assert problems == []
    typing = sum(len(a) for a in invented.answers.values()) / SIGNS_A_SECOND
    assert len(invented.answers) * 10 + typing + seconds < FIVE_MINUTES  # ten seconds to look, each
    asked = [t for s in machine.teardown for t in s.traps if "not seen yet" in t]
    assert len(asked) <= 1  # what is sold as one, where nothing is


@pytest.mark.parametrize("one", each(MACHINES, by_hand), ids=lambda one: one.hand)
def test_it_has_every_test_of_the_file_made_by_hand(one: object) -> None:
    """Above 60 V dc, too, where dead tests and a bench supply take the place of live ones."""
    invented = next(m for m in MACHINES if m is one)
    by_hand, (machine, _, _) = read(invented.hand), describe(invented)
    assert {t.id for t in by_hand.tests} <= {t.id for t in machine.tests}
    assert {t.id for t in by_hand.tests} - {t.id for t in halved(invented).tests}


def dearer(prices: Sequence[tuple[float, ...]], which: int = 1) -> bool:
    """More than a tenth over the file made by hand. The same jobs with the same readings are
    compared one by one: two files that tell the same come out the same on nearly all of them, so
    little is left to chance."""
    mean, _ = over(prices, AT_MOST, which)
    return mean > 0


@pytest.mark.slow
def test_it_plans_about_as_well_as_the_file_made_by_hand() -> None:
    """A handful of jobs; the benchmark `described` plays more. Half of the tests do not do."""
    (one,) = APART
    assert load_shipped(one.hand) != load_shipped(one.family)
    prices = played(read(one.hand), [describe(one)[0], halved(one)], FEW)
    assert not dearer(prices)
    assert dearer(prices, 2)


@pytest.mark.slow
@pytest.mark.parametrize("one", [m for m in MACHINES if m not in APART], ids=lambda one: one.hand)
def test_answers_about_a_machine_like_its_family_spoil_nothing(one: object) -> None:
    """Both files tell the same tests and faults, so each job costs the same to the cent."""
    invented = next(m for m in MACHINES if m is one)
    prices = played(read(invented.hand), [describe(invented)[0]], FEW)
    assert all(described == pytest.approx(hand) for hand, described in prices)


@pytest.mark.slow
@pytest.mark.parametrize("one", APART, ids=lambda one: one.hand)
def test_it_plans_within_a_tenth_of_the_file_made_by_hand(one: object) -> None:
    invented = next(m for m in MACHINES if m is one)
    prices = played(read(invented.hand), [describe(invented)[0]], MANY)
    assert not dearer(prices)
