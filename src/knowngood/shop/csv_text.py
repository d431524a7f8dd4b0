"""Tables as CSV text (RFC 4180) that a table program cannot take for formulas."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


_WITHIN = re.compile(r"([;|\t\r\n])(?=[\"\s]*[=+\-@\uff1d\uff0b\uff0d\uff20])")
"""A separator before a formula: a table program that parts cells by it would begin one there."""


def defused(cell: object) -> str:
    """The cell as text; one that would start a formula gets an apostrophe before it, and so does
    what follows a semicolon, a tab, a bar or a line's end within it.

    Numbers keep their sign. The starts and the separators are those OWASP names for CSV injection,
    the line feed and the full-width signs among them.
    """
    text = _WITHIN.sub(r"\1'", "" if cell is None else str(cell))
    if text.lstrip(' "').startswith(_STARTS) and not _is_number(text):
        return f"'{text}"
    return text


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return text.strip() == text and text.lower().strip("+-") not in ("inf", "nan", "infinity")


def csv_text(names: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """The table with its first line of names; lines end as RFC 4180 wants."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(names)
    writer.writerows([defused(cell) for cell in row] for row in rows)
    return out.getvalue()
