"""The bench on a phone: size of its keys, taps, undo, text as people write it, two phones."""

from __future__ import annotations

import base64
import io
import json
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, expect

from knowngood.job.job import Job
from knowngood.places.record import Record
from tests.browser.shop import Shop, at_bench, phone

NASTY = "<img src=x onerror=alert(1)> \u202eright to left\u202c 🔋 & “quoted”"
SETTLED = '#bench[data-asking=""]'


def settled(page: Page) -> None:
    """The last tap is with the server, and the screen shows its answer."""
    page.wait_for_selector(SETTLED)
    expect(page.locator("#unsent")).to_have_attribute("data-count", "0", timeout=60_000)
    page.wait_for_timeout(400)  # a tap sooner than that counts as the same one


def job_of(shop: Shop, job: str) -> Job:
    with Record.open(shop.store) as record:
        found = record.log.job(job)
    assert found is not None
    return found


VOLTS = "pack volts at rest"


def to_volts(page: Page, question: str = VOLTS) -> None:
    """Past the first look to a step with numbers, whatever the plan would take first."""
    if page.locator("#looks-later").count():
        page.click("#looks-later")
    page.wait_for_selector("#pad")
    if page.get_attribute("#reading", "aria-label") != f"Reading: {question}":
        page.evaluate("document.getElementById('others').open = true")
        page.click(f"#others button:text-is('{question}')")
        if page.get_attribute("#reading", "aria-label") == "Reading: volts on the capacitor":
            page.fill("#reading", "0.4")
            page.click("#take")
            settled(page)
    expect(page.locator("#reading")).to_have_attribute("aria-label", f"Reading: {question}")


def test_keys_are_made_for_gloves(running: Shop, hand: BrowserContext) -> None:
    """MIL-STD-1472E: 19 mm for gloved hands; at 390 px these keys are 115 x 76 CSS px and more."""
    page = at_bench(hand, running, running.open_job())
    to_volts(page)
    sizes = page.eval_on_selector_all(
        "#pad .key", "keys => keys.map(k => { const r = k.getBoundingClientRect();"
        " return [k.innerText, r.x, r.y, r.width, r.height]; })",
    )  # fmt: skip
    assert len(sizes) >= 16
    assert [s for s in sizes if s[3] < 115 or s[4] < 76] == []
    assert len({round(s[1]) for s in sizes}) == 3  # columns
    # The line with the reading stays in sight over the keys; here the whole pad is in sight.
    page.evaluate("document.querySelector('.more').scrollIntoView({block: 'end'})")
    others = page.eval_on_selector_all(
        "main .key, header a, header button, summary",
        "keys => keys.filter(k => k.checkVisibility()).map(k => { "
        "const r = k.getBoundingClientRect(); "
        "return [k.innerText, r.left, r.top, r.right, r.bottom]; })",
    )
    assert [s for s in others if s[3] - s[1] < 55.9 or s[4] - s[2] < 55.9] == []
    keys = [s for s in others if s[0]]
    close = [
        (a[0], b[0])
        for n, a in enumerate(keys)
        for b in keys[n + 1 :]
        if max(b[1] - a[3], a[1] - b[3]) < 7.9
        and max(b[2] - a[4], a[2] - b[4]) < 7.9
        and not (_summary(a) or _summary(b))
    ]
    assert close == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def _summary(row: list[object]) -> bool:
    """A line that unfolds is as wide as the screen: nothing stands beside it."""
    return float(str(row[3])) - float(str(row[1])) > 340


CONTRAST = """
selectors => selectors.map(selector => {
  const at = document.querySelector(selector);
  const shown = (text) => text.match(/[0-9.]+/g).map(Number);
  const light = (rgb) => { const [r, g, b] = rgb.slice(0, 3).map(v => { v /= 255;
    return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  let under = at;
  while (under && (shown(getComputedStyle(under).backgroundColor)[3] ?? 1) === 0) under = under.parentElement;
  const [a, b] = [light(shown(getComputedStyle(at).color)), light(shown(getComputedStyle(under).backgroundColor))];
  return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
})
"""  # noqa: E501


def test_reading_and_next_step_have_contrast(running: Shop, hand: BrowserContext) -> None:
    """WCAG 2.2, 1.4.6: 7 to 1."""
    page = at_bench(hand, running, running.open_job())
    to_volts(page)
    page.click("text=As expected")
    settled(page)
    ratios = page.evaluate(
        CONTRAST, ["#reading", "#take", ".step-words", ".facts dd", ".mind", ".said", "#pad .key"]
    )
    assert min(ratios) >= 7


def test_one_reading_is_its_signs_and_one(running: Shop, hand: BrowserContext) -> None:
    job = running.open_job()
    page = at_bench(hand, running, job)
    to_volts(page)
    page.evaluate("window.taps = 0; addEventListener('click', () => { window.taps += 1; }, true)")
    for sign in "57":
        page.click(f"#pad .key:text-is('{sign}')")
    page.click("#pad [aria-label='point']")
    page.click("#pad .key:text-is('9')")
    page.click("#take")
    settled(page)
    assert page.evaluate("window.taps") == len("57.9") + 1
    assert [r.text for r in job_of(running, job).live_readings] == ["57.9"]
    said = page.inner_text("#said")
    assert "57.9 V ± 0.37 V" in said  # the meter's sheet at 57.9 V, see tests/web/test_entries.py


