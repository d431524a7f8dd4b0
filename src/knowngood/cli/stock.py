"""``knowngood stock``: the shop's own parts, orders and what to order again."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

stock_app = typer.Typer(help="The shop's own parts and its orders.", rich_markup_mode=None)

Number = Annotated[str, typer.Argument(help="Part number.")]
Many = Annotated[int, typer.Argument(help="How many.")]
Order = Annotated[str, typer.Argument(help="Number of the order.")]
Store = Annotated[
    Path | None,
    typer.Option("--store", help="The record of the jobs; else KNOWNGOOD_STORE, else your own."),
]
By = Annotated[str, typer.Option("--by", help="Who enters this.")]


@stock_app.command("show")
def show_command(store: Store = None) -> int:
    """What lies there, what waits for a job, what is on order, what jobs want."""
    from knowngood.cli.stock_work import show

    return show(store)


@stock_app.command("count")
def count_command(
    number: Number,
    many: Many,
    words: Annotated[str, typer.Option(help="What it is.")] = "",
    bin: Annotated[str, typer.Option(help="Where it lies.")] = "",
    store: Store = None,
    by: By = "",
) -> int:
    """So many lie there now."""
    from knowngood.cli.stock_work import count

    return count(number, many, words, bin, store, by)


@stock_app.command("use")
def use_command(
    number: Number, many: Many,
    job: Annotated[str, typer.Option(help="Number of the job it goes into.")] = "",
    store: Store = None, by: By = "",
) -> int:  # fmt: skip
    """Take parts off the shelf."""
    from knowngood.cli.stock_work import use

    return use(number, many, job, store, by)


@stock_app.command("keep")
def keep_command(
    number: Number, many: Many, job: Annotated[str, typer.Option(help="Number of the job.")],
    store: Store = None, by: By = "",
) -> int:  # fmt: skip
    """Keep parts for a job; 0 sets them free."""
    from knowngood.cli.stock_work import keep

    return keep(number, many, job, store, by)


@stock_app.command("order")
def order_command(
    order: Order,
    supplier: Annotated[str, typer.Option(help="Where it was ordered.")],
    line: Annotated[
        list[str] | None,
        typer.Option(help='"BW-210; 2; 42.00; 26-0004": number, count, price, job; may repeat.'),
    ] = None,
    wanted: Annotated[
        bool, typer.Option("--wanted", help="Take all that jobs want of this supplier.")
    ] = False,
    currency: Annotated[str, typer.Option(help="As USD; else the shop's.")] = "",
    freight: Annotated[
        str, typer.Option(help="What sending it costs; else what the supplier's terms say.")
    ] = "",
    expected: Annotated[str, typer.Option(help="Day it should be here.")] = "",
    old_numbers: Annotated[
        bool, typer.Option("--old-numbers", help="A number that became another one is meant.")
    ] = False,
    store: Store = None,
    by: By = "",
) -> int:
    """Write an order down."""
    from knowngood.cli.stock_work import order as work

    return work(
        order, supplier, line or [], wanted, currency, freight, expected, store, by, old_numbers
    )


@stock_app.command("came")
def came_command(
    order: Order,
    part: Annotated[
        list[str] | None, typer.Option(help='"BW-210; 1"; without any, all that is open came.')
    ] = None,
    store: Store = None,
    by: By = "",
) -> int:
    """Parts of an order are here; says which jobs can go on."""
    from knowngood.cli.stock_work import came

    return came(order, part or [], store, by)


@stock_app.command("back")
def back_command(
    order: Order, number: Number, many: Many,
    reason: Annotated[str, typer.Option(help="Why it goes back.")],
    store: Store = None, by: By = "",
) -> int:  # fmt: skip
    """A wrong part goes back to its supplier."""
    from knowngood.cli.stock_work import back

    return back(order, number, many, reason, store, by)


@stock_app.command("supplier")
def supplier_command(
    supplier: Annotated[str, typer.Argument(help="Whose terms; without, those of all.")] = "",
    currency: Annotated[str, typer.Option(help="As USD.")] = "",
    minimum: Annotated[str, typer.Option(help="The least order it takes.")] = "",
    freight: Annotated[str, typer.Option(help="What an order costs beside the parts.")] = "",
    store: Store = None, by: By = "",
) -> int:  # fmt: skip
    """A supplier's least order and freight: what is given is kept, the rest stays and is shown."""
    from knowngood.cli.stock_work import supplier as keep_terms

    return keep_terms(supplier, currency, minimum, freight, store, by)


@stock_app.command("undo")
def undo_command(
    entry: Annotated[str, typer.Argument(help="An order's number; else the last entry.")] = "",
    reason: Annotated[str, typer.Option(help="Why.")] = "",
    store: Store = None, by: By = "",
) -> int:  # fmt: skip
    """Take back the last use, receipt, return or order."""
    from knowngood.cli.stock_work import undo

    return undo(entry, reason, store, by)


@stock_app.command("advice")
def advice_command(
    lead: Annotated[float, typer.Option(help="Months from order to shelf.")] = 0.5,
    varies: Annotated[float, typer.Option(help="Its standard deviation, in months.")] = 0.0,
    service: Annotated[float, typer.Option(help="Chance that stock suffices meanwhile.")] = 0.95,
    store: Store = None,
) -> int:
    """What to order again, with the figures behind it."""
    from knowngood.cli.stock_work import advice

    return advice(lead, varies, service, store)


@stock_app.command("last")
def last_command(
    number: Number,
    months: Annotated[float, typer.Option(help="Months it will still be asked for.")],
    too_few: Annotated[float, typer.Option(help="Lost for each one missing.")],
    too_many: Annotated[float, typer.Option(help="Lost for each one left over.")],
    store: Store = None,
) -> int:
    """How many to buy when a number will not be made any more."""
    from knowngood.cli.stock_work import last

    return last(number, months, too_few, too_many, store)
