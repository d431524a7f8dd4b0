"""Entries of a phone: once each, in order, refused with the way out, whatever is in them."""

from __future__ import annotations

import gzip
import io
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from knowngood.job.events import ReadingTaken
from knowngood.places.bench import CheckIn, open_job
from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import At, Record
from knowngood.store.files import Files
from knowngood.web.app import create_app
from knowngood.web.file_edited import LOST

SMALL = Path(__file__).parent.parent / "places" / "small.yaml"
NASTY = '</script><script>alert(1)</script> \u202eright to left\u202c 🔋 "quoted" & <b>'


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("web") / "shop.db"


@pytest.fixture(scope="module")
def web(store: Path) -> Iterator[TestClient]:
    with TestClient(create_app(store)) as client:
        yield client


@pytest.fixture
def job(store: Path, web: TestClient) -> str:
    with Record.open(store) as record:
        meter = find_meter("generic-6000")
        check_in = CheckIn(find_machine(str(SMALL)), "dead", words=NASTY, meter=meter)
        return open_job(record, check_in, At(datetime.now(UTC), "Sam")).job.id


def entry(n: int, kind: str, **body: Any) -> dict[str, Any]:
    at = datetime.now(UTC).isoformat()
    return {"device_seq": n, "kind": kind, "device_time": at, "by": "Ana", "body": body}


def reading(n: int, test: str, text: str, id: str = "") -> dict[str, Any]:
    return entry(n, "ReadingTaken", reading_id=id or f"r{n}", test=test, text=text)


def send(web: TestClient, job: str, *entries: dict[str, Any], device: str = "phone-a") -> Any:
    answer = web.post(f"/api/jobs/{job}/events", json={"device": device, "events": list(entries)})
    assert answer.status_code == 200, answer.text
    return answer.json()


def status(answer: Any) -> list[str]:
    return [one["status"] for one in answer["results"]]


def texts(store: Path, job: str) -> list[str]:
    with Record.open(store) as record:
        return [e.event.text for e in record.log.events(job) if isinstance(e.event, ReadingTaken)]


def test_a_reading_comes_back_with_what_it_proved(web: TestClient, job: str) -> None:
    answer = send(web, job, reading(1, "pack_rest", "57.9 V"), device="phone-1")
    assert status(answer) == ["stored"]
    shown = answer["job"]["readings"][-1]
    assert shown["text"] == "57.9 V"
    # 6000-count meter at 57.9 V, 60 V range: 0.5 % + 3 counts of 0.01 V (the sheet), as a
    # rectangular limit: 2 u = 2 * (0.2895 + 0.03) / sqrt(3) = 0.37 V (JCGM 100, 4.3.7).
    assert "57.9 V ± 0.37 V" in shown["sentence"]


def test_sending_again_stores_once(web: TestClient, store: Path, job: str) -> None:
    both = [reading(1, "pack_rest", "57.9 V"), reading(2, "pack_rest", "57.8 V")]
    assert status(send(web, job, *both, device="phone-2")) == ["stored", "stored"]
    assert status(send(web, job, *both, device="phone-2")) == ["already", "already"]
    third = reading(3, "pack_rest", "57.7 V")
    assert status(send(web, job, both[1], third, device="phone-2")) == ["already", "stored"]
    assert texts(store, job) == ["57.9 V", "57.8 V", "57.7 V"]


def test_the_same_number_with_something_else_is_not_stored(
    web: TestClient, store: Path, job: str
) -> None:
    send(web, job, reading(1, "pack_rest", "57.9 V"), device="phone-3")
    answer = send(web, job, reading(1, "pack_rest", "12 V", "other"), device="phone-3")
    assert status(answer) == ["already"]
    assert texts(store, job) == ["57.9 V"]


def test_out_of_order_and_from_two_phones_nothing_is_lost(
    web: TestClient, store: Path, job: str
) -> None:
    send(web, job, reading(2, "pack_rest", "57.8 V", "a2"), device="phone-4")
    send(web, job, reading(1, "pack_rest", "57.1 V", "b1"), device="phone-5")
    send(web, job, reading(1, "pack_rest", "57.9 V", "a1"), device="phone-4")
    assert sorted(texts(store, job)) == ["57.1 V", "57.8 V", "57.9 V"]


