"""From the tag to one part, proven: taps counted, no violation of axe on any screen."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.shop import Shop, at_bench, phone
from tests.browser.test_bench import jpeg, job_of, settled

# What the mower of the demo answers: its start box does not close, all else is sound.
FAULT = "start_box"
TAPS_WALKED, TAPS_CALLED = 18, 9
AXE = resources.files("axe_playwright_python") / "axe.min.js"
COUNTER = "window.taps = 0; addEventListener('click', () => { window.taps += 1; }, true)"


def axe(page: Page) -> list[str]:
    """Violations that axe-core finds on this screen, each with its first place."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [f"{v['id']}: {v['help']} at {v['nodes'][0]['html'][:120]}" for v in found["violations"]]


def answers(page: Page) -> str:
    """What this mower would show at the step in front: what the machine's file expects of it."""
    question = page.get_attribute("#reading", "aria-label")
    assert question is not None
    return ANSWERS.get(question.removeprefix("Reading: "), "")


ANSWERS: dict[str, str] = {}


def take(page: Page, text: str) -> None:
    """Answer with the fewest keys there are for it."""
    if not text:
        page.locator(
            "#pad .key:has-text('as it should'), #pad .key:text-is('As expected')"
        ).first.click()
    elif text in ("OL", "Yes", "No"):
        page.click(f"#pad .key:has-text('{text}')")
    else:
        for sign in text:
            page.click(
                "#pad [aria-label='point']" if sign == "." else f"#pad .key:text-is('{sign}')"
            )
        page.click("#take")
    settled(page)
