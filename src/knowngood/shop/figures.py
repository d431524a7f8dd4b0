"""The figures of a shop over a time, from what each job tells. Pure; sources beside each rule."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from statistics import quantiles
from typing import Final

REPAIRED = "repaired"
NOT_FOUND = "no fault found"
MOST_MONTHS: Final = 24


@dataclass(frozen=True, slots=True)
class JobFacts:
    """One job. `left`: closed on, None while it is open; `gone`: handed back on; `comeback_of`:
    the older job it is a comeback of.

    `worked`: minutes noted on it; `sold`: minutes that were paid for, None where money was asked
    for labour and the shop has set no rate in its currency; `wrong`: price of parts that were
    fitted or ordered and did not cure it, `examples`: how many of these have only an example for a
    price; `why_none`: "without labour on the estimate", where nothing was sold.
    """

    id: str
    came: date
    left: date | None = None
    outcome: str = ""
    comeback_of: str = ""
    worked: float = 0.0
    sold: float | None = 0.0
    wrong: Decimal = Decimal(0)
    examples: int = 0
    why_none: str = ""
    gone: date | None = None


@dataclass(frozen=True, slots=True)
class Figure:
    """`value` None when nothing can be said; `of`: from how many jobs. `how` explains it."""

    name: str
    value: float | None
    unit: str
    of: int
    how: str

    @property
    def money(self) -> bool:
        """Whether its unit is a currency."""
        return len(self.unit) == 3 and self.unit.isupper()

    @property
    def shown(self) -> str:
        if self.value is None:
            return "nothing yet"
        if self.unit == "%":
            return f"{100 * self.value:.0f} %"
        if self.unit == "jobs" and self.value == 1:
            return "1 job"
        digits = 0 if self.unit == "jobs" else 2 if self.money or not self.unit else 1
        return f"{self.value:.{digits}f} {self.unit}".strip()


@dataclass(frozen=True, slots=True)
class Month:
    """The figures of the days of one month that lie in the time asked for."""

    first: date
    last: date
    figures: tuple[Figure, ...]

    def value(self, name: str) -> float | None:
        return next(f.value for f in self.figures if f.name == name)


def by_month(
    jobs: Sequence[JobFacts], first: date, last: date, currency: str = ""
) -> tuple[Month, ...]:
    """The same figures month by month, the oldest first; of a long time the latest 24 months."""
    months: list[Month] = []
    start = date(last.year, last.month, 1)
    end = last
    while end >= first and len(months) < MOST_MONTHS:
        begin = max(start, first)
        months.append(Month(begin, end, figures(jobs, begin, end, currency)))
        if start == date.min:
            break
        end = start - timedelta(1)
        start = end.replace(day=1)
    return tuple(reversed(months))


def figures(
    jobs: Sequence[JobFacts], first: date, last: date, currency: str = ""
) -> tuple[Figure, ...]:
    """The figures of jobs that were closed from `first` to `last`, both in.

    Shares count jobs; a share of none is not 0. Days are whole days from check-in to closing.
    """
    done = [j for j in jobs if j.left is not None and first <= j.left <= last]
    gone = sum(j.gone is not None and first <= j.gone <= last for j in jobs)
    days = [float((j.left - j.came).days) for j in done if j.left is not None]
    repaired = [j for j in done if j.outcome == REPAIRED]
    back = {j.comeback_of for j in jobs if j.comeback_of}
    held = [j for j in repaired if j.id not in back]
    comebacks = [j for j in done if j.comeback_of]
    none_found = [j for j in done if j.outcome == NOT_FOUND]
    rated = [j for j in done if j.sold is not None]
    worked, sold = sum(j.worked for j in rated), sum(j.sold or 0.0 for j in rated)
    left_out = "left out: the shop's rate is not set (knowngood shop), or in another currency"
    no_rate = f"; {len(done) - len(rated)} {left_out}"
    unrated = no_rate if len(rated) < len(done) else ""
    why = Counter(j.why_none for j in rated if j.why_none).most_common()
    which = ", ".join(f"{n} job{'s' * (n > 1)} {words}" for words, n in why)
    none = f"; none from {which}" if why else ""
    examples = sum(j.examples for j in done)
    by_example = f"; {examples} at a machine file's example price" if examples else ""
    return (
        Figure("closed", float(len(done)), "jobs", len(done), "closed in this time"),
        Figure("handed back", float(gone), "jobs", len(done),
               "machines fetched in this time, whenever their jobs were closed"),
        Figure("turnaround, median", _quantile(days, 50), "days", len(days),
               "from check-in to closing, half of the jobs were quicker"),
        Figure("turnaround, nine of ten", _quantile(days, 90), "days", len(days),
               "nine of ten jobs were quicker"),
        Figure("first-time fix", _share(held, repaired), "%", len(repaired),
               "repaired jobs that no later job is a comeback of"),
        Figure("comebacks", _share(comebacks, done), "%", len(done),
               "jobs that were linked to an older one"),
        Figure("no fault found", _share(none_found, done), "%", len(done), "closed as such"),
        Figure("minutes worked", sum(j.worked for j in done), "min", len(done),
               "as noted on the jobs"),
        Figure("minutes sold", sold if rated or not done else None, "min", len(rated),
               "labour of repairs agreed to and claims granted, at the shop's own rate"
               f"{none}{unrated}"),
        Figure("sold of worked", sold / worked if worked else None, "%", len(rated),
               f"below 100 % the bench works unpaid{unrated}"),
        Figure("wrong parts", float(sum(j.wrong for j in done)), currency, len(done),
               f"price of parts ordered and given up again{by_example}"),
    )  # fmt: skip


def _share(some: Sequence[JobFacts], whole: Sequence[JobFacts]) -> float | None:
    return len(some) / len(whole) if whole else None


def _quantile(values: list[float], percent: int) -> float | None:
    """By the inclusive method of the library (Hyndman & Fan 1996, type 7)."""
    if not values:
        return None
    if len(values) == 1:
        return values[0]
    return quantiles(values, n=100, method="inclusive")[percent - 1]
