"""The command `knowngood`: names, options and exit codes; the work is in this room's modules.

Each command imports its module when it runs, so that `knowngood --help` answers at once.

Exit codes: 0 done; 2 the input is wrong, each problem listed with its place; 3 no answer within the
limits; 70 a fault of the program, noted in a file; 130 stopped by the person.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from knowngood.cli.guard import guarded
from knowngood.cli.job import Json, Store, job_app, record_at
from knowngood.cli.learn import learn_app
from knowngood.cli.mail_settings import mail_app
from knowngood.cli.paper import paper_app
from knowngood.cli.parts import parts_app
from knowngood.cli.shop import shop_command
from knowngood.cli.stock import stock_app

app = typer.Typer(
    name="knowngood",
    help="Finds the one part to order: what a reading proves, and the next step that costs least.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
    no_args_is_help=True,
)
machine_app = typer.Typer(help="Machine files.", rich_markup_mode=None)
app.add_typer(job_app, name="job", no_args_is_help=True)
app.add_typer(machine_app, name="machine", no_args_is_help=True)
app.add_typer(learn_app, name="learn", no_args_is_help=True)
app.add_typer(mail_app, name="mail", no_args_is_help=True)
app.add_typer(paper_app, name="paper", no_args_is_help=True)
app.add_typer(parts_app, name="parts", no_args_is_help=True)
app.add_typer(stock_app, name="stock", no_args_is_help=True)
app.command("shop")(shop_command)

Machine = Annotated[str, typer.Option("--machine", help="Name of a known machine, or a file.")]
Complaint = Annotated[str, typer.Option("--complaint", help="Id of the complaint in its file.")]
Meter = Annotated[str | None, typer.Option("--meter", help="Name of a meter sheet.")]
Lessons = Annotated[str | None, typer.Option("--lessons", help="A file of `learn save`.")]
Deadline = Annotated[
    float | None, typer.Option("--deadline", min=0.0, help="Seconds to plan at most.")
]


@app.command("isolate")
def isolate_command(
    task: Annotated[Path, typer.Argument(help="A task file: faults, parts, covers, tests.")],
    json_out: Json = False,
    deadline: Deadline = None,
    no_exact: Annotated[
        bool, typer.Option("--no-exact", help="Stop after 0.15 s, proven optimal or not.")
    ] = False,
) -> int:
    """Plan a bare task: the next step and the whole cost."""
    from knowngood.cli.isolate import isolate

    return isolate(task, json_out, deadline, no_exact)


@app.command("solve")
def solve_command(
    circuit: Annotated[Path, typer.Argument(help="A circuit file: elements, probes, faults.")],
    json_out: Json = False,
) -> int:
    """Solve a circuit, healthy and with each fault."""
    from knowngood.cli.solve import solve

    return solve(circuit, json_out)


@app.command("assess")
def assess_command(
    machine: Machine,
    complaint: Complaint,
    readings: Annotated[Path, typer.Option("--readings", help="A file of readings, JSON.")],
    meter: Meter = None,
    json_out: Json = False,
    deadline: Deadline = None,
    lessons: Lessons = None,
) -> int:
    """What the readings prove, and what to do next."""
    from knowngood.cli.assess import assess

    return assess(machine, complaint, readings, meter, json_out, deadline, lessons)


@app.command("table")
def table_command(
    machine: Machine,
    complaint: Annotated[
        str | None, typer.Option("--complaint", help="Only the suspects of this complaint.")
    ] = None,
    json_out: Json = False,
    lessons: Lessons = None,
) -> int:
    """What every test should read under every suspect."""
    from knowngood.cli.assess import table

    return table(machine, complaint, json_out, lessons)


@app.command("sum")
def sum_command(
    name: Annotated[str | None, typer.Argument(help="Name of the sum; without it, all.")] = None,
    inputs: Annotated[
        list[str] | None,
        typer.Argument(help='Inputs with units, such as length="3 m" amps=10.'),
    ] = None,
    json_out: Json = False,
) -> int:
    """A textbook sum of the bench, with its doubt, formula and source."""
    from knowngood.cli.sum import run_sum

    return run_sum(name, inputs or [], json_out)


@app.command("read")
def read_command(
    text: Annotated[str, typer.Argument(help='A reading as the meter shows it: "12.4 V".')],
    meter: Meter = None,
    quantity: Annotated[
        str | None, typer.Option("--as", help="Quantity, where the unit does not tell: ohms.")
    ] = None,
    range_name: Annotated[
        str | None, typer.Option("--range", help='Range it was read on: "60 V".')
    ] = None,
    frequency: Annotated[
        str | None, typer.Option("--frequency", help='Of AC volts, where it is known: "300 Hz".')
    ] = None,
    json_out: Json = False,
) -> int:
    """What one reading is worth: its uncertainty budget, as a table."""
    from knowngood.cli.read import read

    return read(text, meter, quantity, range_name, frequency, json_out)


@app.command("plan")
def plan_command(
    machine: Machine,
    complaint: Complaint,
    meter: Meter = None,
    json_out: Json = False,
    nodes: Annotated[int, typer.Option("--nodes", min=1, help="Steps in the tree at most.")] = 127,
    lessons: Lessons = None,
    card: Annotated[
        Path | None,
        typer.Option("--card", help="Write a PDF instead: one page, the wiring on its back."),
    ] = None,
    shop: Annotated[str, typer.Option("--shop", help="Name of the shop on the card.")] = "",
) -> int:
    """The whole plan as a tree, for paper or a phone."""
    from knowngood.cli.assess import plan

    return plan(machine, complaint, meter, json_out, nodes, lessons, card, shop)


@app.command("bench")
def bench_command(
    machine: Annotated[
        str | None, typer.Option("--machine", help="Name of a known machine, or a file.")
    ] = None,
    complaint: Annotated[
        str | None, typer.Option("--complaint", help="Id of the complaint in its file.")
    ] = None,
    job: Annotated[str | None, typer.Option("--job", help="Go on with this job.")] = None,
    meter: Meter = None,
    store: Store = None,
    session: Annotated[
        Path | None, typer.Option("--session", help="A file of lines as typed, instead of typing.")
    ] = None,
    serial: Annotated[str, typer.Option("--serial", help="Serial number on the plate.")] = "",
    model: Annotated[str, typer.Option("--model", help="Model on the plate.")] = "",
    maker: Annotated[str, typer.Option("--maker", help="Maker on the plate.")] = "",
    customer: Annotated[str, typer.Option("--customer", help="Whose machine it is.")] = "",
    by: Annotated[str, typer.Option("--by", help="Who is at the bench.")] = "",
    shop: Annotated[str, typer.Option("--shop", help="Name of the shop on its papers.")] = "",
) -> int:
    """Work through one machine, reading by reading."""
    from knowngood.cli.bench import bench

    return bench(
        machine, complaint, job, meter, record_at(store), session, serial, model, customer, by,
        shop, maker, store_named=store is not None,
    )  # fmt: skip


@app.command("serve")
def serve_command(
    host: Annotated[
        str, typer.Option("--host", help="Address to listen at; 127.0.0.1 is this computer only.")
    ] = "0.0.0.0",
    port: Annotated[int, typer.Option("--port", min=0, max=65535)] = 8056,
    store: Store = None,
    open_browser: Annotated[
        bool, typer.Option("--open/--no-open", help="Open the browser of this computer.")
    ] = False,
    patience: Annotated[
        float | None,
        typer.Option("--patience", min=0.0, help="Seconds to plan after a reading at most."),
    ] = None,
    https: Annotated[
        bool, typer.Option("--https", help="Over HTTPS as well; see /trust in the browser.")
    ] = False,
    https_port: Annotated[
        int | None, typer.Option("--https-port", min=0, max=65535, help="By default PORT + 1.")
    ] = None,
) -> int:
    """The shop in the browsers of its own network, with a QR code for the phone."""
    from knowngood.cli.serve import serve

    return serve(record_at(store), host, port, open_browser, patience, https, https_port)


@machine_app.command("check")
def machine_check_command(
    file: Annotated[Path, typer.Argument(help="The machine file.")],
    json_out: Json = False,
) -> int:
    """List every problem of a machine file with its line and the way out."""
    from knowngood.cli.machine import check

    return check(file, json_out)


@machine_app.command("new")
def machine_new_command(
    file: Annotated[Path, typer.Argument(help="The file to write.")],
    family: Annotated[str, typer.Option(help="The shipped family it belongs to.")],
    words: Annotated[str, typer.Option(help="What it is called at the counter.")] = "",
    answer: Annotated[
        list[str] | None, typer.Option(help="QUESTION=ANSWER; what is left out stays open.")
    ] = None,
) -> int:
    """Describe an unknown machine: a short file on top of a family, ready to work with at once."""
    from knowngood.cli.new_machine import new

    return new(file, family, words, answer or [])


@machine_app.command("answer")
def machine_answer_command(
    file: Annotated[Path, typer.Argument(help="A file that machine new wrote.")],
    question: Annotated[str, typer.Argument(help="Which question, such as cells.")],
    said: Annotated[str, typer.Argument(help="The answer, such as 10.")],
) -> int:
    """Answer what was not seen yet; comments and order of the file stay."""
    from knowngood.cli.new_machine import answer

    return answer(file, question, said)


@machine_app.command("number")
def machine_number_command(
    file: Annotated[Path, typer.Argument(help="The machine file.")],
    part: Annotated[str, typer.Argument(help="The part, by its id or its words.")],
    number: Annotated[str, typer.Argument(help="The maker's number, such as OX-4410.")],
    model: Annotated[
        list[str] | None, typer.Option(help="A model it fits; may be given again.")
    ] = None,
    serial_from: Annotated[str, typer.Option(help="The first serial it fits.")] = "",
    serial_to: Annotated[str, typer.Option(help="The last serial it fits.")] = "",
    read_at: Annotated[str, typer.Option(help="Where it was read, such as the old part.")] = "",
) -> int:
    """Write a part's number into a machine file; comments and order of the file stay."""
    from knowngood.cli.new_machine import number as put

    return put(file, part, number, model or (), serial_from, serial_to, read_at)


@machine_app.command("audit")
def machine_audit_command(
    file: Annotated[str, typer.Argument(help="The machine file, or a shipped machine.")],
    before: Annotated[
        str | None, typer.Option(help="An earlier file, whose minutes are shown beside.")
    ] = None,
    json_out: Json = False,
) -> int:
    """What the tests of a file cannot tell, which never decide, and the minutes to proof."""
    from knowngood.cli.audit import audit_file

    return audit_file(file, before, json_out)


@app.command(
    "demo",
    add_help_option=False,
    context_settings={"ignore_unknown_options": True, "allow_extra_args": True},
)
def demo_command(context: typer.Context) -> int:
    """Play three jobs on the demo shop, each to its claim."""
    from knowngood.cli.demo import run

    return run(context.args)


def main(arguments: list[str] | None = None) -> int:
    """Run one command and return its exit code; a person never meets a traceback.

    arguments: as typed after `knowngood`; by default those of the process.
    """
    return guarded(lambda: app(arguments, prog_name="knowngood", standalone_mode=False))
