"""From the tag to one part, proven: taps counted, no violation of axe on any screen.

The machine answers as its own file expects of the fault that is in it, in the fewest signs.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from knowngood.places.decision import decide
from knowngood.places.gather import setup_of
from knowngood.places.record import At, Record
from tests.browser.shop import Shop, at_bench, phone, served
from tests.browser.test_bench import NASTY, job_of, jpeg, settled
from tests.one_fault import OneFault

TAPS_WALKED, TAPS_CALLED = 18, 9  # limits set for the screen; a new question replaces one
AXE = resources.files("axe_playwright_python") / "axe.min.js"
COUNTER = "window.taps = 0; addEventListener('click', () => { window.taps += 1; }, true)"
GOOD = ".good-answer"


def broken(shop: Shop, job: str, fault: str) -> OneFault:
    with Record.open(shop.store) as record:
        return OneFault(setup_of(record, job_of(shop, job)), fault)


@pytest.fixture(scope="module")
def unhurried(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """A server that plans for up to two seconds, so that a busy machine plans no worse."""
    with served(tmp_path_factory.mktemp("unhurried"), patience=2.0) as shop:
        yield shop


def take(page: Page, text: str) -> None:
    """Answer with the fewest keys there are for it."""
    if not text:
        page.locator(GOOD).first.click()
    elif text in ("OL", "Yes", "No"):
        page.locator("#slot-entry .key", has_text=text).first.click()
    elif (same := page.locator("#slot-entry .key:text-is('Same'):enabled:visible")).count():
        same.first.click()  # the machine shows what it showed when this step was read before
    else:
        number, _, unit = text.partition(" ")
        for sign in number:
            where = "[aria-label='point']" if sign == "." else f".key:text-is('{sign}')"
            page.click(f"#pad {where}")
        if unit:
            page.click(f"#quick .key:text-is('{unit}')")
        page.click("#take")
    settled(page)


def walk(page: Page, machine: OneFault, folder: Path, picture: bool) -> int:
    """Follow the bench until a part is ordered; the taps that it took."""
    tests = machine.tests
    for _ in range(30):
        if page.locator("#decided").count():
            break
        if page.locator("#looks").count():
            wrong = [t for t in tests.values() if t.look and machine.shows(t)]
            for test in wrong:
                row = page.locator(f"#looks [data-look='{test.id}'] .bad")
                if row.count():
                    row.click()
            page.click("#looked")
        elif page.locator("#order").count():
            page.click("#order")
        elif page.locator("#live").count():
            page.click("#live")
        else:
            label = page.get_attribute("#reading", "aria-label") or ""
            if label == "Reading: volts on the capacitor":
                take(page, "0")
                continue
            test = tests[label.removeprefix("Reading: ")]
            if picture and test.grade == "measured":
                with page.expect_file_chooser() as chooser:
                    page.click("#photo")
                chooser.value.set_files(jpeg(folder, size=(640, 480)))
                picture = False
            take(page, machine.shows(test))
        settled(page)
    expect(page.locator("#decided")).to_be_visible()
    return int(page.evaluate("window.taps"))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("fault", "part"), [("bail_sw_open", "start_box"), ("ctrl_short", "controller")]
)
def test_walked_to_the_part_in_few_taps(
    unhurried: Shop, hand: BrowserContext, tmp_path: Path, fault: str, part: str
) -> None:
    job = unhurried.open_job()
    page = at_bench(hand, unhurried, job)
    page.evaluate(COUNTER)
    taps = walk(page, broken(unhurried, job, fault), tmp_path, picture=True)
    print(f"{fault} walked: {taps} taps")
    decision = job_of(unhurried, job).decision
    assert decision is not None and decision.proven
    assert decision.part == part
    assert len(job_of(unhurried, job).pictures) == 1
    assert taps <= TAPS_WALKED
    if fault == "bail_sw_open":
        claim_and_order_are_one_tap_away(page, unhurried)


def claim_and_order_are_one_tap_away(page: Page, shop: Shop) -> None:
    """From the decision; the cause that is left is asked beside them."""
    address = page.get_attribute("#claim", "href")
    answer = page.request.get(f"{shop.local}{address}")
    assert answer.ok and answer.body().startswith(b"%PDF-")
    page.click("#cause-no")
    settled(page)
    before = page.evaluate("window.taps")
    page.click("#go-shelf")  # the order is one tap away, its form open with the part in it
    expect(page.locator("#order #part")).to_be_visible()
    assert page.input_value("#order #part") and before
    page.go_back()
    page.wait_for_selector("[data-ready]")
    assert page.locator("#decided").inner_text().count("no") >= 1


@pytest.mark.parametrize(
    ("part", "fault"),
    [
        ("Start box", "bail_sw_open"),
        pytest.param("Controller", "ctrl_short", marks=pytest.mark.slow),
    ],
)
def test_called_and_proven_in_few_taps(
    unhurried: Shop, hand: BrowserContext, tmp_path: Path, part: str, fault: str
) -> None:
    """The bar is held for the two parts walked here. A part whose proof asks first whether
    pack, contact, chain and blade are good takes more: each of those looks is a tap."""
    job = unhurried.open_job()
    page = at_bench(hand, unhurried, job)
    page.evaluate(COUNTER)
    page.click("#call")
    page.click(f"dialog .key:text-is('{part}')")
    settled(page)
    taps = walk(page, broken(unhurried, job, fault), tmp_path, picture=False)
    print(f"{part} called: {taps} taps")
    decision = job_of(unhurried, job).decision
    assert decision is not None and decision.proven
    assert decision.part == part.lower().replace(" ", "_")
    assert taps <= TAPS_CALLED


def axe(page: Page) -> list[str]:
    """Violations that axe-core finds on this screen, each with its first place."""
    page.wait_for_load_state()  # with its style sheet
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [f"{v['id']}: {v['help']} at {v['nodes'][0]['html'][:160]}" for v in found["violations"]]


@pytest.mark.parametrize(
    "size", [None, pytest.param({"width": 1280, "height": 900}, marks=pytest.mark.slow)]
)
def test_axe_finds_no_violation(
    unhurried: Shop, browser: Browser, tmp_path: Path, size: dict[str, int] | None
) -> None:
    context = phone(browser, size)
    try:
        job = unhurried.open_job(words=NASTY)
        page = at_bench(context, unhurried, job)
        found = {"first look": axe(page)}
        page.evaluate("window.taps = 0")
        page.click("#looked")
        settled(page)
        page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
        page.click("#why")
        page.wait_for_selector("#why-here .card")
        found["step"] = axe(page)
        page.click("#call")
        found["call"] = axe(page)
        page.click("dialog >> text=Start box")
        settled(page)
        page.click("#who")
        found["who"] = axe(page)
        page.keyboard.press("Escape")
        if size is None:
            walk(page, broken(unhurried, job, "bail_sw_open"), tmp_path, picture=True)
        else:  # the walk is one of the phone; here the other card, of a part without proof
            with Record.open(unhurried.store) as record:
                decide(record, job, At(datetime.now(UTC).astimezone(), "Sam"), "start_box")
        expect(page.locator("#decided")).to_be_visible(timeout=30_000)
        found["decided"] = axe(page)
        for name in ("", "phone", "api", "job/nowhere"):
            page.goto(f"{unhurried.address}/{name}")
            found[f"/{name}"] = axe(page)
        assert {name: ways for name, ways in found.items() if ways} == {}
    finally:
        context.close()
