"""A document as plain data: what stands on the paper, in order, with no word on how it is drawn.

All text is text: no mark-up is read in it anywhere. A line break in a text is a line break on the
paper.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Literal


@dataclass(frozen=True, slots=True)
class Heading:
    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    text: str
    style: Literal["plain", "strong", "small"] = "plain"


@dataclass(frozen=True, slots=True)
class Bullets:
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and what it says. `note` stands below it, smaller."""

    label: str
    text: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Facts:
    """Labelled values, side by side in `columns` (1 or 2), read down each column. `strong`: the
    labels lead, as in complaint, cause, correction; one column only. `left`: how many stand in the
    left column."""

    rows: tuple[Fact, ...]
    columns: Literal[1, 2] = 1
    strong: bool = False
    left: int = 0


@dataclass(frozen=True, slots=True)
class Column:
    """`share` of the width, against the other columns; `right` for figures."""

    title: str
    share: float = 1.0
    right: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    text: str
    note: str = ""
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """`note` is a line of its own below the row, over all columns."""

    cells: tuple[Cell, ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """The headings are repeated on every page. `total`: the last row is a sum."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    total: bool = False


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture by the digest of its file. Where the file is missing, the paper says so."""

    digest: str
    caption: str


@dataclass(frozen=True, slots=True)
class Pictures:
    pictures: tuple[Picture, ...]


@dataclass(frozen=True, slots=True)
class NewPage:
    """What follows starts on a new page."""


@dataclass(frozen=True, slots=True)
class Box:
    """A frame. "proof" stands out by its bar, "warning" by its heavy line."""

    title: str
    blocks: tuple[Heading | Paragraph | Bullets | Facts | Table, ...]
    style: Literal["plain", "proof", "warning"] = "plain"


@dataclass(frozen=True, slots=True)
class Drawing:
    """A line drawing as SVG text: on the rest of the page, or on a new one where that is small."""

    svg: str
    caption: str


@dataclass(frozen=True, slots=True)
class Way:
    """Where a step leads: what is read, and what to do then, sure or not."""

    reads: str
    then: str
    sure: bool = True


@dataclass(frozen=True, slots=True)
class Step:
    """A numbered step of a printed plan, in few words: `letter` is that of its `Detail`, `near`
    what is wanted at a glance (points, minutes), `ways` one for each outcome."""

    number: str
    text: str
    letter: str
    near: tuple[str, ...]
    ways: tuple[Way, ...]


@dataclass(frozen=True, slots=True)
class Detail:
    """How a step is taken, once for all that share it. With a `head` and no letter: what the
    details from here on have in common."""

    head: str
    letter: str
    text: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Page:
    """A printed plan in two columns: how to read it, its steps, then their details."""

    how: str
    steps: tuple[Step, ...]
    details: tuple[Detail, ...]


Block = (
    Heading
    | Paragraph
    | Bullets
    | Facts
    | Table
    | Pictures
    | NewPage
    | Box
    | Drawing
    | Page
)


@dataclass(frozen=True, slots=True)
class Attached:
    """A file inside the PDF: the same facts as data, for a program at the other end."""

    name: str
    words: str
    data: bytes
    mime: str = "application/json"


@dataclass(frozen=True, slots=True)
class Document:
    """A paper. `sender` is the shop's name, `sender_lines` its address; `reference` ("job 1042")
    stands in the foot of every page; `date` is in words."""

    title: str
    reference: str
    date: str
    sender: str
    sender_lines: tuple[str, ...]
    blocks: tuple[Block, ...]
    closing: str = ""
    """A line in the foot of every page."""
    dense: bool = False
    """Small margins and the smallest type that is read at arm's length: for a page at the bench."""
    attached: tuple[Attached, ...] = ()


def plain_data(value: object) -> Any:
    """The document, or a part of it, as JSON can hold it; a block names its `kind`."""
    if is_dataclass(value) and not isinstance(value, type):
        named = {f.name: plain_data(getattr(value, f.name)) for f in fields(value)}
        return {"kind": type(value).__name__.lower(), **named}
    if isinstance(value, tuple):
        return [plain_data(one) for one in value]
    return value


def texts(value: object) -> Iterator[str]:
    """Every text of a document, in the order it is read."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for one in value:
            yield from texts(one)
    elif is_dataclass(value) and not isinstance(value, type | Attached):
        for f in fields(value):
            yield from texts(getattr(value, f.name))