def test_a_refused_entry_says_why_and_the_next_is_taken(web: TestClient, job: str) -> None:
    answer = send(
        web, job,
        reading(1, "pack_rset", "57.9 V"),
        entry(2, "Invented", text="x"),
        entry(3, "ReadingTaken", test="pack_rest"),
        entry(4, "PictureAdded", digest="0" * 64),
        entry(5, "CauseAnswered", cause="water", answer="perhaps"),
        reading(6, "pack_rest", "57.9 V"),
        device="phone-6",
    )  # fmt: skip
    assert status(answer) == ["refused"] * 5 + ["stored"]
    said = [one["message"] for one in answer["results"]]
    assert "pack_rest" in said[0] and "Invented" in said[1] and "reading_id" in said[2]
    assert "/api/pictures" in said[3] and "can't tell" in said[4]


def test_a_job_that_does_not_exist(web: TestClient) -> None:
    answer = send(web, "nowhere", reading(1, "pack_rest", "1"), device="phone-7")
    assert status(answer) == ["refused"]
    assert "no job" in answer["results"][0]["message"]
    assert answer["job"] is None
    for address in ("/job/nowhere", "/job/nowhere/bench", "/api/jobs/nowhere"):
        there = web.get(address)
        assert there.status_code == 404
        assert "There is no job" in there.text.replace("&#39;", "'")


def test_what_is_no_number_is_kept_as_no_evidence(web: TestClient, store: Path, job: str) -> None:
    answer = send(web, job, reading(1, "pack_rest", NASTY), device="phone-8")
    assert status(answer) == ["stored"]
    assert answer["job"]["readings"][-1]["verdict"] == "no evidence"
    assert texts(store, job) == [NASTY]


def test_markup_of_a_person_stays_text(web: TestClient, job: str) -> None:
    send(web, job, reading(1, "pack_rest", NASTY), device="phone-9")
    page = web.get(f"/job/{job}/bench").text
    assert "<script>alert" not in page
    assert "\u202e" in page or "\\u202e" in page
    assert "default-src 'self'" in web.get("/").headers["content-security-policy"]


def test_a_clock_a_year_off_is_said_and_nothing_is_lost(
    web: TestClient, store: Path, job: str
) -> None:
    late = (datetime.now(UTC) + timedelta(days=366)).isoformat()
    one = reading(1, "pack_rest", "57.9 V") | {"device_time": late}
    batch = {"device": "phone-10", "sent_at": late, "events": [one]}
    answer = web.post(f"/api/jobs/{job}/events", json=batch).json()
    assert status(answer) == ["stored"]
    assert "1 year ahead" in answer["clock"]
    assert texts(store, job) == ["57.9 V"]


def test_a_decision_on_what_has_changed_since_is_kept_and_to_be_looked_at(
    web: TestClient, job: str
) -> None:
    """Made offline while another phone took back what was accepted."""
    seen = send(web, job, entry(1, "Accepted", part="motor"), device="phone-12")["job"]["seq"]
    send(web, job, entry(2, "AcceptWithdrawn", part="motor"), device="phone-12")
    late = entry(1, "PartDecided", part="pack") | {"based_on": seen}
    answer = send(web, job, late, device="phone-11")
    assert status(answer) == ["stored"]
    assert "no longer accepted" in answer["job"]["look_at_this"][0]["why"]


def test_another_site_may_not_write(web: TestClient, job: str) -> None:
    batch = {"device": "phone-13", "events": [reading(1, "pack_rest", "1")]}
    far = web.post(f"/api/jobs/{job}/events", json=batch, headers={"Origin": "http://far.test"})
    assert far.status_code == 403


def test_the_undo_of_each_thing_said(web: TestClient, job: str) -> None:
    said = [
        reading(1, "pack_rest", "57.9 V"),
        entry(2, "Accepted", part="motor"),
        entry(3, "PartCalled", part="harness"),
    ]
    view = send(web, job, *said, device="phone-14")["job"]
    for n in range(4, 7):
        view = send(web, job, entry(n, view["undo"]["kind"], **view["undo"]["body"]),
                    device="phone-14")["job"]  # fmt: skip
    assert view["undo"] is None
    assert [r["live"] for r in view["readings"]] == [False]
    assert not view["accepted"] and not view["called"]


