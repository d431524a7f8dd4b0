"""What the shop asks for an hour: given by it, or only the usual figure, which is no money yet."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from knowngood.isolate.prices import Prices
from knowngood.job.job import Job
from knowngood.places.premises import RATE_GIVEN, the_shop
from knowngood.places.record import Record
from knowngood.shop.claim_check import RATE_NOT_SET

NOT_SET: Final = RATE_NOT_SET
USUAL: Final = Prices().bench_rate


@dataclass(frozen=True, slots=True)
class BenchRate:
    """Money an hour. ``given``: by the shop; else it is the program's usual figure, good for
    weighing steps against each other and not to be printed as money. ``currency``: of the sheet or
    the check-in, whichever the amount is from; "" where neither says one."""

    amount: Decimal
    given: bool
    currency: str


def rate_of(record: Record, job: Job) -> BenchRate:
    """The rate the job was opened with where the shop set it, else that of its sheet today. A job
    opened before `RATE_GIVEN` was kept tells it by the amount: the usual one counts as none."""
    rates, sheet = job.opened.rates if job.opened else {}, the_shop(record)
    pinned, its = rates.get("bench_rate"), str(rates.get("currency", ""))
    told = float(pinned) if isinstance(pinned, int | float) else 0.0
    given = bool(rates.get(RATE_GIVEN)) or told not in (0.0, USUAL)
    if sheet.bench_rate and not given:
        return BenchRate(Decimal(str(sheet.bench_rate)), True, sheet.currency or its)
    return BenchRate(Decimal(str(told or USUAL)), given, its or sheet.currency)
