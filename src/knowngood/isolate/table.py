"""The table where machine and planner meet: forecasts, hypothesis by test."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from knowngood.isolate.forecast import Forecast
from knowngood.isolate.hypotheses import Hypothesis
from knowngood.isolate.levels import Levels, make_levels
from knowngood.isolate.likelihood import Mixture, Node, nodes
from knowngood.measure.reading import Reading
from knowngood.measure.units import Quantity

LOOKED = "looked"  # circumstance of a look at a machine that is off and at rest


@dataclass(frozen=True, slots=True)
class Row:
    """One test. ``forecasts`` holds each distinct forecast once; ``index[h]`` is the one of
    hypothesis h, ``good`` that of a healthy machine. ``spread`` is the relative standard
    deviation of the machine's quantity that the readings follow (0: none)."""

    id: str
    quantity: Quantity
    minutes: float
    circumstance: str
    forecasts: tuple[Forecast, ...]
    index: NDArray[np.intp]
    good: int
    mixture: Mixture
    spread: float = 0.0
    slip: float = 0.02
    open: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()
    grade: str = "measured"
    alters: bool = False
    look: bool = False
    energised: bool = False
    after: tuple[str, ...] = ()  # tests that must be read before this one is offered
    words: str = ""  # what the test asks
    does: tuple[str, ...] = ()  # what the machine must do, and by the complaint does not
    sees: tuple[str, ...] = ()  # what it was seen to do when this reads good
    everyday: bool = False  # finds everyday wear, as often beside what is not on the list

    def is_good(self, reading: Reading) -> bool:
        """Of a yes/no test: whether this is what a good machine shows."""
        yes = self.forecasts[self.good].yes
        return yes is not None and reading.kind == ("yes" if yes >= 0.5 else "no")


def make_row(
    id: str,
    quantity: Quantity,
    good: Forecast,
    by_hypothesis: tuple[Forecast, ...],
    *,
    minutes: float,
    circumstance: str = "rest",
    spread: float = 0.0,
    slip: float = 0.02,
    open: tuple[str, ...] = (),
    closed: tuple[str, ...] = (),
    grade: str = "measured",
    alters: bool = False,
    look: bool = False,
    energised: bool = False,
    after: tuple[str, ...] = (),
    words: str = "",
    does: tuple[str, ...] = (),
    sees: tuple[str, ...] = (),
    everyday: bool = False,
) -> Row:
    """Gather equal forecasts; a yes/no test has its own error rates and no further slip."""
    distinct = [good]
    place = {good: 0}
    for forecast in by_hypothesis:
        if forecast not in place:
            place[forecast] = len(distinct)
            distinct.append(forecast)
    return Row(
        id,
        quantity,
        minutes,
        circumstance,
        tuple(distinct),
        np.array([place[f] for f in by_hypothesis], dtype=np.intp),
        0,
        Mixture(distinct),
        spread,
        0.0 if quantity == "yes_no" else slip,
        open,
        closed,
        grade,
        alters,
        look,
        energised,
        after,
        words,
        does,
        sees,
        everyday,
    )


def chance_to_show(shows: Mapping[str, float] | None, circumstance: str) -> float:
    """Of a fault that comes and goes as ``shows`` says (None: always there). Its mark, a burnt
    blade or a rubbed wire, does not come and go: whoever looks at it sees it or not by the rates
    of that test alone."""
    return 1.0 if shows is None or circumstance == LOOKED else float(shows.get(circumstance, 0.0))


@dataclass(frozen=True)
class Table:
    """``hypotheses`` carry their weights after the complaint; ``rows`` by test id. ``undoes``: by
    test id the marks that it undoes, so that readings after it say nothing of them, except those of
    tests that ``still`` tell these marks. ``levels``: where the source may stand; ``refills``:
    tests after which it stands elsewhere."""

    hypotheses: tuple[Hypothesis, ...]
    rows: Mapping[str, Row]
    nodes: tuple[Node, ...]
    undoes: Mapping[str, frozenset[str]] = field(default_factory=dict)
    still: Mapping[str, frozenset[str]] = field(default_factory=dict)
    levels: Levels | None = None
    refills: frozenset[str] = frozenset()

    def gone(self, test: str, undone: frozenset[str]) -> frozenset[str]:
        """Of the marks undone those of which this test says nothing any more."""
        return undone - self.still.get(test, frozenset())

    def without(self, row: Row, undone: frozenset[str]) -> Row:
        """The row after these marks were undone: it reads as without them."""
        undone = self.gone(row.id, undone)
        if not undone:
            return row
        key = row.id, undone
        if key not in self._undone:
            self._undone[key] = replace(row, index=self._index_without(row, undone))
        return self._undone[key]

    def _index_without(self, row: Row, undone: frozenset[str]) -> NDArray[np.intp]:
        alone = {h.marks: int(i) for h, i in zip(self.hypotheses, row.index, strict=True)}
        index = row.index.copy()
        for k, h in enumerate(self.hypotheses):
            if not undone.isdisjoint(h.marks):
                rest = tuple(m for m in h.marks if m not in undone)
                index[k] = alone.get(rest, row.good) if rest else row.good
        return index

    @cached_property
    def _undone(self) -> dict[tuple[str, frozenset[str]], Row]:
        return {}

    @cached_property
    def prior(self) -> NDArray[np.float64]:
        """(hypotheses,), summing to 1."""
        return np.array([h.weight for h in self.hypotheses])

    @cached_property
    def other(self) -> NDArray[np.bool_]:
        """(hypotheses,): "something not on this list"."""
        return np.array([h.kind == "other" for h in self.hypotheses])

    @cached_property
    def intermittent(self) -> NDArray[np.bool_]:
        """(hypotheses,): comes and goes."""
        return np.array([h.shows is not None for h in self.hypotheses])

    def chances(self, row: Row) -> NDArray[np.float64]:
        """(cure sets, forecasts of the row): how likely both are together, none of them never."""
        places: dict[frozenset[str], int] = {}
        sets = [places.setdefault(h.parts, len(places)) for h in self.hypotheses]
        found = np.full((len(places), len(row.forecasts)), 1e-6)
        np.add.at(found, (np.array(sets, dtype=np.intp), row.index), self.prior)
        return found

    def shows_at(self, circumstance: str) -> NDArray[np.float64]:
        """(hypotheses,): chance that each shows under this circumstance; 1 when always there."""
        if circumstance not in self._shows:
            self._shows[circumstance] = np.array(
                [chance_to_show(h.shows, circumstance) for h in self.hypotheses]
            )
        return self._shows[circumstance]

    @cached_property
    def kept(self) -> dict[Any, Any]:
        """What `belief` keeps of the tests read on this table."""
        return {}

    @cached_property
    def _shows(self) -> dict[str, NDArray[np.float64]]:
        return {}


def make_table(hypotheses: tuple[Hypothesis, ...], rows: tuple[Row, ...]) -> Table:
    return Table(hypotheses, {r.id: r for r in rows}, nodes(any(r.spread > 0 for r in rows)),
                 levels=levels_of(rows))  # fmt: skip


def levels_of(rows: Sequence[Row]) -> Levels | None:
    """Where the source may stand by what follows it; None: nothing does."""
    held = [(abs(p.held.moves), r.spread) for r in rows for f in r.forecasts for p in f.pieces
            if p.held is not None]  # fmt: skip
    return make_levels(max(m for m, _ in held), max(s for _, s in held)) if held else None
