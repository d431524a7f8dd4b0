"""Pictures at the counter that are none, or too much: said in place, kept on the phone, marked."""

from __future__ import annotations

from pathlib import Path

import httpx
import pytest
from PIL import Image
from playwright.sync_api import BrowserContext, expect

from knowngood.places.record import Record
from tests.browser.shop import Shop
from tests.browser.test_bench import jpeg
from tests.browser.test_counter import newest, opened, ready, sent

pytestmark = pytest.mark.slow


def bomb(folder: Path) -> Path:
    """A picture of 20,000 x 20,000 white pixels, small as a file."""
    path = folder / "bomb.png"
    Image.new("1", (20_000, 20_000), 1).save(path, optimize=True)
    return path


def turned(folder: Path) -> Path:
    """Taken with the phone on its side: EXIF orientation 6 (CIPA DC-008)."""
    path = folder / "turned.jpg"
    picture, exif = Image.new("RGB", (600, 400), "blue"), Image.Exif()
    exif[0x0112] = 6
    picture.save(path, exif=exif)
    return path


def test_pictures_that_are_none(running: Shop, hand: BrowserContext, tmp_path: Path) -> None:
    """Each is said in place and stays in the phone's queue, marked; the check-in goes on."""
    none = tmp_path / "letter.jpg"
    none.write_text("Dear customer", encoding="utf-8")
    heic = tmp_path / "IMG_7.heic"
    heic.write_bytes(b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic")
    huge = tmp_path / "huge.jpg"
    huge.write_bytes(jpeg(tmp_path, "small.jpg", (64, 64)).read_bytes()[:-2] + b"\x00" * 61_000_000)
    huge.write_bytes(b"\x00" + huge.read_bytes())  # no decoder of the phone takes it: it goes as is
    page = ready(opened(hand, running, "/counter/new"))
    page.fill("#customer", "Nils Berg")
    with page.expect_file_chooser() as chooser:
        page.click("#plate")
    chooser.value.set_files(turned(tmp_path))
    expect(page.locator("#plate")).to_contain_text("1 of the plate")
    page.click("#check-in")
    page.wait_for_selector("#to-sheet")
    sent(page)
    (kept,) = newest(running).pictures
    with Record.open(running.store) as record, Image.open(record.files.path_of(kept.digest)) as it:
        assert it.size == (400, 600)  # upright
    page.click("#to-sheet")
    ready(page)
    for path, said in (
        (none, "no picture that can be read"), (heic, "HEIC"), (huge, "MB are kept"),
        (bomb(tmp_path), "million pixels"),
    ):  # fmt: skip
        before = int(page.get_attribute("#unsent", "data-count") or "0")
        with page.expect_file_chooser() as chooser:
            page.click("#plate")
        chooser.value.set_files(path)
        if path.suffix == ".png":  # chromium may make it smaller itself; then it is a picture
            page.wait_for_timeout(6000)
            if "million" not in page.inner_text("main"):
                continue
        expect(page.locator("main")).to_contain_text(said, timeout=60_000)
        expect(page.locator("#unsent")).to_contain_text(f"{before + 1} refused")


def test_a_bomb_sent_by_hand_is_refused(running: Shop, tmp_path: Path) -> None:
    data = bomb(tmp_path).read_bytes()
    answer = httpx.post(f"{running.local}/api/pictures", content=data, timeout=30)
    assert answer.status_code == 422 and "million pixels" in answer.json()["message"]