def test_undo_is_one_tap(running: Shop, hand: BrowserContext) -> None:
    job = running.open_job()
    page = at_bench(hand, running, job)
    to_volts(page)
    page.click("text=As expected")
    settled(page)
    page.click("#undo")
    settled(page)
    assert [r.live for r in job_of(running, job).readings] == [False]


def test_over_range_is_kept_at_once_said_and_undone_in_one_tap(
    running: Shop, hand: BrowserContext
) -> None:
    """A reading takes its digits and one tap; OL has no digits. With and without contact."""
    job = running.open_job()
    page = at_bench(hand, running, job)
    said, over = page.locator("#said"), page.locator("#pad .key:text-is('OL')")
    page.evaluate("addEventListener('click', () => { window.taps += 1; }, true)")
    for alone in (False, True):
        to_volts(page, "input ohms, settled")
        page.evaluate("window.taps = 0")
        hand.set_offline(alone)
        over.click()
        words = "kept on this phone: OL" if alone else "settled: OL. Not good"
        expect(said).to_contain_text(words, timeout=60_000)
        page.wait_for_selector("#bench[data-asking='']")
        page.wait_for_timeout(400)  # a tap sooner than that counts as the same one
        page.click("#undo")
        assert page.evaluate("taps") == 2
        hand.set_offline(False)
        settled(page)
    assert [(r.text, r.live) for r in job_of(running, job).readings] == [("OL", False)] * 2


def test_keys_that_answer_in_one_tap_and_what_the_record_then_holds(
    running: Shop, hand: BrowserContext
) -> None:
    """A good reading by the limits of the file, the one before once more, no pair at OL; the last
    three are kept and say nothing of the machine."""
    job = running.open_job()
    page = at_bench(hand, running, job)
    taps = [
        (VOLTS, "As expected"), ("input ohms, settled", "OL"), ("input ohms, settled", "Same"),
        ("terminal block, contact to stud", "None open"),
        ("switch chain end to end, all held", "Can't tell"), ("main fuse", "Skip"),
        ("bulk capacitor", "Could not reach"),
    ]  # fmt: skip
    for question, words in taps:
        if words == "Same":
            page.click("#readings summary")
            there = page.locator("#readings .key:has-text('again')")  # none that leads nowhere
            expect(there).to_have_count(1)
            page.click(f"#readings [aria-label='Read again: {question}']")
        to_volts(page, question)
        page.locator(f"#slot-entry .key:text-is(\"{words}\"):visible").click()
        settled(page)
    kept = [r for r in job_of(running, job).live_readings if r.test != "cap_safe"]
    read = [(r.test, r.text, v.kind, v.low, v.high) for r in kept if (v := r.value()).is_evidence]
    assert read == [
        ("pack_rest", "46.2 V to 59.2 V", "interval", 46.2, 59.2),  # its limits in the file
        ("input_ohms", "OL", "over", 60e6, None),  # what this meter shows at most, by its sheet
        ("input_ohms", "OL", "over", 60e6, None),
        ("block_ohms", "none open", "interval", 0.0, 60e6),
    ]
    said_nothing = [(r.test, r.text) for r in kept if not r.value().is_evidence]
    assert said_nothing == [
        ("chain_ohms", "can't tell"), ("fuse_ohms", "skip"), ("capacitor_value", "could not reach"),
    ]  # fmt: skip
    assert len(kept) == len(taps)


def test_an_override_says_what_it_costs(running: Shop, hand: BrowserContext) -> None:
    page = at_bench(hand, running, running.open_job())
    to_volts(page)
    page.evaluate("document.getElementById('others').open = true")
    row = page.locator("#others li").nth(12)
    assert "costs" in row.inner_text()
    wanted = row.locator("button").inner_text()
    row.locator("button").click()
    expect(page.locator("#reading")).to_have_attribute("aria-label", f"Reading: {wanted}")
    expect(page.locator("#step")).to_contain_text("Back to the cheapest step")


def test_a_reading_that_fits_no_suspect_is_called_out(running: Shop, hand: BrowserContext) -> None:
    page = at_bench(hand, running, running.open_job())
    to_volts(page)
    page.fill("#reading", "579 V")  # the point in the wrong place
    page.click("#take")
    settled(page)
    said = page.inner_text("#said")
    assert "▲ fits no suspect" in said
    assert "Likeliest slip" in said and "decimal point" in said
    assert said.count("decimal point") == 1 and "none of the suspects" not in said  # said once


