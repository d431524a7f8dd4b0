"""Numbers spoken into the phone: "twelve point six volts" to "12.6 volts"."""

from __future__ import annotations

import re
from typing import Final

_NAMES: Final = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen",
    "nineteen",
)  # fmt: skip
_ROUND: Final = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_ONES: Final = {name: value for value, name in enumerate(_NAMES)} | {"nought": 0, "oh": 0}
_TENS: Final = {name: 10 * value for value, name in enumerate(_ROUND, start=2)}
_HUNDRED: Final = re.compile(r"\ba (?=(?:hundred|thousand)\b)", re.I)
_AND_PART: Final = re.compile(r"(?<![\d.,])(\d+) and a (half|quarter)\b", re.I)
_HALF_A: Final = re.compile(r"\b(?:half an?|a half)\b", re.I)
_POINT: Final = {"point", "dot", "decimal"}


def digits_from_words(text: str) -> str:
    """The text with each run of number words written in digits; other words are left alone.

    Understands 0 to 999,999, "point" followed by digits, "and a half", and "minus". A run
    that is no one number ("four seven", "twenty thirty") is left as it is, so that it is asked
    again.
    """
    text = _HUNDRED.sub("one ", text)
    words = text.replace("-", " - ").split() if _spoken_hyphen(text) else text.split()
    out: list[str] = []
    at = 0
    while at < len(words):
        end, number = _run(words, at)
        if number is None:
            out.append(words[at])
            at += 1
        else:
            out.append(number)
            at = end
    return _HALF_A.sub("0.5", _AND_PART.sub(_with_part, " ".join(out)))


def _with_part(match: re.Match[str]) -> str:
    return f"{match[1]}.{'5' if match[2].lower() == 'half' else '25'}"


def _spoken_hyphen(text: str) -> bool:
    """Whether a hyphen joins number words ("twenty-five")."""
    parts = text.lower().split("-")
    return len(parts) > 1 and any(p.split() and p.split()[-1] in _TENS for p in parts[:-1])


def _run(words: list[str], at: int) -> tuple[int, str | None]:
    """End and digits of the number that begins at word `at`; None if none begins there."""
    first = words[at].lower()
    sign = ""
    i = at
    if first in ("minus", "negative"):
        sign, i = "-", at + 1
    whole, i = _whole(words, i)
    start_ok = whole is not None
    if i < len(words) and words[i].lower() in _POINT:
        decimals, j = _decimals(words, i + 1)
        if decimals:
            return j, f"{sign}{whole or '0'}.{decimals}"
        return i, None
    if not start_ok or (i < len(words) and _is_number_word(words[i])):
        return at, None
    return i, f"{sign}{whole}"


def _whole(words: list[str], at: int) -> tuple[str | None, int]:
    """A whole number at `at`: digits as typed, or words; None if there is none."""
    if at < len(words) and words[at].isascii() and words[at].isdigit():
        return words[at], at + 1
    total = part = 0
    i = at
    last = "start"
    while i < len(words):
        word = words[i].lower()
        fresh = last in ("start", "hundred", "thousand")
        if word in _ONES and (fresh or (last == "tens" and 0 < _ONES[word] < 10)):
            part, last = part + _ONES[word], "ones"
        elif word in _TENS and fresh:
            part, last = part + _TENS[word], "tens"
        elif word == "hundred" and last == "ones" and 0 < part < 100 and part % 10:
            part, last = part * 100, "hundred"
        elif word == "thousand" and last != "start" and total == 0 and part:
            total, part, last = part * 1000, 0, "thousand"
        elif (word == "and" and last in ("hundred", "thousand")) or (
            word == "-" and last == "tens" and i + 1 < len(words) and words[i + 1].lower() in _ONES
        ):
            if i + 1 >= len(words) or not _is_number_word(words[i + 1]):
                break
        else:
            break
        i += 1
    return (None if last == "start" else str(total + part)), i


def _decimals(words: list[str], at: int) -> tuple[str, int]:
    """Digits after the point: single digits one by one, or one number such as "seventy five"."""
    if at < len(words) and words[at].isascii() and words[at].isdigit():
        return words[at], at + 1
    digits = ""
    i = at
    while i < len(words) and _ONES.get(words[i].lower(), 10) < 10:
        digits += str(_ONES[words[i].lower()])
        i += 1
    if digits:
        return digits, i
    whole, i = _whole(words, at)
    return whole or "", i


def _is_number_word(word: str) -> bool:
    return word.lower() in _ONES or word.lower() in _TENS
