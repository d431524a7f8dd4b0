"""Who sends a paper, and what only the papers of the purchase can tell. Plain data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from knowngood.shop.claim_check import Worth
from knowngood.shop.money import Money, nothing


@dataclass(frozen=True, slots=True)
class Shop:
    """The shop as its letterhead. `bench_rate` is money an hour, `currency` as it is written.

    `keep_days`: how long a failed part is kept for the programme; None leaves it to the programme.
    """

    name: str
    address: tuple[str, ...] = ()
    phone: str = ""
    bench_rate: float | None = None
    currency: str = ""
    keep_days: int | None = None

    @property
    def lines(self) -> tuple[str, ...]:
        return (*self.address, self.phone) if self.phone else self.address


@dataclass(frozen=True, slots=True)
class Earlier:
    """A claim that went out before and is sent again. `words`: number and day of each earlier
    sending, what was answered and what came in, as one sentence; `sent`: (number, ISO day) of each.
    """

    words: str
    sent: tuple[tuple[str, str], ...]
    granted: Money
    received: Money
    reason: str = ""

    def open_of(self, total: Money) -> Money:
        """What of the whole sum was not granted before; never below nothing."""
        left = total - self.granted
        return left if left.amount > 0 else nothing(total.currency)


@dataclass(frozen=True, slots=True)
class Given:
    """What a programme asks for and the bench cannot measure, in words; "" prints "not given".

    `labour_rate`: what the programme pays for an hour, where it differs from the bench rate;
    `currency` of rates and `prices`, "" for that of the check-in.
    `worth`: what its rules make of minutes and parts; `cover`: what they say of this machine;
    `shows`: what of the things it asks for is shown with the claim, and what is not. `in_short`:
    what is asked for and why, for a reader who has half a minute. `keep`: until when and how the
    failed part is kept. `earlier`: of a claim that is sent again. `notices`: recalls and service
    notices that mean this machine. `prices`: by part what it costs the shop and where that stands,
    for a claim without `worth`.
    """

    claim_number: str = ""
    programme: str = ""
    proof_of_purchase: str = ""
    in_service: str = ""
    failed_on: str = ""
    hours: str = ""
    use: str = ""
    failure_code: str = ""
    labour_rate: float | None = None
    bench_rate: float | None = None
    rate_set: bool = True
    currency: str = ""
    worth: Worth | None = None
    cover: str = ""
    shows: str = ""
    in_short: str = ""
    keep: str = ""
    notices: str = ""
    earlier: Earlier | None = None
    prices: Mapping[str, tuple[Decimal, str]] = field(default_factory=dict)