def test_hardware_keys_and_dictation(running: Shop, hand: BrowserContext) -> None:
    job = running.open_job()
    page = at_bench(hand, running, job)
    to_volts(page)
    page.keyboard.type("57.9")
    page.keyboard.press("Enter")
    settled(page)
    to_volts(page, "input ohms, settled")
    page.fill("#reading", "zero point three ohms")
    page.keyboard.press("Enter")
    settled(page)
    first, second = job_of(running, job).live_readings
    assert first.value().low == pytest.approx(57.9)
    assert second.value().low == pytest.approx(0.3)


def test_text_as_people_write_it(running: Shop, hand: BrowserContext) -> None:
    job = running.open_job(words=NASTY, customer=NASTY)
    page = at_bench(hand, running, job)
    assert NASTY.replace("\u202e", "")[:12] in page.inner_text("#slot-strip").replace("\u202e", "")
    to_volts(page)
    page.fill("#reading", NASTY)
    page.click("#take")
    settled(page)
    page.click("#note-fold summary")
    page.fill("#note", NASTY)
    page.click("text=Keep the note")
    settled(page)
    assert page.locator("main img[src='x']").count() == 0
    kept = job_of(running, job)
    assert kept.readings[-1].text == NASTY
    assert kept.notes[-1].text == NASTY


def test_two_phones_on_one_job(running: Shop, browser: Browser, hand: BrowserContext) -> None:
    job = running.open_job()
    other = phone(browser)
    try:
        first, second = at_bench(hand, running, job), at_bench(other, running, job)
        to_volts(first)
        first.click("text=As expected")
        settled(first)
        expect(second.locator("#said")).to_contain_text("pack volts at rest", timeout=12000)
        second.click("text=Can't tell")
        settled(second)
        expect(first.locator("#readings summary")).to_have_text("Readings (2)", timeout=12000)
        seqs = [r.taken.seq for r in job_of(running, job).readings]
        assert len(seqs) == 2
        assert len({r.taken.device for r in job_of(running, job).readings}) == 2
    finally:
        other.close()


def jpeg(folder: Path, name: str = "meter.jpg", size: tuple[int, int] = (3000, 2000)) -> Path:
    out = io.BytesIO()
    Image.effect_mandelbrot(size, (-2, -1, 1, 1), 9).convert("RGB").save(out, "JPEG")
    path = folder / name
    path.write_bytes(out.getvalue())
    return path


def test_a_picture_is_made_smaller_and_kept(
    running: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    job = running.open_job()
    page = at_bench(hand, running, job)
    to_volts(page)
    with page.expect_file_chooser() as chooser:
        page.click("#photo")
    chooser.value.set_files(jpeg(tmp_path))
    expect(page.locator(".thumbs img")).to_have_count(1, timeout=60_000)
    settled(page)
    (kept,) = job_of(running, job).pictures
    assert kept.about == "meter"
    with Record.open(running.store) as record, Image.open(record.files.path_of(kept.digest)) as it:
        assert it.size == (1600, 1067)


def test_the_page_is_thrown_away_while_the_camera_is_open(
    running: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    job = running.open_job()
    page = at_bench(hand, running, job)
    to_volts(page)
    page.click("#pad .key:text-is('5')")
    with page.expect_file_chooser():
        page.click("#photo")
    page.reload()  # what a phone does that needs the memory for its camera
    page.wait_for_selector("[data-ready]")
    expect(page.locator("#again")).to_contain_text("pack volts at rest")
    assert page.input_value("#reading") == "5"
    with page.expect_file_chooser() as chooser:
        page.click("text=Take it again")
    chooser.value.set_files(jpeg(tmp_path))
    expect(page.locator(".thumbs img")).to_have_count(1, timeout=60_000)
    settled(page)
    assert [p.caption for p in job_of(running, job).pictures] == ["pack volts at rest"]
    page.reload()
    page.wait_for_selector("[data-ready]")
    assert page.locator("#again").count() == 0


def test_a_picture_the_server_refuses_stays_on_the_phone_marked(
    running: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    bad = tmp_path / "IMG_7.heic"
    bad.write_bytes(b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic")
    job = running.open_job()
    page = at_bench(hand, running, job)
    to_volts(page)
    with page.expect_file_chooser() as chooser:
        page.click("#photo")
    chooser.value.set_files(bad)
    expect(page.locator("#unsent")).to_contain_text("1 refused", timeout=60_000)
    expect(page.locator("#slot-notice")).to_contain_text("HEIC")
    page.click("text=As expected")  # the rest goes on
    expect(page.locator("#said")).to_contain_text(VOLTS, timeout=60_000)
    page.reload()
    page.wait_for_selector("[data-ready]")
    expect(page.locator("#unsent")).to_contain_text("1 refused")
    expect(page.locator("#unsent")).to_have_attribute("data-count", "1", timeout=60_000)
    page.goto(f"{running.address}/phone")
    expect(page.locator("#queue")).to_contain_text("HEIC")
    with page.expect_download() as download:
        page.click("#export")
    text = Path(str(download.value.path())).read_text(encoding="utf-8")
    (entry,) = json.loads(text)["entries"]
    assert entry["kind"] == "PictureAdded"
    assert base64.b64decode(entry["picture"]) == bad.read_bytes()
    assert len(job_of(running, job).live_readings) == 1
