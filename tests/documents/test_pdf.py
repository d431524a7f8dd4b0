"""The paper itself: read back with another program, every figure on it and nothing cut off."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from PIL import Image, ImageDraw
from pypdf import PdfReader

from knowngood.documents.claim import claim_document
from knowngood.documents.document import Cell, Column, Document, Paragraph, Row, Table, texts
from knowngood.documents.pdf import render, write_claim, write_pdf
from knowngood.job import events as ev
from tests.documents import mower
from tests.documents.mower import GIVEN, JOB, MACHINE, NOW, SHOP, STORY, told

HOSTILE = (
    '#let x = 1 $x^2$ \\ *b* _i_ `c` <a> @ref [x] ${y} #image("/etc/passwd") // c /* d */ '
    "= heading - item + item \\u{41} ~ -- ... 'q' \"q\" {{z}} %s &amp; </w>"
)


def squeezed(text: str) -> str:
    """Without blanks and line ends: where a line breaks says nothing."""
    return re.sub(r"\s+", "", text)


def text_of(pdf: Path) -> str:
    return squeezed("".join(page.extract_text() for page in PdfReader(pdf).pages))


def pictures(folder: Path) -> dict[str, Path]:
    found = {}
    for name, size in (("plate", (900, 600)), ("meter", (600, 900)), ("damage", (700, 700))):
        image = Image.new("RGB", size, "lightgrey")
        ImageDraw.Draw(image).ellipse((50, 50, 400, 400), outline="black", width=9)
        image.save(folder / f"{name}.jpg")
        found[f"{name}-digest"] = folder / f"{name}.jpg"
    return found


def paper(*paragraphs: str) -> Document:
    blocks = tuple(Paragraph(text) for text in paragraphs)
    return Document("Paper", "job 1", "today", "Alder Lane", (), blocks)


def test_every_word_of_the_claim_is_on_the_paper(tmp_path: Path) -> None:
    out = write_claim(JOB, MACHINE, SHOP, pictures(tmp_path), tmp_path / "c.pdf", NOW, given=GIVEN)
    found = text_of(out)
    wanted = [text for text in texts(claim_document(JOB, MACHINE, SHOP, NOW, GIVEN)) if text]
    kinds = {"plain", "strong", "small", "proof", "warning", "Warranty claim"}
    digests = {picture.digest for picture in JOB.pictures}
    missing = [
        line
        for text in wanted
        for line in text.split("\n")
        if text not in kinds | digests and squeezed(line) not in found
    ]
    assert missing == []


def test_a_link_is_followed_and_what_is_no_file_is_left_as_it_is(tmp_path: Path) -> None:
    file, link, pipe = tmp_path / "papers" / "c.pdf", tmp_path / "link.pdf", tmp_path / "pipe"
    file.parent.mkdir()
    link.symlink_to(file)
    write_pdf(paper("one"), {}, link, NOW)
    assert link.is_symlink() and text_of(file) == text_of(link) and "one" in text_of(file)
    os.mkfifo(pipe)
    with pytest.raises(OSError, match="no file but a device or a pipe"):
        write_pdf(paper("two"), {}, pipe, NOW)
    assert pipe.is_fifo()
    with pytest.raises(OSError, match="is a folder"):
        write_pdf(paper("two"), {}, tmp_path, NOW)


def test_page_one_holds_proof_part_and_money(tmp_path: Path) -> None:
    priced = replace(GIVEN, prices={mower.DECIDED.part: (Decimal("18.40"), "list of Tolmin")})
    out = write_claim(JOB, MACHINE, SHOP, pictures(tmp_path), tmp_path / "c.pdf", NOW, given=priced)
    pages = PdfReader(out).pages
    first = squeezed(pages[0].extract_text())
    for needed in ("54.08V±0.35V", "TO-4417-02", "41.36USD", "TM46-0093317", "Complaint", "Cause"):
        assert needed in first
    for number, page in enumerate(pages, 1):
        foot = squeezed(f"job 26-1042 · page {number} of {len(pages)}")
        assert foot in squeezed(page.extract_text())


def test_it_is_an_archive_file_with_its_fonts_inside_and_says_who_and_when(tmp_path: Path) -> None:
    """PDF/A part 3 (ISO 19005-3) and PDF/UA-1 (ISO 14289-1), as the file itself declares."""
    out = write_claim(JOB, MACHINE, SHOP, pictures(tmp_path), tmp_path / "c.pdf", NOW)
    reader = PdfReader(out)
    declared = reader.trailer["/Root"]["/Metadata"].get_data().decode("utf-8")
    assert "<pdfaid:part>3</pdfaid:part>" in declared
    assert "<pdfaid:conformance>A</pdfaid:conformance>" in declared
    assert "<pdfuaid:part>1</pdfuaid:part>" in declared
    assert reader.metadata is not None
    assert reader.metadata.title == "Warranty claim, job 26-1042"
    assert reader.metadata.creation_date == NOW
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            inner = font.get_object()["/DescendantFonts"][0].get_object()
            descriptor = inner["/FontDescriptor"].get_object()
            assert {"/FontFile2", "/FontFile3"} & set(descriptor)


def test_the_same_record_gives_the_same_bytes(tmp_path: Path) -> None:
    document = claim_document(JOB, MACHINE, SHOP, NOW)
    assert render(document, {}, NOW) == render(document, {}, NOW)


def test_hostile_words_come_out_as_text(tmp_path: Path) -> None:
    story = [replace(mower.OPENED, customer_words=HOSTILE, maker=HOSTILE), *STORY[1:]]
    story.append(ev.NoteAdded(HOSTILE))
    job = told(*story)
    shop = replace(SHOP, name=HOSTILE)
    out = write_claim(job, MACHINE, shop, {}, tmp_path / "c.pdf", NOW)
    assert text_of(out).count(squeezed(HOSTILE)) == 4


def test_emoji_other_scripts_and_turned_text(tmp_path: Path) -> None:
    document = paper("hot \U0001f525, 日本", "שלום 12 V", "safe \u202edoog si ti\u202c", "nul \x00")
    found = text_of(write_pdf(document, {}, tmp_path / "c.pdf", NOW))
    assert "hot[fire],[U+65E5][U+672C]" in found
    assert "שלום" in found or "םולש" in found
    assert "safe[U+202E]doogsiti[U+202C]" in found
    assert "nul[U+0000]" in found


def test_a_missing_or_broken_picture_leaves_a_box_that_says_so(tmp_path: Path) -> None:
    found = pictures(tmp_path)
    (tmp_path / "broken.jpg").write_bytes(b"\xff\xd8\xff not a picture")
    found["damage-digest"] = tmp_path / "broken.jpg"
    out = write_claim(JOB, MACHINE, SHOP, found, tmp_path / "c.pdf", NOW)
    text = text_of(out)
    assert squeezed("Picture missing: its file is not in the shop's folder.") in text
    assert squeezed("Picture missing: its file cannot be read") in text
    assert squeezed("Burnt contact, green with rust") in text
    images = [image for page in PdfReader(out).pages for image in page.images]
    assert len(images) == 2


def test_a_picture_stands_upright_small_and_without_the_cameras_notes(tmp_path: Path) -> None:
    turned = Image.new("RGB", (3000, 2000), "white")
    notes = Image.Exif()
    notes[0x0112] = 6  # orientation: turn a quarter clockwise (Exif 2.32, tag 274)
    notes[0x013B] = "Somebody by name"
    turned.save(tmp_path / "t.jpg", exif=notes)
    out = write_claim(JOB, MACHINE, SHOP, {"plate-digest": tmp_path / "t.jpg"}, tmp_path / "c", NOW)
    (image,) = [image for page in PdfReader(out).pages for image in page.images]
    assert image.image is not None
    assert image.image.height == 1400 and image.image.width == pytest.approx(933, abs=1)
    assert b"Somebody" not in out.read_bytes()


def test_a_long_table_repeats_its_headings(tmp_path: Path) -> None:
    lines = tuple(Row((Cell(f"row {n}"), Cell("x"))) for n in range(150))
    table = Table((Column("Heading left"), Column("Heading right")), lines)
    document = Document("Paper", "job 1", "today", "Alder Lane", (), (table,))
    pages = PdfReader(write_pdf(document, {}, tmp_path / "c.pdf", NOW)).pages
    assert len(pages) > 2
    assert all("Heading left" in page.extract_text() for page in pages)


@pytest.mark.parametrize(("name", "size"), [("a4", (595.3, 841.9)), ("us-letter", (612.0, 792.0))])
def test_nothing_is_cut_off(tmp_path: Path, name: str, size: tuple[float, float]) -> None:
    """Every word lies inside the margins, on ISO 216 A4 and on US letter (8.5 x 11 in)."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is missing: install poppler-utils")
    wide = "W" * 150
    story = [replace(mower.OPENED, serial=wide, maker=wide, customer_words=wide), *STORY[1:]]
    for n in range(16):
        story.append(mower.taken(f"x{n}", "pack_rest", f"{n} {wide}", "54 V", "pack_out"))
        story.append(ev.ReadingJudged(f"x{n}", "good", wide, {"limits": wide, "clears": [wide]}))
    story.append(ev.NoteAdded(f"{wide} " + "a few words more " * 300))
    out = tmp_path / "c.pdf"
    paper_name = "a4" if name == "a4" else "us-letter"
    write_claim(told(*story), MACHINE, SHOP, {}, out, NOW, paper=paper_name)
    width, height = (float(side) for side in PdfReader(out).pages[0].mediabox[2:])
    assert (width, height) == pytest.approx(size, abs=0.1)
    boxes = subprocess.run(
        ["pdftotext", "-bbox", str(out), "-"], capture_output=True, text=True, check=True
    ).stdout
    found = re.findall(
        r'xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)"', boxes
    )
    assert len(found) > 300
    margin = 17 * 72 / 25.4
    out_of_page = [
        box for box in found
        if float(box[0]) < margin - 1 or float(box[2]) > width - margin + 1
        or float(box[1]) < 0 or float(box[3]) > height
    ]  # fmt: skip
    assert out_of_page == []
    assert text_of(out).count("W") >= (4 + 3 * 16) * 150


def test_any_zone_and_none(tmp_path: Path) -> None:
    for now in (
        datetime(2026, 7, 1, 8, 0),
        datetime(2026, 7, 1, 8, tzinfo=ZoneInfo("Europe/Rome")),
    ):
        assert "1July2026,08:00" in text_of(
            write_claim(JOB, MACHINE, SHOP, {}, tmp_path / "c.pdf", now)
        )


def test_the_paper_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    out = tmp_path / "no" / "such" / "folder" / "c.pdf"
    with pytest.raises(OSError):
        write_claim(JOB, MACHINE, SHOP, {}, out, NOW)
    write_claim(JOB, MACHINE, SHOP, {}, tmp_path / "c.pdf", NOW)
    assert [path.name for path in tmp_path.iterdir()] == ["c.pdf"]


def test_a_clock_with_split_seconds_writes_a_claim(tmp_path: Path) -> None:
    at = NOW.replace(microsecond=123456)
    out = write_claim(JOB, MACHINE, SHOP, {}, tmp_path / "claim.pdf", at)
    assert out.stat().st_size > 1000