def picture(kind: str = "JPEG", size: tuple[int, int] = (40, 30), turned: int = 0) -> bytes:
    out = io.BytesIO()
    image = Image.new("RGB", size, "white")
    exif = image.getexif()
    if turned:
        exif[0x0112] = turned
    image.save(out, kind, exif=exif)
    return out.getvalue()


def test_a_picture_lies_on_its_side_and_is_shown_upright(web: TestClient, job: str) -> None:
    kept = web.post("/api/pictures?name=plate.jpg", content=picture(turned=6)).json()
    assert (kept["width"], kept["height"]) == (30, 40)
    answer = send(web, job, entry(1, "PictureAdded", digest=kept["digest"], about="plate"),
                  device="phone-15")  # fmt: skip
    assert answer["job"]["pictures"][0]["about"] == "plate"
    small = web.get(f"/api/pictures/{kept['digest']}?longest=320")
    assert Image.open(io.BytesIO(small.content)).size == (30, 40)


HEIC = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"
BOMB = (
    b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\xff\xff\x00\x00\xff\xff\x08\x02\x00\x00\x00"
    + (0).to_bytes(4, "big")
)


@pytest.mark.parametrize(
    ("data", "status", "said"),
    [
        (b"", 422, "empty"),
        (b"%PDF-1.7 no picture", 422, "no picture that can be read"),
        (HEIC, 422, "HEIC"),
        (BOMB, 422, "damaged|too many|no picture"),
        (picture()[:-200], 422, "whole|damaged"),
        (b"\xff" * 60_000_001, 413, "60 MB"),
    ],
)
def test_a_picture_that_cannot_be_kept(
    web: TestClient, store: Path, data: bytes, status: int, said: str
) -> None:
    answer = web.post("/api/pictures?name=IMG_1.jpg", content=data)
    assert answer.status_code == status, answer.text
    message = answer.json()["message"]
    assert any(word in message for word in said.split("|")), message
    assert "IMG_1" in message


def test_a_picture_of_a_few_pixels_is_one(web: TestClient) -> None:
    assert web.post("/api/pictures", content=picture(size=(3, 2))).json()["width"] == 3


def test_a_picture_sent_twice_is_kept_once(web: TestClient, store: Path) -> None:
    data = picture("PNG", (50, 50))
    first, second = (web.post("/api/pictures", content=data).json() for _ in range(2))
    assert first == second
    assert Files(store.with_name("shop.db.files")).has(first["digest"])


def test_the_description_is_shipped_and_its_page_fetches_nothing(web: TestClient) -> None:
    assert web.get("/api/openapi.json").json()["paths"]["/api/jobs/{job}/events"]
    page = web.get("/api").text
    assert "/api/jobs/{job}/plan" in page
    assert "http://" not in page and "https://" not in page


