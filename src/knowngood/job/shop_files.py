"""What the shop keeps beside its sheet: programmes, its list of notices, mail, taxes.

Kept in the record under the id `SHOP`. A file is named by its digest and lies with the others; what
stood on a day can be seen later. No password is ever kept here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from knowngood.job.plain import Plain

if TYPE_CHECKING:
    from knowngood.job.events import Envelope

FileKind = Literal["programme", "notices"]
MailSafety = Literal["tls", "starttls", "none"]
TaxOn = Literal["line", "total"]
TaxMode = Literal["half up", "half even", "down"]


@dataclass(frozen=True, slots=True)
class ShopFileKept:
    """A file the shop goes by from now on; one of the same kind and `name` is replaced.

    `maker`: whose machines it speaks of, "" for several.
    """

    kind: FileKind
    name: str
    words: str
    maker: str
    digest: str


@dataclass(frozen=True, slots=True)
class ShopFileDropped:
    """The shop does not go by this file any more. Jobs that are under it stay so."""

    kind: FileKind
    name: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class MailSet:
    """How the shop's mail goes out; an empty `server`: into files, which a person sends.

    `secret`: where the password lies: "env:NAME" or "file:PATH" (readable by its owner alone).
    `templates`: name -> text with {name} in braces.
    """

    server: str = ""
    port: float = 0.0
    safety: MailSafety = "starttls"
    user: str = ""
    secret: str = ""
    sender: str = ""
    templates: Plain = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class TaxesSet:
    """The shop's table of taxes; each one replaces the one before, without rates there is none.

    `percent`: name of a rate -> percent as text; `kinds`: kind of a line -> its rate, "" for none.
    `on`: rounded on each line or on the total; `step`: to which the tax is rounded, as text,
    "" for the smallest unit of the currency. `included`: prices are with tax.
    """

    percent: Plain = field(default_factory=dict)
    kinds: Plain = field(default_factory=dict)
    on: TaxOn = "total"
    step: str = ""
    mode: TaxMode = "half up"
    included: bool = False


ShopFileEvent = ShopFileKept | ShopFileDropped | MailSet | TaxesSet


@dataclass(frozen=True, slots=True)
class ShopFiles:
    """The files as they stand, by kind and name, how mail goes out, and the taxes."""

    kept: Mapping[tuple[str, str], ShopFileKept] = field(default_factory=dict)
    mail: MailSet = MailSet()
    taxes: TaxesSet = TaxesSet()


def shop_files(events: Iterable[Envelope]) -> ShopFiles:
    """What the shop goes by, as its events tell it."""
    kept: dict[tuple[str, str], ShopFileKept] = {}
    mail, taxes = MailSet(), TaxesSet()
    for envelope in sorted(events, key=lambda e: e.seq):
        match envelope.event:
            case ShopFileKept() as event:
                kept[event.kind, event.name] = event
            case ShopFileDropped() as event:
                kept.pop((event.kind, event.name), None)
            case MailSet() as event:
                mail = event
            case TaxesSet() as event:
                taxes = event
    return ShopFiles(kept, mail, taxes)


def shop_file_words(event: ShopFileEvent) -> str:
    """One of these as half a sentence."""
    match event:
        case ShopFileKept():
            return f"the shop goes by {event.words or event.name}"
        case ShopFileDropped():
            why = f" ({event.reason})" if event.reason else ""
            return f"the shop no longer goes by {event.name}{why}"
        case TaxesSet():
            said = ", ".join(f"{name} {percent} %" for name, percent in event.percent.items())
            return f"the shop's taxes: {said or 'none'}"
        case _:
            return f"mail goes out by {event.server}" if event.server else "mail goes into files"
