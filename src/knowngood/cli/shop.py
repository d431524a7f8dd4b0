"""``knowngood shop``: who the shop is, its rate and terms, who works here."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Store = Annotated[
    Path | None,
    typer.Option("--store", help="The record of the jobs; else KNOWNGOOD_STORE, else your own."),
]


def shop_command(
    name: Annotated[str | None, typer.Option(help="As it prints on the papers.")] = None,
    address: Annotated[
        list[str] | None, typer.Option(help="A line of it; may repeat, and replaces all lines.")
    ] = None,
    phone: Annotated[str | None, typer.Option(help="As it prints on the papers.")] = None,
    rate: Annotated[str | None, typer.Option(help="What you ask for an hour, as 84.00.")] = None,
    currency: Annotated[str | None, typer.Option(help="Its three letters, as USD.")] = None,
    fee: Annotated[str | None, typer.Option(help="The fee, as the customer is told.")] = None,
    fee_amount: Annotated[
        str | None, typer.Option(help="Of a diagnosis, before tax, as 35.00.")
    ] = None,
    credited: Annotated[
        bool | None,
        typer.Option("--credited/--not-credited", help="The fee, when the repair goes ahead."),
    ] = None,
    storage: Annotated[str | None, typer.Option(help="Its terms, as the customer is told.")] = None,
    keep_days: Annotated[str | None, typer.Option(help="Failed parts are kept so long.")] = None,
    fetch_days: Annotated[
        str | None, typer.Option(help="A machine not fetched is said again after them; else 7.")
    ] = None,
    zone: Annotated[str | None, typer.Option(help="Time zone, as Europe/Vienna.")] = None,
    person: Annotated[
        list[str] | None, typer.Option(help="Who works here; may repeat, and replaces all.")
    ] = None,
    store: Store = None,
    json_out: Annotated[bool, typer.Option("--json", help="Answer as JSON, for scripts.")] = False,
    by: Annotated[str, typer.Option("--by", help="Who enters this.")] = "",
) -> int:
    """The shop's name, address, rate, terms and people; what is given is set, "" takes it away."""
    from knowngood.cli.shop_kept import Given, shop

    given = Given(
        name, address, phone, rate, currency, fee, fee_amount, credited, storage, keep_days,
        fetch_days, zone, person,
    )  # fmt: skip
    return shop(given, store, json_out, by)
