"""Other hands at the bench: a keyboard of metal, two fingers on the wiring, a clock put right."""

from __future__ import annotations

import pytest
from playwright.sync_api import BrowserContext, Locator, Page, expect

from tests.browser.shop import Shop, at_bench
from tests.browser.test_apart import SMALL, decided, go, tap
from tests.browser.test_bench import job_of, settled
from tests.browser.test_whole_walk import axe

pytestmark = pytest.mark.slow


def to_key(page: Page, wanted: Locator) -> None:
    """With the tabulator alone, as a keyboard on a stand does it."""
    for _ in range(120):
        if wanted.evaluate("one => one === document.activeElement"):
            return
        page.keyboard.press("Tab")
    raise AssertionError("the keyboard does not get there")


def test_a_keyboard_of_metal_does_it_all(running: Shop, hand: BrowserContext) -> None:
    job = running.open_job(machine=SMALL, model="BT-5")
    page = at_bench(hand, running, job)

    def press(selector: str) -> None:
        to_key(page, page.locator(selector).first)
        page.keyboard.press("Enter")
        settled(page)

    press("#mode-apart")
    press("#take-off .key:has-text('lift the controller cover')")
    press("#is-off")
    press("#mode-rebuild")
    to_key(page, page.locator("#f-proof"))
    page.keyboard.type("zero point three ohms, OL released")
    page.keyboard.press("Enter")
    settled(page)
    press("#good")
    press("#is-back")
    press("#mode-release")
    press("#fail")
    page.keyboard.type("4 s")
    page.keyboard.press("Enter")
    settled(page)
    it = job_of(running, job)
    assert [(c.check, c.result, c.reason) for c in it.release] == [("blade_stop", "fail", "4 s")]
    assert it.apart.ticks["prove:controls"].text == "zero point three ohms, OL released"
    assert it.open_steps == ()
    expect(page.locator("#stopped")).to_contain_text("4 s")  # nothing further is offered
    press("#again-blade_stop")
    press("#pass")  # it asks what was done
    page.keyboard.type("brake relined")
    page.keyboard.press("Enter")
    settled(page)
    press("#pass")  # the other check
    assert {c.result for c in job_of(running, job).release} == {"pass"}


def test_the_wiring_with_its_two_points(running: Shop, hand: BrowserContext) -> None:
    job = running.open_job()
    page = at_bench(hand, running, job)
    page.click("#looks-later")
    settled(page)
    page.click("#slot-entry .answer:has-text('No')")  # the pack is sound
    settled(page)
    expect(page.locator("#step")).to_contain_text("(point ", timeout=30_000)
    said = page.locator("#step .points").inner_text()
    page.click("#wiring")
    expect(page.locator("svg.drawing [data-mine]")).to_have_count(2)
    words = page.locator("dialog .said").inner_text()
    assert words.startswith("R (red) on ") and ", B (black) on " in words
    for number in words.replace("R (red) on ", "").split(", B (black) on "):
        assert f"(point {number.split()[0]})" in said
    assert axe(page) == []
    for mark in page.locator("svg.drawing [data-mine]").all():
        box, window = mark.bounding_box(), page.locator(".window").bounding_box()
        assert box is not None and window is not None
        assert window["x"] <= box["x"] and box["x"] + box["width"] <= window["x"] + window["width"]

    def wide() -> float:
        box = page.get_attribute("svg.drawing", "viewBox") or ""
        return float(box.split()[2])

    window = page.locator("svg.drawing").bounding_box()
    assert window is not None
    x, y = window["x"] + window["width"] / 2, window["y"] + window["height"] / 2
    before = wide()
    fingers = hand.new_cdp_session(page)

    def touch(kind: str, apart_: float) -> None:
        points = [{"x": x - apart_, "y": y, "id": 1}, {"x": x + apart_, "y": y, "id": 2}]
        there = points if kind != "touchEnd" else []
        fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": there})

    touch("touchStart", 60)
    for n in range(1, 7):
        touch("touchMove", 60 - 6 * n)
    touch("touchEnd", 0)
    page.wait_for_timeout(100)
    assert wide() > before * 1.5, "two fingers together show more of it"
    page.click("dialog >> text=The two points")
    assert wide() == pytest.approx(before)
    page.locator("svg.drawing").focus()
    page.keyboard.press("-")
    assert wide() > before


def test_details_and_minutes_are_put_right_on_the_phone(
    running: Shop, hand: BrowserContext
) -> None:
    job = running.open_job(machine=SMALL, model="BT-5", serial="")
    page = at_bench(hand, running, job)
    page.click("#details summary")
    page.fill("#f-detail-serial", "5100")
    tap(page, "#keep-details")
    page.fill("#f-warmth", "72 F")
    tap(page, "#keep-warmth")
    go(page, "apart")
    tap(page, "#take-off .key:has-text('lift the controller cover')")
    tap(page, "#is-off")
    go(page, "release")
    page.click("#time summary")
    tap(page, "#time .key:has-text('Put right')")
    page.fill("#f-minutes", "7,5")
    page.keyboard.press("Enter")
    settled(page)
    it = job_of(running, job)
    assert it.opened is not None and it.opened.serial == "5100"
    assert it.minutes_by_step()["cover"] == 7.5
    assert [round(celsius, 1) for _, celsius in it.learning.warmth] == [22.2]


def test_a_part_is_not_in_without_a_word_where_nothing_came_off(
    running: Shop, hand: BrowserContext
) -> None:
    """Asked before it is tapped and after; who fits it all the same may."""
    job = running.open_job(machine=SMALL, model="BT-5")
    decided(running, job)
    page = at_bench(hand, running, job)
    go(page, "rebuild")
    page.click("#lines .key:has-text('Fit Controller')")
    asked = page.locator("#not-off")
    expect(asked).to_contain_text("nobody noted it: lift the controller cover. Was it off?")
    tap(page, "#fitted")
    page.click("#lines .key:has-text('Fit Controller')")
    expect(asked).to_be_visible()
    page.click("#note-off")
    page.wait_for_selector("#take-off")
    tap(page, "#take-off .key:has-text('lift the controller cover')")
    tap(page, "#is-off")
    go(page, "rebuild")
    page.click("#lines .key:has-text('Fit Controller')")
    expect(page.locator("#line h2")).to_have_text("Fit Controller")
    assert asked.count() == 0
