"""A document as PDF: archival (PDF/A-3a) and readable aloud (PDF/UA-1), fonts inside.

The one place of this room that touches the disk. A fixed template (paper.typ) reads the document
as data from a folder of its own, so that no text of a person can be taken as mark-up or reach
another file.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, Literal

import typst
from PIL import Image, ImageOps

from knowngood.documents.claim import claim_document
from knowngood.documents.document import Document, Pictures, plain_data, texts
from knowngood.documents.parties import Given, Shop
from knowngood.documents.printable import as_lines, each_text, never_drawn, printable, unusual
from knowngood.job.job import Job
from knowngood.machines.machine import Machine

Paper = Literal["a4", "us-letter"]

_FONTS = ("Libertinus Serif", "DejaVu Sans Mono", "New Computer Modern")  # in the typst wheel
_LONGEST_SIDE = 1400  # pixels: 85 mm on paper at over 400 dots an inch
_QUALITY = 82
_ARCHIVAL: list[Any] = ["a-3a", "ua-1"]


def write_claim(
    job: Job,
    machine: Machine,
    shop: Shop,
    pictures: Mapping[str, Path],
    out: Path,
    now: datetime,
    *,
    given: Given | None = None,
    paper: Paper = "a4",
    fonts: Path | None = None,
) -> Path:
    """Write the warranty claim of a job to `out`; `pictures` maps digests to files.

    A picture that is missing or cannot be read leaves a box that says so. `fonts` is a folder of
    the shop's own fonts for scripts the shipped ones lack. Raises OSError where `out` cannot be
    written.
    """
    document = claim_document(job, machine, shop, now, given)
    return write_pdf(document, pictures, out, now, paper=paper, fonts=fonts)


def write_pdf(
    document: Document,
    pictures: Mapping[str, Path],
    out: Path,
    now: datetime,
    *,
    paper: Paper = "a4",
    fonts: Path | None = None,
) -> Path:
    """Render `document` to `out`, whole or not at all; where `out` points to another file (a
    symbolic link), to that file. Raises OSError where it cannot be written or is no file."""
    target = Path(os.path.realpath(out))
    if target.is_dir():
        raise IsADirectoryError(errno.EISDIR, "it is a folder")
    if target.exists() and not target.is_file():
        raise OSError(errno.EINVAL, "it is no file but a device or a pipe")
    data = render(document, pictures, now, paper=paper, fonts=fonts)
    part = target.with_name(f".{target.name}.part")
    part.write_bytes(data)
    os.replace(part, target)
    return out


def render(
    document: Document,
    pictures: Mapping[str, Path],
    now: datetime,
    *,
    paper: Paper = "a4",
    fonts: Path | None = None,
) -> bytes:
    """The document as the bytes of a PDF; the same document and `now` give the same bytes."""
    signs = frozenset(
        sign for sign in unusual(as_lines(text) for text in texts(document))
        if not never_drawn(sign)
    )  # fmt: skip
    without = frozenset(_not_in_fonts(tuple(sorted(signs)), fonts))
    shown = replace(document, attached=())
    plain = each_text(plain_data(shown), lambda text: printable(text, without))
    with tempfile.TemporaryDirectory(prefix="paper-") as name:
        folder = Path(name)
        files: dict[str, dict[str, str]] = {}
        for digest in _digests(document):
            file = f"{hashlib.sha256(digest.encode('utf-8', 'replace')).hexdigest()}.jpg"
            problem = _shrink(pictures.get(digest), folder / file)
            said = printable(problem, without)
            files[printable(digest, without)] = {"missing": said} if said else {"file": file}
        plain |= {"files": files, "paper": paper, "language": "en", "fonts": list(_FONTS)}
        plain["attached"] = [
            {"file": f"attached-{n}", "name": one.name, "words": one.words, "mime": one.mime}
            for n, one in enumerate(document.attached)
        ]
        for n, one in enumerate(document.attached):
            (folder / f"attached-{n}").write_bytes(one.data)
        (folder / "document.json").write_text(json.dumps(plain), encoding="utf-8")
        template = resources.files("knowngood.documents").joinpath("paper.typ")
        (folder / "paper.typ").write_text(template.read_text(encoding="utf-8"), encoding="utf-8")
        try:
            return _compile(folder / "paper.typ", folder, now, fonts, _ARCHIVAL)
        except typst.TypstError:
            # A combination that no single sign foretold: better a paper outside the archive
            # standard than none.
            return _compile(folder / "paper.typ", folder, now, fonts, None)


def pages_of(document: Document, now: datetime, *, paper: Paper = "a4") -> int:
    """How many pages the document takes; pictures by digest are left out."""
    shown = replace(document, attached=())
    plain = each_text(plain_data(shown), lambda text: printable(text, frozenset()))
    plain |= {"files": {d: {"missing": ""} for d in _digests(document)}, "paper": paper}
    plain |= {"language": "en", "fonts": list(_FONTS), "attached": []}
    with tempfile.TemporaryDirectory(prefix="paper-") as name:
        folder = Path(name)
        (folder / "document.json").write_text(json.dumps(plain), encoding="utf-8")
        template = resources.files("knowngood.documents").joinpath("paper.typ")
        (folder / "paper.typ").write_text(template.read_text(encoding="utf-8"), encoding="utf-8")
        made = typst.compile(
            str(folder / "paper.typ"), root=name, ignore_system_fonts=True, format="png", ppi=6.0
        )
    return len(made) if isinstance(made, list) else 1


def render_template(
    template: str, data: Mapping[str, Any], files: Mapping[str, str], now: datetime
) -> bytes:
    """A small paper of its own template (a file of this room) as PDF; `files`: name to text."""
    lines = frozenset(sign for sign in unusual(as_lines(t) for t in _all_texts(data))
                      if not never_drawn(sign))  # fmt: skip
    without = frozenset(_not_in_fonts(tuple(sorted(lines)), None))
    plain = each_text(dict(data), lambda text: printable(text, without))
    with tempfile.TemporaryDirectory(prefix="paper-") as name:
        folder = Path(name)
        for file, text in files.items():
            (folder / file).write_text(text, encoding="utf-8")
        plain["fonts"] = list(_FONTS)
        (folder / "data.json").write_text(json.dumps(plain), encoding="utf-8")
        source = resources.files("knowngood.documents").joinpath(template)
        (folder / template).write_text(source.read_text(encoding="utf-8"), encoding="utf-8")
        try:
            return _compile(folder / template, folder, now, None, _ARCHIVAL)
        except typst.TypstError:
            return _compile(folder / template, folder, now, None, None)


def _all_texts(data: object) -> Iterator[str]:
    if isinstance(data, str):
        yield data
    elif isinstance(data, Mapping):
        for one in data.values():
            yield from _all_texts(one)
    elif isinstance(data, list | tuple):
        for one in data:
            yield from _all_texts(one)


def _compile(
    source: Path, root: Path, now: datetime, fonts: Path | None, standards: list[Any] | None
) -> bytes:
    data = typst.compile(
        str(source),
        root=str(root),
        font_paths=[str(fonts)] if fonts else [],
        ignore_system_fonts=True,
        pdf_standards=standards,
        timestamp=now.replace(microsecond=0, tzinfo=timezone(now.utcoffset() or timedelta(0))),
    )
    assert isinstance(data, bytes)
    return data


def _digests(document: Document) -> Iterator[str]:
    for block in document.blocks:
        if isinstance(block, Pictures):
            yield from (picture.digest for picture in block.pictures)


def _shrink(source: Path | None, target: Path) -> str:
    """Write a small upright copy without what the camera noted; or say why it is missing."""
    if source is None or not source.is_file():
        return "Picture missing: its file is not in the shop's folder."
    try:
        with Image.open(source) as opened:
            opened.draft("RGB", (_LONGEST_SIDE, _LONGEST_SIDE))
            upright = ImageOps.exif_transpose(opened)
            if upright.mode in ("RGBA", "LA", "PA") or "transparency" in upright.info:
                layered = upright.convert("RGBA")
                white = Image.new("RGBA", layered.size, "white")
                upright = Image.alpha_composite(white, layered)
            flat = upright.convert("RGB")
            flat.thumbnail((_LONGEST_SIDE, _LONGEST_SIDE))
            flat.save(target, "JPEG", quality=_QUALITY)
    except Exception as why:  # whatever a broken file makes the decoder raise
        target.unlink(missing_ok=True)
        return f"Picture missing: its file cannot be read ({type(why).__name__})."
    return ""


@lru_cache(maxsize=256)
def _not_in_fonts(signs: tuple[str, ...], fonts: Path | None) -> tuple[str, ...]:
    """Those of `signs` that no font at hand can draw, found by halves with the renderer itself."""
    if not signs or _drawable(signs, fonts):
        return ()
    if len(signs) == 1:
        return signs
    half = len(signs) // 2
    return _not_in_fonts(signs[:half], fonts) + _not_in_fonts(signs[half:], fonts)


def _drawable(signs: tuple[str, ...], fonts: Path | None) -> bool:
    with tempfile.TemporaryDirectory(prefix="paper-") as name:
        folder = Path(name)
        wanted = json.dumps({"signs": list(signs), "fonts": list(_FONTS)})
        (folder / "signs.json").write_text(wanted, encoding="utf-8")
        (folder / "signs.typ").write_text(
            '#let wanted = json("signs.json")\n#set text(font: wanted.fonts)\n'
            "#for one in wanted.signs [#box(one) #strong(box(one))]\n",
            encoding="utf-8",
        )
        try:
            _compile(
                folder / "signs.typ", folder, datetime(2000, 1, 1, tzinfo=UTC), fonts, ["a-3b"]
            )
        except typst.TypstError:
            return False
        return True
