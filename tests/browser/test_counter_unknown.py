"""An unknown machine at the counter: its kind there or later; Check in is a form again."""

from __future__ import annotations

import pytest
from playwright.sync_api import BrowserContext, expect

from tests.browser.shop import Shop
from tests.browser.test_counter import check_axe, check_keys, newest, opened, ready

pytestmark = pytest.mark.slow


def test_an_unknown_machine_gets_its_kind_at_the_counter(
    running: Shop, hand: BrowserContext
) -> None:
    """Its kind comes by the words of the complaint; the receipt leads to the bench."""
    page = ready(opened(hand, running, "/counter/new"))
    page.fill("#words", "the hedge trimmer does nothing when I pull the trigger")
    page.fill("#model", "QX-18 Z")
    kinds = page.locator("#kinds .key")
    expect(kinds.first).to_contain_text("edge trimmer")
    page.fill("#maker", "Ostrava Works")
    kinds.first.click()
    page.locator("#near .key").first.click()
    check_axe(page)
    check_keys(page, 390)
    page.click("#check-in")
    page.wait_for_selector("#tag-62")
    page.click("#to-bench")
    page.wait_for_selector("#bench[data-ready]")
    job = newest(running)
    assert job.opened is not None
    assert (job.opened.maker, job.opened.model) == ("Ostrava Works", "QX-18 Z")
    assert job.opened.machine_id == "hedge-trimmer-36v" and job.opened.complaint


def test_a_machine_checked_in_without_a_file_gets_one_later(
    running: Shop, hand: BrowserContext
) -> None:
    page = ready(opened(hand, running, "/counter/new"))
    page.fill("#model", "ZZ-9")
    page.fill("#words", "chainsaw is dead")
    page.click("#check-in")
    page.wait_for_selector("#tag-62")
    job = newest(running).id
    page.click("#to-bench")
    page.click("#describe")
    first = page.locator("a.line").first
    expect(first).to_contain_text("hainsaw")
    check_axe(page)
    first.click()
    expect(page.locator("main")).to_contain_text("gets this file")
    page.click("#to-bench")
    page.wait_for_selector("#bench[data-ready]")
    assert page.url.endswith(f"/job/{job}/bench")
    assert newest(running).id == job


def test_check_in_tapped_again_is_a_form_and_not_the_last_receipt(
    running: Shop, hand: BrowserContext
) -> None:
    page = ready(opened(hand, running, "/counter/new"))
    page.fill("#customer", "Ida Kern")
    page.click("#check-in")
    page.wait_for_selector("#tag-62")
    expect(page.locator("#alone")).to_have_count(0)
    page.reload()
    page.wait_for_selector("#tag-62")  # the same page: the papers are still wanted
    page.goto(f"{running.address}/counter")
    page.click("#check-in")
    page.wait_for_selector("#customer")
    expect(page.locator("#done")).to_have_count(0)
