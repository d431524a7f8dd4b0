"""``knowngood demo``: three jobs of an invented shop, played from check-in to the claim.

Everything typed lies in the package as readable text (knowngood/demo). Options: ``--out FOLDER``.
On a terminal the shop is served in the end, until Ctrl-C; ``--no-serve`` ends before.
"""

from __future__ import annotations

import argparse
import shlex
import shutil
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from importlib import resources
from pathlib import Path

from knowngood.cli.bench import Clock, echoed, play, session_lines
from knowngood.cli.session import Session, Start
from knowngood.demo.pictures import draw_meter, draw_plate
from knowngood.diagnosis.evidence import Evidence
from knowngood.documents.parties import Given, Shop
from knowngood.documents.pdf import write_pdf
from knowngood.isolate.prices import Prices
from knowngood.job.shop_sheet import ShopNoted
from knowngood.places.card import bench_card
from knowngood.places.library import find_complaint, find_machine, find_meter, make_setup
from knowngood.places.parts import take_list, try_list
from knowngood.places.plan import plan_lines, plan_tree
from knowngood.places.premises import note_shop
from knowngood.places.programmes import keep_notices, keep_programme
from knowngood.places.record import At, Record
from knowngood.places.wiring import deciding_test, marked_wiring
from knowngood.store.export import write_export

METER = "generic-6000"
ZONE = timezone(timedelta(hours=-6))
MARK = "Played by `knowngood demo`: invented shop, invented machines. Safe to delete.\n"
SHOP = Shop(
    "Alder Lane Small Engine & Cordless",
    ("14 Alder Lane", "invented for the demo"),
    "555 0114",
    bench_rate=90.0,
    currency="USD",
    keep_days=60,
)
SHEET = ShopNoted(
    SHOP.name, "\n".join(SHOP.address), SHOP.phone, 90.0, "USD",
    "Looking at it costs 45 USD, credited when we mend it.",
    "Kept free of charge for 30 days after we call.", 60.0, "", ("Ana Reyes", "Ida", "Sam"),
)  # fmt: skip


@dataclass(frozen=True)
class Played:
    """A job of the demo: what is typed lies in `name`.txt. ``plate``: what is printed on it beside
    model and serial; ``shows``: what the meter of its picture shows, in which range and where."""

    name: str
    machine: str
    complaint: str
    maker: str
    model: str
    serial: str
    customer: str
    plate: str
    shows: tuple[str, str, str]
    given: Given | None = None


JOBS = (
    Played(
        "dead", "mower-battery-56v", "dead", "Brackwater", "BM-561", "2304A01175", "Mrs. Okafor",
        "56 V d.c.", ("OL", "OHM", "bail switch, lever pressed"),
    ),
    Played(
        "slopes", "mower-battery-56v", "cuts_out_slopes", "Brackwater", "BM-561", "2309C00412",
        "Mr. Lindqvist", "56 V d.c.", ("1 ... 200", "OHM", "switch plug 1 and 2, fold bent"),
    ),
    Played(
        "rider", "rider-start-12v", "no_crank", "Tolmin", "TR-42", "2207B00318", "Mr. Adeyemi",
        "12 V d.c.", ("12.56", "V DC", "studs of the solenoid, its coil fed"),
        Given(proof_of_purchase="invoice 2208 of 30 September 2024, copy kept",
              in_service="30 September 2024", use="household", programme="invented for the demo"),
    ),
)  # fmt: skip


