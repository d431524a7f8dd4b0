"""Text as the fonts at hand can print it, with nothing lost: a sign without a glyph is named.

A person's words may hold anything: control codes, marks that turn the order of reading round,
signs of scripts that the shipped fonts do not have. A record that prints a blank or an empty square
in their place says less than what was typed, so such a sign comes out as its name or number in
square brackets: "[fire]", "[U+65E5]".
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable
from typing import Any

_TURNING = {
    "\u202a",
    "\u202b",
    "\u202c",
    "\u202d",
    "\u202e",
    "\u2066",
    "\u2067",
    "\u2068",
    "\u2069",
}
_UNSEEN = {
    "\u200b", "\u200c", "\u200d", "\u2060", "\ufeff",  # joiners and breaks
    "\u200e", "\u200f", "\u061c", "\u00ad", "\ufe0e", "\ufe0f",  # direction, hyphen, emoji style
}  # fmt: skip
_BREAKS = re.compile(r"\r\n|[\r\n\v\f\x85\u2028\u2029]")
_PLAIN = re.compile(r"[\n\x20-\x7e]*")


def as_lines(text: str) -> str:
    """Line breaks of every kind as "\\n", tabs as blanks, unseen signs left out."""
    text = _BREAKS.sub("\n", text).replace("\t", " ")
    return "".join(one for one in text if one not in _UNSEEN)


def unusual(texts: Iterable[str]) -> frozenset[str]:
    """The signs outside plain ASCII: those a font might not have."""
    return frozenset(sign for text in texts for sign in text if not _PLAIN.fullmatch(sign))


def never_drawn(sign: str) -> bool:
    """Control codes, direction marks, lone surrogates, private and unassigned signs."""
    return sign in _TURNING or unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Co", "Cn")


def named(sign: str) -> str:
    """ "[fire]"; by number where the name says nothing."""
    name = unicodedata.name(sign, "").lower()
    number = f"U+{ord(sign):04X}"
    dull = not name or number[2:].lower() in name or unicodedata.category(sign).startswith("C")
    return f"[{number}]" if dull else f"[{name}]"


def printable(text: str, without: frozenset[str]) -> str:
    """`text` with every sign of `without`, and every sign that is never drawn, named."""
    tidy = as_lines(text)
    if _PLAIN.fullmatch(tidy):
        return tidy
    return "".join(
        named(sign) if sign in without or (sign != "\n" and never_drawn(sign)) else sign
        for sign in tidy
    )


def each_text(data: Any, change: Callable[[str], str]) -> Any:
    """Plain data with every text changed; keys are left as they are."""
    if isinstance(data, str):
        return change(data)
    if isinstance(data, list):
        return [each_text(one, change) for one in data]
    if isinstance(data, dict):
        return {key: each_text(one, change) for key, one in data.items()}
    return data
