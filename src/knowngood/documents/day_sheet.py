"""The day on one sheet of paper: what waits of the papers, and of the machines."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from knowngood.documents.document import Block, Bullets, Document, Heading, Paragraph
from knowngood.documents.parties import Shop
from knowngood.documents.wording import day, day_and_time

LOCAL_LAW = (
    "Machines that are never collected, and what may be asked for storing them, are a matter of "
    "local law: ask your local rule before a notice goes out."
)


def day_sheet(
    shop: Shop, papers: Sequence[tuple[bool, str]], machines: Sequence[str], now: datetime
) -> Document:
    """The sheet. `papers`: (late, words), the late ones first; `machines`: a line each."""
    late = tuple(words for is_late, words in papers if is_late)
    rest = tuple(words for is_late, words in papers if not is_late)
    blocks: list[Block] = []
    for title, lines in (("Late", late), ("Papers", rest), ("Machines", tuple(machines))):
        if lines:
            blocks += [Heading(f"{title} ({len(lines)})"), Bullets(lines)]
    if not blocks:
        blocks.append(Paragraph("Nothing waits."))
    blocks.append(Paragraph(LOCAL_LAW, "small"))
    return Document(
        title="Today", reference="what waits in the shop", date=day(now), sender=shop.name,
        sender_lines=shop.lines, blocks=tuple(blocks), closing=f"Printed {day_and_time(now)}",
    )  # fmt: skip
