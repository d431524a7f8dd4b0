"""A supplier's file as text: its encoding, its separator, its rows with their lines."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from datetime import date
from typing import Final

SEPARATORS: Final = (";", "\t", ",", "|")
MIXED: Final = "utf-8 and cp1252"
LOST: Final = "\N{REPLACEMENT CHARACTER}"


def decoded(data: bytes) -> tuple[str, str]:
    """(text, encoding). A mark at the start decides; else UTF-8; else Windows western; where lines
    of both stand in one file, each is read as what it is ("utf-8 and cp1252").

    A workbook (.xlsx, .ods) becomes the text of its first sheet; a cell that holds a day is written
    as one, so that it is noticed. Raises ValueError for a workbook that cannot be read.
    """
    if data.startswith(b"PK"):
        return _workbook(data), "workbook"
    for mark, name in (
        (b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"),
    ):  # fmt: skip
        if data.startswith(mark):
            return data.decode(name, "replace"), name
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        western, wide = _kinds(data)
        if not wide:
            return data.decode("cp1252", "replace"), "cp1252"
    lines = data.split(b"\n")
    whole = (line.decode("cp1252", "replace") if at in western else line.decode("utf-8")
             for at, line in enumerate(lines, 1))  # fmt: skip
    return "\n".join(whole), MIXED


def _kinds(data: bytes) -> tuple[frozenset[int], frozenset[int]]:
    """Lines that are no UTF-8, and those that are and have a sign beyond ASCII."""
    western, wide = set(), set()
    for at, line in enumerate(data.split(b"\n"), 1):
        if line.isascii():
            continue
        try:
            line.decode("utf-8")
            wide.add(at)
        except UnicodeDecodeError:
            western.add(at)
    return frozenset(western), frozenset(wide)


def notes_on(data: bytes, text: str, encoding: str) -> tuple[str, ...]:
    """What of a file's signs could not be read, or was read in another way than the rest."""
    found = []
    if encoding == MIXED:
        western, wide = _kinds(data)
        few, name = (western, "Windows western") if len(western) <= len(wide) else (wide, "UTF-8")
        told = f"another encoding than the rest, read as {name}; look at the words"
        found.append(f"{_lines_named(few)}: {told}")
    if LOST in text:
        lost = [at for at, line in enumerate(text.split("\n"), 1) if LOST in line]
        found.append(f"{_lines_named(lost)}: a sign could not be read; look at the words")
    return tuple(found)


def _lines_named(lines: Iterable[int]) -> str:
    """ "lines 7, 9, 12 and 4 more"."""
    some = sorted(lines)
    more = f" and {len(some) - 3} more" if len(some) > 3 else ""
    named = ", ".join(str(one) for one in some[:3])
    return f"lines {named}{more}" if len(some) > 1 else f"line {named}"


def _workbook(data: bytes) -> str:
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        rows = CalamineWorkbook.from_filelike(io.BytesIO(data)).get_sheet_by_index(0).to_python()
    except (CalamineError, IndexError, ValueError, OSError) as error:
        raise ValueError(f"the workbook cannot be read: {error}; save it as CSV") from error
    out = io.StringIO(newline="")
    csv.writer(out).writerows([_cell(cell) for cell in row] for row in rows)
    return out.getvalue()


def _cell(cell: object) -> str:
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() else f"{cell:.10g}"
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def table_of(text: str) -> tuple[list[str], Iterator[tuple[int, list[str]]]]:
    """(names of the columns, the rows after them with the line where each begins). Raises
    ValueError when there is no table, the rows where a quote is not closed."""
    first = next((line for line in text.splitlines()[:50] if line.strip()), "")
    if "\x00" in text[:4000] or not first:
        raise ValueError("this is no list in text: save it as CSV, UTF-8")
    separator = max(SEPARATORS, key=first.count)
    if not first.count(separator):
        raise ValueError("the first line names one column only: save it as CSV with all columns")
    rows = _rows(text, separator)
    for _, row in rows:
        if any(cell.strip() for cell in row):
            return [cell.strip() for cell in row], rows
    raise ValueError("this is no list in text: save it as CSV, UTF-8")


def _rows(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    begins = 1
    try:
        for row in reader:
            yield begins, row
            begins = reader.line_num + 1
    except csv.Error as error:
        said = f"line {begins} cannot be read ({error})"
        raise ValueError(f"{said}: look for a quote (\") in it that is not closed") from error
