"""Which readings of one test are one value, and what a doubtful one leaves open."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from knowngood.isolate.belief import Item, weigh
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.isolate.hypotheses import Hypothesis
from knowngood.isolate.proof import shown_out
from knowngood.isolate.repeats import runs_of
from knowngood.isolate.table import make_row, make_table
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.reading import Reading
from knowngood.measure.typed import read_text

METER = load_shipped_meter("generic-6000")


def volts(value: float, u: float = 0.02) -> Reading:
    return Reading(
        "value", "volts", value, value, "V", f"{value}", u_random=u, resolution=1e-3, meter="m"
    )


def test_readings_that_noise_alone_sets_apart_are_one_value() -> None:
    rng = np.random.default_rng(3)
    pairs = 10.0 + 0.02 * rng.standard_normal((1000, 2))
    assert sum(len(runs_of([volts(a), volts(b)])) == 1 for a, b in pairs) == 1000


def test_readings_that_noise_never_sets_so_far_apart_are_two() -> None:
    """Ten standard uncertainties of their difference: by chance once in 10^23."""
    apart = 10 * 0.02 * 2**0.5
    runs = runs_of([volts(10.0), volts(10.0 + apart)])
    assert [run.members for run in runs] == [(0,), (1,)]
    assert len(runs_of([volts(10.0), replace(volts(10.0), meter="another")])) == 2


@pytest.mark.parametrize(("share", "doubtful"), [(0.5, True), (0.02, False)])
def test_a_run_that_may_well_show_the_machine_is_no_slip_to_be_passed_over(
    share: float, doubtful: bool
) -> None:
    """OL, then 0.3 ohm: while either may be the slip, neither shows anybody out."""
    ol, low = Forecast((Piece("over"),)), Forecast((Piece("between", 0.0, 1.0),))
    found = tuple(
        Hypothesis(id, id, "primary", weight, frozenset({id.upper()}), (id,))
        for id, weight in (("a", share), ("b", 1 - share))
    )
    row = make_row("half", "ohms", low, (ol, low), minutes=2.0)
    items = [Item(t, "half", read_text(t, "ohms", METER)) for t in ("OL", "0.3")]
    belief = weigh(make_table(found, (row,)), items)
    (weighed,) = belief.weighed
    assert weighed.kept == ("0.3",)  # the likelier of the two
    assert bool(0.05 < belief.p[0] < 0.45) is doubtful
    assert shown_out(belief).keys() == (set() if doubtful else {"a"})
