"""The shelf on a phone: fourteen machines that wait, two taps back to the work, search."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from knowngood.places.record import Record
from tests.browser.fourteen import fill
from tests.browser.shop import Shop, phone, served
from tests.browser.test_bench import NASTY, job_of
from tests.browser.test_whole_walk import COUNTER, axe

pytestmark = pytest.mark.slow

WORDS_A_MINUTE = (
    238  # silent reading, Brysbaert 2019, Journal of Memory and Language 109 (from memory)
)
TAPS_TO_RESUME = 2


@dataclass(frozen=True)
class Full:
    shop: Shop
    ids: dict[str, str]


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Full]:
    with served(tmp_path_factory.mktemp("full")) as shop:
        with Record.open(shop.store) as record:
            ids = fill(record, datetime.now(UTC).astimezone())
        yield Full(shop, ids)


def at_shelf(context: BrowserContext, full: Full, customer: str = "") -> Page:
    page = context.new_page()
    page.on("pageerror", lambda error: pytest.fail(f"a fault in the page: {error}"))
    where = f"job/{full.ids[customer]}/shelf" if customer else "shelf"
    page.goto(f"{full.shop.address}/{where}")
    if customer:
        page.wait_for_selector("#resume[data-ready]")
    return page


def arrived(page: Page) -> None:
    """The tap is in the record and the page shows it."""
    page.wait_for_selector("#resume[data-fresh]")
    page.evaluate("delete document.getElementById('resume').dataset.fresh")
    expect(page.locator("#unsent")).to_have_attribute("data-count", "0")


def test_fourteen_machines_are_read_in_two_minutes(full: Full, hand: BrowserContext) -> None:
    page = at_shelf(hand, full)
    assert page.locator(".wait").count() == 14
    words = page.inner_text("main").split()
    assert len(words) <= 2 * WORDS_A_MINUTE
    loud = page.locator(".wait").evaluate_all("all => all.map(e => e.classList.contains('loud'))")
    assert loud == sorted(loud, reverse=True) and sum(loud) == 4  # overdue first
    for line in page.locator(".wait.loud").all():
        assert "overdue" in line.inner_text()  # in words, not by colour alone
    pieces = page.locator(".wait .pieces")
    assert pieces.count() == 6
    assert "in pieces: 1 off" in pieces.first.inner_text()
    assert pieces.first.evaluate("e => getComputedStyle(e).borderTopStyle") == "dashed"  # shape
    sizes = page.locator(".says").evaluate_all(
        "a => a.map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    assert min(sizes) >= 16
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_shelved_job_is_resumed_in_two_taps(full: Full, hand: BrowserContext) -> None:
    page = at_shelf(hand, full)
    taps = 0
    page.click(f"a[href='/job/{full.ids['Pohl']}/shelf']")
    taps += 1
    page.wait_for_selector("#resume[data-ready]")
    story = page.inner_text("main")
    for told in ("Clicks once and nothing", "Start box, number BW-1322", "tray 3", "Last steps",
                 "put at shelf B1", "wait for the part"):  # fmt: skip
        assert told in story
    bottom = page.locator("#story").bounding_box()
    assert bottom is not None and bottom["y"] + bottom["height"] <= 844  # on one screen
    page.click("#go-on")
    taps += 1
    page.wait_for_selector("#bench[data-ready]")
    assert taps <= TAPS_TO_RESUME


@pytest.mark.parametrize(
    ("customer", "where"),
    [("Berg", "bench#rebuild"), ("Kim", "bench#release"), ("Haas", "pickup"), ("Lund", "bench")],
)
def test_the_work_goes_on_where_it_was_left(
    full: Full, hand: BrowserContext, customer: str, where: str
) -> None:
    page = at_shelf(hand, full, customer)
    assert page.get_attribute("#go-on", "href") == f"/job/{full.ids[customer]}/{where}"


def test_the_tag_leads_to_the_place_where_the_job_stands(full: Full, hand: BrowserContext) -> None:
    page = hand.new_page()
    for customer, place in (("Pohl", "shelf"), ("Kim", "shelf"), ("Wirth", "bench")):
        page.goto(f"{full.shop.address}/job/{full.ids[customer]}")
        assert page.url.endswith(f"/job/{full.ids[customer]}/{place}")


def test_a_place_is_one_tap(full: Full, hand: BrowserContext) -> None:
    page = at_shelf(hand, full, "Lund")
    page.evaluate(COUNTER)
    page.click("#places button >> nth=0")
    assert page.evaluate("window.taps") == 1
    arrived(page)
    assert job_of(full.shop, full.ids["Lund"]).shelf.place == "bin 2"
    expect(page.locator("#where-title")).to_contain_text("bin 2")


def test_from_order_to_here(full: Full, hand: BrowserContext) -> None:
    page = at_shelf(hand, full, "Roth")
    page.click("#order summary")
    assert page.input_value("#part") == "Trigger switch"
    page.fill("#supplier", NASTY)
    page.click("#order .pick >> nth=2")
    page.click("#order button.do")
    arrived(page)
    week = (datetime.now(UTC).astimezone() + timedelta(days=7)).date()
    order = job_of(full.shop, full.ids["Roth"]).shelf.orders["trigger"]
    assert (order.number, order.supplier, order.expected) == ("TM-0417", NASTY, week.isoformat())
    expect(page.locator("#waits")).to_contain_text("Trigger switch due")
    page.click("text=It is here")
    arrived(page)
    expect(page.locator("#waits")).to_contain_text("Trigger switch is here since today")


def test_asked_answered_and_promised(full: Full, hand: BrowserContext) -> None:
    page = at_shelf(hand, full, "Owusu")
    page.click("#ask summary")
    page.fill("#question", "150 USD, go on?")
    page.keyboard.press("Enter")  # a keyboard of metal will do
    arrived(page)
    expect(page.locator("#waits")).to_contain_text("nobody has answered since today")
    page.click("text=Said yes")
    arrived(page)
    page.click("#promise summary")
    page.click("#promise .pick >> nth=0")
    page.click("#promise button.do")
    arrived(page)
    expect(page.locator("#waits")).to_contain_text("promised tomorrow")
    assert job_of(full.shop, full.ids["Owusu"]).shelf.answer == "yes, go on"


def test_two_phones_on_one_job(full: Full, hand: BrowserContext, browser: Browser) -> None:
    """Both say that the part came and where the machine stands: both stay on the record."""
    other = phone(browser)
    try:
        one, two = at_shelf(hand, full, "Moss"), at_shelf(other, full, "Moss")
        one.click("text=It is here")
        two.click("text=It is here")
        two.fill("#place", "bin 9")
        two.click("text=Put there")
        arrived(one)
        expect(two.locator("#where-title")).to_contain_text("bin 9")
        for page in (one, two):
            page.wait_for_function("document.getElementById('unsent').dataset.count === '0'")
        job = job_of(full.shop, full.ids["Moss"])
        assert job.shelf.orders["trigger"].arrived is not None and job.shelf.place == "bin 9"
        one.reload()
        expect(one.locator("#where-title")).to_contain_text("bin 9")
    finally:
        other.close()


def test_what_is_tapped_without_a_network_is_kept(full: Full, hand: BrowserContext) -> None:
    page = at_shelf(hand, full, "Diaz")
    full.shop.kill()
    page.fill("#place", "shelf C3")
    page.click("text=Put there")
    expect(page.locator("#pending")).to_contain_text("kept on this phone")
    full.shop.start()
    expect(page.locator("#where-title")).to_contain_text("shelf C3", timeout=30_000)
    assert job_of(full.shop, full.ids["Diaz"]).shelf.place == "shelf C3"


def test_search_by_what_is_on_the_tag(full: Full, hand: BrowserContext) -> None:
    page = at_shelf(hand, full)
    for typed, customer in (("okafor", "Okafor"), ("26-0002", "Pohl"), ("hedge middle", "Roth"),
                            ("Fenwick owusu", "Owusu")):  # fmt: skip
        page.fill("#q", typed)
        page.keyboard.press("Enter")
        expect(page.locator("#count")).to_contain_text("1 job with")
        expect(page.locator(".wait")).to_contain_text(customer)
    page.fill("#q", NASTY)
    page.click("#find")
    expect(page.locator("#count")).to_contain_text("No jobs with")
    page.click("text=All that waits")
    assert page.locator(".wait").count() == 14


@pytest.mark.parametrize("size", [None, {"width": 1280, "height": 900}])
def test_axe_finds_no_violation_on_the_shelf(
    full: Full, browser: Browser, size: dict[str, int] | None
) -> None:
    context = phone(browser, size)
    try:
        page = at_shelf(context, full)
        found = {"shelf": axe(page)}
        page.goto(f"{full.shop.address}/shelf?q=silva")
        found["search"] = axe(page)
        for customer in ("Okafor", "Silva", "Kim"):
            page.goto(f"{full.shop.address}/job/{full.ids[customer]}/shelf")
            page.wait_for_selector("#resume[data-ready]")
            page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
            found[customer] = axe(page)
            small = page.eval_on_selector_all(
                "main .key, main summary, main .field", "all => all.filter(k => "
                "k.checkVisibility()).map(k => [k.innerText, k.getBoundingClientRect().height])"
                ".filter(k => k[1] < 55.9)",
            )  # fmt: skip
            assert small == []
        assert {name: ways for name, ways in found.items() if ways} == {}
    finally:
        context.close()
