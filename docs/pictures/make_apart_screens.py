"""Pictures of take apart, rebuild, hand back and the wiring, as a phone of 390 x 844 shows them.

    python docs/pictures/make_apart_screens.py

As make_screens.py; the pictures that are taken in it are drawn, not photographed.
"""

from __future__ import annotations

import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

from PIL import Image, ImageDraw
from playwright.sync_api import Page, sync_playwright
from screenshot import picture

from knowngood.places import apart, decision
from knowngood.places.record import At, Record
from tests.browser.shop import Shop, at_bench, launch, phone, served
from tests.browser.test_bench import settled, to_volts


def cover(folder: Path) -> Path:
    """A drawing of a cover with its eight screws, two of them long."""
    image = Image.new("RGB", (1200, 900), "#c9c4b4")
    pen = ImageDraw.Draw(image)
    pen.rounded_rectangle((120, 90, 1080, 810), 90, fill="#54605a", outline="#22312b", width=14)
    for n in range(8):
        x, y = 200 + 266 * (n % 4), 170 if n < 4 else 730
        pen.ellipse((x - 30, y - 30, x + 30, y + 30), fill="#d9d4c6", outline="#16201c", width=6)
        if n in (4, 7):
            pen.line((x, y - 80, x, y - 34), fill="#f2c230", width=14)
    path = folder / "cover.jpg"
    image.save(path, "JPEG")
    return path


def tap(page: Page, selector: str) -> None:
    page.locator(selector).first.click()
    settled(page)


def shoot(page: Page, path: Path) -> None:
    with page.expect_file_chooser() as chooser:
        page.click("#shoot")
    chooser.value.set_files(path)
    page.wait_for_selector(".thumb")
    settled(page)


def teardown(page: Page, shop: Shop, job: str, folder: Path) -> None:
    to_volts(page)  # a step between two points of the wiring, whatever the plan takes first
    page.wait_for_timeout(2500)
    page.click("#wiring")
    page.wait_for_selector("[data-mine]")
    picture(page, "wiring")
    page.click("dialog button:text-is('Close')")
    page.click("#mode-apart")
    picture(page, "take-apart")
    tap(page, "#take-off .key:has-text('Motor cover off')")
    tap(page, "#source-out")
    shoot(page, cover(folder))
    page.evaluate("scrollTo(0, 0)")
    picture(page, "step-off")
    page.click(".thumb")
    page.click("text=Mark on it")
    box = page.locator("canvas.sheet").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 50, box["y"] + box["height"] - 70)
    page.mouse.down()
    for x, y in ((90, 95), (120, 70), (90, 40), (55, 50), (50, 75)):
        page.mouse.move(box["x"] + x, box["y"] + box["height"] - y, steps=4)
    page.mouse.up()
    picture(page, "marked")
    page.click("#keep-marked")
    settled(page)
    tap(page, "#is-off")
    for step in ("Wait two minutes", "Four-pin switch plug", "Three phase leads", "Controller out"):
        row = f"#take-off [aria-label^='Take off: {step}']"
        if not page.locator(row).is_visible():
            page.click("#rest summary")
        tap(page, row)
        if page.locator("#f-volts").count():
            page.fill("#f-volts", "31 V")
            tap(page, "#volts-read")
            page.evaluate("scrollTo(0, 0)")
            picture(page, "capacitor-apart")
            page.fill("#f-volts", "0.4 V")
            tap(page, "#volts-read")
            continue
        tap(page, "#is-off")
    page.evaluate("document.querySelector('#off').scrollIntoView()")
    page.click("#off-cover summary")
    page.evaluate("document.querySelector('#off-cover').scrollIntoView()")
    picture(page, "off-now")


def rebuild(page: Page) -> None:
    page.wait_for_selector("#again-here")
    picture(page, "come-back")
    page.click("#go-on")
    picture(page, "before-hands-in")
    page.fill("#f-proof", "12 mV")
    tap(page, "#good")
    picture(page, "cause")
    for _ in range(9):
        if not page.locator("#not-found").count():
            break
        tap(page, "#not-found")
    page.fill("#f-number", "BW-6010")
    tap(page, "#plugs-old-more")
    tap(page, "#plugs-now-more")
    picture(page, "part-in-hand")
    tap(page, "#right")
    picture(page, "old-part")
    page.fill("#f-tag-where", "bin 7")
    tap(page, "#tagged")
    tap(page, "#fitted")
    while not page.locator("#line h2:has-text('Motor cover')").count():
        if page.locator("#line h2:has-text('Prove')").count():
            picture(page, "prove")
        if page.locator("#f-proof").count():
            hint = page.get_attribute("#f-proof", "placeholder") or ""
            page.fill("#f-proof", hint if hint[:1].isdigit() or hint == "OL" else "")
        tap(page, "#is-back, #good")
    picture(page, "cover-back")
    tap(page, "#uneven-key")
    tap(page, "#went-in-less")
    tap(page, "#left-over-more")
    tap(page, "#back-uneven")
    picture(page, "left-over")


def main() -> None:
    """Every state that a person meets between the first screw and the customer."""
    with (
        tempfile.TemporaryDirectory() as name,
        served(Path(name)) as shop,
        sync_playwright() as playwright,
    ):
        browser = launch(playwright)
        context = phone(browser)
        job = shop.open_job(customer="Mrs. Okafor", words="It will not start, it is dead.")
        page = at_bench(context, shop, job)
        page.evaluate("localStorage.setItem('by', 'Ana')")
        page.reload()
        page.wait_for_selector("[data-ready]")
        teardown(page, shop, job, Path(name))
        then = datetime.now(UTC).astimezone() - timedelta(days=4)
        with Record.open(shop.store) as record:  # four days later the part is there
            old = shop.open_job(customer="Mrs. Okafor", words="It will not start, it is dead.")
            for n, step in enumerate(("pack_out", "cover", "cap_safe", "switch_plug",
                                      "motor_plug", "controller_out")):  # fmt: skip
                apart.take_off(record, old, step, At(then + timedelta(minutes=4 * n), "Sam"))
            decision.decide(record, old, At(then + timedelta(minutes=30), "Sam"), "controller")
        page = at_bench(context, shop, old)
        page.click("#mode-rebuild")
        rebuild(page)
        page.click("#mode-release")
        for _ in range(4):
            tap(page, "#pass")
        tap(page, ".ticks .key:has-text('Fastener count')")
        page.click("#fail")
        picture(page, "release-check")
        page.fill("#f-check-why", "one T25 left over")
        page.keyboard.press("Enter")
        settled(page)
        picture(page, "release-held")
        page.goto("about:blank")
        browser.close()


if __name__ == "__main__":
    main()
