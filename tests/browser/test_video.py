"""One video instead of a burst: kept on the phone, stills picked from it later, sent or let go."""

from __future__ import annotations

import base64
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import BrowserContext, Page, expect

from knowngood.places.record import Record
from tests.browser.shop import Shop, at_bench
from tests.browser.test_apart import SMALL, go, name_me, tap
from tests.browser.test_bench import job_of, settled
from tests.browser.test_whole_walk import axe

pytestmark = pytest.mark.slow

FILM = """
async () => {
  const canvas = document.createElement("canvas");
  Object.assign(canvas, { width: 320, height: 240 });
  const at = canvas.getContext("2d");
  const recorder = new MediaRecorder(canvas.captureStream(25), { mimeType: "video/webm" });
  const parts = [];
  recorder.ondataavailable = (event) => parts.push(event.data);
  const done = new Promise((stopped) => { recorder.onstop = stopped; });
  const start = performance.now();
  const draw = () => {
    const late = performance.now() - start > 1500;
    at.fillStyle = late ? "#0000ff" : "#ff0000";
    at.fillRect(0, 0, 320, 240);
    at.fillStyle = "#fff";
    at.fillRect((performance.now() / 10) % 300, 100, 20, 20);
    if (performance.now() - start < 3000) setTimeout(draw, 30);
    else recorder.stop();
  };
  recorder.start(200);
  draw();
  await done;
  const bytes = new Uint8Array(await new Blob(parts).arrayBuffer());
  let text = "";
  for (const one of bytes) text += String.fromCharCode(one);
  return btoa(text);
}
"""


def film(page: Page, folder: Path) -> Path:
    """A video of three seconds, red then blue, as chromium itself records one."""
    path = folder / "VID_7.webm"
    path.write_bytes(base64.b64decode(page.evaluate(FILM)))
    return path


def record(page: Page, path: Path) -> None:
    with page.expect_file_chooser() as chooser:
        page.click("#film")
    chooser.value.set_files(path)


def still(page: Page, seconds: float, count: int) -> None:
    page.evaluate(
        """async (to) => { const film = document.querySelector(".film video");
        const there = new Promise((done) => film.addEventListener("seeked", done, { once: true }));
        const slider = document.getElementById("film-at");
        slider.value = to; slider.dispatchEvent(new Event("input")); await there; }""",
        seconds,
    )
    page.click("#still")
    expect(page.locator(".film .thumbs img")).to_have_count(count)


def test_stills_are_picked_from_a_video_without_a_network(
    shop: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    job = shop.open_job(machine=SMALL, model="BT-5")
    page = at_bench(hand, shop, job)
    name_me(page)
    path = film(page, tmp_path)
    go(page, "apart")
    tap(page, "#take-off .key:has-text('lift the controller cover')")
    shop.kill()
    record(page, path)
    expect(page.locator("#videos")).to_contain_text("on this phone: lift the controller cover")
    page.click("#videos .key:has-text('Pick stills')")
    page.wait_for_selector(".film[data-ready]")
    expect(page.locator("#film-said")).to_contain_text("0:0")
    still(page, 0.5, 1)
    still(page, 2.5, 2)
    assert axe(page) == []
    page.click("#film-done")
    expect(page.locator("#unsent")).to_have_attribute("data-count", "2")
    expect(page.locator(".thumb .mark")).to_have_count(2)
    shop.start()
    settled(page)
    page.reload()
    page.wait_for_selector("[data-ready]")
    red, blue = job_of(shop, job).pictures
    assert (red.about, blue.about) == ("cover", "cover")
    assert red.caption.startswith("lift the controller cover (0:00.5 in the video of 2")
    with Record.open(shop.store) as it:
        for picture, channel in ((red, 0), (blue, 2)):
            pixel = Image.open(it.files.path_of(picture.digest)).convert("RGB").getpixel((160, 20))
            assert isinstance(pixel, tuple)
            assert max(range(3), key=lambda n, p=pixel: p[n]) == channel, picture.caption
    expect(page.locator("#videos")).to_contain_text("on this phone")  # it was kept over all that
    tap(page, "#videos .key:has-text('Send it too')")
    expect(page.locator("#videos .mark")).to_have_text(["✓ "], timeout=20_000)
    (sent,) = job_of(shop, job).apart.videos.values()
    assert sent.about == "cover"
    with Record.open(shop.store) as it:
        assert it.files.data_of(sent.digest) == path.read_bytes()
    page.click("#videos .key:has-text('Pick stills')")  # from the shop's computer, later
    page.wait_for_selector(".film[data-ready]")
    still(page, 1.0, 1)
    page.click("#film-done")
    settled(page)
    assert len(job_of(shop, job).pictures) == 3


def test_what_is_no_video_says_so_and_stays(
    running: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    job = running.open_job(machine=SMALL, model="BT-5")
    page = at_bench(hand, running, job)
    go(page, "apart")
    tap(page, "#take-off .key:has-text('lift the controller cover')")
    text = tmp_path / "letter.mp4"
    text.write_bytes(b"no film at all")
    record(page, text)
    page.click("#videos .key:has-text('Pick stills')")
    expect(page.locator("#film-said")).to_contain_text("letter.mp4 cannot be shown by this browser")
    page.click("#film-done")
    page.click("#videos .key:has-text('Send it too')")
    expect(page.locator("#slot-notice")).to_contain_text("is no video that can be shown here")
    expect(page.locator("#unsent")).to_contain_text("1 refused")
