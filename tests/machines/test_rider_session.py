"""The demo's riding mower that will not crank, played: one reading for the whole start chain, a
voltage drop under load, proof, claim. Every step is the planner's own."""

from __future__ import annotations

import re
from datetime import timedelta, timezone
from importlib import resources
from pathlib import Path

from knowngood.cli.bench import Clock, echoed, play, session_lines
from knowngood.cli.session import Session, Start
from knowngood.demo.pictures import draw_meter, draw_plate
from knowngood.diagnosis.assess import assess
from knowngood.isolate.prices import Prices
from knowngood.places.gather import look
from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import Record

LOOKS = 24  # of the planner at each step: the same proposals on every computer


def text() -> str:
    return (resources.files("knowngood.demo") / "rider.txt").read_text(encoding="utf-8")


def played(record: Record, folder: Path, lines: str) -> tuple[list[str], str]:
    """What was said, and the job's id."""
    draw_plate(folder / "plate-rider.png", "TOLMIN", "TR-42", "2207B00318", "12 V d.c.")
    draw_meter(folder / "meter-rider.png", "12.56", "V DC", "solenoid studs")
    start = Start(find_machine("rider-start-12v"), "", find_meter("generic-6000"), Prices(),
                  "Mr. Adeyemi", "Tolmin", "TR-42", "2207B00318")  # fmt: skip
    said: list[str] = []
    clock = Clock(timezone(timedelta(hours=-6)))
    session = Session(record, start, "Ana Reyes", said.append, clock, folder=folder)
    session.begin()
    play(session, clock, echoed(session, session_lines(lines)))
    return said, session.job_id


def test_from_no_crank_to_the_solenoid(tmp_path: Path) -> None:
    with Record.open(tmp_path / "shop.db") as record:
        said, _ = played(record, tmp_path, text())
    whole = " ".join(" ".join(said).split())
    # one reading at the end of the start chain: fuse, key, switches and their wires let it through
    halved = whole.index("volts at the small terminal, key in START: 12.38 V")
    assert (
        halved
        < whole.index("18 parts cannot make it so", halved)
        < whole.index("drop of the solenoid contacts, coil fed by jumpers: 12.56")
    )
    assert "9-2320-211-20" in whole  # where the 0.2 V come from
    assert "Proven: order starter solenoid, part TN-52030" in whole
    assert "Wheels blocked" in whole and "30 s at most, then 2 minutes of rest" in whole
    assert (tmp_path / "claim-rider.pdf").read_bytes().startswith(b"%PDF")


def test_each_reading_of_the_demo_is_the_one_that_was_proposed(tmp_path: Path) -> None:
    """Nothing is overridden: before each the cheapest next step is the test that is read. ("no:" is
    the answer to why the part failed.)"""
    lines = text().splitlines()
    taken = [n for n, line in enumerate(lines) if re.match(r"(?!no: )[a-z_]+: ", line)]
    assert len(taken) >= 4
    for n in taken:
        folder = tmp_path / str(n)
        folder.mkdir()
        with Record.open(folder / "shop.db") as record:
            _, job = played(record, folder, "\n".join(lines[:n]) + "\n")
            view = look(record, job)
            step = assess(view.setup, view.evidence, deadline=None, max_expansions=LOOKS).next
        assert step is not None and step.id == lines[n].split(":")[0], lines[n]
