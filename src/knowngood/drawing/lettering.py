"""How wide words are, and how they break into lines.

The widths are the advances of DejaVu Sans, the widest of the usual sans-serif faces, so that words
never need more room than they were given, whichever of them a phone or a printer has.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final

# Hundredths of the size: signs of that advance. Read from the font's own table (version 2.37).
_PLAIN: Final = {
    27: "'", 28: "ijl", 29: "IJ", 32: " ,.", 34: r"/:;\|", 35: "f", 36: "-", 39: "()[]t", 40: "!",
    41: "r", 46: '"', 50: "*_`–°", 52: "sz", 53: "?", 55: "c", 56: "L", 58: "Fk", 59: "vxy",
    60: "P", 61: "TYao", 62: "eé", 63: "ESbdghnpqu", 64: "$0123456789{}µ", 66: "K", 68: "AVΔ",
    69: "BRXZ", 70: "C", 73: "U", 75: "HN", 76: "Ω", 77: "DG", 78: "&", 79: "OQ", 82: "w",
    84: "#+<=>^~±≥×", 86: "M", 95: "%", 97: "m", 99: "W",
}  # fmt: skip
_BOLD: Final = {
    31: "'", 34: "ijl", 35: " ", 37: r"/IJ\|", 38: ",.", 40: ":;", 42: "-", 44: "f", 46: "!()[]",
    48: "t", 49: "r", 50: "_`–°", 52: '"*', 58: "?z", 59: "c", 60: "s", 64: "L", 65: "vxy",
    67: "ak", 68: "EFTeé", 69: "o", 70: "$0123456789", 71: "hnu{}", 72: "SYbdgpq", 73: "CPZ",
    74: "µ", 76: "B", 77: "AKRVXΔ", 81: "U", 82: "G", 83: "D", 84: "#+<=>HN^~±≥×", 85: "OQΩ",
    87: "&", 92: "w", 104: "m", 110: "W",
}  # fmt: skip


_BREAK: Final = re.compile(r"[^\s/-]*(?:[/-]+|\s+|$)")
"""A word up to the blank, the hyphen or the stroke after it."""


def _table(rows: dict[int, str]) -> dict[str, float]:
    return {sign: share / 100 for share, signs in rows.items() for sign in signs}


_WIDTHS: Final = {False: _table(_PLAIN), True: _table(_BOLD)}


def width_of(text: str, size: float, bold: bool = False) -> float:
    """Width in the unit of `size`; a sign without an entry counts as a wide one."""
    table = _WIDTHS[bold]
    wide = sum(table[s] if s in table else _other(s) for s in text)
    return wide * size


def _other(sign: str) -> float:
    if unicodedata.combining(sign):
        return 0.0
    return 1.4 if unicodedata.east_asian_width(sign) in "WF" or ord(sign) > 0xFFFF else 1.12


def tidy(text: str, most: int = 200) -> str:
    """One line of signs that may stand in an XML file: control codes, marks that turn the order
    of reading, lone surrogates and unassigned signs become blanks; blanks are drawn together."""
    kept = (" " if unicodedata.category(s)[0] in "CZ" else s for s in text[: 4 * most])
    return " ".join("".join(kept).split())[:most]


def cut(text: str, room: float, size: float, bold: bool = False) -> str:
    """`text`, or as much of it as fits into `room` with "…" at its end."""
    if width_of(text, size, bold) <= room:
        return text
    while text and width_of(text + "…", size, bold) > room:
        text = text[:-1]
    return text.rstrip() + "…"


def wrapped(text: str, room: float, size: float, most: int) -> tuple[str, ...]:
    """At most `most` lines of `room`; what does not fit is cut off with "…"."""
    lines: list[str] = []
    words = [word for word in _BREAK.findall(text) if word]
    while words:
        taken = len(words) if len(lines) == most - 1 else 1
        while taken < len(words) and width_of("".join(words[: taken + 1]).rstrip(), size) <= room:
            taken += 1
        lines.append(cut("".join(words[:taken]).strip(), room, size))
        words = words[taken:]
    return tuple(lines)
