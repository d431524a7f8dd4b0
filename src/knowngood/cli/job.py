"""``knowngood job``: the jobs a shop keeps; the work is in other modules."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

job_app = typer.Typer(help="The jobs this shop keeps.", rich_markup_mode=None)

Json = Annotated[bool, typer.Option("--json", help="Answer as JSON, for scripts.")]
Store = Annotated[
    Path | None,
    typer.Option("--store", help="The record of the jobs; else KNOWNGOOD_STORE, else your own."),
]


def record_at(store: Path | None) -> Path:
    """Where the jobs lie; a wrong place is a wrong option."""
    from knowngood.store.problem import StoreProblem
    from knowngood.store.where import store_path

    try:
        return store_path(store)
    except StoreProblem as problem:
        raise typer.BadParameter(str(problem), param_hint="--store") from None


@job_app.command("list")
def job_list_command(store: Store = None, json_out: Json = False) -> int:
    """All jobs, with what each one waits for."""
    from knowngood.cli.jobs import list_jobs

    return list_jobs(record_at(store), json_out)


@job_app.command("show")
def job_show_command(
    job: Annotated[str, typer.Argument(help="Number of the job.")],
    store: Store = None,
    json_out: Json = False,
) -> int:
    """One job: what it came in for, what is proven, what is off, what is next."""
    from knowngood.cli.jobs import show

    return show(record_at(store), job, json_out)


@job_app.command("next")
def job_next_command(
    minutes: Annotated[
        float, typer.Option("--minutes-a-day", min=1, help="Minutes at the bench in a day.")
    ] = 360.0,
    person: Annotated[list[str] | None, typer.Option(help='As "Ida: mower"; may repeat.')] = None,
    store: Store = None,
    json_out: Json = False,
) -> int:
    """Jobs that can go on now, in the order to take them, with why; shared out among people."""
    from knowngood.cli.next_up import next_jobs

    return next_jobs(record_at(store), minutes, json_out, person or [])


@job_app.command("figures")
def job_figures_command(
    since: Annotated[str, typer.Option("--since", help="First day, as 2026-03-01.")] = "",
    until: Annotated[str, typer.Option("--until", help="Last day; else today.")] = "",
    as_csv: Annotated[bool, typer.Option("--csv", help="As CSV.")] = False,
    months: Annotated[bool, typer.Option("--months", help="Month by month.")] = False,
    svg: Annotated[
        Path | None, typer.Option("--svg", help="A folder: drawn, a file for each plot.")
    ] = None,
    store: Store = None,
) -> int:
    """How the shop does: turnaround, first-time fix, comebacks, minutes sold and worked."""
    from knowngood.cli.figures import print_figures

    return print_figures(record_at(store), since, until, as_csv, months, svg)


@job_app.command("pickup")
def job_pickup_command(
    job: Annotated[str, typer.Argument(help="Number of the job, which is closed.")],
    to: Annotated[str, typer.Option("--to", help="Who took the machine.")] = "",
    stays: Annotated[
        list[str] | None, typer.Option("--stays", help="What stays here; may repeat.")
    ] = None,
    anyway: Annotated[
        str, typer.Option("--anyway", help="Why it goes although held; with --by.")
    ] = "",
    out: Annotated[Path | None, typer.Option("--out", help="The receipt as PDF.")] = None,
    by: Annotated[str, typer.Option("--by", help="Who does it.")] = "",
    store: Store = None,
) -> int:
    """The customer fetches it: handed back to whom, with what, and the receipt. The invoice of a
    closed job is `knowngood paper estimate --job JOB --out invoice.pdf`."""
    from knowngood.cli.pickup import pickup

    return pickup(job, to, stays or [], anyway, out, store, by)


@job_app.command("export")
def job_export_command(
    job: Annotated[str, typer.Argument(help="Number of the job.")],
    output: Annotated[
        Path | None, typer.Argument(help="A folder to write; else the events alone are printed.")
    ] = None,
    store: Store = None,
) -> int:
    """Everything recorded on one job, with its pictures, as a folder."""
    from knowngood.cli.jobs import export

    return export(record_at(store), job, output)


@job_app.command("import")
def job_import_command(
    folder: Annotated[Path, typer.Argument(help="A folder that `job export` wrote.")],
    store: Store = None,
) -> int:
    """Take over an exported job; doing it twice changes nothing."""
    from knowngood.cli.jobs import import_export

    return import_export(record_at(store), folder)


@job_app.command("backup")
def job_backup_command(
    folder: Annotated[Path, typer.Argument(help="A new folder, best on another disk.")],
    store: Store = None,
) -> int:
    """Copy the record with its pictures; the shop may go on working meanwhile."""
    from knowngood.cli.jobs import back_up

    return back_up(record_at(store), folder)


@job_app.command("restore")
def job_restore_command(
    folder: Annotated[
        Path, typer.Argument(help="A folder of `job backup`, or the file saved in the browser.")
    ],
    store: Store = None,
) -> int:
    """Put a backup where there is no record yet."""
    from knowngood.cli.jobs import put_back

    return put_back(record_at(store), folder)
