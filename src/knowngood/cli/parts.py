"""``knowngood parts``: suppliers' price lists taken, and parts found in them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

parts_app = typer.Typer(help="Parts: price lists and numbers.", rich_markup_mode=None)

Store = Annotated[
    Path | None,
    typer.Option("--store", help="The record of the jobs; else KNOWNGOOD_STORE, else your own."),
]


@parts_app.command("take")
def take_command(
    file: Annotated[Path, typer.Argument(help="A price list: CSV, XLSX or ODS.")],
    maker: Annotated[str, typer.Option(help="Whose list it is.")],
    currency: Annotated[str, typer.Option(help="As USD.")],
    number: Annotated[str, typer.Option(help="Name of the column with the number.")] = "",
    words: Annotated[str, typer.Option(help="... with the description.")] = "",
    price: Annotated[str, typer.Option(help="... with the price.")] = "",
    became: Annotated[str, typer.Option(help="... with the number that replaces it.")] = "",
    decimals: Annotated[
        str, typer.Option(help="comma or point, where the prices do not tell.")
    ] = "",
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Only say what would change.")
    ] = False,
    without_bad: Annotated[
        bool, typer.Option("--without-bad", help="Leave lines with a problem out.")
    ] = False,
    store: Store = None,
    by: Annotated[str, typer.Option(help="Who takes it.")] = "",
) -> int:
    """Take a maker's list in place of the one before; columns are remembered."""
    from knowngood.cli.price_lists import take
    from knowngood.shop.pricelist import Columns

    named = Columns(number, words, price, became) if number and words and price else None
    if named is None and (number or words or price or became):
        raise typer.BadParameter("name all of --number, --words and --price, or none of them")
    return take(file, maker, currency, named, dry_run, without_bad, store, by, decimals)


@parts_app.command("undo")
def undo_command(
    maker: Annotated[str, typer.Argument(help="Whose list.")],
    reason: Annotated[str, typer.Option(help="Why.")] = "",
    store: Store = None,
    by: Annotated[str, typer.Option(help="Who does it.")] = "",
) -> int:
    """Take back the list taken last; the one before it stands again."""
    from knowngood.cli.price_lists import undo

    return undo(maker, reason, False, store, by)


@parts_app.command("drop")
def drop_command(
    maker: Annotated[str, typer.Argument(help="Whose lists.")],
    reason: Annotated[str, typer.Option(help="Why, as: the name was mistyped.")],
    store: Store = None,
    by: Annotated[str, typer.Option(help="Who does it.")] = "",
) -> int:
    """Let all lists of a maker go."""
    from knowngood.cli.price_lists import undo

    return undo(maker, reason, True, store, by)


@parts_app.command("find")
def find_command(
    text: Annotated[str, typer.Argument(help="A number, its beginning, or words.")],
    store: Store = None,
) -> int:
    """Find a part; a number that was replaced leads to the one to order."""
    from knowngood.cli.price_lists import find

    return find(text, store)


@parts_app.command("lists")
def lists_command(store: Store = None) -> int:
    """The price lists there are, from when and how many parts."""
    from knowngood.cli.price_lists import lists

    return lists(store)
