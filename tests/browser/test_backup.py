"""A copy by one key, saved while a phone writes; put back on a fresh machine with its pictures."""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import BrowserContext, expect

from tests.browser.shop import Shop, at_bench, served
from tests.browser.test_bench import job_of, jpeg, settled, to_volts
from tests.browser.test_no_network import OUTBOX
from tests.browser.test_whole_walk import axe

pytestmark = pytest.mark.slow

READ = {"reading_id": "later", "test": "pack_rest", "text": "57.1 V"}


def test_saved_while_working_and_put_back_on_a_fresh_machine(
    shop: Shop, hand: BrowserContext, tmp_path: Path
) -> None:
    job = shop.open_job()
    bench = at_bench(hand, shop, job)
    to_volts(bench)
    with bench.expect_file_chooser() as chooser:
        bench.click("#photo")
    chooser.value.set_files(jpeg(tmp_path, size=(640, 480)))
    settled(bench)
    bench.click("text=As expected")
    settled(bench)
    shelf = hand.new_page()
    shelf.goto(f"{shop.address}/shelf")
    shelf.click("text=Save a copy of everything")
    assert axe(shelf) == []
    with shelf.expect_download() as download:
        shelf.click("#save")
    assert download.value.suggested_filename.startswith("shop-20")
    bench.evaluate(OUTBOX, [job, "ReadingTaken", READ])  # the shop goes on
    settled(bench)
    kept = job_of(shop, job)

    fresh = tmp_path / "another computer"
    fresh.mkdir()
    restore = [sys.executable, "-m", "knowngood", "job", "restore"]
    restore += [str(download.value.path()), "--store", str(fresh / "shop.db")]
    subprocess.run(restore, check=True)
    with served(fresh) as restored:
        there = job_of(restored, job)
        assert [r.text for r in there.live_readings] == [r.text for r in kept.readings[:1]]
        (picture,) = there.pictures
        answer = hand.request.get(f"{restored.local}/api/pictures/{picture.digest}")
        assert Image.open(io.BytesIO(answer.body())).size == (640, 480)
        page = at_bench(hand, restored, job)
        page.evaluate(OUTBOX, [job, "ReadingTaken", READ])
        settled(page)
        assert len(job_of(restored, job).live_readings) == 2
        page.goto(f"{restored.address}/shelf")
        expect(page.locator(".wait")).to_have_count(1)
