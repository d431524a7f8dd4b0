"""Take apart, rebuild, hand back on a phone: pictures, counts, checks, no network, two phones."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, expect

from knowngood.job import apart as ap
from knowngood.job import events as ev
from knowngood.places import apart, decision
from knowngood.places.record import At, Record
from tests.browser.shop import Shop, at_bench, phone
from tests.browser.test_bench import job_of, jpeg, settled
from tests.browser.test_whole_walk import axe

SMALL = str(Path(__file__).parent.parent / "places" / "small.yaml")


def decided(shop: Shop, job: str, part: str = "controller") -> None:
    with Record.open(shop.store) as record:
        decision.decide(record, job, At(datetime.now(UTC).astimezone(), "Sam"), part)


def go(page: Page, place: str) -> None:
    page.click(f"#mode-{place}")
    page.wait_for_selector("#slot-place > *")


def tap(page: Page, selector: str) -> None:
    page.locator(selector).first.click()
    settled(page)


def shoot(page: Page, selector: str, picture: Path) -> None:
    with page.expect_file_chooser() as chooser:
        page.locator(selector).first.click()
    chooser.value.set_files(picture)
    page.wait_for_timeout(400)  # a tap at the same place sooner than that counts as the same one


def name_me(page: Page, name: str = "Ana") -> None:
    page.evaluate(f"localStorage.setItem('by', '{name}')")


def do_lines(page: Page, until: Callable[[], bool] = lambda: False) -> None:
    """Every line of the rebuild, as it comes, each with its key."""
    keys = ("#is-back", "#good", "#even", "#cleared", "#not-found", "#fitted", "#right", "#tagged")
    for _ in range(30):
        if until() or not page.locator("#line").count():
            return
        if page.locator("#f-proof").count():  # a control is good by what the meter says
            page.fill("#f-proof", "0.4 ohm, OL released")
        found = next(key for key in keys if page.locator(f"{key}:enabled").count())
        tap(page, found)
    raise AssertionError("the rebuild does not end")


def test_from_the_first_picture_to_closed(
    running: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    job = running.open_job(machine=SMALL, model="BT-5")
    decided(running, job)
    page = at_bench(hand, running, job)
    name_me(page)
    violations = {}
    go(page, "apart")
    violations["what comes off"] = axe(page)
    tap(page, "#take-off .key:has-text('lift the controller cover')")
    for n in range(3):  # a burst
        shoot(page, "#shoot", jpeg(tmp_path, f"{n}.jpg", (800 + n, 600)))
        expect(page.locator(".thumb")).to_have_count(n + 1)
    violations["step"] = axe(page)
    tap(page, "#is-off")
    page.fill("#f-own", "Sticker over the hidden screw")
    page.keyboard.press("Enter")
    tap(page, "#is-off")
    for _ in range(2):
        tap(page, "#alike-more")
    tap(page, "text=T20")
    tap(page, "#all-alike")
    page.fill("[id^='f-plugs-']", "J1: red, black\nJ2: white")
    page.fill("[id^='f-where-']", "tray 3, blue lid")
    violations["notes"] = axe(page)
    tap(page, "#keep-notes")
    it = job_of(running, job)
    own = it.open_steps[-1].step
    assert [s.step for s in it.open_steps] == ["cover", own]
    assert it.apart.noted[own].plugs == ("J1: red, black", "J2: white")
    assert it.apart.noted[own].fasteners["kinds"][0]["drive"] == "T20"
    assert [p.about for p in it.pictures] == ["cover"] * 3

    go(page, "rebuild")
    violations["rebuild"] = axe(page)
    do_lines(page, lambda: page.locator("#right").count() > 0)
    page.fill("#f-number", "BW-311")
    tap(page, "#plugs-old-more")
    tap(page, "#plugs-now-more")
    tap(page, "#beside")
    violations["part"] = axe(page)
    tap(page, "#right")
    expect(page.locator("#line h2")).to_contain_text("The old one: tagged with its job")
    page.fill("#f-tag-where", "shelf 3")
    violations["old part"] = axe(page)
    tap(page, "#tagged")
    tap(page, "#lines .key:has-text('Put back: controller cover')")
    expect(page.locator("#before")).to_contain_text("Fit Controller")
    page.click("#lines .key:has-text('Fit Controller')")
    cover = page.locator("#line h2:has-text('Put back: controller cover')")
    do_lines(page, lambda: cover.count() > 0)
    expect(page.locator("#line .thumb")).to_have_count(3)  # its pictures stand beside the line
    tap(page, "#uneven-key")
    tap(page, "#went-in-less")
    tap(page, "#left-over-more")
    tap(page, "#back-uneven")
    expect(page.locator("#uneven")).to_contain_text("LEFT OVER: 1")
    tap(page, "#lines .key:has-text('Put back: controller cover')")
    tap(page, "text=It is off again")  # the screw is found to belong at the rear
    do_lines(page)
    expect(page.locator("#together")).to_contain_text("10 of 10 fasteners back, none left over")

    go(page, "release")
    violations["release"] = axe(page)
    expect(page.locator("#held")).to_contain_text("Held: 2 safety checks not made")
    expect(page.locator("#close-repaired")).to_be_disabled()
    tap(page, "#fail")
    page.fill("#f-check-why", "4 s")
    expect(page.locator("#check .do")).to_have_text("Keep: fail")  # nothing says pass meanwhile
    violations["failed"] = axe(page)
    page.click("#fail")
    settled(page)
    expect(page.locator("#held")).to_contain_text("1 failed")
    expect(page.locator("#stopped")).to_contain_text("Failed: Blade seen still")
    expect(page.locator("#pass")).to_have_count(0)  # nothing further is offered
    tap(page, "#again-blade_stop")
    tap(page, "#pass")
    page.fill("#f-check-why", "brake relined")
    tap(page, "#pass")
    tap(page, "#pass")
    expect(page.locator("#held")).to_contain_text("May go")
    tap(page, "#close-repaired")
    expect(page.locator("#slot-notice")).to_contain_text("closed: repaired")
    violations["closed"] = axe(page)
    it = job_of(running, job)
    assert it.closed is not None and it.closed.outcome == "repaired"
    assert it.apart.in_hand["controller"][0].new_plugs == 1
    assert it.apart.tagged["controller"].where == "shelf 3"
    assert it.open_steps == ()
    assert {name: found for name, found in violations.items() if found} == {}


def test_keys_are_large_and_apart(running: Shop, hand: BrowserContext, tmp_path: Path) -> None:
    """56 px at least, 8 px apart, nothing wider than the phone."""
    job = running.open_job(machine=SMALL, model="BT-5")
    decided(running, job)
    page = at_bench(hand, running, job)
    go(page, "apart")
    for place, before in (
        ("apart", ()),
        ("apart", ("#take-off .key:has-text('lift the controller')",)),
        ("apart", ("#is-off", "#off summary", "#off .key:has-text('Note more')")),
        ("rebuild", ()),
        ("rebuild", ("#lines .key:has-text('part in hand')",)),
        ("rebuild", ("#lines .key:has-text('The old one')",)),
        ("rebuild", ("#lines .key:has-text('Put back: controller cover')", "#uneven-key")),
        ("release", ("#fail",)),
        ("release", ("#override-fold summary",)),
    ):
        go(page, place)
        for selector in before:
            tap(page, selector)
        boxes = page.eval_on_selector_all(
            "main .key, main .field, main .thumb, main summary",
            "keys => keys.filter(k => k.checkVisibility()).map(k => { "
            "const r = k.getBoundingClientRect(); "
            "return [k.innerText || k.id, r.left, r.top, r.right, r.bottom]; })",
        )
        assert [b for b in boxes if b[3] - b[1] < 55.9 or b[4] - b[2] < 55.9] == []
        close = [
            (a[0], b[0])
            for n, a in enumerate(boxes)
            for b in boxes[n + 1 :]
            if max(b[1] - a[3], a[1] - b[3]) < 7.9
            and max(b[2] - a[4], a[2] - b[4]) < 7.9
            and not (a[3] - a[1] > 340 and b[3] - b[1] > 340)
        ]
        assert close == [], place
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.slow
def test_the_network_is_away_during_teardown_and_rebuild(
    shop: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    """Killed and started again twice; every entry arrives once and in its order."""
    job = shop.open_job(machine=SMALL, model="BT-5")
    page = at_bench(hand, shop, job)
    name_me(page)
    go(page, "apart")
    shop.kill()
    page.click("#take-off .key:has-text('open the start box')")
    shoot(page, "#shoot", jpeg(tmp_path, size=(900, 600)))
    expect(page.locator(".thumb .mark")).to_have_count(1)  # seen at once, marked as unsent
    page.click("#is-off")
    expect(page.locator("#off")).to_contain_text("open the start box 6 fasteners, 1 picture")
    page.click("#take-off .key:has-text('unplug the controller')")
    page.click("#is-off")
    expect(page.locator("#off summary")).to_have_count(3)  # the cover came off with the plug
    go(page, "rebuild")
    expect(page.locator("#line h2")).to_have_text("Together again: controller")
    page.click("#is-back")
    expect(page.locator("#line h2")).to_have_text("Put back: controller cover")
    expect(page.locator("#unsent")).to_have_attribute("data-count", "4")
    shop.start()
    settled(page)
    page.reload()
    page.wait_for_selector("[data-ready]")
    expect(page.locator("#mode-rebuild")).to_have_attribute("aria-pressed", "true")
    shop.kill()
    page.click("#lines .key:has-text('Look along')")
    page.click("#good")
    page.click("#lines .key:has-text('Put back: controller cover')")
    page.click("#is-back")
    shop.start()
    settled(page)
    with Record.open(shop.store) as record:
        told = [e.event for e in record.log.events(job)]
    done = [
        (type(e).__name__, getattr(e, "step", "") or getattr(e, "line", ""))
        for e in told
        if not isinstance(e, ev.JobOpened | ev.MinutesNoted | ap.FastenersBack)
    ]
    assert done[:6] == [
        ("PictureAdded", ""), ("StepOpened", "handle"), ("StepOpened", "cover"),
        ("StepOpened", "plug"), ("StepClosed", "plug"), done[5],
    ]  # fmt: skip
    assert done[5][0] == "LineTicked" and done[5][1].startswith("pinch:")
    assert done[6:] == [("StepClosed", "cover")]


@pytest.mark.slow
def test_a_step_that_changed_while_the_phone_was_away(
    running: Shop, browser: Browser, hand: BrowserContext
) -> None:
    job = running.open_job(machine=SMALL, model="BT-5")
    with Record.open(running.store) as record:
        apart.take_off(record, job, "cover", At(datetime.now(UTC).astimezone(), "Sam"))
    page = at_bench(hand, running, job)
    go(page, "rebuild")
    hand.set_offline(True)
    page.click("#lines .key:has-text('Put back: controller cover')")
    page.click("#is-back")
    other = phone(browser)
    try:
        second = at_bench(other, running, job)
        go(second, "apart")
        tap(second, "#take-off .key:has-text('unplug the controller')")
        tap(second, "#is-off")
    finally:
        other.close()
    hand.set_offline(False)
    expect(page.locator("#slot-notice")).to_contain_text(
        "can't be back yet, still off inside it: unplug the controller", timeout=20_000
    )
    expect(page.locator("#unsent")).to_contain_text("1 refused")
    expect(page.locator("#line h2")).to_have_text("Together again: controller")
    assert [s.step for s in job_of(running, job).open_steps] == ["cover", "plug"]
    page.goto(f"{running.address}/phone")
    expect(page.locator("#queue")).to_contain_text("Back on cover")  # nothing is lost


@pytest.mark.slow
def test_the_page_is_thrown_away_between_step_and_picture(
    running: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    job = running.open_job(machine=SMALL, model="BT-5")
    page = at_bench(hand, running, job)
    go(page, "apart")
    tap(page, "#take-off .key:has-text('lift the controller cover')")
    with page.expect_file_chooser():
        page.click("#shoot")
    page.reload()
    page.wait_for_selector("[data-ready]")
    expect(page.locator("#step-off h2")).to_have_text("lift the controller cover")
    expect(page.locator("#again")).to_contain_text("lift the controller cover")
    shoot(page, "text=Take it again", jpeg(tmp_path, size=(800, 600)))
    expect(page.locator(".thumb")).to_have_count(1)
    settled(page)
    assert [p.about for p in job_of(running, job).pictures] == ["cover"]


@pytest.mark.slow
def test_a_mark_with_the_pen_is_a_second_picture(
    running: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    job = running.open_job(machine=SMALL, model="BT-5")
    page = at_bench(hand, running, job)
    go(page, "apart")
    tap(page, "#take-off .key:has-text('lift the controller cover')")
    white = tmp_path / "white.png"
    Image.new("RGB", (800, 600), "white").save(white)
    shoot(page, "#shoot", white)
    expect(page.locator(".thumb")).to_have_count(1)
    settled(page)
    page.click(".thumb")
    page.click("text=Mark on it")
    box = page.locator("canvas.sheet").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 40, box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + 160, box["y"] + 120, steps=8)
    page.mouse.up()
    page.click("#keep-marked")
    expect(page.locator(".thumb")).to_have_count(2)
    settled(page)
    first, second = job_of(running, job).pictures
    assert (first.caption, second.caption) == (
        "lift the controller cover", "marked: lift the controller cover",
    )  # fmt: skip
    assert second.about == "cover"

    def reds(digest: str) -> int:
        with Record.open(running.store) as record:
            image = Image.open(record.files.path_of(digest)).convert("RGB")
        pixels = image.tobytes()
        return sum(r > 150 and g < 90 for r, g in zip(pixels[::3], pixels[1::3], strict=True))

    assert reds(first.digest) == 0, "the picture itself stays as it was"
    assert reds(second.digest) > 200
    page.locator(".thumb").nth(1).click()
    page.click("#no-picture")
    expect(page.locator(".thumb")).to_have_count(1)
    settled(page)
    assert job_of(running, job).pictures == (first,)


@pytest.mark.slow
def test_who_comes_back_sees_the_last_three_steps(running: Shop, hand: BrowserContext) -> None:
    job = running.open_job(machine=SMALL, model="BT-5")
    then = datetime.now(UTC).astimezone() - timedelta(days=3)
    with Record.open(running.store) as record:
        for n, step in enumerate(("handle", "cover", "plug")):
            apart.take_off(record, job, step, At(then + timedelta(minutes=n), "Sam"))
        apart.put_step_back(record, job, "plug", At(then + timedelta(minutes=9), "Sam"))
    page = at_bench(hand, running, job)
    go(page, "rebuild")
    again = page.locator("#again-here")
    expect(again).to_contain_text("off: lift the controller cover by Sam")
    go(page, "apart")
    expect(again).to_contain_text("off: lift the controller cover by Sam")
    expect(again).to_contain_text("done: Together again: controller by Sam")
    expect(again).not_to_contain_text("start box")  # the last three, no more
    page.click("#go-on")
    expect(again).to_have_count(0)
    go(page, "rebuild")
    tap(page, "#good")
    expect(again).to_have_count(0)
