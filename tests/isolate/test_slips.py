"""The slip that is named is the likeliest one, and none is named where that is not telling."""

from __future__ import annotations

import pytest

from knowngood.isolate.belief import Item, weigh
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.isolate.hypotheses import Hypothesis
from knowngood.isolate.slips import Slip, likely_slip
from knowngood.isolate.table import make_row, make_table
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.typed import read_text
from tests.isolate.small import small_table

METER = load_shipped_meter("generic-6000")
TABLE = small_table()


def between(low: float, high: float) -> Forecast:
    return Forecast((Piece("between", low, high),))


def named(text: str, good: Forecast, *suspects: tuple[float, Forecast]) -> Slip | None:
    """What is named when this is read in volts; weight and forecast of each suspect."""
    found = tuple(
        Hypothesis(f"h{i}", f"h{i}", "primary", weight, frozenset({f"P{i}"}), (f"h{i}",))
        for i, (weight, _) in enumerate(suspects)
    )
    row = make_row("t", "volts", good, tuple(f for _, f in suspects), minutes=1.0)
    table = make_table(found, (row,))
    belief = weigh(table, [Item("1", "t", read_text(text, "volts", METER))])
    return likely_slip(table, belief, belief.weighed[0])


TENFOLD, THOUSANDFOLD = "ten times more would fit", "did you mean 100 V?"


@pytest.mark.parametrize(
    ("ten", "thousand", "words"), [(0.01, 0.99, THOUSANDFOLD), (0.99, 0.01, TENFOLD)]
)
def test_of_two_slips_that_would_fit_the_likelier_is_named(
    ten: float, thousand: float, words: str
) -> None:
    """0.1 V fits nobody: ten times that fits one suspect, a thousand times another."""
    slip = named("0.100 V", between(20, 30), (ten, between(0.9, 1.1)), (thousand, between(90, 110)))
    assert slip is not None and slip.kind == "range" and words in slip.words


@pytest.mark.parametrize(
    ("test", "text", "kind", "words"),
    [
        ("pack_volts", "5.72 V", "range", "ten times more would fit"),
        ("pack_volts", "572 V", "range", "a tenth would fit"),
        ("pack_volts", "-57.2 V", "lead", "swapped"),
        ("pack_volts", "OL", "contact", "may not touch bare metal"),
        ("pack_volts", "21 V", "point", "check that red and black"),
        ("bridge_diode", "1.9 V", "point", "check that red and black"),
    ],
)
def test_each_slip_by_what_gives_it_away(test: str, text: str, kind: str, words: str) -> None:
    reading = read_text(text, TABLE.rows[test].quantity, METER)
    belief = weigh(TABLE, [Item("1", test, reading)])
    slip = likely_slip(TABLE, belief, belief.weighed[0])
    assert slip is not None and slip.kind == kind and words in slip.words


@pytest.mark.parametrize(("as_typed", "is_named"), [(0.2, False), (0.005, True)])
def test_a_reading_that_a_suspect_explains_is_doubted_only_where_that_is_telling(
    as_typed: float, is_named: bool
) -> None:
    """55.5 mV as typed fits one suspect; as 55.5 V it would fit another, four times as likely or
    two hundred times."""
    slip = named(
        "55.5 mV", between(20, 30), (as_typed, between(0.05, 0.06)), (1 - as_typed, between(50, 60))
    )
    assert (slip is not None) is is_named
    assert slip is None or slip.words == "look at the unit: did you mean 55.5 V?"
