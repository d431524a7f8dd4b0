"""The shop's own sheet: who it is, its terms, who works here. Jobs pin what they use of it."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from knowngood.documents.parties import Shop
from knowngood.isolate.prices import Prices
from knowngood.job.shop_sheet import SHOP, ShopNoted, shop_sheet
from knowngood.places.library import prices_with
from knowngood.places.record import At, Record, Refused

NO_NAME = "Shop name not given"
MOST_PEOPLE = 40
THREE_LETTERS = re.compile("[A-Z]{3}")  # ISO 4217
RATE_GIVEN = "rate_given"
"""Among a job's rates: the shop had set its rate an hour when the job was opened."""


def the_shop(record: Record) -> ShopNoted:
    """The sheet as it stands; all empty when nobody has filled it in."""
    return shop_sheet(record.log.events(SHOP))


def note_shop(record: Record, sheet: ShopNoted, at: At) -> None:
    """Keep the sheet. Raises Refused naming what is off."""
    if sheet.zone and zone_of(sheet) is None:
        raise Refused(
            f"{sheet.zone!r} is no time zone; write it as area and city, such as Europe/Vienna"
        )
    if not 0 <= sheet.bench_rate < 1e6:
        raise Refused(f"a bench rate of {sheet.bench_rate:g} an hour; give a number of 0 or more")
    if not 0 <= sheet.fee_amount < 1e6:
        raise Refused(f"a diagnosis fee of {sheet.fee_amount:g}; give an amount of 0 or more")
    if not 0 <= sheet.keep_days <= 3650:
        raise Refused(f"{sheet.keep_days:g} days to keep a part; give 0 to 3650")
    if not 0 <= sheet.fetch_days <= 3650:
        raise Refused(f"{sheet.fetch_days:g} days until a machine is fetched; give 0 to 3650")
    sheet = replace(sheet, currency=sheet.currency.strip().upper())
    if sheet.currency and not THREE_LETTERS.fullmatch(sheet.currency):
        raise Refused(
            f"{sheet.currency!r} is no currency; write its three letters, such as USD or EUR"
        )
    if len(sheet.people) > MOST_PEOPLE:
        raise Refused(f"{len(sheet.people)} names; at most {MOST_PEOPLE} are kept")
    record.append(SHOP, [sheet], at)


def letterhead(record: Record) -> Shop:
    """The shop as its papers show it."""
    sheet = the_shop(record)
    return Shop(
        name=sheet.name or NO_NAME,
        address=tuple(line for line in sheet.address.splitlines() if line.strip()),
        phone=sheet.phone,
        bench_rate=sheet.bench_rate or None,
        currency=sheet.currency,
        keep_days=round(sheet.keep_days) or None,
    )


def prices_of(record: Record) -> Prices:
    """The usual prices with the shop's own rate and currency."""
    sheet = the_shop(record)
    given: dict[str, object] = {}
    if sheet.bench_rate:
        given["bench_rate"] = sheet.bench_rate
    if sheet.currency:
        given["currency"] = sheet.currency
    return prices_with(given)


def pinned_terms(record: Record) -> dict[str, str | float]:
    """What a job keeps of the sheet beside its rate: that it was set, the shop's name and the terms
    of the day."""
    sheet = the_shop(record)
    found: dict[str, str | float] = {
        "shop": sheet.name,
        "fee": sheet.fee,
        "storage": sheet.storage,
        "keep_days": sheet.keep_days,
        RATE_GIVEN: "yes" if sheet.bench_rate else "",
        "fee_amount": sheet.fee_amount,
        "fee_credited": "yes" if sheet.fee_amount and sheet.fee_credited else "",
    }
    return {name: value for name, value in found.items() if value}


def zone_of(sheet: ShopNoted) -> tzinfo | None:
    """The shop's time zone; None when it is not given or not known here."""
    try:
        return ZoneInfo(sheet.zone) if sheet.zone.strip() else None
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def in_shop_time(record: Record, now: datetime) -> datetime:
    """A time in the shop's zone; in that of this computer when the sheet names none."""
    return now.astimezone(zone_of(the_shop(record)) or now.tzinfo or UTC)


def people_of(record: Record) -> tuple[str, ...]:
    """Who works here: the names of the sheet, then those who wrote the latest entries."""
    names = (*the_shop(record).people, *record.log.people())
    return tuple(dict.fromkeys(name for name in names if name.strip()))[:MOST_PEOPLE]
