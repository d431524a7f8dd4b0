"""Jobs drawn at random from a table: a fault, a meter with its errors, and what it shows.

Written for the tests, apart from the program's own likelihoods: it draws the true quantity, adds
the errors and rounds to the display, as a bench would.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import numpy as np

from knowngood.isolate.belief import JUMPY, Item
from knowngood.isolate.forecast import Forecast
from knowngood.isolate.hypotheses import Hypothesis
from knowngood.isolate.likelihood import NO_CONTACT, REACH
from knowngood.isolate.repeats import LASTING
from knowngood.isolate.table import LOOKED, Row, Table
from knowngood.measure.meter import MeterSheet
from knowngood.measure.reading import Reading

T = TypeVar("T")
SLIPPERY = ("volts", "ac_volts", "ohms", "diode", "amps")
LOST = {  # of all slips (0, OL): what a meter shows whose lead has lost contact; common practice
    **dict.fromkeys(("volts", "ac_volts", "amps", "hertz"), (0.35, 0.10)),
    **dict.fromkeys(("ohms", "diode"), (0.10, 0.30)),
    "capacitance": (0.25, 0.20),
}
ROUGH = 1e-3  # relative error of a quantity that no electrical meter reads


@dataclass
class World:
    """What is true on one job and does not change while it is read.

    ``forced``: exactly one reading of the job slips, the ``forced_at``-th that can (from 1) slip
    so, and no other: "contact" (the lead touched nothing: 0 V, or OL on ohms) or "unit" (a
    thousandth of the value is written down: mV for V, the k or M forgotten).

    Jobs from elsewhere, which the model does not describe: ``meter_bias`` is a further relative
    error of every meter reading; intermittent faults show ``shows_share`` times as often as the
    table says; with ``few`` a fault that is not listed shows in that share of the tests only and
    the others read as on a good machine.
    """

    table: Table
    meter: MeterSheet
    rng: np.random.Generator
    truth: int
    slip: float | None = None  # None: the rate of the test's own row
    meter_bias: float = 0.0
    shows_share: float = 1.0
    few: float = 1.0
    forced: str = ""
    forced_at: int = 1
    slipped: str = ""  # the test that the forced slip struck
    gain: float = field(init=False)
    scale: float = field(init=False)
    _shows: dict[tuple[int, str], bool] = field(default_factory=dict)
    _undone: frozenset[str] = frozenset()
    _read: dict[tuple[str, int, int, frozenset[str]], Item] = field(default_factory=dict)
    _kept: dict[tuple[str, int], Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.gain = float(self.rng.standard_normal())
        self.scale = float(self.rng.standard_normal())
        self._level: float | None = None

    @property
    def level(self) -> float:
        """Where the machine's source stands, in spans above the middle: drawn once."""
        if self._level is None:
            self._level = float(self.rng.uniform(-0.5, 0.5))
        return self._level

    def shows(self, visit: int, circumstance: str) -> bool:
        """Whether an intermittent fault shows in this visit and circumstance: drawn once."""
        chance = self.table.hypotheses[self.truth].shows
        if chance is None:
            return True
        key = (visit, circumstance)
        if key not in self._shows:
            share = self.shows_share * chance.get(circumstance, 0.0)
            if circumstance == LOOKED:  # its mark stays
                share = 1.0
            self._shows[key] = bool(self.rng.random() < share)
        return self._shows[key]

    def read(
        self, test: str, visit: int = 0, again: int = 0, after: Iterable[str] = ()
    ) -> Item:
        """This test as the meter shows it: whoever asks first or later sees the same reading.
        ``again`` counts the times that the probes were set anew; ``after``: the tests taken before,
        some of which mend for good what they ask for (a pack that the shop has charged)."""
        undoes = self.table.undoes
        undone = frozenset[str]().union(*(undoes.get(t, frozenset()) for t in (*after, test)))
        undone = undone.intersection(self.table.hypotheses[self.truth].marks)
        self._undone = self.table.gone(test, undone)
        key = (test, visit, again, self._undone)
        if key not in self._read:
            reading = self._draw(test, visit)
            self._read[key] = Item(f"{test}@{visit}.{again}", test, reading, visit)
        return self._read[key]

    def _draw(self, test: str, visit: int) -> Reading:
        row = self.table.without(self.table.rows[test], self._undone)
        slip = row.slip if self.slip is None else (self.slip if row.quantity != "yes_no" else 0)
        if self.forced:
            return self._forced(row, self._without_slip(row, visit))
        if self.table.hypotheses[self.truth].kind == "other":
            return self._unlisted(row, visit)
        stays = LASTING * slip  # the wrong point or the wrong part: so each time
        if self._once(f"stays {test}", visit, self.rng.random) < stays:
            return self._same_wrong(row, visit)
        if self.rng.random() < (slip - stays) / (1 - stays):
            return self._anything(row)
        return self._without_slip(row, visit)

    def _once(self, what: str, visit: int, draw: Callable[[], T]) -> T:
        """Drawn at the first asking, the same ever after."""
        if (what, visit) not in self._kept:
            self._kept[what, visit] = draw()
        return self._kept[what, visit]  # type: ignore[no-any-return]

    def _same_wrong(self, row: Row, visit: int) -> Reading:
        return self._once(f"wrong {row.id}", visit, lambda: self._anything(row))

    def _unlisted(self, row: Row, visit: int) -> Reading:
        if self._once(f"hit {row.id}", visit, self.rng.random) < self.few:
            return self._same_wrong(row, visit)
        return self._shown(row, row.forecasts[row.good], visit)

    def _without_slip(self, row: Row, visit: int) -> Reading:
        hypothesis = self.table.hypotheses[self.truth]
        if hypothesis.kind == "other":
            return self._unlisted(row, visit)
        visible = row.index[self.truth] != row.good
        showing = self.shows(visit, row.circumstance)
        forecast = row.forecasts[row.index[self.truth] if showing else row.good]
        jumpy = hypothesis.shows is not None and visible and showing
        if jumpy and row.quantity != "yes_no" and self.rng.random() < JUMPY:
            return self._special(row, "unsteady")
        return self._shown(row, forecast, visit)

    def _forced(self, row: Row, right: Reading) -> Reading:
        """The one slip of this job, if it falls on this reading and changes it."""
        wrong = self._struck(row, right)
        if self.slipped or wrong is None:
            return right
        self.forced_at -= 1
        if self.forced_at > 0:
            return right
        self.slipped = row.id
        return wrong

    def _struck(self, row: Row, right: Reading) -> Reading | None:
        if row.quantity not in SLIPPERY:
            return None
        if self.forced == "contact":
            open_ = row.quantity in ("ohms", "diode")
            if open_:
                return None if right.kind == "over" else self._special(row, "over")
            *_, step = self._u(row, 0.0)
            zero = self._value(row, float(self.rng.integers(-1, 2)) * step, step)
            return None if right.kind == "value" and abs(right.value) < 5 * step else zero
        if right.kind != "value" or (row.quantity == "ohms" and right.value < 1e3):
            return None
        small = right.value / 1e3
        *_, step = self._u(row, right.value)
        step /= 1e3
        u_random, u_shared, _, _ = self._u(row, small)
        return (
            None
            if abs(small) < step
            else replace(
                right,
                low=small,
                high=small,
                text=f"{small:g}",
                u_random=u_random,
                u_shared=u_shared,
            )
        )

    def _shown(self, row: Row, forecast: Forecast, visit: int) -> Reading:
        if row.quantity == "yes_no":
            assert forecast.yes is not None
            return self._special(row, "yes" if self.rng.random() < forecast.yes else "no")
        true = self._once(f"true {row.id} {id(forecast)}", visit, lambda: self._true(forecast))
        if isinstance(true, str):
            return self._special(row, true)
        held = any(p.held for p in forecast.pieces)
        return self._metered(row, true if held else true * (1 + self.scale * row.spread))

    def _true(self, forecast: Forecast) -> float | str:
        """What this machine really has there: a value, or over, or unsteady."""
        pieces = forecast.pieces
        share = np.array([p.share for p in pieces])  # may miss 1 in the sixth digit
        piece = pieces[self.rng.choice(len(pieces), p=share / share.sum())]
        if piece.kind in ("over", "unsteady"):
            return piece.kind
        if piece.kind == "around":
            return float(self.rng.normal(piece.low, piece.high))
        low, high, moved = piece.low, piece.high, 1.0
        if piece.held is not None:  # as far as the source goes, all with the same one
            low, high, moves = piece.held
            moved += moves * self.level
        if piece.kind == "between":
            return moved * float(self.rng.uniform(low, high))
        return moved * math.exp(self.rng.uniform(math.log(low), math.log(high)))

    def _u(self, row: Row, value: float) -> tuple[float, float, float | None, float]:
        if not self.meter.ranges(row.quantity):
            u = ROUGH * max(abs(value), 1e-3)
            return u, 0.0, None, u
        limit = self.meter.ranges(row.quantity)[-1].full_scale
        value = math.copysign(min(abs(value), limit), value)
        budget = self.meter.budget(row.quantity, value)
        chosen = self.meter.range_for(row.quantity, value)
        assert chosen is not None
        return budget.u_random, budget.u_shared, limit, chosen.resolution

    def _metered(self, row: Row, true: float) -> Reading:
        u_random, u_shared, limit, step = self._u(row, true)
        shown = true * (1 + self.meter_bias) + self.gain * u_shared
        noise = math.sqrt(max(u_random**2 - step**2 / 12, 0.0))  # rounding comes by itself
        shown += noise * self.rng.standard_normal()
        if limit is not None and abs(shown) > limit:
            return self._special(row, "over")
        return self._value(row, shown, step)

    def _value(self, row: Row, shown: float, step: float) -> Reading:
        shown = round(shown / step) * step
        u_random, u_shared, _, step = self._u(row, shown)
        return Reading(
            "value", row.quantity, shown, shown, "", f"{shown:g}", u_random, u_shared, step,
            self.meter.name,
        )  # fmt: skip

    def _special(self, row: Row, kind: str) -> Reading:
        low = (
            self.meter.limit(row.quantity) if kind == "over" and row.quantity != "yes_no" else None
        )
        return Reading(kind, row.quantity, low, None, "", kind, meter=self.meter.name)  # type: ignore[arg-type]

    def _anything(self, row: Row) -> Reading:
        if row.quantity == "yes_no":
            return self._special(row, "yes" if self.rng.random() < 0.5 else "no")
        draw = self.rng.random()
        zero, over = LOST.get(row.quantity, (0.20, 0.25))
        if draw < over:
            return self._special(row, "over")
        if draw < over + 0.10:
            return self._special(row, "unsteady")
        if draw < over + 0.10 + zero:
            *_, step = self._u(row, 0.0)
            left = NO_CONTACT * REACH.get(row.quantity, (1e-3, 1e6))[0]
            return self._value(row, self.rng.uniform(-left, left), step)
        small, large = REACH.get(row.quantity, (1e-3, 1e6))
        ranges = self.meter.ranges(row.quantity)
        large = min(large, ranges[-1].full_scale) if ranges else large
        value = math.exp(self.rng.uniform(math.log(small), math.log(large)))
        value *= 1 if self.rng.random() < 0.8 else -1
        *_, step = self._u(row, value)
        return self._value(row, value, step)


def draw_truth(
    table: Table, rng: np.random.Generator, weight: Callable[[Hypothesis], float] | None = None
) -> int:
    """A hypothesis by its weight after the complaint, times ``weight``."""
    p = table.prior
    if weight is not None:
        p = p * np.array([weight(h) for h in table.hypotheses])
    return int(rng.choice(len(table.hypotheses), p=p / p.sum()))
