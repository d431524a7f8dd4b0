"""What a phone at the counter sends and asks: stored once, refused in words, never a fault."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pypdf
import pytest
from fastapi.testclient import TestClient

from knowngood.job.job import Job
from knowngood.places.record import Record
from knowngood.store.files import MOST_BYTES as FILE_BYTES
from knowngood.web.app import create_app
from knowngood.web.here import STATIC
from knowngood.web.pictures import MOST_BYTES, MOST_VIDEO
from tests.web.test_entries import NASTY, entry, send, status

MOWER = "mower-battery-56v"
FULL: dict[str, Any] = {
    "words": "It cuts out on the hill", "customer": "Rosa Okafor", "contact": "555 0142",
    "machine": MOWER, "maker": "Brackwater", "model": "BM-561", "serial": "2304A01175",
    "complaint": "cuts_out_slopes", "conditions": ["on slopes"], "told": [], "told_asked": True,
    "accessories": ["charger"], "packs": [{"pack": "p1", "serial": "BP-1", "trouble": ["hot"]}],
    "unsafe_asked": True,
}  # fmt: skip


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("web") / "shop.db"


@pytest.fixture(scope="module")
def web(store: Path) -> Iterator[TestClient]:
    with TestClient(create_app(store)) as client:
        yield client


def job_of(store: Path, job: str) -> Job:
    with Record.open(store) as record:
        found = record.log.job(job)
    assert found is not None
    return found


def test_a_check_in_is_stored_once_and_comes_back_with_its_number(
    web: TestClient, store: Path
) -> None:
    both = [entry(1, "JobOpened", **FULL)]
    first = send(web, "c1", *both, device="desk-1")
    assert status(first) == ["stored"]
    assert first["job"]["number"].startswith("26-") and first["job"]["small"]
    assert status(send(web, "c1", *both, device="desk-1")) == ["already"]
    assert status(send(web, "c1", entry(2, "JobOpened", **FULL), device="desk-1")) == ["stored"]
    assert len([e for e in job_of(store, "c1").notes]) == 1
    it = web.get("/api/jobs/c1/counter").json()
    assert it["unsafe"] and it["packs"][0]["said"] == "pack, serial BP-1 (hot)"
    assert it["complaints"] == ["Cuts out on slopes and bumps"]
    for page in ("sheet", "pickup", "bench"):
        assert web.get(f"/job/c1/{page}").status_code == 200
    for paper in ("tag.pdf", "tag.pdf?size=a6", "claim-check.pdf", "claim.pdf"):
        answer = web.get(f"/job/c1/{paper}")
        assert answer.status_code == 200 and answer.content.startswith(b"%PDF")


def test_the_papers_bear_the_promise_and_a_promise_too_early_is_called_out(
    web: TestClient, store: Path
) -> None:
    send(web, "c9", entry(1, "JobOpened", **FULL), device="desk-9")
    answer = send(
        web, "c9", entry(2, "Promised", promised="2031-03-12"),
        entry(3, "PartOrdered", part="start_box", expected="2031-03-14"), device="desk-9",
    )  # fmt: skip
    assert status(answer) == ["stored"] * 2
    for paper in ("tag.pdf", "tag.pdf?size=a6", "claim-check.pdf"):
        page = pypdf.PdfReader(io.BytesIO(web.get(f"/job/c9/{paper}").content)).pages[0]
        # 12 March 2031 is a Wednesday (ISO 8601 week date 2031-W11-3)
        assert "Wednesday, 12 March 2031" in " ".join(page.extract_text().split()), paper
    clash = "promised 12 March 2031, but the part comes 14 March 2031"
    assert clash in web.get("/api/jobs/c9/counter").json()["too_early"]
    assert clash in web.get("/job/c9/shelf").text and clash in web.get("/shelf").text
    send(web, "c9", entry(4, "Promised", promised="2031-03-14"), device="desk-9")
    assert clash not in web.get("/shelf").text
    assert web.get("/api/jobs/c9/counter").json()["too_early"] == ""


def test_a_machine_without_a_file_is_at_the_counter(web: TestClient) -> None:
    answer = send(web, "c2", entry(1, "JobOpened", named="an old tiller"), device="desk-2")
    assert status(answer) == ["stored"] and answer["job"]["number"]
    assert web.get("/job/c2", follow_redirects=False).headers["location"] == "/job/c2/sheet"
    said = web.get("/job/c2/bench")
    assert said.status_code == 200 and "has no machine file yet" in said.text
    assert "/job/c2/sheet" in said.text and 'id="no-file"' in said.text
    assert "an old tiller" in web.get("/job/c2/sheet").text
    assert web.get("/job/c2/tag.pdf").status_code == 200
    named = send(web, "c2", entry(2, "MachineNamed", machine=MOWER), device="desk-2")
    assert status(named) == ["stored"]
    assert web.get("/api/jobs/c2").json()["left"]


@pytest.mark.parametrize(
    ("kind", "body", "said"),
    [
        ("JobOpened", {"words": 5}, "ords should be text"),
        ("JobOpened", {"customer": "x" * 301}, "at most 300"),
        ("JobOpened", {"packs": "none"}, "list of packs"),
        ("JobOpened", {"packs": [{"pack": "p", "trouble": ["sad"]}]}, "no trouble of a pack"),
        ("JobOpened", {"packs": [{"pack": str(n)} for n in range(31)]}, "at most 30"),
        ("JobOpened", {"conditions": ["x"] * 41}, "at most 40"),
        ("ShopNoted", {"name": "Alder Lane"}, "not sent to a job"),
        ("MachineNamed", {"machine": "/etc/passwd"}, "no job|no machine"),
    ],
)
def test_refused_in_words(web: TestClient, kind: str, body: dict[str, Any], said: str) -> None:
    answer = send(web, "never", entry(1, kind, **body), device=f"desk-{kind}-{len(str(body))}")
    assert status(answer) == ["refused"]
    message = answer["results"][0]["message"]
    assert any(part in message for part in said.split("|")), message
    assert answer["job"] is None


def test_the_shop_is_no_job(web: TestClient, store: Path) -> None:
    sheet = {"name": "Alder Lane", "people": ["Ida", "Ida", " "], "zone": "Europe/Vienna"}
    answer = send(web, "shop", entry(1, "ShopNoted", **sheet), device="desk-shop")
    assert status(answer) == ["stored"] and answer["job"] is None
    wrong = send(web, "shop", entry(2, "ShopNoted", zone="Nowhere"), device="desk-shop")
    assert status(wrong) == ["refused"] and "time zone" in wrong["results"][0]["message"]
    opened = send(web, "shop", entry(3, "JobOpened"), device="desk-shop")
    assert status(opened) == ["refused"]
    assert web.get("/api/people").json()[0] == "Ida"
    assert web.get("/api/shop").json()["name"] == "Alder Lane"
    for path in ("/job/shop/bench", "/job/shop/sheet", "/api/jobs/shop", "/job/shop"):
        assert web.get(path).status_code == 404, path
    send(web, "c3", entry(1, "JobOpened", **FULL), device="desk-3")
    assert job_of(store, "c3").opened.rates["shop"] == "Alder Lane"  # type: ignore[union-attr]
    claim = pypdf.PdfReader(io.BytesIO(web.get("/job/c3/claim.pdf").content))
    assert "Alder Lane" in claim.pages[0].extract_text()


def test_known_customers_serials_and_complaints(web: TestClient) -> None:
    send(web, "c4", entry(1, "JobOpened", **FULL), device="desk-4")
    asked = {"customer_name": "oka", "serial": "2304-a 01175", "machine": MOWER,
             "words": "cuts out on the hill"}  # fmt: skip
    answer = web.get("/api/counter/known", params=asked).json()
    assert answer["customers"][0]["name"] == "Rosa Okafor"
    assert answer["customers"][0]["contact"] == "555 0142"
    assert answer["before"][0]["job"] == "c4"
    assert answer["complaints"][0] == "cuts_out_slopes"
    nothing = {"customers": [], "before": [], "notices": [], "complaints": [], "families": []}
    assert web.get("/api/counter/known").json() == nothing


def test_text_as_people_write_it(web: TestClient) -> None:
    body = {**FULL, "words": NASTY, "customer": NASTY, "serial": NASTY, "accessories": [NASTY]}
    assert status(send(web, "c5", entry(1, "JobOpened", **body), device="desk-5")) == ["stored"]
    it = web.get("/api/jobs/c5/counter").json()
    assert (it["words"], it["customer"]) == (NASTY.strip(), NASTY.strip())
    for page in ("/job/c5/sheet", "/job/c5/pickup", "/counter", "/counter/new"):
        assert "<script>alert(1)</script>" not in web.get(page).text, page
    for paper in ("tag.pdf", "claim-check.pdf"):
        assert web.get(f"/job/c5/{paper}").status_code == 200


def test_pickup_is_held_then_let_go(web: TestClient, store: Path) -> None:
    send(web, "c6", entry(1, "JobOpened", **FULL), device="desk-6")
    back = {"to": "R. Okafor", "accessories": ["charger"], "packs": ["p1"], "outcome": "repaired"}
    held = send(web, "c6", entry(2, "HandedBack", **back), device="desk-6")
    assert status(held) == ["refused"] and "Held" in held["results"][0]["message"]
    answer = send(
        web, "c6", entry(3, "HoldOverridden", by="Ida", reason="sold for parts"),
        entry(4, "PaymentNoted", paid="paid", words="cash"), entry(5, "HandedBack", **back),
        device="desk-6",
    )  # fmt: skip
    assert status(answer) == ["stored"] * 3
    it = job_of(store, "c6")
    assert it.counter.handed is not None and it.closed is not None
    assert it.counter.payment is not None and it.counter.payment.words == "cash"
    unsaid = send(web, "c6", entry(7, "PaymentWithdrawn", reason="wrong key"), device="desk-6")
    assert status(unsaid) == ["stored"] and job_of(store, "c6").counter.payment is None
    again = send(web, "c6", entry(8, "PaymentWithdrawn"), device="desk-6")
    assert status(again) == ["refused"]
    undone = send(web, "c6", entry(6, "HandBackWithdrawn"), device="desk-6")
    assert status(undone) == ["stored"] and job_of(store, "c6").closed is None


def test_find_by_the_number_on_the_tag(web: TestClient, store: Path) -> None:
    number = job_of(store, "c6").number
    found = web.get("/counter/find", params={"name": number}, follow_redirects=False)
    assert found.headers["location"] == "/job/c6/sheet"
    gone = web.get("/counter/find", params={"name": "99-9999"})
    assert gone.url.path == "/shelf" and "No jobs with" in gone.text  # looked for, not found


def test_phone_and_server_agree_on_the_largest_picture() -> None:
    source = (STATIC / "outbox.js").read_text(encoding="utf-8")
    ((picture, video),) = re.findall(
        r"const MOST_BYTES = \{ picture: ([0-9_]+), video: ([0-9_]+) \};", source
    )
    assert (int(picture), int(video)) == (MOST_BYTES, MOST_VIDEO)
    film = (STATIC / "video.js").read_text(encoding="utf-8")
    assert re.findall(r"const MOST_SENT = ([0-9_]+);", film) == [video]
    assert MOST_VIDEO <= FILE_BYTES
