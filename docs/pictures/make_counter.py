"""Pictures of the counter, as a phone of 390 x 844 shows it, and of its papers.

    python docs/pictures/make_counter.py

A shop of its own is served from a temporary folder and walked through in chromium; the papers are
drawn by poppler (pdftoppm).
"""

from __future__ import annotations

import subprocess
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright
from screenshot import FOLDER, picture

from knowngood.cli.demo import SHEET
from knowngood.places.premises import note_shop
from knowngood.places.record import At, Record
from tests.browser.shop import launch, phone, served
from tests.browser.test_counter import draw, ready, sent

PAPERS = {
    "tag-62": "tag.pdf?size=62", "tag-a6": "tag.pdf?size=a6", "claim-check": "claim-check.pdf",
}  # fmt: skip
DOTS = 110  # to the inch


def paper(data: bytes, name: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "paper.pdf"
        source.write_bytes(data)
        command = ["pdftoppm", "-r", str(DOTS), "-png", "-singlefile", source, Path(folder) / "out"]
        subprocess.run(command, check=True)
        drawn = Image.open(Path(folder) / "out.png").convert("L").quantize(16)
        drawn.save(FOLDER / f"paper-{name}.png", optimize=True)


def main() -> None:
    """From the first page to the receipt."""
    with (
        tempfile.TemporaryDirectory() as folder,
        served(Path(folder)) as shop,
        sync_playwright() as playwright,
    ):
        with Record.open(shop.store) as record:
            note_shop(record, SHEET, At(datetime.now(UTC), "Ana Reyes"))
        shop.open_job(customer="Mrs. Okafor", words="It will not start, it is dead.")
        browser = launch(playwright)
        page = phone(browser).new_page()
        page.goto(f"{shop.address}/")
        page.wait_for_selector("#who-here .key")
        picture(page, "places")
        page.click("#who-here .key:has-text('Ana')")
        page.goto(f"{shop.address}/counter")
        picture(page, "counter")
        page.click("#check-in")
        ready(page)
        page.locator("#customer").press_sequentially("oka")
        picture(page, "check-in")
        page.locator("#customers .key").first.click()
        page.locator("#theirs .key").first.click()
        page.locator("#words").press_sequentially("It cuts out when I mow up the hill")
        page.wait_for_timeout(600)
        picture(page, "check-in-words", "#serial")
        page.locator("#near .key").first.click()
        page.fill("#pack-0", "BP-1187")
        page.locator("#unsafe .key").nth(1).click()
        page.locator(".pack .key:has-text('swollen')").click()
        picture(page, "unsafe-pack", ".pack")
        page.locator("#came .key:has-text('charger')").click()
        page.click("#check-in")
        page.wait_for_selector("#tag-62")
        sent(page)
        picture(page, "checked-in")
        address = str(page.get_attribute("#to-sheet", "href")).rpartition("/")[0]
        for name, path in PAPERS.items():
            paper(page.request.get(f"{shop.local}{address}/{path}").body(), name)
        page.click("#to-sheet")
        ready(page)
        picture(page, "sheet")
        page.click("#to-pickup")
        ready(page)
        picture(page, "held", "#held")
        page.click("#override-fold summary")
        page.fill("#reason", "sold for parts, blade taken off")
        page.click("#override")
        page.wait_for_selector("#hand-back", timeout=120_000)
        page.locator("section[aria-label='Paid'] .key:has-text('nothing to pay')").click()
        page.wait_for_selector("h2:has-text('Paid? nothing to pay')")
        page.locator(".key:has-text('charger')").click()
        picture(page, "pickup", "section[aria-label='Paid']")
        page.locator(".key:has-text('returned unrepaired')").click()
        draw(page)
        page.click("#hand-back")
        page.wait_for_selector("#handed")
        page.wait_for_selector(".signed")
        picture(page, "handed-back", "#handed")
        paper(page.request.get(f"{shop.local}{address}/claim-check.pdf").body(), "receipt")
        page.goto(f"{shop.address}/shop")
        ready(page)
        picture(page, "shop")
        browser.close()


if __name__ == "__main__":
    main()
