"""Tables as CSV text (RFC 4180) that a table program cannot take for formulas."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def defused(cell: object) -> str:
    """The cell as text; one that would start a formula gets an apostrophe before it.

    Numbers keep their sign. The starts are those OWASP lists for CSV injection, the
    line feed and the full-width signs among them.
    """
    text = "" if cell is None else str(cell)
    if text.startswith(_STARTS) and not _is_number(text):
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
