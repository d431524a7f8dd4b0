"""Dates, minutes and money as they stand on paper."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, tzinfo
from decimal import ROUND_HALF_UP, Decimal
from zoneinfo import ZoneInfo

from knowngood.job.things import Stamp
from knowngood.shop.money import step_of

NOT_GIVEN = "not given"
TO_READ = "to be read at the old part or in the maker's list"
"""Of a part's number that nobody has read yet."""
_MONTHS = ["January", "February", "March", "April", "May", "June", "July"]
_MONTHS += ["August", "September", "October", "November", "December"]


def day(when: date) -> str:
    """ "4 March 2026": no country's order of figures to mistake."""
    return f"{when.day} {_MONTHS[when.month - 1]} {when.year}"


def day_and_time(when: datetime) -> str:
    return f"{day(when)}, {when.hour:02d}:{when.minute:02d}"


def day_of(at: Stamp | None) -> str:
    """The day of an event in the shop's zone."""
    return day(_in_zone(at)) if at else NOT_GIVEN


def moment_of(at: Stamp) -> str:
    """Day and time by the device; where it came in more than a day apart, both."""
    told = day_and_time(at.device_time)
    if abs(at.device_time - at.server_time) > timedelta(days=1):
        return f"{told} by the device, received {day(_in_zone(at))}"
    return told


def _in_zone(at: Stamp) -> datetime:
    zone: tzinfo = UTC
    try:
        zone = ZoneInfo(at.zone) if at.zone else UTC
    except (KeyError, ValueError, OSError):
        zone = UTC
    return at.server_time.astimezone(zone)


def minutes(amount: float) -> str:
    """ "12 min", "7.5 min"."""
    return f"{_decimal(amount).quantize(Decimal('0.1'), ROUND_HALF_UP).normalize():f} min"


def labour(minutes_worked: float, rate: float) -> Decimal:
    """Money for minutes at a rate an hour, to the hundredth, half up."""
    return _cents(_decimal(minutes_worked) * _decimal(rate) / 60)


def price(amount: float) -> Decimal:
    return _cents(_decimal(amount))


def money(amount: Decimal, currency: str) -> str:
    """ "74.42 USD"; no currency is assumed where none is given."""
    step = step_of(currency)
    return f"{amount.quantize(step, ROUND_HALF_UP):f} {currency}".strip()


def listed(words: list[str]) -> str:
    """ "pack, charger and fuse"."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def sentence(text: str) -> str:
    """Starts with a capital and ends with a full stop."""
    text = text.strip()
    if not text:
        return ""
    text = text[0].upper() + text[1:]
    return text if text[-1] in ".!?" else f"{text}."


def _decimal(amount: float) -> Decimal:
    return Decimal(str(amount))


def _cents(amount: Decimal) -> Decimal:
    return amount.quantize(Decimal("0.01"), ROUND_HALF_UP)
