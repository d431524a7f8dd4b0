"""Tags and claim checks: what they say, their sizes, and a QR code that a reader reads."""

from __future__ import annotations

import io
import subprocess
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pypdf
import pytest
from PIL import Image

from knowngood.documents.parties import Shop
from knowngood.documents.slip import ClaimCheck, Size, Tag, claim_check_pdf, tag_pdf

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
MM = 72 / 25.4  # points
ADDRESS = "http://192.168.1.20:8056/job/5b1f0c2e9a7d4c1f8e3b6a5d4c3b2a19"
TAG = Tag(
    "26-0007", ADDRESS, "Brackwater BM-561", "R. Okafor", "It will not start, it is dead.",
    "2 March 2026", "Alder Lane Small Engine & Cordless",
)  # fmt: skip
CHECK = ClaimCheck(
    "26-0007", "Brackwater BM-561", "2304A01175", "R. Okafor", "It will not start.",
    "2 March 2026", ("charger",), ("pack, serial BP-1187",), "45 USD to look", "30 days free",
)  # fmt: skip
SHOP = Shop("Alder Lane Small Engine & Cordless", ("14 Alder Lane",), "555 0114")
NASTY = '#panic("out") $x$ <b> \u202eright to left\u202c 🔋 \\ *bold* ' + "w" * 300


def words(data: bytes) -> str:
    return " ".join(pypdf.PdfReader(io.BytesIO(data)).pages[0].extract_text().split())


def pages(data: bytes) -> list[tuple[float, float]]:
    return [
        (float(page.mediabox.width) / MM, float(page.mediabox.height) / MM)
        for page in pypdf.PdfReader(io.BytesIO(data)).pages
    ]


def seen(data: bytes, folder: Path, dots: int) -> Image.Image:
    """The page as poppler draws it, another renderer than the one that made it."""
    source = folder / "page.pdf"
    source.write_bytes(data)
    subprocess.run(
        ["pdftoppm", "-r", str(dots), "-png", "-singlefile", source, folder / "page"], check=True
    )
    return Image.open(folder / "page.png")


@pytest.mark.parametrize("size", ["62", "a6"])
@pytest.mark.parametrize("dots", [203, 300])  # what label printers have to the inch
def test_the_code_is_read(size: Size, dots: int, tmp_path: Path) -> None:
    """Decoded by ZXing, which did not make it."""
    zxing: Any = pytest.importorskip("zxingcpp", reason="zxing-cpp of requirements/test.lock")
    (found,) = zxing.read_barcodes(seen(tag_pdf(TAG, size, NOW), tmp_path, dots))
    assert found.text == ADDRESS


def test_sizes() -> None:
    """A roll of 62 mm; A6 is 105 x 148 mm (ISO 216)."""
    ((wide, _),) = pages(tag_pdf(TAG, "62", NOW))
    assert wide == pytest.approx(62, abs=0.1)
    for paper in (tag_pdf(TAG, "a6", NOW), claim_check_pdf(CHECK, SHOP, NOW)):
        assert pages(paper) == [(pytest.approx(105, abs=0.1), pytest.approx(148, abs=0.1))]


@pytest.mark.parametrize("size", ["62", "a6"])
def test_what_the_tag_says(size: Size) -> None:
    said = words(tag_pdf(TAG, size, NOW))
    for text in ("26-0007", "Brackwater BM-561", "R. Okafor", "It will not start", "2 March 2026"):
        assert text in said
    assert "NOT COMPLETE" not in said
    apart = words(tag_pdf(replace(TAG, in_pieces=True, off=("Deck cover",)), size, NOW))
    assert "NOT COMPLETE" in apart and "Off: Deck cover" in apart
    unsafe = replace(TAG, unsafe=True, packs=("pack, serial B1 (swollen)",))
    assert "Do not charge" in words(tag_pdf(unsafe, size, NOW))


def test_what_the_claim_check_says() -> None:
    said = words(claim_check_pdf(CHECK, SHOP, NOW))
    for text in (SHOP.name, "14 Alder Lane", "555 0114", "26-0007", "2304A01175", "charger",
                 "pack, serial BP-1187", "45 USD to look", "30 days free"):
        assert text in said
    back = replace(
        CHECK, handed="5 March 2026 to R. Okafor", back=("charger",), stays=("pack",),
        paid="paid cash", overridden=(f"Ida: sold for parts. Held for: {'a check; ' * 200}",),
    )  # fmt: skip
    said = words(claim_check_pdf(back, SHOP, NOW))
    for text in ("Receipt", "5 March 2026 to R. Okafor", "paid cash", "although held",
                 "Ida: sold for parts"):  # fmt: skip
        assert text in said


@pytest.mark.parametrize("size", ["62", "a6"])
def test_text_as_people_write_it(size: Size) -> None:
    tag = replace(
        TAG, complaint=NASTY, customer=NASTY, machine=NASTY, number="x" * 40, off=(NASTY,),
        packs=(NASTY,) * 5, in_pieces=True, unsafe=True,
    )  # fmt: skip
    paper = tag_pdf(tag, size, NOW)
    assert len(pages(paper)) <= 2
    assert '#panic("out") $x$ <b>' in words(paper) and "[battery]" in words(paper)
    check = replace(CHECK, complaint=NASTY, customer=NASTY, fee=NASTY, things=(NASTY,) * 3)
    assert "*bold*" in words(claim_check_pdf(check, SHOP, NOW))
