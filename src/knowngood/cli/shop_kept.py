"""The work behind ``knowngood shop``; the exit code."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Final

from knowngood.cli.paperwork import moment, said
from knowngood.cli.to_read import to_read
from knowngood.job.shop_sheet import ShopNoted
from knowngood.places.premises import note_shop, the_shop
from knowngood.places.record import At, Record, Refused
from knowngood.shop.money import Money, read_amount
from knowngood.store.where import store_path

LONGEST: Final[Mapping[str, int]] = {"fee": 1000, "storage": 1000}
SHORT: Final = 300  # characters of every other text


@dataclass(frozen=True, slots=True)
class Given:
    """What was typed, None for what stays as it is; "" takes it away."""

    name: str | None = None
    address: list[str] | None = None
    phone: str | None = None
    rate: str | None = None
    currency: str | None = None
    fee: str | None = None
    fee_amount: str | None = None
    credited: bool | None = None
    storage: str | None = None
    keep_days: str | None = None
    fetch_days: str | None = None
    zone: str | None = None
    person: list[str] | None = None


def shop(given: Given, store: Path | None, json_out: bool, by: str) -> int:
    """Set what is given, then say how the sheet stands."""

    def work() -> None:
        changed = given != Given()
        with Record.open(store_path(store)) if changed else to_read(store) as record:
            if changed:
                note_shop(record, _after(the_shop(record), given), At(moment(), by or "somebody"))
            sheet = the_shop(record)
        print(json.dumps(asdict(sheet), ensure_ascii=False) if json_out else _told(sheet))

    return said(work)


def _after(sheet: ShopNoted, given: Given) -> ShopNoted:
    new: dict[str, Any] = {}
    for name in ("name", "phone", "currency", "fee", "storage", "zone"):
        if (text := getattr(given, name)) is not None:
            new[name] = _text(name, text)
    if given.address is not None:
        lines = [line.strip() for text in given.address for line in text.splitlines()]
        new["address"] = _text("address", "\n".join(line for line in lines if line))
    if given.person is not None:
        names = dict.fromkeys(_text("person", one) for one in given.person)
        new["people"] = tuple(one for one in names if one)
    currency = str(new.get("currency", sheet.currency)).upper() or "USD"
    for text, name in ((given.rate, "bench_rate"), (given.fee_amount, "fee_amount")):
        if text is not None:
            new[name] = float(read_amount(text or "0", currency).amount)
    for name in ("keep_days", "fetch_days"):
        if (text := getattr(given, name)) is not None:
            new[name] = _days(name, text)
    if given.credited is not None:
        new["fee_credited"] = given.credited
    return replace(sheet, **new)


def _text(name: str, text: str) -> str:
    most = LONGEST.get(name, SHORT)
    if len(text.strip()) > most:
        raise Refused(f"--{name} has {len(text.strip())} characters; at most {most} are kept")
    return text.strip()


def _days(name: str, text: str) -> float:
    if not (text.strip() or "0").isdecimal():
        option = name.replace("_", "-")
        raise Refused(f"--{option} is {text[:40]!r}; give whole days, as 30")
    return float((text.strip() or "0")[:9])


def _told(sheet: ShopNoted) -> str:
    """Every detail on a line of its own, with the option that sets it where it is not set."""

    def money(amount: float) -> str:
        if not sheet.currency:
            return f"{amount:.2f}, in no currency yet (--currency)"
        return str(Money(read_amount(str(amount), sheet.currency).amount, sheet.currency))

    def days(count: float) -> str:
        return f"{count:g} days" if count else ""

    credited = ", credited when the repair goes ahead" if sheet.fee_credited else ""
    rows = [
        ("name", "--name", sheet.name),
        ("address", "--address", ", ".join(sheet.address.splitlines())),
        ("phone", "--phone", sheet.phone),
        ("rate an hour", "--rate", money(sheet.bench_rate) if sheet.bench_rate else ""),
        ("currency", "--currency", sheet.currency),
        ("fee, as it is told", "--fee", sheet.fee),
        ("diagnosis fee", "--fee-amount",
         money(sheet.fee_amount) + credited if sheet.fee_amount else ""),
        ("storage", "--storage", sheet.storage),
        ("failed parts kept", "--keep-days", days(sheet.keep_days)),
        ("not fetched, said again", "--fetch-days", days(sheet.fetch_days)),
        ("time zone", "--zone", sheet.zone),
        ("who works here", "--person", ", ".join(sheet.people)),
    ]  # fmt: skip
    return "\n".join(f"{words}: {value or f'not set ({option})'}" for words, option, value in rows)
