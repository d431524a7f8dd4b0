"""The Library on a phone: an unknown machine in a few taps, files read, sums done; axe is clean."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.shop import Shop, phone
from tests.browser.test_whole_walk import COUNTER, axe

pytestmark = pytest.mark.slow

FAMILY = "hedge-trimmer-36v"
BROKEN = """machine: our-trimmer
based_on: hedge-trimmer-36v
words: Our trimmer
faults:
  fuse_open: {wieght: 3}
teardown:
  shell: {minutes: -4}
"""
OPEN = "document.querySelectorAll('main details').forEach(d => { d.open = true; })"


def page_of(context: BrowserContext, shop: Shop, where: str) -> Page:
    page = context.new_page()
    page.on("pageerror", lambda error: pytest.fail(f"a fault in the page: {error}"))
    page.goto(f"{shop.address}/{where}")
    return page


def test_an_unknown_machine_is_worked_on_after_four_taps(
    running: Shop, hand: BrowserContext
) -> None:
    page = page_of(hand, running, "library")
    page.evaluate(COUNTER)
    taps = 0
    for step in ("#new", f"a[href='/library/new/{FAMILY}']", "label.key >> nth=0", "#to-bench"):
        page.click(step)
        taps += 1
    page.wait_for_selector("#bench[data-ready]")
    assert taps == 4
    page.goto(f"{running.address}/library")
    assert page.locator("a.machine[href='/library/machine/unknown']").count() == 1


def test_what_is_not_seen_yet_is_answered_from_the_step_and_back(
    running: Shop, hand: BrowserContext
) -> None:
    page = page_of(hand, running, f"library/new/{FAMILY}")
    page.evaluate(COUNTER)
    page.click("label.key >> nth=0")
    page.click("#to-bench")
    page.wait_for_selector("#bench[data-ready]")
    page.click("#mode-apart")
    page.click("#take-off .key:has-text('Pack out')")
    assert "not seen yet:" not in page.inner_text("#step-off")  # no trap, but a tap
    page.click("#unseen-cells")
    page.fill("#a-cells", "10")
    page.set_default_timeout(120_000)  # the file is checked as a whole, and the job looked at again
    page.click("form:has(#a-cells) button", no_wait_after=True)
    page.wait_for_selector("#said:has-text('1 open job goes on with it')", timeout=120_000)
    assert page.locator("#a-cells").count() == 0
    page.click("#to-job")
    page.wait_for_selector("#bench[data-ready]")
    page.wait_for_selector("#unseen-brake")  # the same step, what is left of it
    assert page.locator("#unseen-cells").count() == 0


@pytest.mark.parametrize("size", [None, {"width": 1280, "height": 900}])
def test_every_page_fits_and_axe_finds_nothing(
    running: Shop, browser: Browser, size: dict[str, int] | None
) -> None:
    context = phone(browser, size)
    wide = (size or {"width": 390})["width"]
    try:
        page = page_of(context, running, "library")
        found = {"/library": axe(page)}
        for where in (f"machine/{FAMILY}", "new", f"new/{FAMILY}", "sums", "sums/bleed-resistor",
                      "sums/capacitor-bleed?volts=58+V", "file", "machine/pack-charger-56v/audit"):
            page.goto(f"{running.address}/library/{where}")
            page.evaluate(OPEN)
            found[where] = axe(page)
            assert page.evaluate("document.documentElement.scrollWidth") <= wide, where
        page.goto(f"{running.address}/library/file")
        page.fill("#text", BROKEN)
        page.click("#keep")
        page.wait_for_selector("#found")
        assert "line 5" in page.inner_text("#found") and "wieght" in page.inner_text("#found")
        found["problems"] = axe(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= wide
        assert {name: ways for name, ways in found.items() if ways} == {}
    finally:
        context.close()


def test_a_sum_is_done_by_thumb(running: Shop, hand: BrowserContext) -> None:
    page = page_of(hand, running, "library/sums/wire-drop")
    page.fill("#in-awg", "18")
    page.fill("#in-length", "3 m")
    page.fill("#in-amps", "10 A")
    page.click("form .do")
    page.wait_for_selector("#answer")
    assert "V" in page.inner_text("#answer")
    page.wait_for_load_state()  # with its style sheet
    for target in page.locator("main .key").all():
        box = target.bounding_box()
        assert box is not None and box["height"] >= 44


def test_volts_on_a_label_are_asked_back_as_cells(running: Shop, hand: BrowserContext) -> None:
    page = page_of(hand, running, f"library/new/{FAMILY}")
    page.click("label.key >> nth=0")
    page.click("#more summary")
    page.fill("#q-cells", "20 V")
    page.click("#to-bench")
    asked = page.locator("#cells-asked")
    expect(asked).to_contain_text("20 V on the label")
    assert asked.locator(".key").all_inner_texts() == ["5 cells, 18 V nominal, 20 to 21 V full"]
    assert axe(page) == []
    asked.locator(".key").click()
    page.wait_for_selector("#bench[data-ready]")
    page.goto(f"{running.address}/library")
    page.locator(".line.machine").first.click()
    expect(page.locator("main")).to_contain_text("18 V, full 21 V")


def test_an_answer_is_put_right_on_the_page_of_the_file(
    running: Shop, hand: BrowserContext
) -> None:
    page = page_of(hand, running, "library/new/blower-56v")
    page.evaluate(OPEN)
    page.fill("[name='q-one_part']", "motor, controller")
    page.click("button[name='what'][value='file']")
    page.wait_for_selector("#said", timeout=120_000)
    page.evaluate(OPEN)
    assert "Motor with controller" in page.inner_text("#parts")
    page.fill("#again-one_part", "motor, impeller")
    page.set_default_timeout(120_000)  # the file is checked as a whole
    page.click("form:has(#again-one_part) button", no_wait_after=True)
    page.wait_for_selector("#said:has-text('answered')", timeout=120_000)
    page.evaluate(OPEN)
    parts = page.inner_text("#parts")
    assert "with controller" not in parts and "Motor with impeller" in parts, parts
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert axe(page) == []
