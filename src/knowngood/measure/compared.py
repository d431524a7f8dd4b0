"""Several readings that are judged by how they differ, such as the three pairs of a motor.

Taken on one meter and range they share its error, which falls out of their difference; what is
left is small even on a cheap meter. The reading is highest minus lowest.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from typing import Final

from knowngood.measure.difference import Difference, compare
from knowngood.measure.reading import Reading
from knowngood.measure.sheet import MeterSheet
from knowngood.measure.typed import read_text
from knowngood.measure.unit_table import DIMENSION_OF, Quantity
from knowngood.measure.units import UnitError, format_value, parse_measured

_OPEN: Final = re.compile(r"o\.?l\.?|open|infinite|overload", re.I)
_GOES_ON: Final = re.compile(r"(?:^|.*\s)(?:to|and|about|-|[<>=~]+|over|under|below|above)", re.I)


def read_compared(
    text: str,
    quantity: Quantity,
    meter: MeterSheet | None,
    names: Sequence[str],
    last: Reading | None = None,
) -> Reading:
    """The difference of the readings in `text`, one for each of `names` ("6.52 6.49 6.51 V").

    They may come one by one: `last`, not yet complete, is gone on with. Until all are there the
    reading is of kind "none" and its note tells how those read so far agree. Total.
    """
    new = split_readings(text, names)
    whole = read_text(text, quantity, meter, last)
    if len(new) <= 1 and (whole.kind in ("interval", "unsteady") or not _has_value(new)):
        return whole  # "as expected", jumps, skip, can't tell, same, or not understood
    before = split_readings(last.text, names) if last is not None and _going_on(last) else []
    pieces = [*before, *new] if len(new) < len(names) else new
    said = "; ".join(pieces)
    if len(pieces) > len(names):
        return _nothing(whole, said, f"{len(pieces)} readings; {_wanted(names)}")
    each = [read_text(piece, quantity, meter) for piece in pieces]
    for one in each:
        if one.kind == "none":
            return replace(one, text=text)
        if one.kind == "unsteady":
            return replace(one, text=said, low=None, high=None)
        if one.kind == "interval":
            note = f"{one.text!r}: to compare, each is wanted as the meter shows it"
            return _nothing(one, text, note)
    return _difference(each, names, said, quantity)


def split_readings(text: str, names: Sequence[str] = ()) -> list[str]:
    """ "UV 6.52 VW 6.49, 6.51 V" as its readings, a unit at the end for all that have none."""
    for name in sorted(names, key=len, reverse=True):
        text = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)\s*[:=]?", " ", text, flags=re.I)
    pieces: list[str] = []
    for stretch in re.split(r"[;|/]|,(?=\s)|\n", text):
        piece = ""
        for word in stretch.split():
            fresh = word[0] in "+-.,<>~" or word[0].isdigit() or bool(_OPEN.fullmatch(word))
            if piece and fresh and _complete(piece):
                pieces.append(piece)
                piece = word
            else:
                piece = f"{piece} {word}".strip()
        if piece:
            pieces.append(piece)
    ends = re.fullmatch(r"[^0-9]*[0-9.,]+\s*([^0-9]+)", pieces[-1]) if pieces else None
    if ends is not None:
        unit = ends[1]
        bare = re.compile(r"[+-]?[0-9.,]+")
        pieces = [f"{p} {unit}" if bare.fullmatch(p) else p for p in pieces]
    return pieces


def _complete(piece: str) -> bool:
    has_value = re.search("[0-9]", piece) or _OPEN.search(piece)
    return bool(has_value) and not _GOES_ON.fullmatch(piece)


def _has_value(pieces: Sequence[str]) -> bool:
    return any(re.search("[0-9]", p) or _OPEN.fullmatch(p) for p in pieces)


def _going_on(last: Reading) -> bool:
    """Some of the readings were there, and more are wanted."""
    return last.kind == "none" and "still to read" in last.note


def _wanted(names: Sequence[str]) -> str:
    return f"wanted, on one range: {' '.join(names)}, one after another"


def _nothing(one: Reading, text: str, note: str) -> Reading:
    return replace(
        one, kind="none", low=None, high=None, text=text, note=note, u_random=0.0, u_shared=0.0,
        resolution=0.0,
    )  # fmt: skip


def _on_range_of(top: Reading, one: Reading, quantity: Quantity) -> Reading:
    """Left on one range, as the step says, a smaller one has its doubt and digits, unless more
    digits were typed than that range shows."""
    try:
        typed = parse_measured(one.text, DIMENSION_OF[quantity]).resolution
    except UnitError:
        return one
    if one.range_name == top.range_name or typed < 0.99 * top.resolution:
        return one
    return replace(
        one, u_random=top.u_random, u_shared=top.u_shared, resolution=top.resolution,
        range_name=top.range_name, full_scale=top.full_scale,
    )  # fmt: skip


def _compared(a: Reading, b: Reading) -> Difference:
    """Without a sheet, too, they are read on one meter."""
    if a.meter is None and b.meter is None:
        a, b = replace(a, meter="the meter"), replace(b, meter="the meter")
    return compare(a, b)


def _difference(
    each: Sequence[Reading], names: Sequence[str], said: str, quantity: Quantity
) -> Reading:
    """Highest minus lowest; over range when one of them is."""
    left = names[len(each) :]
    values = [(r.value, i) for i, r in enumerate(each) if r.kind == "value"]
    if not values or len(values) < len(each):  # over range, one of them or all
        over = next(r for r in each if r.kind == "over")
        least = max(0.0, (over.low or 0.0) - min((abs(v) for v, _ in values), default=0.0))
        if not left:
            return replace(over, text=said, low=least)
        agree = "one is over range" if values else "over range"
        return _nothing(over, said, f"{agree}; still to read: {' '.join(left)}")
    (high, i), (low, j) = max(values), min(values)
    top = each[i]
    each = [_on_range_of(top, one, quantity) for one in each]
    bottom = each[j]
    pairs = [_compared(a, b) for a, b in combinations(each, 2)]
    found = _compared(top, bottom)
    dimension = DIMENSION_OF[quantity]
    note = ""
    if pairs:
        apart = format_value(found.value, dimension, 3)
        doubt = format_value(2 * found.u, dimension, 2)
        note = f"{names[i]} and {names[j]} differ by {apart or 0} ± {doubt}"
        if high == low:
            note = f"all alike, ± {doubt}"
        note += (
            "; the meter's error common to them falls out"
            if all(p.alike for p in pairs)
            else "; not on one meter and range, so the meter's whole error counts"
        )
    if left:
        parts = [note] if note else [f"{names[0]} {each[0].text}"]
        note = f"{'; '.join(parts)}; still to read: {' '.join(left)}"
        return _nothing(top, said, note)
    apart_by = float(f"{found.value:.6g}")
    return replace(
        top, low=apart_by, high=apart_by, text=said, u_random=found.u_random,
        u_shared=found.u_shared, resolution=max(r.resolution for r in each), note=note,
    )  # fmt: skip
