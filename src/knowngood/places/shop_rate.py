"""What the shop asks for an hour: given by it, or only the usual figure, which is no money yet."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from knowngood.isolate.prices import Prices
from knowngood.job.job import Job
from knowngood.places.premises import the_shop
from knowngood.places.record import Record
from knowngood.shop.claim_check import RATE_NOT_SET

NOT_SET: Final = RATE_NOT_SET
USUAL: Final = Prices().bench_rate


@dataclass(frozen=True, slots=True)
class BenchRate:
    """Money an hour. ``given``: by the shop; else it is the program's usual figure, good for
    weighing steps against each other and not to be printed as money."""

    amount: Decimal
    given: bool


def rate_of(record: Record, job: Job) -> BenchRate:
    """The rate the job was opened with where the shop set it, else that of its sheet today."""
    pinned = job.opened.rates.get("bench_rate") if job.opened else None
    told = float(pinned) if isinstance(pinned, int | float) else 0.0
    sheet = the_shop(record).bench_rate
    if told not in (0.0, USUAL):
        return BenchRate(Decimal(str(told)), True)
    return BenchRate(Decimal(str(sheet or told or USUAL)), bool(sheet))