def run(argv: Sequence[str]) -> int:
    """Play the jobs, then serve them on a terminal; exit code. 2: the folder is not the demo's."""
    parser = argparse.ArgumentParser(prog="knowngood demo", description="Three jobs, played.")
    parser.add_argument("--out", default="demo-out", help="where papers and records go")
    parser.add_argument("--no-serve", action="store_true", help="end after the three jobs")
    try:
        options = parser.parse_args(list(argv))
    except SystemExit as stop:
        return int(stop.code or 0)
    out = Path(options.out)
    if problem := _make_room(out):
        print(problem)
        return 2
    started = time.monotonic()
    with Record.open(out / "shop.db") as record:
        at = At(datetime.now(ZONE), "Ana Reyes")
        note_shop(record, SHEET, at)
        keep_programme(record, _text("brackwater.yaml"), "brackwater.yaml", at)
        keep_notices(record, _text("recalls.yaml"), "recalls.yaml", at)
        for maker in ("Brackwater", "Tolmin"):
            name = f"{maker.casefold()}-parts.csv"
            text = _text(name)
            take_list(record, try_list(record, maker, "USD", text.encode(), name, None), text, at)
        for job in JOBS:
            draw_plate(out / f"plate-{job.name}.png", job.maker.upper(), job.model, job.serial,
                       job.plate)  # fmt: skip
            draw_meter(out / f"meter-{job.name}.png", *job.shows)
            _play(record, out, job)
    for job in {j.machine: j for j in reversed(JOBS)}.values():
        _papers(out, job)
    print(f"\nThree jobs played in {time.monotonic() - started:.0f} s. In {out}:")
    for path in sorted(p for p in out.iterdir() if not p.name.startswith("shop.db")):
        print(f"  {path.name}{'/' if path.is_dir() else ''}")
    print(f"  shop.db  (go on: knowngood bench --store {out / 'shop.db'} --job NUMBER)")
    if options.no_serve or not sys.stdout.isatty():
        return 0
    from knowngood.cli.serve import serve_demo

    return serve_demo(out / "shop.db")


def _make_room(out: Path) -> str:
    """Clear what an earlier demo left; a folder with anything else in it stays as it is."""
    note = out / "README.txt"
    if out.exists() and any(out.iterdir()):
        if not note.is_file() or note.read_text(encoding="utf-8") != MARK:
            return f"{out} is not empty and not the demo's own; name another with --out FOLDER"
        shutil.rmtree(out)
    try:
        out.mkdir(parents=True, exist_ok=True)
        note.write_text(MARK, encoding="utf-8")
    except OSError as error:
        return f"{out} cannot be written: {error.strerror or error}; name another with --out FOLDER"
    return ""


def _text(name: str) -> str:
    return (resources.files("knowngood.demo") / name).read_text(encoding="utf-8")


def _play(record: Record, out: Path, job: Played) -> None:
    start = Start(
        find_machine(job.machine), "", find_meter(METER), Prices(), job.customer, job.maker,
        job.model, job.serial,
    )  # fmt: skip
    lines: list[str] = []

    def say(line: str) -> None:
        lines.append(line)
        print(line)

    text = _text(f"{job.name}.txt")
    print(f"\n{'=' * 88}\n")
    clock = Clock(ZONE)
    again = f" --store {shlex.quote(str(out / 'shop.db'))}"
    session = Session(record, start, "Ana Reyes", say, clock, SHOP, job.given, out, again)
    session.begin()
    play(session, clock, echoed(session, session_lines(text)))
    (out / f"session-{job.name}.txt").write_text("\n".join([*lines, ""]), encoding="utf-8")
    if session.view is not None:
        events = record.log.events(session.view.job.id)
        write_export(events, record.files, out / f"export-{session.view.job.name}")
        svg = marked_wiring(session.view.setup.machine, deciding_test(session.view.job))
        if svg:
            (out / f"wiring-{job.name}.svg").write_text(svg, encoding="utf-8")


def _papers(out: Path, job: Played) -> None:
    """The plan of a complaint before anything is read, as text and as a bench card."""
    meter = find_meter(METER).it
    setup = make_setup(find_machine(job.machine).it, job.complaint, meter, Prices())
    machine = setup.machine
    words = find_complaint(machine, job.complaint).words
    tree = plan_tree(setup, Evidence(), most=127, deadline=3.0)
    lines = [f"{machine.words}: {words}. Plan on paper.", *plan_lines(tree), ""]
    (out / f"plan-{job.name}.txt").write_text("\n".join(lines), encoding="utf-8")
    now = datetime.now(ZONE)
    card, _ = bench_card(setup, words, SHOP, now=now)
    write_pdf(card, {}, out / f"card-{job.name}.pdf", now)
