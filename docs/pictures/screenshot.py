"""What the scripts of this folder share: a page as a phone shows it becomes a small picture here.

Importing it puts the project on the path, so that the scripts run from any folder.
"""

from __future__ import annotations

import io
import sys
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page

FOLDER = Path(__file__).resolve().parent
sys.path.insert(0, str(FOLDER.parent.parent))


def picture(page: Page, name: str, at: str = "") -> None:
    """Save `screen-NAME.png`; `at`: the element that stands at the top of it."""
    if at:
        page.evaluate("at => document.querySelector(at).scrollIntoView({block: 'start'})", at)
    page.wait_for_timeout(400)
    shot = Image.open(io.BytesIO(page.screenshot(scale="css")))
    shot.convert("RGB").quantize(128).save(FOLDER / f"screen-{name}.png", optimize=True)
