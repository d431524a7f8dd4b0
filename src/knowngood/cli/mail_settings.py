"""``knowngood mail``: how the shop's mail goes out. The password is shown nowhere."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

mail_app = typer.Typer(help="How the shop's mail goes out.", rich_markup_mode=None)

Store = Annotated[
    Path | None,
    typer.Option("--store", help="The record of the jobs; else KNOWNGOOD_STORE, else your own."),
]
By = Annotated[str, typer.Option("--by", help="Who enters this.")]


@mail_app.command("set")
def set_command(
    server: Annotated[
        str | None, typer.Option(help="As mail.example.org; empty: letters become files.")
    ] = None,
    port: Annotated[int | None, typer.Option(help="0: the usual one.")] = None,
    safety: Annotated[str | None, typer.Option(help="starttls, tls or none.")] = None,
    sender: Annotated[str | None, typer.Option(help="Address the letters come from.")] = None,
    user: Annotated[str | None, typer.Option(help="Name at the server; empty: none.")] = None,
    secret: Annotated[
        str | None, typer.Option(help="Where the password lies: env:NAME or file:PATH.")
    ] = None,
    password: Annotated[
        bool,
        typer.Option(
            "--password", help="Ask for it, or take a line of input; kept in a file of mode 600."
        ),
    ] = False,
    letter: Annotated[
        list[str] | None,
        typer.Option(help="ready=FILE: the shop's own text; ready= goes back to the usual one."),
    ] = None,
    store: Store = None,
    by: By = "",
) -> int:
    """Change what is given, and leave the rest as it stands."""
    from knowngood.cli.mail import Changed, set_mail

    changed = Changed(server, port, safety, sender, user, secret, password, tuple(letter or ()))
    return set_mail(changed, store, by)


@mail_app.command("show")
def show_command(
    store: Store = None,
    json_out: Annotated[bool, typer.Option("--json", help="Answer as JSON, for scripts.")] = False,
) -> int:
    """How mail goes out, and whether the password can be read; never the password."""
    from knowngood.cli.mail import show_mail

    return show_mail(store, json_out)


@mail_app.command("test")
def test_command(
    to: Annotated[str, typer.Argument(help="Address that a short message goes to.")],
    store: Store = None,
) -> int:
    """Send a short message, to see that the settings are right."""
    from knowngood.cli.mail import test_mail

    return test_mail(to, store)
