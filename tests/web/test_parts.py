"""The parts screen: found, counted, ordered, received; a list looked at before it is taken."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from httpx import Response

from knowngood.places import decision
from knowngood.places.bench import CheckIn, open_job, take_reading
from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import Record
from knowngood.web.app import create_app
from tests.places.conftest import SMALL, at
from tests.shop.test_pricelist import LIST


@pytest.fixture(name="desk")
def _desk(tmp_path: Path) -> Iterator[TestClient]:
    with Record.open(tmp_path / "shop.db") as record:
        check_in = CheckIn(
            find_machine(str(SMALL)), "dead", "it is dead", find_meter("generic-6000"),
            serial="5120", model="BT-5", number="26-0001",
        )  # fmt: skip
        open_job(record, check_in, at(), "j")
        take_reading(record, "j", "pack_rest", "57.9 V", at(3))
        take_reading(record, "j", "box_ohms", "OL", at(9))
        decision.decide(record, "j", at(10))
    with TestClient(create_app(tmp_path / "shop.db")) as client:
        yield client


def send(desk: TestClient, action: str, **fields: str) -> Response:
    return desk.post("/parts", data={"action": action, **fields})


def upload(desk: TestClient, text: str, what: str, **fields: str) -> Response:
    data = {"action": "list", "maker": "Brackwater", "currency": "usd", "what": what, **fields}
    return desk.post("/parts", data=data, files={"file": ("list.csv", text.encode())})


def test_a_list_is_looked_at_then_taken_and_searched(desk: TestClient) -> None:
    assert "There is no price list yet" in desk.get("/parts?q=box").text
    assert "4 added: BW-100, BW-210, BW-212, ..." in upload(desk, LIST, "look").text
    assert "Price lists (0)" in desk.get("/parts").text
    assert "Taken: 4 parts of Brackwater." in upload(desk, LIST, "take").text
    page = desk.get("/parts?q=bw-21").text
    assert "became BW-212: order <b>BW-212</b> at 44.00 USD" in page
    assert [p["number"] for p in desk.get("/api/parts?q=start").json()] == ["BW-210", "BW-212"]
    assert desk.get("/api/parts?q=").json() == []
    bad = upload(desk, LIST.replace("189,00", "?"), "take")
    assert bad.status_code == 409
    assert "line 2: the price of BW-100 is" in bad.text.replace("&#39;", "'")
    assert "Taken: 3 parts" in upload(
        desk, LIST.replace("189,00", "?"), "take", without_bad="yes"
    ).text  # fmt: skip


def test_from_wanted_to_a_job_that_can_go_on(desk: TestClient) -> None:
    assert "Wanted by jobs" in desk.get("/parts").text
    page = send(desk, "order", supplier="Brackwater", order="PO-1", currency="USD")
    assert "Order PO-1 at Brackwater is written down." in page.text
    assert "1&nbsp;<bdi>BW210</bdi>" in page.text
    page = send(desk, "came", order="PO-1", entry="e1")
    assert "These jobs can go on now: 26-0001." in page.text
    assert "That was entered already." in send(desk, "came", order="PO-1", entry="e1").text
    page = send(desk, "count", number="BW-400", many="3", words="<b>Motor</b>", bin="B2")
    assert "BW-400: 3 counted." in page.text
    page = send(desk, "keep", number="BW-400", many="1", job="26-0001")
    assert "BW-400: 2 of 3 free." in page.text
    assert send(desk, "keep", number="BW-400", many="1").status_code == 409
    assert "&lt;b&gt;Motor&lt;/b&gt;" in page.text


@pytest.mark.parametrize(
    ("action", "fields", "said"),
    [
        ("nothing", {}, "There is no form"),
        ("count", {"number": "BW-1", "many": "-3"}, "is no count"),
        ("count", {"number": "", "many": "3"}, "is no part number"),
        ("order", {"supplier": "Tolmin", "order": "PO-9", "currency": "USD"},
         "Jobs want nothing of Tolmin. They want of Brackwater BW-"),
        ("order", {"supplier": "Brackwater", "order": "", "currency": "USD"}, "needs its number"),
        ("came", {"order": "PO-9"}, "There is no order"),
        ("list", {"maker": "Brackwater", "currency": "USD"}, "Choose the file"),
    ],
)
def test_bad_input_is_said_in_place(
    desk: TestClient, action: str, fields: dict[str, str], said: str
) -> None:
    page = send(desk, action, **fields)
    assert page.status_code == 409
    assert said in page.text.replace("&#39;", "'")


def test_used_sent_back_and_taken_back(desk: TestClient) -> None:
    send(desk, "count", number="BW-9", many="3", words="belt")
    assert "BW-9: 2 left." in send(desk, "use", number="BW-9", many="1", job="26-0001").text
    page = send(desk, "use", number="BW-9", many="1", job="99-0001")
    assert page.status_code == 409 and "no job" in page.text.lower()
    over = send(desk, "use", number="BW-9", many="7")
    assert over.status_code == 409 and "but 2 lie there" in over.text
    page = send(desk, "supplier", supplier="Brackwater", currency="USD", minimum="100",
                freight="9,50")  # fmt: skip
    assert page.text.count("Brackwater: least order 100.00 USD, freight 9.50 USD") == 2
    unpriced = desk.get("/parts").text  # what it comes to nobody knows
    assert "1 without a price" in unpriced and "below its least order" not in unpriced
    upload(desk, LIST, "take")
    assert "56.00 USD below its least order" in desk.get("/parts").text
    order = {"supplier": "Brackwater", "order": "PO-1", "currency": "USD", "number": "BW-9"}
    assert "Order PO-1" in send(desk, "order", many="2", price="4.00", **order).text
    twice = send(desk, "order", many="2", price="4.00", **order)
    assert twice.status_code == 409 and "is there already" in twice.text
    assert "kept" in send(desk, "came", order="PO-1", number="BW-9", many="2").text
    again = send(desk, "came", order="PO-1", number="BW-9", many="2")
    assert again.status_code == 409  # an order received twice
    no_reason = send(desk, "back", order="PO-1", number="BW-9", many="1")
    assert no_reason.status_code == 409 and "needs its reason" in no_reason.text
    back = send(desk, "back", order="PO-1", number="BW-9", many="1", reason="wrong belt")
    assert "sent back, 3 left" in back.text
    last = desk.get("/parts").text.split('name="last" value="')[1].split('"')[0]
    assert send(desk, "undo", last="other").status_code == 409
    assert "1 of BW9 sent back: wrong belt" in desk.get("/parts").text
    said = send(desk, "undo", last=last, reason="it was right").text
    assert "Taken back: 1 of BW9 sent back: wrong belt." in said
    assert "<td>4</td>" in desk.get("/parts").text


def test_an_order_in_another_currency_than_the_terms_is_told(desk: TestClient) -> None:
    send(desk, "supplier", supplier="Brackwater", currency="USD", minimum="100", freight="0")
    order = {"supplier": "Brackwater", "order": "PO-1", "currency": "EUR", "number": "BW-9"}
    told = send(desk, "order", many="2", price="4.00", **order).text
    assert "The order is in EUR, the terms of Brackwater in USD." in told


def test_some_of_an_order_comes_and_a_wrong_number_is_refused(desk: TestClient) -> None:
    order = {"supplier": "Brackwater", "order": "PO-1", "currency": "USD"}
    send(desk, "order", number="BW-9", many="2", **order)
    page = desk.get("/parts").text
    assert "Only some of it, or another number" in page
    assert "kept" in send(desk, "came", order="PO-1", number="BW-9", many="1").text
    wrong = send(desk, "came", order="PO-1", number="BW-8", many="1")
    assert wrong.status_code == 409 and "BW-8 is not on order PO-1" in wrong.text


def test_columns_and_decimals_are_said_where_the_list_does_not_tell(desk: TestClient) -> None:
    text = "A;B;C\nBW-1;bolt;1.250\n"
    asked = upload(desk, text, "look")
    assert asked.status_code == 409 and "which columns are number" in asked.text
    names = {"column_number": "A", "column_words": "B", "column_price": "C"}
    assert "thousands or decimals" in upload(desk, text, "look", **names).text
    assert upload(desk, text, "look", column_number="A").status_code == 409
    assert "Taken: 1 parts" in upload(desk, text, "take", decimals="comma", **names).text
    assert desk.get("/api/parts?q=bw-1").json()[0]["price"] == "1250.00"
    mixed = text.replace("bolt", "Höhe").encode() + "BW-2;Größe;2,50\n".encode("cp1252")
    data = {"action": "list", "maker": "Brackwater", "currency": "usd", "what": "look"}
    page = desk.post("/parts", data=data, files={"file": ("list.csv", mixed)}).text
    assert "line 3: another encoding than the rest, read as Windows western" in page


def test_a_list_is_taken_back_and_dropped_on_the_screen(desk: TestClient) -> None:
    upload(desk, LIST, "take")
    upload(desk, LIST.replace("189,00", "199,00"), "take")
    page = send(desk, "list-undo", maker="Brackwater", what="before", reason="older")
    assert "The one before it stands again: 4 parts" in page.text.replace("; t", "; T")
    assert desk.get("/api/parts?q=bw-100").json()[0]["price"] == "189.00"
    assert send(desk, "list-undo", maker="Brackwater", what="drop").status_code == 409
    gone = send(desk, "list-undo", maker="Brackwater", what="drop", reason="mistyped")
    assert "No price list of Brackwater is left" in gone.text


def test_what_is_free_on_the_shelf_is_kept_with_one_tap(desk: TestClient) -> None:
    send(desk, "count", number="BW-210", many="2", bin="A2")
    page = desk.get("/parts").text
    assert "Keep it for job 26-0001" in page and "2 free at A2" in page
    assert "1 of 2 free" in send(desk, "keep", number="BW-210", many="1", job="26-0001").text
    assert "Wanted by jobs" not in desk.get("/parts").text


def test_figures_for_ordering_again_are_asked_on_the_screen(desk: TestClient) -> None:
    send(desk, "count", number="BW-9", many="2")
    assert "Nothing to order again for these figures" in desk.get("/parts?lead=2&service=0.9").text
    assert "is no number" in desk.get("/parts?lead=soon").text
    assert "between 0 and 1" in desk.get("/parts?lead=1&service=2").text
    page = send(desk, "last", number="BW-9", months="12", too_few="40", too_many="20")
    assert page.status_code == 409 and "too few to say" in page.text
