"""HTTPS: trusted by the shop's own authority alone, and a cold start without a network."""

from __future__ import annotations

import base64
import hashlib
import io
import socket
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

pytest.importorskip("cryptography")

from tests.browser.shop import CHROMIUM, FLAGS, Shop, phone
from tests.browser.test_bench import job_of, settled, to_volts
from tests.browser.test_whole_walk import axe

pytestmark = pytest.mark.slow


@dataclass
class Safe(Shop):
    """A shop served with --https."""

    safe_port: int = 0

    @property
    def address(self) -> str:
        return f"https://127.0.0.1:{self.safe_port}"

    @property
    def keys(self) -> Path:
        return self.store.with_name(self.store.name + ".keys")

    def start(self, wait: bool = True) -> None:
        command = [sys.executable, "-m", "knowngood", "serve", "--host", "127.0.0.1"]
        command += ["--port", str(self.port), "--https", "--https-port", str(self.safe_port)]
        command += ["--store", str(self.store), "--patience", "0.03"]
        self.log = self.store.with_name("server.log")
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(command, stdout=log, stderr=log)
        if wait:
            self.ready()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="module")
def safe(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Safe]:
    folder = tmp_path_factory.mktemp("safe")
    shop = Safe(folder / "shop.db", free_port(), safe_port=free_port())
    shop.start()
    try:
        yield shop
    finally:
        shop.stop()


@pytest.fixture(scope="module")
def trusting(safe: Safe, browser: Browser) -> Iterator[Browser]:
    """Chromium that trusts the shop's authority by its key, as a phone that installed it."""
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    authority = x509.load_pem_x509_certificate((safe.keys / "authority.pem").read_bytes())
    spki = authority.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    pin = base64.b64encode(hashlib.sha256(spki).digest()).decode()
    flags = [*FLAGS, f"--ignore-certificate-errors-spki-list={pin}"]
    other = browser.browser_type.launch(executable_path=CHROMIUM, args=flags)
    yield other
    other.close()


def test_only_who_trusts_the_authority_is_served(safe: Safe) -> None:
    with pytest.raises(httpx.ConnectError, match="certificate"):
        httpx.get(f"{safe.address}/phone")
    trust = ssl.create_default_context(cafile=str(safe.keys / "authority.pem"))
    assert httpx.get(f"{safe.address}/phone", verify=trust).status_code == 200
    said = safe.log.read_text()
    assert safe.address in said and "fingerprint begins" in said


def test_plain_http_gives_the_certificate_and_the_same_pages(safe: Safe, browser: Browser) -> None:
    der = httpx.get(f"{safe.local}/authority.crt")
    assert der.headers["content-type"] == "application/x-x509-ca-cert"
    pem = ssl.DER_cert_to_PEM_cert(der.content)
    assert pem.split() == (safe.keys / "authority.pem").read_text().split()
    assert b"PRIVATE" not in der.content
    job = safe.open_job()
    context = phone(browser)
    try:
        page = context.new_page()
        plain = f"http://bench.test:{safe.port}"
        page.goto(f"{plain}/trust")
        expect(page.locator("#print")).to_contain_text(
            hashlib.sha256(der.content).hexdigest().upper()[:4]
        )
        assert axe(page) == []
        assert read_by_a_camera(page, ".code img") == f"{plain}/trust"
        assert page.get_attribute("#safe", "href") == f"{safe.address}/trust"
        page.goto(f"{plain}/job/{job}/bench")
        page.wait_for_selector("[data-ready]")
        assert page.evaluate("navigator.serviceWorker === undefined")
        to_volts(page)
        page.click("text=As expected")
        settled(page)
        assert len(job_of(safe, job).live_readings) == 1
    finally:
        context.close()


def read_by_a_camera(page: Page, code: str) -> str:
    """What the QR code on the screen says, decoded by ZXing, which did not make it."""
    zxing: Any = pytest.importorskip("zxingcpp", reason="zxing-cpp of requirements/test.lock")
    (found,) = zxing.read_barcodes(Image.open(io.BytesIO(page.locator(code).screenshot())))
    return str(found.text)


def worker_ready(page: Page) -> None:
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("navigator.serviceWorker.controller !== null")


def test_a_cold_start_without_a_network(safe: Safe, trusting: Browser) -> None:
    job = safe.open_job(words="Does nothing at all")
    context = phone(trusting)
    try:
        page = context.new_page()
        page.goto(f"{safe.address}/trust")
        expect(page.locator("main")).to_contain_text("come over HTTPS")
        worker_ready(page)
        page.goto(f"{safe.address}/job/{job}/bench")
        page.wait_for_selector("[data-ready]")
        to_volts(page)
        page.wait_for_timeout(2500)  # the plan for times without network comes a little later
        page.close()
        safe.kill()

        page = context.new_page()  # nothing of the page is left in memory
        page.goto(f"{safe.address}/job/{job}/bench")
        page.wait_for_selector("[data-ready]")
        to_volts(page)
        page.fill("#reading", "57.3")
        page.click("#take")
        expect(page.locator("#unsent")).to_contain_text("1 unsent")
        page.close()

        page = context.new_page()
        page.goto(f"{safe.address}/phone")
        expect(page.locator("#queue")).to_contain_text("57.3")
        page.goto(f"{safe.address}/job/never-opened/bench")
        expect(page.locator("main")).to_contain_text("was not opened on this phone before")
        page.goto(f"{safe.address}/phone")

        safe.start()
        expect(page.locator("#unsent")).to_have_attribute("data-count", "0", timeout=30_000)
        assert [r.text for r in job_of(safe, job).live_readings] == ["57.3"]
    finally:
        context.close()
        if safe.process is None:
            safe.start()


def test_a_worker_never_shows_an_old_page_while_the_shop_is_reached(
    safe: Safe, trusting: Browser
) -> None:
    context = phone(trusting)
    try:
        page = context.new_page()
        page.goto(f"{safe.address}/shelf")
        worker_ready(page)
        page.reload()
        before = page.locator(".wait").count()
        safe.open_job()
        page.reload()
        assert page.locator(".wait").count() == before + 1
    finally:
        context.close()


def test_both_stop_at_once(safe: Safe) -> None:
    assert safe.process is not None
    started = time.monotonic()
    safe.process.terminate()
    safe.process.wait(15)
    assert time.monotonic() - started < 10
    assert "Traceback" not in safe.log.read_text()
    safe.start()
