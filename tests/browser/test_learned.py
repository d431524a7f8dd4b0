"""What the shop has learned, on a phone: the strips are seen, a question is answered with a tap."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, expect

from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import Record
from tests.browser.shop import PHONE, Shop, phone, served
from tests.browser.test_whole_walk import axe
from tests.places.conftest import SMALL
from tests.places.mended import mended

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def taught(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    small, meter = find_machine(str(SMALL)), find_meter("generic-6000")
    with served(tmp_path_factory.mktemp("taught")) as shop:
        with Record.open(shop.store) as record:
            for number in range(1, 9):
                mended((record, small, meter), number, f"0.{20 + number % 3} ohm")
            mended((record, small, meter), 10, "3.5 ohm")
        yield shop


@pytest.mark.parametrize("size", [None, {"width": 1280, "height": 900}])
def test_axe_finds_no_violation(
    taught: Shop, browser: Browser, size: dict[str, int] | None
) -> None:
    context = phone(browser, size)
    try:
        page = context.new_page()
        for address in ("learned", "learned/test-mower"):
            page.goto(f"{taught.address}/{address}")
            assert axe(page) == []
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= (size or PHONE)["width"]  # nothing hangs over the edge
    finally:
        context.close()


def test_a_question_is_answered_with_a_tap(taught: Shop, hand: BrowserContext) -> None:
    page = hand.new_page()
    page.goto(f"{taught.address}/learned")
    page.evaluate("localStorage.setItem('by', 'Ida')")
    expect(page.get_by_text("stands out:")).to_be_visible()
    page.get_by_label("Why, if you know").fill("the long lead")
    page.get_by_role("button", name="This machine differs").click()
    expect(page.get_by_text("None: every known-good reading")).to_be_visible()
    page.get_by_role("link", name="Small test mower").click()
    plot = page.locator("svg.strip-plot").first
    expect(plot).to_be_visible()
    page.wait_for_load_state()  # with its style sheet
    box = plot.bounding_box()
    assert box is not None and box["width"] > 200
    # Marks are apart on the screen: no two centres closer than 6 px.
    marks = page.locator("section#motor_ohms svg circle.own").evaluate_all(
        "all => all.map(one => { const b = one.getBoundingClientRect();"
        " return [b.x + b.width / 2, b.y + b.height / 2]; })"
    )
    assert len(marks) == 8
    page.locator("section#motor_ohms summary").click()
    expect(page.locator("section#motor_ohms").get_by_text("this machine differs")).to_be_visible()
    with Record.open(taught.store) as record:
        said = [e for e in record.log.all_events() if type(e.event).__name__ == "ReadingStands"]
    assert [(e.by, e.event.reason) for e in said] == [("Ida", "the long lead")]  # type: ignore[union-attr]
