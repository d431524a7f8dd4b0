"""Pictures of the Library, as a phone of 390 x 844 shows it.

    python docs/pictures/make_library.py

A shop of its own is served from a temporary folder and walked through in chromium.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright
from screenshot import picture

from tests.browser.shop import launch, phone, served

FAMILY = "hedge-trimmer-36v"
BROKEN = """machine: our-trimmer
based_on: hedge-trimmer-36v
words: Our trimmer
faults:
  fuse_open: {wieght: 3}
teardown:
  shell: {minutes: -4}
"""


def main() -> None:
    """From the list to an unknown machine, a broken file and a sum."""
    with (
        tempfile.TemporaryDirectory() as folder,
        served(Path(folder)) as shop,
        sync_playwright() as playwright,
    ):
        browser = launch(playwright)
        page = phone(browser).new_page()
        page.goto(f"{shop.address}/library")
        page.evaluate("localStorage.setItem('by', 'Ana')")
        page.goto(f"{shop.address}/library")
        picture(page, "library")
        page.goto(f"{shop.address}/library/machine/{FAMILY}")
        picture(page, "library-file")
        page.click("#tests summary")
        picture(page, "library-tests", "#tests")
        page.click("#wiring summary")
        page.locator("#wiring img").evaluate("image => image.decode()")
        picture(page, "library-wiring", "#wiring")
        page.goto(f"{shop.address}/library/machine/pack-charger-56v/audit")
        picture(page, "library-audit")
        page.goto(f"{shop.address}/library/new/{FAMILY}")
        page.click("label.key >> nth=0")
        picture(page, "unknown-machine")
        page.click("#more summary")
        picture(page, "unknown-machine-answers", "#more")
        page.click("#to-bench")
        page.wait_for_selector("#bench[data-ready]")
        page.goto(f"{shop.address}/library/machine/unknown")
        picture(page, "not-seen-yet")
        page.goto(f"{shop.address}/library/file")
        page.fill("#text", BROKEN)
        page.click("#look")
        page.wait_for_selector("#found")
        picture(page, "library-problems")
        page.goto(f"{shop.address}/library/sums")
        picture(page, "sums")
        page.goto(f"{shop.address}/library/sums/bleed-resistor")
        for name in page.locator("main form input").evaluate_all("all => all.map(i => i.id)"):
            hint = str(page.get_attribute(f"#{name}", "placeholder")).removeprefix("such as ")
            page.fill(f"#{name}", hint)
        page.click("main form .do")
        page.wait_for_selector("#answer")
        picture(page, "sum")
        browser.close()


if __name__ == "__main__":
    main()
