"""What is wrong with the form of a machine file, in words, each with its line and the way out."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from typing import Any, Final

from pydantic import ValidationError

from knowngood.machines import schema
from knowngood.machines.nearest import did_you_mean
from knowngood.machines.tree import Tree
from knowngood.measure.problem import Problem

ROUNDS: Final = 3  # mending one entry may show what is wrong inside it

Place = tuple[str | int, ...]


def line_of(lines: Mapping[str, int], place: Place) -> int:
    """The line of a place, or of the nearest entry around it; 1 when there is none."""
    parts = [str(p) for p in place]
    while parts:
        line = lines.get(".".join(parts))
        if line:
            return line
        parts.pop()
    return 1


def form_problems(error: ValidationError, tree: Tree, name: str) -> Iterator[Problem]:
    for found in error.errors(include_url=False, include_context=True):
        kind = str(found["type"])
        place: Place = tuple(p for p in found["loc"] if p != "[key]")
        message, fix = _in_words(kind, place, found.get("input"), found.get("ctx") or {},
                                 str(found["msg"]), "[key]" in found["loc"])
        yield Problem(name, line_of(tree.lines, place), message, fix)


def _in_words(
    kind: str, place: Place, given: Any, context: Mapping[str, Any], told: str, is_key: bool
) -> tuple[str, str]:
    where = ".".join(str(p) for p in place)
    field = str(place[-1]) if place else ""
    example = schema.example_of(place)
    write = f"Write it like {example}" if example else "See the worked example in the guide"
    if kind == "missing":
        home = ".".join(str(p) for p in place[:-1])
        return (f"{home} has no {field}" if home else f"{field}: is missing",
                f"Add {example or field + ':'}")
    if kind == "extra_forbidden":
        return f"{where} is not known", did_you_mean(field, schema.form_at(place).model_fields, 30)
    if kind == "literal_error":
        return f"{where} is {given!r:.60}", f"It may be {context.get('expected', '')}"
    if is_key:
        return f"{field[:60]!r} cannot be an id", _id_letters("_")
    shown = repr(given) if isinstance(given, (str, int, float, bool)) else _kind_word(given)
    if len(shown) > 60:
        shown = shown[:57] + "..."
    if kind == "string_pattern_mismatch":
        pattern = str(context.get("pattern"))
        if "{64}" in pattern:
            return (f"{where} is {shown}, wanted: 64 digits 0-9, a-f",
                    "Write the SHA-256 of the picture's file, or take it out")
        return f"{where}: {shown} cannot be an id", _id_letters("_ -" if "_-]" in pattern else "_")
    if given is None:
        return f"{where} is empty", write
    if kind == "forecast":
        return (f"{where} is {shown}, not a forecast",
                "Write text with a unit, such as 12.4 V +- 0.2 V, or a list of such")
    limits = {"greater_than_equal": ("ge", "at least"), "greater_than": ("gt", "more than"),
              "less_than_equal": ("le", "at most"), "less_than": ("lt", "less than")}
    if kind in limits:
        key, words = limits[kind]
        return f"{where} is {shown}", f"It must be {words} {_figure(context.get(key))}"
    wanted = {"float_type": "a number", "int_type": "a whole number", "bool_type": "true or false",
              "string_type": "text", "list_type": "a list", "dict_type": "entries with names",
              "model_type": "entries with names", "finite_number": "a finite number",
              "string_too_long": "shorter text", "string_too_short": "some text",
              "too_short": "more entries", "too_long": "fewer entries",
              "int_from_float": "a whole number"}
    if kind in wanted:
        return f"{where} is {shown}, wanted: {wanted[kind]}", write
    return f"{where} is {shown}: {told}", write


def _id_letters(signs: str) -> str:
    return f"Use small letters, digits and {signs}, starting with a letter"


def _figure(limit: object) -> str:
    return f"{limit:.15g}" if isinstance(limit, float) else str(limit)


def _kind_word(given: Any) -> str:
    if isinstance(given, dict):
        return "a set of entries"
    return "a list" if isinstance(given, list) else type(given).__name__


def stand_in(data: dict[str, Any], error: ValidationError) -> schema.MachineSpec | None:
    """The form with what is wrong in single fields left out or put in by an example, so that the
    rest of the file can be looked at in the same go; None where whole entries are wrong."""
    data = copy.deepcopy(data)
    for _ in range(ROUNDS):
        for found in error.errors(include_url=False):
            if not _mended(data, str(found["type"]), found["loc"]):
                return None
        try:
            return schema.MachineSpec.model_validate(data)
        except ValidationError as again:
            error = again
    return None


def _mended(data: Any, kind: str, place: Place) -> bool:
    """Whether the field at this place could be left out, or put in by its example."""
    at: Any = data
    for step in place[:-1]:
        try:
            at = at[step]
        except (LookupError, TypeError):
            return False
    if not place or not isinstance(at, dict):
        return False
    name = place[-1]
    field = schema.form_at(place).model_fields.get(str(name))
    if kind == "extra_forbidden":
        at.pop(name, None)
        return True
    if field is None:
        return False
    if not field.is_required():
        at.pop(name, None)
        return True
    text = schema.example_of(place).partition(": ")[2]
    try:
        at[name] = float(text) if text else "?"
    except ValueError:
        at[name] = text
    return not text.startswith(("{", "["))
