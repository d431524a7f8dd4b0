"""Volts on a label are asked back as cells: cells times 3.6 or 4.0 V (common practice)."""

from __future__ import annotations

import pytest

from knowngood.machines.answers import AnswerError, CellsAsked, cells_of
from knowngood.machines.label_volts import meanings


@pytest.mark.parametrize(
    ("volts", "cells"),
    [  # label, cells a person is offered, the usual first; by arithmetic from 3.6, 4.0 and 4.2 V
        (18, [5]), (20, [5]), (36, [10, 9]), (40, [10]), (54, [15]), (56, [14]), (60, [15]),
        (72, [20, 18]), (80, [20]), (82, [20]), (12, [3]), (24, [6]), (48, [12]), (50, []),
    ],
)  # fmt: skip
def test_every_label_in_the_trade(volts: float, cells: list[int]) -> None:
    assert [one.cells for one in meanings(volts)] == cells


def test_it_is_shown_back_and_asked_and_never_taken() -> None:
    with pytest.raises(CellsAsked, match="5 cells, 18 V nominal, 20 to 21 V full") as asked:
        cells_of("20 V")
    assert [one.cells for one in asked.value.options] == [5]
    with pytest.raises(AnswerError, match="no whole number of cells"):
        cells_of("50 V")


@pytest.mark.parametrize(
    ("answer", "cells"),
    [("10", 10), ("5 cells", 5), ("15 S", 15), ("18 V nominal", 5), ("20 V max", 5),
     ("58.8 V full", 14)],
)  # fmt: skip
def test_what_says_itself_is_taken(answer: str, cells: int) -> None:
    assert cells_of(answer) == cells
