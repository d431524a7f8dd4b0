"""Years to the next visit: against published and drawn lives."""

from __future__ import annotations

import numpy as np
import pytest

from knowngood.learn.life import DAYS_OF_A_YEAR, LEAST, Spell, years_after_repair


def test_the_mean_of_a_worked_example() -> None:
    """Ten units on test to 500 h, five fail at 54, 187, 216, 240 and 373 h: (1070 + 5 x 500) / 5
    = 714 h (the worked example of NIST/SEMATECH e-Handbook 8.4.1.2, from memory). Hours stand
    for days here."""
    failed = [Spell(h, True) for h in (54.0, 187.0, 216.0, 240.0, 373.0)]
    found = years_after_repair([*failed, *[Spell(500.0, False)] * 5])
    assert found is not None
    assert found.years * DAYS_OF_A_YEAR == pytest.approx(714)
    assert (found.repairs, found.back) == (10, 5)
    assert found.words.startswith("2.0 years to the next visit, from 10 repairs")


def test_drawn_lives_that_are_cut_off_give_their_mean_back() -> None:
    """4000 exponential lives of 3 years in the mean (numpy), looked at after 2 years."""
    lives = np.random.default_rng(20260504).exponential(3 * DAYS_OF_A_YEAR, 4000)
    cut = 2 * DAYS_OF_A_YEAR
    found = years_after_repair([Spell(min(float(x), cut), bool(x < cut)) for x in lives])
    assert found is not None
    assert abs(found.years - 3) < 4 * 3 / np.sqrt(found.back)


def test_few_visits_say_nothing() -> None:
    some = [Spell(100.0, True)] * (LEAST - 1) + [Spell(900.0, False)] * 50
    assert years_after_repair(some) is None
    assert years_after_repair([]) is None
    assert years_after_repair([Spell(0.0, True)] * LEAST) is None
    with pytest.raises(ValueError, match="before it left"):
        years_after_repair([Spell(-1.0, True)])
