"""P(at least this extreme) judges a logarithmic stretch whole, and a reading that fits nothing
proves nothing."""

from __future__ import annotations

import pytest

from knowngood.isolate.belief import Item, weigh
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.isolate.hypotheses import Hypothesis
from knowngood.isolate.likelihood import Mixture, extremeness
from knowngood.isolate.proof import judge_proof, shown_out
from knowngood.isolate.table import make_row, make_table
from knowngood.measure.reading import Reading

LOG = Forecast((Piece("log", 1e3, 1e6),))


def ohms(value: float) -> Reading:
    return Reading(
        "value", "ohms", value, value, "ohm", "", u_random=value * 1e-3, resolution=value * 1e-3
    )


@pytest.mark.parametrize(("at", "expected"), [(0.01, 0.02), (0.1, 0.2), (0.5, 1.0), (0.9, 0.2)])
def test_a_logarithmic_stretch_has_two_tails_as_a_whole(at: float, expected: float) -> None:
    # On a logarithmic scale all is alike: a reading at share q of the way has 2 min(q, 1 - q).
    value = 1e3 * 1e3**at
    assert extremeness(Mixture([LOG]), ohms(value))[0] == pytest.approx(expected, abs=0.03)


def test_pieces_of_a_mixture_are_judged_one_by_one() -> None:
    two = Forecast((Piece("between", 0, 1, 0.5), Piece("between", 10, 11, 0.5)))
    found = extremeness(Mixture([two]), ohms(5.0))[0]
    assert found < 1e-6  # between two possible values is extreme


def test_a_reading_that_speaks_against_everything_proves_nothing() -> None:
    bad, good = Forecast((Piece("between", 0, 1),)), Forecast((Piece("between", 2, 3),))
    hypotheses = (
        Hypothesis("a", "a", "primary", 0.5, frozenset({"A"}), ("a",)),
        Hypothesis("b", "b", "primary", 0.48, frozenset({"B"}), ("b",)),
        Hypothesis("other", "other", "other", 0.02, frozenset(), ()),
    )
    row = make_row("t", "volts", good, (bad, good, good), minutes=1.0, slip=0.3)
    table = make_table(hypotheses, (row,))
    reading = Reading("value", "volts", 50.0, 50.0, "V", "50", u_random=0.01, resolution=0.01)
    belief = weigh(table, [Item("1", "t", reading)])
    proof = judge_proof(belief, frozenset({"A"}))
    assert not proof.proven
    assert belief.weighed[0].slip > 0.99 and shown_out(belief) == {}
    assert proof.missing == "not yet shown out by a reading: b"
