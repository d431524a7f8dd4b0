"""From check-in to the money: under a programme, and by a customer whose estimate is passed."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect
from pypdf import PdfReader

from knowngood.job.shop_sheet import ShopNoted
from knowngood.places.decision import decide
from knowngood.places.parts import take_list, try_list
from knowngood.places.premises import note_shop
from knowngood.places.record import At, Record
from tests.browser.shop import Shop, served
from tests.browser.test_bench import jpeg
from tests.browser.test_counter import (
    COUNTING,
    TAPS,
    check_axe,
    check_keys,
    newest,
    opened,
    ready,
    sent,
)
from tests.browser.test_whole_walk import broken, walk
from tests.shop.test_cover import FILE
from tests.shop.test_notice_file import LIST

PRICES = "number;words;price\nBW-1322;Start box;46.00\nBW-1324;Start box;46.00\n"
BOUGHT = (date.today() - timedelta(400)).isoformat()


@pytest.fixture(scope="module")
def desk_shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """A shop that plans unhurried, with a programme and a list of recalls of its own."""
    folder = tmp_path_factory.mktemp("money")
    (folder / "brackwater.yaml").write_text(FILE, encoding="utf-8")
    (folder / "recalls.yaml").write_text(LIST, encoding="utf-8")
    with Record.open(folder / "shop.db") as record:
        sam = At(datetime.now(UTC).astimezone(), "Sam")
        note_shop(record, ShopNoted(name="Alder Lane", bench_rate=95, currency="USD"), sam)
        trial = try_list(record, "Brackwater", "USD", PRICES.encode(), "prices.csv", None)
        take_list(record, trial, PRICES, sam)
    with served(folder, patience=2.0) as shop:
        yield shop


def keep_files(page: Page, shop: Shop) -> None:
    page.goto(f"{shop.address}/paperwork/programmes")
    for name, words in (("programme", "brackwater.yaml"), ("notices", "recalls.yaml")):
        form = page.locator(f"form:has(#{name}-file)")
        if not form.is_visible():
            page.locator(f"details:has(#{name}-file) summary").click()
        page.set_input_files(f"#{name}-file", str(shop.store.with_name(words)))
        form.locator("button").click()
        page.wait_for_load_state()
    expect(page.locator("main")).to_contain_text("Brackwater outdoor cover")
    expect(page.locator("main")).to_contain_text("list of recalls and notices")
    check_axe(page)


def test_cover_is_asked_at_check_in_in_few_taps(
    desk_shop: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    """A known customer with a machine that is new to the shop: the receipt's day is one entry, the
    questions lie after the tag."""
    desk_shop.open_job(customer="Ana Pohl")
    keep_files(hand.new_page(), desk_shop)
    page = opened(hand, desk_shop, "/counter")
    page.click("#check-in")
    ready(page)
    page.evaluate(COUNTING)
    page.locator("#customer").press_sequentially("pohl")
    page.locator("#customers .key").first.click()
    page.locator("#model").press_sequentially("bm-561")
    page.locator("#models .key").first.click()
    page.locator("#serial").press_sequentially("2304A01175")
    expect(page.locator("#before .notice").first).to_contain_text("blade brake spring may break")
    expect(page.locator("#before .notice").first).to_contain_text("Do not run it")
    page.fill("#purchased", BOUGHT)
    page.locator("#words").press_sequentially("dead, nothing happens")
    page.locator("#near .key").first.click()
    page.locator("#pack-0").press_sequentially("P-7")
    page.locator("#unsafe .key").first.click()
    page.click("#check-in")
    page.wait_for_selector("#tag-62")
    typed = 6  # customer, model, serial, day, words, serial of the pack
    assert 1 + page.evaluate("window.taps") + typed <= TAPS
    expect(page.locator("#cover-answer")).to_contain_text("Can't say")
    expect(page.locator("#cover .notice").first).to_contain_text("R-3")
    check_axe(page)
    check_keys(page, 390)
    page.locator("#cover fieldset:has-text('Used for') .key:has-text('rental')").click()
    expect(page.locator("#cover-answer")).to_contain_text("Not covered")
    expect(page.locator("#to-bench")).to_be_visible()  # it warns, the bench stays open


HELD_BACK = """() => { const real = window.fetch; window.held = [];
  window.fetch = (to, how) => String(to).endsWith("/cover")
    ? new Promise((go) => window.held.push(() => go(real(to, how)))) : real(to, how); }"""


def test_a_cover_that_comes_late_takes_no_key_from_under_the_finger(
    desk_shop: Shop, hand: BrowserContext
) -> None:
    keep_files(hand.new_page(), desk_shop)
    page = ready(opened(hand, desk_shop, "/counter/new"))
    page.evaluate(HELD_BACK)
    page.locator("#model").press_sequentially("bm-561")
    page.locator("#models .key").first.click()
    page.click("#check-in")
    page.wait_for_selector("#to-sheet")
    page.wait_for_function("window.held.length")
    page.evaluate("document.getElementById('to-sheet').under = 'a finger'")
    page.evaluate("window.held.forEach((go) => go())")
    page.wait_for_selector("#cover-answer")
    assert page.evaluate("document.getElementById('to-sheet').under") == "a finger"


@pytest.mark.slow
def test_a_day_to_come_shows_its_field_whoever_made_the_machine(
    desk_shop: Shop, hand: BrowserContext
) -> None:
    """The day was typed for a maker with a programme, then the maker became another one."""
    keep_files(hand.new_page(), desk_shop)
    page = ready(opened(hand, desk_shop, "/counter/new"))
    page.locator("#model").press_sequentially("bm-561")
    page.locator("#models .key").first.click()
    page.fill("#purchased", (date.today() + timedelta(40)).isoformat())
    page.fill("#model", "")
    page.locator("#model").press_sequentially("tb-80")
    page.locator("#models .key:has-text('Tolmin')").first.click()
    page.click("#check-in")
    expect(page.locator("#to-come")).to_contain_text("is still to come: mend the day")
    expect(page.locator("#purchased")).to_be_focused()
    page.fill("#purchased", "")
    page.click("#check-in")
    page.wait_for_selector("#tag-62")


class Phone:
    """Entries as a phone sends them, for the steps that other tests walk by hand."""

    def __init__(self, page: Page, shop: Shop, job: str) -> None:
        self.request, self.address, self.sent = page.request, f"{shop.local}/api/jobs/{job}", 0
        self.device = f"phone-{job[:8]}"

    def enter(self, kind: str, **body: object) -> None:
        self.sent += 1
        now = datetime.now(UTC).isoformat()
        entry = {"device_seq": self.sent, "kind": kind, "device_time": now, "by": "Sam",
                 "body": body}  # fmt: skip
        batch = {"device": self.device, "events": [entry]}
        answer = self.request.post(f"{self.address}/events", data=batch).json()
        assert answer["results"] == [{"device_seq": self.sent, "status": "stored", "message": ""}]


def printed(page: Page, address: str) -> str:
    """The words of a PDF."""
    paper = page.request.get(address).body()
    assert paper.startswith(b"%PDF")
    return " ".join(p.extract_text() for p in PdfReader(io.BytesIO(paper)).pages)


def test_from_check_in_to_money_received_under_warranty(
    desk_shop: Shop, browser: Browser, hand: BrowserContext, tmp_path: Path
) -> None:
    page = hand.new_page()
    page.on("pageerror", lambda error: pytest.fail(f"a fault in the page: {error}"))
    keep_files(page, desk_shop)
    # The counter: checked in, cover asked and answered.
    page.goto(f"{desk_shop.address}/counter/new")
    ready(page)
    page.fill("#customer", "Rosa Okafor")
    page.fill("#model", "BM-561")
    page.locator("#models .key").first.click()
    page.fill("#serial", "2311A00044")
    page.fill("#purchased", BOUGHT)
    page.fill("#words", "It is dead, nothing happens")
    page.locator("#near .key:has-text('Dead')").click()
    with page.expect_file_chooser() as chooser:
        page.click("#plate")
    chooser.value.set_files(jpeg(tmp_path, "plate.jpg", (900, 600)))
    expect(page.locator("#plate")).to_contain_text("1 of the plate")
    page.click("#check-in")
    page.wait_for_selector("#tag-62")
    page.locator("#cover fieldset:has-text('Used for') .key:has-text('household')").click()
    page.locator("#cover .key:has-text('receipt with a date')").click()
    for ask in ("stood in water", "anybody else opened"):
        page.locator(f"#cover-questions fieldset:has-text('{ask}') .key:has-text('no')").click()
        expect(page.locator(f"#cover-questions fieldset:has-text('{ask}')")).to_have_count(0)
    page.fill("#cover-failed", (date.today() - timedelta(2)).isoformat())
    page.locator("#cover-failed").blur()
    sent(page)
    expect(page.locator("#cover-answer")).to_contain_text("Covered: until", timeout=60_000)
    job = newest(desk_shop).id
    # The bench: from the tag to one part, proven.
    page.goto(f"{desk_shop.address}/job/{job}/bench")
    page.wait_for_selector("[data-ready]")
    page.evaluate("window.taps = 0")
    walk(page, broken(desk_shop, job, "bail_sw_open"), tmp_path, picture=True)
    sent(page)
    # The papers: what lacks is said with what it puts at risk, then the claim goes its way.
    page.goto(f"{desk_shop.address}/job/{job}/papers")
    expect(page.locator("#answer")).to_contain_text("Covered")
    worth = page.locator("#worth").inner_text()
    assert worth.endswith("USD") and float(worth.split()[0]) > 0
    expect(page.locator("#lacks")).to_contain_text(worth)
    expect(page.locator("#lacks")).to_contain_text("why it failed")  # before a part is ordered
    # The part is ordered, comes, is fitted; the machine is checked and goes home mended.
    phone = Phone(page, desk_shop, job)
    for cause in page.request.get(phone.address).json()["causes"]["open"]:
        phone.enter("CauseAnswered", cause=cause["id"], answer="no")
    phone.enter("PartOrdered", supplier="Brackwater parts")
    page.goto(f"{desk_shop.address}/job/{job}/shelf")
    page.wait_for_selector("#resume[data-ready]")
    page.click("text=It is here")
    sent(page)
    phone.enter("PartFitted", part="start_box")
    for one in reversed(page.request.get(phone.address).json()["apart"]["off"]):
        phone.enter("StepClosed", step=one["id"])
    for check in page.request.get(phone.address).json()["apart"]["release"]["checks"]:
        phone.enter("ReleaseChecked", check=check["id"], result="pass")
    phone.enter("PaymentNoted", paid="nothing to pay", words="warranty")
    phone.enter("HandedBack", to="Rosa Okafor", outcome="repaired")
    assert page.request.get(phone.address).json()["closed"] == "repaired"
    page.goto(f"{desk_shop.address}/job/{job}/papers")
    page.click("#codes summary")
    page.select_option("#mode", "M05")
    page.select_option("#cause", "C03")
    page.select_option("#did", "A01")
    page.click("#codes button")
    page.wait_for_load_state()
    worth = page.locator("#worth").inner_text()  # the minutes of the whole job are in it
    expect(page.locator("#lacks")).to_have_count(0)  # and again before it is sent
    expect(page.locator("section#failed-part")).to_contain_text("Keep it until")
    assert worth in printed(page, f"{desk_shop.local}/job/{job}/claim.pdf")
    page.click("#send summary")
    page.fill("#number", "CL-31")
    page.click("#send button")
    expect(page.locator("#course")).to_contain_text("Sent today, no answer yet")
    page.click("#answer-form summary")
    page.check("input[name='reply'][value='accepted']")
    page.click("#answer-form button")
    expect(page.locator("#course")).to_contain_text("Accepted")
    page.click("#paid summary")
    page.fill("#amount", worth)
    page.click("#paid button")
    expect(page.locator("#course")).to_contain_text("Accepted, paid")
    check_axe(page)
    table = page.request.get(f"{desk_shop.local}/paperwork/claims.csv").text()
    assert "CL-31" in table and "accepted" in table


@pytest.mark.slow
def test_a_paying_customer_whose_estimate_is_exceeded(
    desk_shop: Shop, hand: BrowserContext
) -> None:
    """From check-in to the money: the estimate from the plan, passed, asked again, paid."""
    page = hand.new_page()
    page.on("pageerror", lambda error: pytest.fail(f"a fault in the page: {error}"))
    page.goto(f"{desk_shop.address}/counter/new")
    ready(page)
    page.fill("#customer", "Nils Berg")
    page.fill("#contact", "nils@mail.example")
    page.fill("#model", "TR-42")
    page.locator("#models .key").first.click()
    page.fill("#words", "It will not crank")
    page.locator("#near .key").first.click()
    page.click("#check-in")
    page.wait_for_selector("#tag-62")
    assert page.locator("#cover-answer").count() == 0  # no programme of this maker
    sent(page)
    job = newest(desk_shop).id
    page.goto(f"{desk_shop.address}/job/{job}/papers")
    page.click("#write summary")
    page.click("#from-plan")
    expect(page.locator("#planned")).to_contain_text("in 9 of 10 such jobs")
    check_axe(page)
    page.fill("#currency", "USD")
    page.click("text=This is the estimate")
    expect(page.locator("#gate")).to_contain_text("nobody has agreed yet")
    total = page.locator("#left").inner_text().removesuffix(" USD")
    # what was agreed is the sum alone, and then a cable is found to be needed as well
    page.fill("#who-agreed", "Nils Berg")
    page.fill("#how", "by phone")
    page.fill("#up_to", total)
    page.click("#agree button")
    expect(page.locator("#gate")).to_contain_text("agreed to")
    page.click("#write summary")
    page.fill("#lines", f"labour; find and mend; {total}\npart; ground cable; 31.50")
    page.fill("#currency", "USD")
    page.click("text=This is the estimate")
    expect(page.locator("#gate")).to_contain_text("31.50 USD above what Nils Berg agreed to")
    # ordering is stopped until the customer agreed, on the shelf as well
    page.goto(f"{desk_shop.address}/job/{job}/shelf")
    page.wait_for_selector("#resume[data-ready]")
    page.click("#order summary")
    page.fill("#part", "ground cable")
    page.click("#order button.do")
    expect(page.locator("#pending")).to_contain_text("nothing was ordered", timeout=60_000)
    page.goto(f"{desk_shop.address}/job/{job}/bench")
    page.wait_for_selector("[data-ready]")
    expect(page.locator("#stopped")).to_contain_text("31.50 USD above")
    page.goto(f"{desk_shop.address}/job/{job}/papers")
    page.fill("#who-agreed", "Nils Berg")
    page.fill("#how", "in the shop")
    page.click("#agree button")
    expect(page.locator("#gate")).to_contain_text("agreed to")
    expect(page.locator("#gate .mark")).to_have_count(0)
    for amount in ("20.00", ""):
        left = page.locator("#left").inner_text().removesuffix(" USD")
        page.click("#took summary")
        page.fill("#took-amount", amount or left)
        page.fill("#way", "card")
        page.click("#took button")
        expect(page.locator("#left")).not_to_have_text(f"{left} USD")
    expect(page.locator("#left")).to_have_text("0.00 USD")
    assert "Invoice" not in printed(page, f"{desk_shop.local}/job/{job}/bill.pdf")
    phone = Phone(page, desk_shop, job)
    phone.enter("HoldOverridden", by="Ida", reason="a walk of the money alone")
    phone.enter("PaymentNoted", paid="paid", words="")
    phone.enter("HandedBack", to="Nils", outcome="repaired")
    page.goto(f"{desk_shop.address}/job/{job}/papers")
    expect(page.locator("#estimate")).to_contain_text("Invoice (PDF)")
    paper = printed(page, f"{desk_shop.local}/job/{job}/bill.pdf")
    assert "Invoice" in paper and "ground cable" in paper.casefold() and "31.50 USD" in paper
    page.click("text=Write a mail")
    expect(page.locator("#to")).to_have_value("nils@mail.example")
    page.click("#go")
    expect(page.locator("#mails")).to_contain_text("nils@mail.example")
    assert len(list(desk_shop.store.parent.glob("*.mail/*.eml"))) == 1
    check_axe(page)


@pytest.mark.slow
def test_a_price_is_asked_for_between_the_decision_and_the_order(
    desk_shop: Shop, hand: BrowserContext
) -> None:
    """One tap makes the estimate from the plan; over the limit it takes a name and a reason; cash
    at the pickup stands under estimate and payment."""
    job = desk_shop.open_job(customer="Ida Kern", maker="Tolmin", model="TM-9", serial="7")
    with Record.open(desk_shop.store) as record:
        decide(record, job, At(datetime.now(UTC).astimezone(), "Sam"), "handle_switch")
    page = hand.new_page()
    page.on("pageerror", lambda error: pytest.fail(f"a fault in the page: {error}"))
    page.set_default_timeout(120_000)  # the machine's readings are worked out once
    page.goto(f"{desk_shop.address}/job/{job}/bench")
    page.wait_for_selector("[data-ready]")
    expect(page.locator("#price-first")).to_contain_text("no price is agreed yet")
    page.click("#go-shelf")
    page.wait_for_selector("#resume[data-ready]")
    expect(page.locator("#price-before-order")).to_contain_text("no price is agreed yet")
    check_axe(page)
    page.click("#price-before-order .key")
    expect(page.locator("#ask-money")).to_contain_text("the machine file's, no list's")
    check_axe(page)
    page.fill("#ask-price", "31.50")
    page.click("#ask-money button")
    expect(page.locator("#planned")).to_contain_text("in 9 of 10 such jobs")
    page.fill("#currency", "USD")
    page.click("text=This is the estimate")
    expect(page.locator("#gate")).to_contain_text("nobody has agreed yet")
    page.fill("#how", "by phone")
    page.fill("#up_to", "10")
    page.click("#agree button")
    expect(page.locator("#gate")).to_contain_text("above what Ida Kern agreed to")
    page.goto(f"{desk_shop.address}/job/{job}/shelf#order")
    page.wait_for_selector("#resume[data-ready]")
    page.click("#order button.do")
    expect(page.locator("#pending")).to_contain_text("nothing was ordered", timeout=60_000)
    page.fill("#despite", "Sam")
    page.fill("#reason", "the shop pays what is above")
    page.click("#order button.do")
    expect(page.locator(".order")).to_contain_text("Ordered before the customer agreed: Sam")
    left = page.request.get(f"{desk_shop.local}/api/jobs/{job}/counter").json()["left"]
    page.goto(f"{desk_shop.address}/job/{job}/pickup")
    page.wait_for_selector("#counter[data-ready]")
    page.click("#override-fold summary")
    page.fill("#by", "Sam")
    page.fill("#reason", "a test of the money alone")
    page.click("#override")
    expect(page.locator("#owed")).to_have_text(f"Left to pay: {left}", timeout=60_000)
    check_axe(page)
    page.fill("#amount", "5 cash")
    page.locator("section[aria-label='Paid'] .ticked .key").first.click()
    page.wait_for_selector("#undo-paid")  # the refused order stays with the phone
    page.goto(f"{desk_shop.address}/job/{job}/papers")
    expect(page.locator("#at-pickup")).to_contain_text("paid, 5 cash")
    expect(page.locator("#at-pickup")).to_contain_text("5 USD counted below")
    expect(page.locator("#estimate")).to_contain_text("was ordered before the customer agreed")
    expect(page.locator("#left")).not_to_have_text(left)
