"""A machine without a file is taken apart all the same; what a job taught goes into the file."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import BrowserContext, expect

from knowngood.places.counter import Sheet, check_in
from knowngood.places.own_machines import kept_files, own_file
from knowngood.places.record import At, Record
from tests.browser.shop import Shop, at_bench
from tests.browser.test_apart import SMALL, do_lines, go, name_me, shoot, tap
from tests.browser.test_bench import job_of, jpeg, settled
from tests.browser.test_whole_walk import axe

pytestmark = pytest.mark.slow


def test_a_job_without_a_machine_file(shop: Shop, hand: BrowserContext, tmp_path: Path) -> None:
    with Record.open(shop.store) as record:
        sheet = Sheet(words="Squeals and stops", maker="Tolmin", model="T-9")
        check_in(record, "a-job-1", sheet, At(datetime.now(UTC).astimezone(), "Sam"))
    page = hand.new_page()
    page.goto(f"{shop.address}/job/a-job-1/bench")
    name_me(page)
    expect(page.locator("h1")).to_contain_text("has no machine file yet")
    expect(page.locator("#kind-battery")).to_be_visible()
    assert axe(page) == []
    shop.kill()
    shoot(page, "#picture", jpeg(tmp_path, size=(800, 600)))
    expect(page.locator("#picture")).to_contain_text("1 on this phone")
    page.click("#kind-battery")
    expect(page.locator("#without")).to_contain_text("opens when the shop's computer is reached")
    shop.start()
    page.wait_for_selector("[data-ready]", timeout=60_000)
    expect(page.locator("#mode-apart")).to_have_attribute("aria-pressed", "true")
    tap(page, "#take-off .key:has-text('Pack out and kept by you')")
    tap(page, "#is-off")
    page.fill("#f-own", "Top cover off")
    page.keyboard.press("Enter")
    shoot(page, "#shoot", jpeg(tmp_path, "two.jpg", size=(900, 600)))
    expect(page.locator("#step-off .thumb")).to_have_count(1)
    tap(page, "#is-off")
    for _ in range(3):
        tap(page, "#alike-more")
    tap(page, "#all-alike")
    tap(page, "#keep-notes")
    go(page, "rebuild")
    do_lines(page)
    expect(page.locator("#together")).to_contain_text("3 of 3 fasteners back, none left over")
    go(page, "release")
    expect(page.locator("#check")).to_contain_text("With the source out")
    tap(page, ".ticks .key:has-text('Brake or blade stop')")
    expect(page.locator("#first")).to_contain_text("Every guard, cover and deflector")
    expect(page.locator("#lessons")).to_have_count(0)
    it = job_of(shop, "a-job-1")
    assert len(it.pictures) == 2 and it.open_steps == ()


def test_one_tap_keeps_a_step_in_the_shops_file(
    running: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    job = running.open_job(machine="chainsaw-56v", complaint="dead", model="BS-14", serial="77")
    page = at_bench(hand, running, job)
    name_me(page)
    go(page, "apart")
    tap(page, "#take-off .key:has-text('Pack out and kept by you')")
    tap(page, "#is-off")
    page.fill("#f-own", "Sticker over the hidden screw")
    page.keyboard.press("Enter")
    shoot(page, "#shoot", jpeg(tmp_path, "three.jpg", size=(700, 600)))
    expect(page.locator("#step-off .thumb")).to_have_count(1)
    tap(page, "#is-off")
    tap(page, "#keep-notes")
    if page.locator("#rest summary").count():
        page.click("#rest summary")
    tap(page, "#take-off .key:has-text('Shell open')")
    tap(page, "#is-off")
    go(page, "release")
    expect(page.locator("#lessons")).to_contain_text("Before: Shell open")
    assert axe(page) == []
    tap(page, "#lessons .key:has-text('Keep it in the file')")
    expect(page.locator("#lessons")).to_contain_text("in the file brackwater-bs-14")
    with Record.open(running.store) as record:
        assert "brackwater-bs-14" in kept_files(record)
        own = own_file(record, "brackwater-bs-14")
    assert own is not None and "sticker_over_the_hidden_screw" in own.text
    assert job_of(running, job).opened.machine_id == "chainsaw-56v"  # type: ignore[union-attr]
    said = httpx.get(f"{running.local}/library/machine/brackwater-bs-14", timeout=60)
    assert said.status_code == 200 and "Sticker over the hidden screw" in said.text
    settled(page)


def test_a_phone_whose_clock_is_a_year_ahead_says_so(running: Shop, hand: BrowserContext) -> None:
    job = running.open_job(machine=SMALL, model="BT-5")
    page = hand.new_page()
    page.clock.install(time=datetime.now(UTC) + timedelta(days=370))
    page.goto(f"{running.address}/job/{job}/bench")
    page.wait_for_selector("[data-ready]")
    page.evaluate(
        """async (job) => { const { keep } = await import("/static/outbox.js");
        await keep({ job, kind: "NoteAdded", body: { text: "rust on the bolt" } }); }""",
        job,
    )
    expect(page.locator("#clock-off")).to_contain_text("clock is 1 year ahead", timeout=20_000)
    assert [n.text for n in job_of(running, job).notes] == ["rust on the bolt"]
    assert axe(page) == []


def test_an_entry_on_a_job_that_is_not_there_stays_marked(
    running: Shop, hand: BrowserContext
) -> None:
    page = hand.new_page()
    page.goto(f"{running.address}/phone")
    page.evaluate(
        """async () => { const { keep } = await import("/static/outbox.js");
        await keep({ job: "no-such-job", kind: "NoteAdded", body: { text: "lost?" } }); }"""
    )
    expect(page.locator("#queue")).to_contain_text("There is no job 'no-such-job' here yet")
    expect(page.locator("#queue")).to_contain_text("Note lost?")
    with Record.open(running.store) as record:
        assert record.log.last_seq("no-such-job") == 0, "refused is not half stored"
