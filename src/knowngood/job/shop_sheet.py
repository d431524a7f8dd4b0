"""The shop itself: its name, rates, terms and people, as somebody noted them last.

They are kept in the record under the id `SHOP` as a job's events are, so that what stood on a day
can be seen later; a job pins what it uses when it opens.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from knowngood.job.plain import Words

if TYPE_CHECKING:
    from knowngood.job.events import Envelope

SHOP = "shop"
"""Where the record keeps the shop's own sheet; no job has this id."""


@dataclass(frozen=True, slots=True)
class ShopNoted:
    """The whole sheet; each one replaces the one before.

    `bench_rate`: money an hour in `currency`, 0 when not given. `fee` and `storage`: the terms in
    the shop's words, as they print on the claim check. `keep_days`: how long a failed part is kept.
    `zone`: the shop's time zone, such as Europe/Vienna. `people`: who works here. `fee_amount`: for
    a diagnosis, before tax, in `currency`; `fee_credited`: taken off when the repair is done.
    `fetch_days`: after which a machine that nobody fetched is said again, 0 for the usual.
    """

    name: str = ""
    address: str = ""
    phone: str = ""
    bench_rate: float = 0.0
    currency: str = ""
    fee: str = ""
    storage: str = ""
    keep_days: float = 0.0
    zone: str = ""
    people: Words = ()
    fee_amount: float = 0.0
    fee_credited: bool = False
    fetch_days: float = 0.0


def shop_sheet(events: Iterable[Envelope]) -> ShopNoted:
    """The sheet as it stands; an empty one when nothing was noted."""
    noted = [e for e in events if isinstance(e.event, ShopNoted)]
    last = max(noted, key=lambda e: e.seq, default=None)
    return last.event if last is not None and isinstance(last.event, ShopNoted) else ShopNoted()
