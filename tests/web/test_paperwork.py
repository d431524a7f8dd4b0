"""Paperwork in the browser's terms: forms sent, pages read, nothing entered twice."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from pypdf import PdfReader

from knowngood.job.counter import CheckedIn, HandedBack
from knowngood.job.events import PartDecided
from knowngood.job.shelf import PartOrdered
from knowngood.job.shop_sheet import SHOP, ShopNoted
from knowngood.places import decision
from knowngood.places.bench import CheckIn, open_job, take_reading
from knowngood.places.gather import load_job
from knowngood.places.library import find_machine, find_meter
from knowngood.places.parts import take_list, try_list
from knowngood.places.record import Record
from knowngood.web.app import create_app
from tests.places.conftest import SMALL, at
from tests.places.test_paperwork import PRICES
from tests.shop.test_cover import FILE


@pytest.fixture(name="desk")
def _desk(tmp_path: Path) -> Iterator[TestClient]:
    with Record.open(tmp_path / "shop.db") as record:
        check_in = CheckIn(
            find_machine(str(SMALL)), "dead", "it is dead", find_meter("generic-6000"),
            serial="5120", model="BT-5", number="26-0001", customer="=Mr. Vale",
        )  # fmt: skip
        open_job(record, check_in, at(), "j")
        take_reading(record, "j", "pack_rest", "57.9 V", at(3))
        take_reading(record, "j", "box_ohms", "OL", at(9))
        take_reading(record, "j", "box_ohms", "OL", at(9))
        decision.decide(record, "j", at(10))
        record.append(SHOP, [ShopNoted("Alder Lane Small Engine & Cordless")], at(11))
        trial = try_list(record, "Brackwater", "USD", PRICES.encode(), "list.csv", None)
        take_list(record, trial, PRICES, at(11))
    with TestClient(create_app(tmp_path / "shop.db")) as client:
        yield client


def send(desk: TestClient, action: str, **fields: object) -> Response:
    return desk.post("/job/j/papers", data={"action": action, **fields})


def under(desk: TestClient) -> Response:
    return desk.post(
        "/job/j/papers", data={"action": "programme"}, files={"file": ("b.yaml", FILE.encode())}
    )


def cover(desk: TestClient) -> Response:
    days = {"purchased": date.today() - timedelta(400), "failed": date.today() - timedelta(2)}
    return send(
        desk, "cover", use="household", proof="receipt with a date",
        **{k: v.isoformat() for k, v in days.items()},
        **{"answer-water": "no", "answer-opened": "no"},
    )  # fmt: skip


def test_from_cover_to_money_received(desk: TestClient) -> None:
    assert "No paper waits" in desk.get("/paperwork").text
    page = under(desk)
    assert page.status_code == 200
    assert re.search(r"Can&#39;t say yet: \d things missing</bdi></p><ul>", page.text)
    assert "<li><bdi>what it is used for: household, commercial or rental</bdi></li>" in page.text
    page = cover(desk)
    assert "Covered: until" in page.text
    assert "a picture of the plate" in page.text
    due = desk.get("/paperwork").text  # short on the screen; what is missing stands one tap below
    assert "26-0001: send the claim (in 28 days)" in due and "still missing: <bdi>" in due
    assert 'href="/job/j/papers#lacks"' in due and 'id="lacks"' in page.text
    send(desk, "codes", mode="M05", cause="C04", did="A01")
    send(desk, "send", number="CL-7", entry="e1")
    page = send(desk, "send", number="CL-7", entry="e1")  # a second tap
    assert "Sent today, no answer yet" in page.text
    assert "sent up to 30 days ago" in desk.get("/paperwork").text
    page = send(desk, "answer", reply="denied", entry="e2")
    assert page.status_code == 409
    assert "Denied needs the reason" in page.text
    assert 'value="denied" checked' in page.text  # what was typed is still there
    send(desk, "answer", reply="short-paid", granted="40,00", reason="cap", entry="e2")
    assert "<bdi>cap</bdi>: 1" in desk.get("/paperwork").text
    page = send(desk, "paid", amount="40", entry="e3")
    send(desk, "paid", amount="40", entry="e3")
    assert "granted: cap, paid" in page.text
    rows = list(csv.DictReader(io.StringIO(desk.get("/paperwork/claims.csv").text)))
    assert [(r["job"], r["claim number"], r["granted"], r["received"]) for r in rows] == [
        ("26-0001", "CL-7", "40.00", "40.00")
    ]
    send(desk, "undo", which="e3", reason="wrong job")
    assert "40.00 USD not here yet" in desk.get("/job/j/papers").text


def test_the_claim_names_the_shop_and_the_programme(desk: TestClient) -> None:
    under(desk)
    cover(desk)
    answer = desk.get("/job/j/claim.pdf")
    text = PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
    assert "Alder Lane Small Engine & Cordless" in text
    assert "Brackwater outdoor cover" in text


def test_the_day_on_a_sheet(desk: TestClient) -> None:
    under(desk)
    cover(desk)
    text = PdfReader(io.BytesIO(desk.get("/paperwork/sheet.pdf").content)).pages[0].extract_text()
    assert "26-0001: send the claim" in text
    assert "part not ordered yet" in text
    assert "what waits in the shop" in text  # and not the day once more
    assert "ask your local rule" in text


def test_a_paying_customer(desk: TestClient) -> None:
    lines = "labour; find and mend; 45.00\npart; box; 42.00; sales"
    page = send(desk, "estimate", lines=lines, currency="usd", taxes="sales=8.25", tax_on="total")
    assert "90.47 USD and nobody has agreed yet" in page.text
    assert "<td>sales tax, 8.25 %</td><td>3.47 USD</td>" in page.text  # 8.25 % of 42 is 3.465
    send(desk, "agree", who="Mr. Vale", how="by phone", up_to="100")
    page = send(
        desk, "estimate", lines=lines + "\npart; cable; 30.00; sales", currency="USD",
        taxes="sales=8.25", tax_on="total",
    )  # fmt: skip
    assert "22.94 USD above what Mr. Vale agreed to" in page.text
    assert "nobody has agreed yet, estimate of" in desk.get("/paperwork").text
    send(desk, "agree", who="Mr. Vale", how="in the shop", up_to="")
    send(desk, "took", amount="122.94", way="card", entry="m1")
    page = send(desk, "took", amount="122.94", way="card", entry="m1")
    assert '<th id="left">0.00 USD</th>' in page.text


@pytest.mark.parametrize(
    ("action", "fields", "said"),
    [
        ("nothing", {}, "There is no form"),
        ("cover", {"use": "hire"}, "use is 'hire'".capitalize()),
        ("cover", {"purchased": "4.5.2026"}, "write the day like"),
        ("programme", {}, "choose a programme".capitalize()),
        ("send", {}, "No programme is chosen"),
        ("answer", {"reply": "maybe"}, "Choose one of the three"),
        ("estimate", {"lines": "box", "currency": "USD"}, "is no line"),
        ("estimate", {"lines": "part; box; 1.00", "currency": "dollars"}, "three letters"),
        ("estimate", {"lines": "part; box; 1.000", "currency": "USD"}, "may be 1000"),
        ("estimate", {"lines": "part; box; 1.00", "currency": "USD", "taxes": "x"}, "is no tax"),
        ("agree", {"who": "A", "how": "b"}, "no estimate to agree to"),
        ("took", {"amount": "5"}, "no estimate yet"),
        ("estimate", {"lines": "part; box; 5.00 EUR", "currency": "USD"}, "is in EUR, this is in"),
        ("undo", {"which": "x"}, "no entry"),
    ],
)
def test_bad_input_is_said_in_place_and_changes_nothing(
    desk: TestClient, action: str, fields: dict[str, str], said: str
) -> None:
    record: Record = desk.app.state.here.record  # type: ignore[attr-defined]
    before = load_job(record, "j")
    page = send(desk, action, **fields)
    assert page.status_code == 409
    assert said in page.text.replace("&#39;", "'")
    assert load_job(record, "j") == before


def test_a_broken_or_huge_file(desk: TestClient) -> None:
    def upload(data: bytes) -> Response:
        return desk.post(
            "/job/j/papers", data={"action": "programme"}, files={"file": ("b.yaml", data)}
        )

    page = upload(FILE.replace("claim_days: 30", "claim_days: soon").encode())
    assert page.status_code == 409
    assert "line 22" in page.text
    assert "is no text" in upload(b"\xff\xfe\x00").text
    assert "larger than 1,000,000 bytes" in upload(b"a" * 1_000_001).text


def test_markup_stays_text(desk: TestClient) -> None:
    evil = "<script>alert(1)</script>"
    page = send(desk, "estimate", lines=f"part; {evil}; 1.00", currency="USD", tax_on="total")
    assert evil not in page.text
    assert "&lt;script&gt;" in page.text


def test_no_such_job(desk: TestClient) -> None:
    assert desk.get("/job/99-9999/papers").status_code == 404
    assert desk.post("/job/99-9999/papers", data={"action": "send"}).status_code == 404


def test_papers_are_found_by_number_and_else_on_the_shelf(desk: TestClient) -> None:
    there = desk.get("/paperwork/find?name=26-0001", follow_redirects=False)
    assert there.headers["location"] == "/job/j/papers"
    words = desk.get("/paperwork/find?name=Mr.%20Vale", follow_redirects=False)
    assert words.headers["location"] == "/shelf?q=Mr.+Vale"
    assert '/job/j/papers"' in desk.get("/job/j/shelf").text


def test_a_mended_machine_stays_at_the_counter_until_it_is_fetched(desk: TestClient) -> None:
    record: Record = desk.app.state.here.record  # type: ignore[attr-defined]
    record.append("j", [CheckedIn(contact="555 0142")], at(20))
    decision.close_job(record, "j", "returned unrepaired", at(21))
    assert "waits to be fetched" in desk.get("/counter").text
    record.append("j", [HandedBack(to="Mr. Vale")], at(22))
    assert "waits to be fetched" not in desk.get("/counter").text
    asked = desk.get("/counter/find?name=Vale", follow_redirects=False)
    assert asked.headers["location"] == "/shelf?q=Vale"


def test_words_for_another_part_are_taken_again(desk: TestClient) -> None:
    record: Record = desk.app.state.here.record  # type: ignore[attr-defined]
    under(desk)
    send(desk, "words", why="Contact burnt")
    record.append("j", [PartDecided("controller", "Controller", "", False, "")], at(20))
    assert "written for the start box: Cause: Contact burnt." in desk.get("/job/j/papers").text
    assert 'id="set-aside"' not in send(desk, "words-again").text


def test_a_number_that_came_with_the_order_is_the_parts_number(desk: TestClient) -> None:
    record: Record = desk.app.state.here.record  # type: ignore[attr-defined]
    before = load_job(record, "j").decision
    assert before is not None and before.number == "BW-210"
    bare = PartDecided("start_box", "Start box", "", True, "It is bad.", before.proof)
    record.append("j", [bare, PartOrdered("start_box", "Start box", "X-100")], at(20))
    after = load_job(record, "j").decision
    assert after is not None
    assert after.number == "X-100"
    text = "".join(
        page.extract_text()
        for page in PdfReader(io.BytesIO(desk.get("/job/j/claim.pdf").content)).pages
    )
    assert "X-100" in text


def test_an_estimate_from_the_plan_with_the_figure_for_a_new_one(desk: TestClient) -> None:
    page = desk.get("/job/j/papers?from=plan").text
    assert "rate is not set, 90.00 an hour is only the usual one" in page  # asked first
    assert "About" not in page
    page = desk.get("/job/j/papers?from=plan&rate=90&price=42").text
    assert "About" in page and "In 9 of 10 such jobs" in page.replace("in 9 of", "In 9 of")
    lines = page.split('placeholder="labour; find')[1].split(">", 1)[1].split("</textarea>")[0]
    assert lines.startswith("labour; find and mend, about") and "part; 1 x " in lines
    assert desk.get("/job/j/bill.pdf").status_code == 409
    page = send(
        desk, "estimate", lines=lines, currency="USD", taxes="", tax_on="total", bad_case="250",
        deposit="50", new_price="450", new_years="8", repair_years="4",
    )  # fmt: skip
    assert "stays below <b>250.00 USD</b>" in page.text
    said = "Deposit before a part is ordered: <b>21.00 USD</b>, 21.00 USD of it to come"
    assert said in page.text
    assert "new 56.25 USD a year over 8" in page.text
    text = PdfReader(io.BytesIO(desk.get("/job/j/bill.pdf").content)).pages[0].extract_text()
    for words in ("Estimate", "in 9 of 10 such jobs at most 250.00 USD", "Repair or new?",
                  "=Mr. Vale", "ask your local rule"):  # fmt: skip
        assert words in " ".join(text.split()), words
    bad = send(desk, "estimate", lines=lines, currency="USD", tax_on="total", new_price="450")
    assert bad.status_code == 409 and "needs all three" in bad.text


def test_mail_is_read_over_and_goes_into_a_file(desk: TestClient, tmp_path: Path) -> None:
    page = desk.get("/job/j/mail?about=ready").text
    assert "Put it into a file" in page and "can be fetched" in page
    fields = {"about": "ready", "to": "rosa", "subject": "s", "body": "b", "entry": "m1"}
    wrong = desk.post("/job/j/mail", data=fields)
    assert wrong.status_code == 409 and "is no address" in wrong.text
    assert not list(tmp_path.glob("*.mail/*"))
    right = fields | {"to": "rosa@mail.example"}
    for _ in range(2):
        assert desk.post("/job/j/mail", data=right).status_code == 200
    assert len(list(tmp_path.glob("*.mail/*.eml"))) == 1
    assert "rosa@mail.example" in desk.get("/job/j/papers").text
    assert desk.get("/job/j/mail?about=none").status_code == 409
    bad = desk.post("/paperwork/mail", data={"server": "mail.example", "sender": "x", "port": "x"})
    assert bad.status_code == 409 and "no address to send from" in bad.text
    kept = desk.post("/paperwork/mail", data={
        "server": "mail.example", "sender": "shop@mail.example", "port": "0", "safety": "tls",
        "letter-ready": "Dear {customer}, come.",
    })  # fmt: skip
    assert kept.status_code == 200 and "Dear {customer}, come." in kept.text
    assert "Send it now by mail.example" in desk.get("/job/j/mail?about=ready").text


def test_the_figures_of_the_shop(desk: TestClient) -> None:
    page = desk.get("/paperwork/figures").text
    assert "first-time fix" in page and "nothing yet" in page
    assert desk.get("/paperwork/figures.csv").text.startswith("figure,value,unit")
    for wrong in ("since=yesterday", "since=2026-05-04&until=2026-05-01"):
        assert desk.get(f"/paperwork/figures?{wrong}").status_code == 409


def test_the_failed_part_is_tagged_kept_and_let_go(desk: TestClient, tmp_path: Path) -> None:
    under(desk)
    with Record.open(tmp_path / "shop.db") as record:
        decision.fit(record, "j", at(20))
    cover(desk)
    page = send(desk, "tag", where="shelf 3", tested="open in every position")
    assert "tagged 26-0001" in page.text.replace("<bdi>", "") and "shelf 3" in page.text
    assert "It may go since 2026-04-30" in page.text  # 60 days after it was replaced
    assert send(desk, "gone", how="eaten", entry="g1").status_code == 409
    gone = send(desk, "gone", how="sent to the programme", words="parcel 7", entry="g1")
    assert "sent to the programme" in gone.text
    assert send(desk, "gone", how="scrapped", words="x", entry="g2").status_code == 409
    back = send(desk, "undo", which="g1", reason="not sent yet")
    assert "It may go since" in back.text


def test_one_claim_that_cannot_be_worked_out_does_not_hide_the_others(desk: TestClient) -> None:
    under(desk)
    assert "has no labour code" in send(desk, "codes", labour="L99").text
    assert send(desk, "codes", labour="L20").status_code == 200
    other = FILE.replace("L20", "L30").encode()  # another programme, without the code chosen
    desk.post("/job/j/papers", data={"action": "programme"}, files={"file": ("b.yaml", other)})
    page = desk.get("/paperwork")
    assert page.status_code == 200
    assert "its claim cannot be worked out" in page.text
    assert "has no labour code" in page.text


def test_the_first_paper_offered_is_one_that_the_job_has(desk: TestClient) -> None:
    def first(page: str) -> str:
        return page.split('<p class="inline">', 1)[1].split("</p>", 1)[0]

    assert ".pdf" not in first(desk.get("/job/j/papers").text)
    send(desk, "estimate", lines="part; box; 42.00", currency="USD")
    assert "/job/j/bill.pdf" in first(desk.get("/job/j/papers").text)
    under(desk)
    assert "/job/j/claim.pdf" in first(desk.get("/job/j/papers").text)


def test_the_programmes_word_is_asked_and_noted_on_the_papers(desk: TestClient) -> None:
    text = FILE.replace("approval_above: 200", "approval_above: 40")
    desk.post("/job/j/papers", data={"action": "programme"}, files={"file": ("b.yaml", text)})
    page = cover(desk).text
    assert "Needs approval: " in page and 'id="approved" open' in page
    assert send(desk, "approved", up_to="300").status_code == 409  # whose word?
    page = send(desk, "approved", up_to="300", who="J. Vale", number="PA-118").text
    assert "approved up to 300.00 USD (J. Vale, PA-118)" in page and "Needs approval" not in page


def test_the_claims_words_are_edited_on_the_papers(desk: TestClient) -> None:
    under(desk)
    page = send(desk, "words", complaint="", why="Contact burnt open", correction="").text
    assert "worded by somebody" in page and ">Contact burnt open</textarea>" in page
    text = PdfReader(io.BytesIO(desk.get("/job/j/claim.pdf").content)).pages[0].extract_text()
    assert "Contact burnt open" in text
    assert "Contact" not in send(desk, "words", complaint="", why="", correction="").text


def test_the_customer_says_no(desk: TestClient) -> None:
    send(desk, "estimate", lines="labour; mend; 80", currency="USD", tax_on="total")
    page = send(desk, "agree", who="Mr. Vale", how="by phone", up_to="70", no="yes").text
    assert "said no to 80.00 USD (by phone): hand it back unrepaired" in page


def test_a_proof_unticked_and_a_day_emptied_are_taken_back(desk: TestClient) -> None:
    under(desk)
    cover(desk)
    page = desk.get("/job/j/papers").text
    shown = re.search(r'name="stood" value="([^"]*)"', page)
    assert shown is not None and {"use", "failed", "proof"} <= set(shown[1].split())
    send(desk, "cover", use="household", failed="", stood="failed proof")
    page = desk.get("/job/j/papers").text
    assert "proof: receipt with a date" in page and "the day it failed" in page


def test_the_shops_taxes_are_a_form_and_stand_in_the_estimates(desk: TestClient) -> None:
    fields = {"rates": "sales=8.25", "labour": "none", "fee": "none", "on": "line", "mode": "down"}
    bad = desk.post("/shop/taxes", data=fields | {"part": "vat"})
    assert bad.status_code == 409 and "there is no tax" in bad.text
    assert 'value="sales=8.25"' in bad.text  # what was typed is still there
    page = desk.post("/shop/taxes", data=fields | {"part": "sales"}).text
    assert "sales 8.25 %: part" in page and "rounded on each line, down" in page
    page = desk.get("/job/j/papers").text
    assert 'value="sales=8.25, down"' in page
    page = send(desk, "estimate", lines="part; box; 42.00", currency="USD").text
    assert "<td>sales tax, 8.25 %</td><td>3.46 USD</td>" in page  # 3.465, down
    assert "no taxes are set" in desk.post("/shop/taxes", data={"labour": "x"}).text


def test_what_was_entered_is_listed_and_taken_back(desk: TestClient) -> None:
    send(desk, "estimate", lines="part; box; 42.00", currency="USD", taxes="")
    send(desk, "agree", who="Mr. Vale", how="by phone", up_to="50")
    page = send(desk, "codes", mode="M05", cause="C04", did="A01").text
    keys = re.findall(r'name="which" value="([a-z]+-[0-9]+)"', page)
    assert [key.split("-")[0] for key in keys] == ["codes", "agreement", "estimate"]
    stands = send(desk, "undo", which=keys[2])
    assert stands.status_code == 409 and "word of Mr. Vale stands on this one" in stands.text
    assert "nobody has agreed yet" in send(desk, "undo", which=keys[1], reason="a wrong job").text
    again = send(desk, "undo", which=keys[1])
    assert again.status_code == 409 and "no entry" in again.text.lower()
    assert "Write an estimate" in send(desk, "undo", which=keys[2]).text
