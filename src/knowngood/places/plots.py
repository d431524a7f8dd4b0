"""The figures of the shop as plots, from the same tables as the screen and the CSV."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from knowngood.drawing.columns import Columns, draw_columns
from knowngood.places.figures import ShopTables
from knowngood.shop.figures import Figure, Month

_ABOUT: Final = (
    ("turnaround", "From check-in to closing, by month", "days", 1.0,
     (("half of the jobs were quicker", "turnaround, median"),
      ("nine of ten were quicker", "turnaround, nine of ten"))),
    ("mended", "Mended at once, and come back, by month", "% of jobs", 100.0,
     (("first-time fix", "first-time fix"), ("comebacks", "comebacks"))),
    ("minutes", "Bench time sold and worked, by month", "minutes", 1.0,
     (("sold", "minutes sold"), ("worked", "minutes worked"))),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Plot:
    """`name` is that of its file, without ".svg"."""

    name: str
    columns: Columns

    @property
    def svg(self) -> str:
        return draw_columns(self.columns)


def plots_of(tables: ShopTables) -> tuple[Plot, ...]:
    """The plots that have something to show."""
    made = [
        Plot(name, Columns(title, unit, month_names(tables.months), tuple(
            (words, tuple(_of(month, figure, factor) for month in tables.months))
            for words, figure in series
        )))
        for name, title, unit, factor, series in _ABOUT
    ]  # fmt: skip
    currencies = dict.fromkeys(figure.unit for figure in tables.owed)
    made += [_owed(currency, tables.owed) for currency in currencies]
    return tuple(plot for plot in made if _shows(plot.columns))


def month_names(months: Sequence[Month]) -> tuple[str, ...]:
    """ "Mar 2026", "Apr": the year where it begins."""
    names = []
    for n, month in enumerate(months):
        year = f" {month.first.year}" if n == 0 or month.first.month == 1 else ""
        names.append(f"{_MONTHS[month.first.month - 1]}{year}")
    return tuple(names)


_MONTHS: Final = (
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
)  # fmt: skip


def _owed(currency: str, owed: Sequence[Figure]) -> Plot:
    mine = [f for f in owed if f.unit == currency]
    labels = tuple(f.name.removeprefix("claims owed, ") for f in mine)
    series = (("sent so long ago, not paid yet", tuple(f.value for f in mine)),)
    return Plot(f"owed-{currency}", Columns("Owed on claims, by age", currency, labels, series))


def _of(month: Month, name: str, factor: float) -> float | None:
    """A month without a job has nothing to say, not nought."""
    found = next(figure for figure in month.figures if figure.name == name)
    return None if found.value is None or not found.of else found.value * factor


def _shows(plot: Columns) -> bool:
    return any(value is not None for _, values in plot.series for value in values)
