"""A pack that may catch fire is said wherever its job is a line, in the words of the stop card."""

from __future__ import annotations

from datetime import datetime
from io import BytesIO
from pathlib import Path
from zoneinfo import ZoneInfo

from fastapi.testclient import TestClient
from pypdf import PdfReader

from knowngood.diagnosis.hazard import STOP
from knowngood.job.counter import HandedBack
from knowngood.job.counter import PackTaken as Pack
from knowngood.places import bench, shelf
from knowngood.places.counter import Sheet, check_in
from knowngood.places.gather import load_job
from knowngood.places.record import At, Record
from knowngood.web.app import create_app

NOW = datetime(2026, 11, 25, 10, 0, tzinfo=ZoneInfo("America/New_York"))
SAM = At(NOW, "Sam")
MOWER = "mower-battery-56v"


def came(record: Record, job: str, **said: object) -> None:
    sheet = Sheet(machine=MOWER, complaint="dead", customer="Ana Pohl", **said)  # type: ignore[arg-type]
    check_in(record, job, sheet, SAM)


def line(record: Record, job: str) -> shelf.Line:
    return next(one for one in shelf.waiting(record, NOW) if one.job == job)


def test_a_swollen_pack_of_the_counter_stands_on_every_line(tmp_path: Path) -> None:
    path = tmp_path / "shop.db"
    with Record.open(path, patience=0.01) as record:
        came(record, "a1", packs=(Pack("p1", "BP-1", trouble=("swollen",)),))
        came(record, "b1")
        assert line(record, "a1").unsafe == f"{STOP} (swollen)"
        assert line(record, "b1").unsafe == ""
        assert {one.job: one.unsafe[:4] for one in shelf.found(record, "pohl", NOW)} == {
            "a1": "Stop", "b1": ""}  # fmt: skip
    with TestClient(create_app(path, patience=0.01)) as client:
        for page in ("/shelf", "/shelf?q=pohl", "/bench", "/counter", "/shelf/next",
                     "/job/a1/shelf"):  # fmt: skip
            text = client.get(page).text.split("<template")[0].replace("<bdi>", "")
            assert f"{STOP} (swollen" in text, page
        sheet = PdfReader(BytesIO(client.get("/paperwork/sheet.pdf").content))
        assert f"{STOP} (swollen)" in " ".join(sheet.pages[0].extract_text().split())
        assert "catch fire" not in client.get("/job/b1/shelf").text.split("<template")[0]


def test_yes_alone_is_enough(tmp_path: Path) -> None:
    with Record.open(tmp_path / "shop.db", patience=0.01) as record:
        came(record, "a1", unsafe=True, unsafe_asked=True)
        assert line(record, "a1").unsafe == f"{STOP} (swollen, hot, leaking, wet or dropped)"


def test_what_the_bench_saw_counts_until_it_is_taken_back(tmp_path: Path) -> None:
    with Record.open(tmp_path / "shop.db", patience=0.01) as record:
        came(record, "a1")
        bench.take_reading(record, "a1", "look_pack", "yes", SAM)
        assert line(record, "a1").unsafe.startswith(STOP)
        bench.take_reading(record, "a1", "look_terminals", "no", SAM)
        assert "swollen" in line(record, "a1").unsafe
        first = load_job(record, "a1").readings[0].id
        bench.withdraw(record, "a1", first, "wrong pack looked at", SAM)
        assert line(record, "a1").unsafe == ""


def test_a_pack_that_went_out_is_said_no_more_and_one_that_stays_is(tmp_path: Path) -> None:
    with Record.open(tmp_path / "shop.db", patience=0.01) as record:
        for job in ("a1", "b1"):
            came(record, job, packs=(Pack("p1", "BP-1", trouble=("hot",)),))
        record.append("a1", [HandedBack("Ana", packs=("p1",))], SAM)
        record.append("b1", [HandedBack("Ana")], SAM)
        assert line(record, "a1").unsafe == ""
        assert line(record, "b1").unsafe == f"{STOP} (hot)"
