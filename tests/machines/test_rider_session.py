"""The demo's riding mower that will not crank, played: one reading for the whole start chain, a
voltage drop under load, proof, claim."""

from __future__ import annotations

from datetime import timedelta, timezone
from importlib import resources
from pathlib import Path

from knowngood.cli.bench import Clock, echoed, play, session_lines
from knowngood.cli.session import Session, Start
from knowngood.demo.pictures import draw_meter, draw_plate
from knowngood.isolate.prices import Prices
from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import Record


def test_from_no_crank_to_the_ground_cable(tmp_path: Path) -> None:
    draw_plate(tmp_path / "plate-rider.png", "TOLMIN", "TR-42", "2207B00318", "12 V d.c.")
    draw_meter(tmp_path / "meter-rider.png", "7.66", "V DC", "ground lug, minus clamp")
    start = Start(find_machine("rider-start-12v"), "", find_meter("generic-6000"), Prices(),
                  "Mr. Adeyemi", "Tolmin", "TR-42", "2207B00318")  # fmt: skip
    said: list[str] = []
    text = (resources.files("knowngood.demo") / "rider.txt").read_text(encoding="utf-8")
    clock = Clock(timezone(timedelta(hours=-6)))
    with Record.open(tmp_path / "shop.db") as record:
        session = Session(record, start, "Ana Reyes", said.append, clock, folder=tmp_path)
        session.begin()
        play(session, clock, echoed(session, session_lines(text)))
    whole = " ".join(" ".join(said).split())
    # one reading at the end of the start chain clears fuse, key and interlocks
    halved = whole.index("volts at the small terminal, key in START: 11.66 V")
    assert (
        halved
        < whole.index("Cleared: 1", halved)
        < whole.index("drop of the ground cable while cranking: 7.66")
    )
    assert "* Red on the ground lug, black on the minus clamp, crank." in whole  # it asks for it
    assert "9-2320-211-20" in whole  # where the 0.2 V come from
    assert "Proven: order ground cable, part TN-52013" in whole
    assert "Wheels blocked" in whole and "30 s at most, then 2 minutes of rest" in whole
    assert (tmp_path / "claim-rider.pdf").read_bytes().startswith(b"%PDF")
