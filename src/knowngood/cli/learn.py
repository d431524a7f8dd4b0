"""``knowngood learn``: what this shop knows by its own closed jobs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

learn_app = typer.Typer(
    help="What closed jobs have taught: known-good readings, limits, weights, minutes.",
    rich_markup_mode=None,
)

Machine = Annotated[str, typer.Argument(help="A machine's id, a shipped name, or a file.")]
Model = Annotated[
    str, typer.Option("--model", help="Maker and model whose own readings count first.")
]
Json = Annotated[bool, typer.Option("--json", help="Answer as JSON, for scripts.")]
Store = Annotated[
    Path | None,
    typer.Option("--store", help="The record of the jobs; else KNOWNGOOD_STORE, else your own."),
]


@learn_app.command("list")
def list_command(store: Store = None, json_out: Json = False) -> int:
    """The machine files of which there are closed jobs."""
    from knowngood.cli.learned import show_list

    return show_list(store, json_out)


@learn_app.command("show")
def show_command(
    machine: Machine,
    test: Annotated[str, typer.Argument(help="Only this test, with each reading.")] = "",
    model: Model = "",
    store: Store = None,
    json_out: Json = False,
) -> int:
    """Limits and their readings, weights of the faults and minutes, of one machine file."""
    from knowngood.cli.learned import show_machine

    return show_machine(store, machine, test, model, json_out)


@learn_app.command("ask")
def ask_command(
    machine: Annotated[str, typer.Argument(help="Only of this machine's id.")] = "",
    store: Store = None,
    json_out: Json = False,
) -> int:
    """Readings that stand out: each is kept, put down as wrong, or as of a machine that differs."""
    from knowngood.cli.learned import show_questions

    return show_questions(store, machine, json_out)


@learn_app.command("answer")
def answer_command(
    reading: Annotated[str, typer.Argument(help="As learn ask names it, such as 26-0007/3.")],
    said: Annotated[str, typer.Argument(help="keep, wrong or differs.")],
    reason: Annotated[str, typer.Argument(help="Why, in your words.")] = "",
    by: Annotated[str, typer.Option("--by", help="Who says so.")] = "",
    store: Store = None,
) -> int:
    """Say what a reading that stands out is."""
    from knowngood.cli.learned import give_answer

    return give_answer(store, reading, said, reason, by)


@learn_app.command("save")
def save_command(
    machine: Machine,
    file: Annotated[Path, typer.Argument(help="The file to write, for assess --lessons.")],
    model: Model = "",
    store: Store = None,
) -> int:
    """Write what the shop knows of a machine by now to a file, as a job pins it."""
    from knowngood.cli.learned import save

    return save(store, machine, file, model)
