"""Small papers of the counter: the tag on the machine, and the claim check for the customer."""

from __future__ import annotations

import io
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Literal

import segno

from knowngood.documents.parties import Shop
from knowngood.documents.pdf import render_template
from knowngood.documents.wording import day

Size = Literal["62", "a6"]
"""A label of 62 mm off a roll, or a sheet of A6 (105 x 148 mm, ISO 216)."""

_TEMPLATE = "slip.typ"
_QUIET = 4  # modules of white around the code: ISO/IEC 18004 asks for four
PACK_CARE = (
    "A pack came damaged. Do not charge, open or carry it indoors: outdoors, away from buildings, "
    "on ground that cannot burn. Local fire rules come first."
)
ASK_LOCALLY = "What the law of the place says about fees, storage and unclaimed goods comes first."


@dataclass(frozen=True, slots=True)
class Tag:
    """What hangs on the machine. `address` is what the QR code holds: the job's page."""

    number: str
    address: str
    machine: str
    customer: str
    complaint: str
    came: str
    shop: str
    in_pieces: bool = False
    off: tuple[str, ...] = ()
    packs: tuple[str, ...] = ()
    unsafe: bool = False
    promised: str = ""


@dataclass(frozen=True, slots=True)
class ClaimCheck:
    """What the customer takes along; once the machine is `handed` back, the receipt for it.

    `overridden`: why the machine was held, who let it go and for what reason, in words.
    """

    number: str
    machine: str
    serial: str
    customer: str
    complaint: str
    came: str
    things: tuple[str, ...] = ()
    packs: tuple[str, ...] = ()
    fee: str = ""
    storage: str = ""
    promised: str = ""
    unsafe: bool = False
    handed: str = ""
    back: tuple[str, ...] = ()
    stays: tuple[str, ...] = ()
    paid: str = ""
    overridden: tuple[str, ...] = ()


def tag_pdf(tag: Tag, size: Size, now: datetime) -> bytes:
    """The tag as PDF, the job's number and the mark for a machine in pieces at arm's length."""
    code = io.BytesIO()
    segno.make(tag.address, error="m", micro=False).save(
        code, kind="svg", border=_QUIET, xmldecl=False
    )
    data = {"kind": "tag", "size": size, "care": PACK_CARE, **_lists(asdict(tag))}
    files = {"qr.svg": code.getvalue().decode("utf-8")}
    return render_template(_TEMPLATE, data, files, now)


def claim_check_pdf(check: ClaimCheck, shop: Shop, now: datetime) -> bytes:
    """The claim check, or the receipt of a machine handed back, on A6."""
    data = {
        "kind": "check",
        "size": "a6",
        "sender": shop.name,
        "sender_lines": list(shop.lines),
        "printed": day(now),
        "care": PACK_CARE,
        "locally": ASK_LOCALLY,
        **_lists(asdict(check)),
    }
    return render_template(_TEMPLATE, data, {}, now)


def _lists(data: dict[str, object]) -> dict[str, object]:
    return {k: list(v) if isinstance(v, tuple) else v for k, v in data.items()}
