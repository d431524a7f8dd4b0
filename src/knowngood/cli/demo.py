"""``knowngood demo``: two jobs of an invented shop, played from check-in to the claim.

Everything typed lies in the package as readable text (knowngood/demo). Options: ``--out FOLDER``.
"""

from __future__ import annotations

import argparse
import shutil
import time
from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from importlib import resources
from pathlib import Path

from knowngood.cli.bench import Clock, echoed, play, session_lines
from knowngood.cli.session import Session, Start
from knowngood.demo.pictures import draw_meter, draw_plate
from knowngood.diagnosis.evidence import Evidence
from knowngood.documents.parties import Given, Shop
from knowngood.isolate.prices import Prices
from knowngood.job.shop_sheet import ShopNoted
from knowngood.places.library import find_machine, find_meter, make_setup
from knowngood.places.plan import plan_lines, plan_tree
from knowngood.places.premises import note_shop
from knowngood.places.record import At, Record
from knowngood.store.export import write_export

MACHINE, METER = "mower-battery-56v", "generic-6000"
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
JOBS = (
    (
        "dead", "BM-561", "2304A01175", "Mrs. Okafor",
        Given(proof_of_purchase="till receipt of 2024-04-19, copy kept", in_service="2024-04-19",
              use="household", programme="invented for the demo"),
    ),
    (
        "slopes", "BM-561", "2309C00412", "Mr. Lindqvist",
        Given(proof_of_purchase="invoice 4471 of 2025-05-02, copy kept", in_service="2025-05-02",
              use="household", programme="invented for the demo"),
    ),
)  # fmt: skip


def run(argv: Sequence[str]) -> int:
    """Play both jobs; exit code. 2: the folder is not the demo's own."""
    parser = argparse.ArgumentParser(prog="knowngood demo", description="Two jobs, played.")
    parser.add_argument("--out", default="demo-out", help="where papers and records go")
    parser.add_argument("--no-serve", action="store_true", help="end after the two jobs")
    try:
        options = parser.parse_args(list(argv))
    except SystemExit as stop:
        return int(stop.code or 0)
    out = Path(options.out)
    if problem := _make_room(out):
        print(problem)
        return 2
    started = time.monotonic()
    _draw(out)
    with Record.open(out / "shop.db") as record:
        note_shop(record, SHEET, At(datetime.now(ZONE), "Ana Reyes"))
        for name, model, serial, customer, given in JOBS:
            start = Start(
                find_machine(MACHINE), "", find_meter(METER), Prices(), customer, "Brackwater",
                model, serial,
            )  # fmt: skip
            _play(record, out, name, start, given)
    _plan(out)
    print(f"\nBoth jobs played in {time.monotonic() - started:.0f} s. In {out}:")
    for path in sorted(p for p in out.iterdir() if not p.name.startswith("shop.db")):
        print(f"  {path.name}{'/' if path.is_dir() else ''}")
    print(f"  shop.db  (go on: knowngood bench --store {out / 'shop.db'} --job NUMBER)")
    return 0


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


def _draw(out: Path) -> None:
    for name, model, serial, _, _ in JOBS:
        draw_plate(out / f"plate-{name}.png", "BRACKWATER", model, serial, "56 V d.c.")
    draw_meter(out / "meter-dead.png", "OL", "OHM", "bail switch, lever pressed")
    draw_meter(out / "meter-slopes.png", "1 ... 200", "OHM", "switch plug 1 and 2, fold bent")


def _play(record: Record, out: Path, name: str, start: Start, given: Given) -> None:
    lines: list[str] = []

    def say(line: str) -> None:
        lines.append(line)
        print(line)

    text = (resources.files("knowngood.demo") / f"{name}.txt").read_text(encoding="utf-8")
    print(f"\n{'=' * 88}\n")
    clock = Clock(ZONE)
    session = Session(record, start, "Ana Reyes", say, clock, SHOP, given, out)
    session.begin()
    play(session, clock, echoed(session, session_lines(text)))
    (out / f"session-{name}.txt").write_text("\n".join([*lines, ""]), encoding="utf-8")
    if session.view is not None:
        events = record.log.events(session.view.job.id)
        write_export(events, record.files, out / f"export-{session.view.job.name}")


def _plan(out: Path) -> None:
    """The plan on paper for the first complaint, before anything is read."""
    setup = make_setup(find_machine(MACHINE).it, "dead", find_meter(METER).it, Prices())
    tree = plan_tree(setup, Evidence(), most=127, deadline=3.0)
    text = "\n".join([f"{setup.machine.words}: dead. Plan on paper.", *plan_lines(tree), ""])
    (out / "plan-dead.txt").write_text(text, encoding="utf-8")
