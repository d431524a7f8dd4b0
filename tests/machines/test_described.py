"""A machine described by answers alone, in under five minutes, plans like one made by hand."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from benchmarks.described import (
    MACHINES,
    PEERS,
    SIGNS_A_SECOND,
    Invented,
    describe,
    halved,
    jobs,
    made_by_hand,
    over,
    played,
)
from benchmarks.families import read
from knowngood.machines.check import report_text
from tests.families import each

FIVE_MINUTES = 300.0
AT_MOST = 1.10  # price of the described file over the one made by hand
FEW, SOME = 8, 14  # jobs


def below(one: Invented) -> str:
    return one.family


@pytest.mark.parametrize("one", each(MACHINES, below), ids=lambda one: one.hand)
def test_a_described_machine_is_sound_in_under_five_minutes(one: object) -> None:
    invented = next(m for m in MACHINES if m is one)
    machine, problems, seconds = describe(invented)
    assert problems == []
    typing = sum(len(a) for a in invented.answers.values()) / SIGNS_A_SECOND
    assert len(invented.answers) * 10 + typing + seconds < FIVE_MINUTES  # ten seconds to look, each
    asked = [t for s in machine.teardown for t in s.traps if "not seen yet" in t]
    assert len(asked) <= 1  # what is sold as one, where nothing is


@pytest.mark.parametrize("one", each(MACHINES, below), ids=lambda one: one.hand)
def test_it_has_every_test_of_the_file_made_by_hand(one: object) -> None:
    """Above 60 V dc, too, where dead tests and a bench supply take the place of live ones."""
    invented = next(m for m in MACHINES if m is one)
    by_hand, family, (machine, _, _) = (
        made_by_hand(invented), read(invented.family), describe(invented)
    )  # fmt: skip
    known, own, theirs = ({t.id for t in m.tests} for m in (family, by_hand, machine))
    seen = own - theirs  # that a look helps on this model only its bench could tell
    assert seen <= own - known and len(seen) <= 1
    assert (own & theirs) - {t.id for t in halved(invented).tests}


@pytest.mark.parametrize("peer", sorted(PEERS.glob("*.yaml")), ids=lambda peer: peer.stem)
def test_a_peer_is_a_sound_file_with_a_mind_of_its_own(peer: Path) -> None:
    """Weights, prices, minutes, parts and wiring differ from the family on which it stands."""
    machine, report = report_text(peer.read_text(encoding="utf-8"), peer.stem)
    assert machine is not None and report.problems == () and report.untold == ()
    (one,) = [m for m in MACHINES if m.hand == peer.stem]
    family = read(one.family)
    mine, theirs = ({f.id: f.weight for f in m.faults} for m in (machine, family))
    assert sum(mine[f] != theirs[f] for f in mine) >= 10
    assert len(machine.parts) < len(family.parts)
    assert {t.id for t in machine.tests} != {t.id for t in family.tests}
    assert machine.fixed_order != family.fixed_order


def dearer(prices: Sequence[tuple[float, ...]], which: int = 1) -> bool:
    """More than a tenth over the file made by hand. The same jobs with the same readings are
    compared one by one: two files that tell the same come out the same on nearly all of them, so
    little is left to chance."""
    mean, _ = over(prices, AT_MOST, which)
    return mean > 0


@pytest.mark.slow
def test_half_of_the_tests_do_not_do() -> None:
    """What the comparison can tell: a handful of jobs show a file that lacks half of its tests."""
    one = MACHINES[0]
    assert dearer(played(made_by_hand(one), [halved(one)], FEW))


@pytest.mark.slow
@pytest.mark.parametrize("one", MACHINES, ids=lambda one: one.hand)
def test_it_plans_within_a_tenth_of_the_file_made_by_hand(one: Invented) -> None:
    """A handful of jobs; the benchmark `described` plays more."""
    assert not dearer(jobs(one, SOME))
