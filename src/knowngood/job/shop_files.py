"""What the shop keeps beside its sheet: programmes, its list of notices, how its mail goes out.

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


ShopFileEvent = ShopFileKept | ShopFileDropped | MailSet


@dataclass(frozen=True, slots=True)
class ShopFiles:
    """The files as they stand, by kind and name, and how mail goes out."""

    kept: Mapping[tuple[str, str], ShopFileKept] = field(default_factory=dict)
    mail: MailSet = MailSet()


def shop_files(events: Iterable[Envelope]) -> ShopFiles:
    """What the shop goes by, as its events tell it."""
    kept: dict[tuple[str, str], ShopFileKept] = {}
    mail = MailSet()
    for envelope in sorted(events, key=lambda e: e.seq):
        match envelope.event:
            case ShopFileKept() as event:
                kept[event.kind, event.name] = event
            case ShopFileDropped() as event:
                kept.pop((event.kind, event.name), None)
            case MailSet() as event:
                mail = event
    return ShopFiles(kept, mail)


def shop_file_words(event: ShopFileEvent) -> str:
    """One of these as half a sentence."""
    match event:
        case ShopFileKept():
            return f"the shop goes by {event.words or event.name}"
        case ShopFileDropped():
            why = f" ({event.reason})" if event.reason else ""
            return f"the shop no longer goes by {event.name}{why}"
        case _:
            return f"mail goes out by {event.server}" if event.server else "mail goes into files"
