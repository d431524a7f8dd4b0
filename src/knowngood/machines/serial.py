"""Serials in order: runs of digits count as numbers, letters as text."""

from __future__ import annotations

import re

from knowngood.machines.machine import PartNumber


def in_order(low: str, high: str) -> bool | None:
    """Whether ``low`` does not come after ``high``: A999 before A5000 before A12000, 2304A01175
    before 2304B00001. None where the two are not written alike, as A999 and B5000, 5000 and A5000:
    only the maker knows which of them is older."""
    one, other = _runs(low), _runs(high)
    if not one or len(one) != len(other):
        return None
    for a, b in zip(one, other, strict=True):
        if a.isdigit() != b.isdigit() or (not a.isdigit() and len(a) != len(b)):
            return None
    if not one[0].isdigit() and one[0] != other[0]:
        return None
    return _as_numbers(one) <= _as_numbers(other)


def fits_serial(number: PartNumber, serial: str) -> bool | None:
    """Whether a machine of this serial takes the number; None where the serial does not say it."""
    low, high = number.serial_from, number.serial_to
    if not (low or high):
        return True
    if not serial.strip():
        return None
    ends = (in_order(low, serial) if low else True, in_order(serial, high) if high else True)
    return False if False in ends else None if None in ends else True


def _runs(serial: str) -> list[str]:
    """Letters and runs of digits, what is between them left out; capitals are small letters."""
    return re.findall(r"[0-9]+|[a-z]+", serial.casefold())


def _as_numbers(runs: list[str]) -> list[tuple[int, str]]:
    return [(int(run), "") if run.isdigit() else (0, run) for run in runs]
