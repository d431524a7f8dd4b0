"""What is wrong with the form of a programme's or a notice list's file, in words a shop reads."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

from pydantic import ValidationError

from knowngood.machines.form_words import line_of
from knowngood.machines.nearest import did_you_mean
from knowngood.measure.problem import Problem

_ENTRIES = "entries with names below it"
_WANTED: Final[Mapping[str, str]] = {
    "int": "a whole number", "decimal": "a number", "float": "a number", "bool": "true or false",
    "string": "text", "list": "a list, each entry on a line with a dash", "dict": _ENTRIES,
    "model": _ENTRIES, "date": "a day", "finite": "a number", "value": "text or a number",
}  # fmt: skip
_LIMITS: Final[Mapping[str, tuple[str, str]]] = {
    "greater_than_equal": ("ge", "at least"), "greater_than": ("gt", "more than"),
    "less_than_equal": ("le", "at most"), "less_than": ("lt", "less than"),
}  # fmt: skip
_LENGTHS: Final[Mapping[str, str]] = {
    "too_short": "it has too few entries", "too_long": "it has too many entries",
    "string_too_short": "it is empty", "string_too_long": "it is too long",
}
_ID: Final = "small letters, digits and _, beginning with a letter"
_EXAMPLES: Final[Mapping[str, str]] = {
    "currency": "USD", "months": "24", "claim_days": "30", "days": "60", "rate": "60",
    "minutes": "25", "cap_minutes": "90", "diagnosis_minutes": "20", "approval_above": "150",
    "parts_markup_percent": "15", "from": "purchase", "use": "household", "by_minutes": "true",
    "stop_use": "true", "serials": "[2304A00001, 2304A02000]", "models": "[BM-561]",
    "programme": "brackwater_outdoor", "maker": "Brackwater",
}  # fmt: skip


def form_problems(
    error: ValidationError, lines: Mapping[str, int], name: str, keys: set[str], example: str
) -> Iterator[Problem]:
    """What pydantic found, each with its line and the way out."""
    for found in error.errors(include_url=False, include_context=True):
        place = tuple(p for p in found["loc"] if p != "[key]")
        message, fix = _said(
            str(found["type"]), place, found.get("input"), found.get("ctx") or {},
            "[key]" in found["loc"], keys, example,
        )  # fmt: skip
        yield Problem(name, line_of(lines, place), f"{_where(place)} {message}", fix)


def _where(place: tuple[str | int, ...]) -> str:
    """ "cover, entry 1: months": where the field stands, and its name."""
    said = [f"entry {p + 1}" if isinstance(p, int) else str(p) for p in place] or ["the file"]
    return f"{', '.join(said[:-1])}: {said[-1]}" if said[1:] else said[0]


def _said(
    kind: str, place: tuple[str | int, ...], given: Any, context: Mapping[str, Any], is_key: bool,
    keys: set[str], example: str,
) -> tuple[str, str]:  # fmt: skip
    field = str(place[-1]) if place else ""
    shown = repr(given)[:60] if isinstance(given, str | int | float | bool) else "something else"
    like = _EXAMPLES.get(field, "")
    write = f"Write it like {field}: {like}" if like else example
    if kind == "missing":
        return "is missing", f"Add it, like {field}: {like}" if like else example
    if kind == "extra_forbidden":
        if field.isdecimal() and given is None:
            return ("is not known",
                    f"A comma parts entries: write decimals with a point, as 60.{field}")
        known = field in keys
        return ("does not belong here", example) if known else (
            "is not known", did_you_mean(field, keys)
        )  # fmt: skip
    if given is None:
        return "is empty", write
    if isinstance(given, str) and re.fullmatch(r"\d+,\d+", given.strip()):
        point = given.strip().replace(",", ".")
        return f"is {shown}", f"Write it with a decimal point: {point}"
    if kind == "literal_error":
        return f"is {shown}", f"It may be {context.get('expected', '')}"
    if is_key or kind == "string_pattern_mismatch":
        if field == "currency":
            return f"is {shown}", f"Write its three capital letters, as {like}"
        return f"is {shown}, which is no name for it", f"Use {_ID}"
    if kind in _LIMITS:
        key, words = _LIMITS[kind]
        return f"is {shown}", f"It must be {words} {_figure(context.get(key))}"
    if kind in _LENGTHS:
        return f"cannot be so: {_LENGTHS[kind]}", write
    wanted = _WANTED.get(kind.partition("_")[0], "something else")
    if wanted == _WANTED["date"]:
        write = f"Write it like {field}: 2026-05-04"
    return f"is {shown}, wanted: {wanted}", write


def _figure(limit: object) -> str:
    return f"{limit:.15g}" if isinstance(limit, float) else str(limit)