def test_a_fault_of_the_program_shows_no_traceback(
    web: TestClient, job: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from knowngood.web import takers

    def broken(*_: object) -> None:
        raise RuntimeError("broken on purpose")

    monkeypatch.setitem(takers.TAKERS, "NoteAdded", broken)
    answer = send(web, job, entry(1, "NoteAdded", text="x"), device="phone-16")
    assert status(answer) == ["refused"]
    assert "its fault, not yours" in answer["results"][0]["message"]
    assert "Traceback" not in str(answer)


@pytest.mark.parametrize(("text", "shown"), [("22 C", "22 C"), ("72 F", "22.2 C"), ("22", "22 C")])
def test_how_warm_it_is_is_noted_on_the_phone(
    web: TestClient, job: str, text: str, shown: str
) -> None:
    device = f"phone-warm-{text}"
    answer = send(web, job, entry(1, "WarmthNoted", text=text), device=device)
    assert status(answer) == ["stored"] and answer["job"]["head"]["warm"] == shown
    bad = [entry(2, "WarmthNoted", text="warm"), entry(3, "WarmthNoted", text="200 C")]
    answer = send(web, job, *bad, device=device)
    said = [one["message"] for one in answer["results"]]
    assert "such as 22 C or 72 F" in said[0] and "at a bench" in said[1]


def test_a_machine_file_edited_since_is_told_and_taken_over_or_not(
    web: TestClient, store: Path, tmp_path: Path
) -> None:
    own = tmp_path / "my mower.yaml"
    own.write_bytes(SMALL.read_bytes())
    with Record.open(store) as record:
        meter = find_meter("generic-6000")
        check_in = CheckIn(find_machine(str(own)), "dead", meter=meter, file=str(own))
        job = open_job(record, check_in, At(datetime.now(UTC), "Sam")).job.id
    test = web.get(f"/api/jobs/{job}").json()["step"]["id"]
    read = send(web, job, reading(1, test, "yes"), device="phone-file")["job"]
    assert read["file"] is None and read["readings"][0]["live"]

    text = own.read_text(encoding="utf-8")
    own.write_text(re.sub(rf"\b{test}\b", f"{test}_anew", text), encoding="utf-8")
    assert own.read_text(encoding="utf-8") != text
    told = web.get(f"/api/jobs/{job}").json()["file"]
    assert told["can"] and told["words"].startswith("The machine file my mower.yaml: edited since")
    kept = send(web, job, entry(2, "NewerFile", take=False), device="phone-file")
    assert status(kept) == ["stored"] and kept["job"]["file"] is None
    assert test in {one["test"] for one in kept["job"]["readings"] if one["sentence"] != LOST}

    own.write_text(own.read_text(encoding="utf-8") + "\n# again\n", encoding="utf-8")
    assert web.get(f"/api/jobs/{job}").json()["file"]["can"]
    taken = send(web, job, entry(3, "NewerFile", take=True), device="phone-file")
    assert status(taken) == ["stored"] and taken["job"]["file"] is None
    assert [one["sentence"] for one in taken["job"]["readings"]] == [LOST]
    assert f"{test}_anew" in {one["id"] for one in [taken["job"]["step"], *taken["job"]["others"]]}

    own.write_text("machine: nothing\n", encoding="utf-8")
    bad = send(web, job, entry(4, "NewerFile", take=True), device="phone-file")
    assert status(bad) == ["refused"] and "my mower.yaml" in bad["results"][0]["message"]
    own.unlink()
    gone = web.get(f"/api/jobs/{job}").json()
    assert not gone["file"]["can"] and "cannot be read there now" in gone["file"]["words"]
    odd = send(web, job, entry(5, "NewerFile", take="yes"), device="phone-file")
    assert "Take should be true" in odd["results"][0]["message"]


def test_a_picture_is_taken_back(web: TestClient, job: str) -> None:
    kept = web.post("/api/pictures?name=plate.jpg", content=picture()).json()
    digest = kept["digest"]
    added = entry(1, "PictureAdded", digest=digest, caption="the label", about="cover")
    answer = send(web, job, added, device="phone-back")
    assert [p["caption"] for p in answer["job"]["pictures"]] == ["the label"]
    gone = entry(2, "PictureWithdrawn", digest=digest, reason="taken back")
    assert send(web, job, gone, device="phone-back")["job"]["pictures"] == []


HEAVIEST = 150  # KB, compressed, without pictures: what the bench may weigh on a phone


def test_the_page_of_the_bench_weighs_little(web: TestClient, job: str) -> None:
    """The page with every style sheet and every module that it takes in, each compressed."""
    found: dict[str, bytes] = {}
    ahead = [f"/job/{job}/bench"]
    while ahead:
        path = ahead.pop()
        if path in found:
            continue
        answer = web.get(path)
        assert answer.status_code == 200, path
        found[path] = answer.content
        ahead += re.findall(r'(?:src|href)="(/static/[\w.]+\.(?:js|css))"', answer.text)
        if path.endswith(".js"):
            ahead += [f"/static/{name}" for name in re.findall(r'"\./(\w+\.js)"', answer.text)]
    assert len(found) >= 20, "the modules of the bench are among them"
    weight = sum(len(gzip.compress(content, 6)) for content in found.values()) / 1000
    assert 30 < weight <= HEAVIEST, f"{weight:.0f} KB in {len(found)} files"
