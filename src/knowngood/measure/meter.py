"""A meter's sheet from its YAML text, with every mistake listed at its line.

The file names `name`, `title`, `source` (where the numbers come from) and `functions`; the other
keys have defaults (see `sheet.MeterSheet`). Values are text with a unit: "600 mV".
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from difflib import get_close_matches
from importlib import resources
from itertools import pairwise
from typing import Any, Final, get_args

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from knowngood.measure.budget import Budget, BudgetRow, budget_table
from knowngood.measure.problem import Problem
from knowngood.measure.sheet import MeterRange, MeterSheet, averaging_error, rough_budget
from knowngood.measure.unit_table import DIMENSION_OF, EXAMPLE, Dimension, Quantity
from knowngood.measure.units import UnitError, format_value, parse_as

__all__ = [
    "Budget",
    "BudgetRow",
    "MeterRange",
    "MeterSheet",
    "averaging_error",
    "budget_table",
    "load_shipped_meter",
    "parse_meter",
    "rough_budget",
    "shipped_meters",
]

_LONGEST: Final = 200_000
_DEEPEST: Final = 60
_TOP: Final = {
    "name", "title", "source", "functions", "input", "auto_range", "true_rms", "ac_bandwidth",
    "ac_floor", "leads", "zeroed", "probe_contact", "shared_share",
}  # fmt: skip
_RANGE: Final = {"name", "full_scale", "resolution", "pct", "counts", "test_current", "open_volts"}
_METERED: Final = tuple(q for q in get_args(Quantity) if q != "yes_no")


def parse_meter(text: str, name: str) -> tuple[MeterSheet | None, list[Problem]]:
    """The sheet written in `text`, and all problems found; the sheet is None if there is any.

    `name` is the file's name, for the problems only.
    """
    data, problems = _load(text, name)
    if data is None:
        return None, problems
    reader = _Reader(name, problems)
    sheet = reader.sheet(data)
    return (None if problems else sheet), problems


def shipped_meters() -> tuple[str, ...]:
    """Names of the generic sheets that come with the program."""
    folder = resources.files("knowngood.measure") / "meters"
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(n.removesuffix(".yaml") for n in names if n.endswith(".yaml")))


def load_shipped_meter(name: str) -> MeterSheet:
    """A generic sheet by name. Raises ValueError naming those that exist."""
    if name not in shipped_meters():
        raise ValueError(f"no meter sheet {name!r}; there are {', '.join(shipped_meters())}")
    file = resources.files("knowngood.measure") / "meters" / f"{name}.yaml"
    sheet, problems = parse_meter(file.read_text(encoding="utf-8"), f"{name}.yaml")
    if sheet is None:
        raise ValueError("; ".join(str(p) for p in problems))
    return sheet


def _load(text: str, file: str) -> tuple[CommentedMap | None, list[Problem]]:
    if len(text) > _LONGEST:
        return None, [Problem(file, 0, f"longer than {_LONGEST} characters, not a meter sheet")]
    if _nesting(text) > _DEEPEST:
        return None, [Problem(file, 0, "brackets nested too deep, not a meter sheet")]
    try:
        data = YAML(typ="rt").load(text)
    except MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 0
        message = " ".join(str(error.problem or error.context or "cannot be read").split())
        return None, [Problem(file, line, message, "Check indents, colons and brackets there")]
    except (YAMLError, ValueError, RecursionError) as error:
        message = str(error).splitlines()[0] if str(error) else "cannot be read as YAML"
        return None, [Problem(file, 0, message, "Write it as plain YAML")]
    if not isinstance(data, CommentedMap):
        return None, [Problem(file, 1, "not a list of keys", "Start with name: and functions:")]
    return data, []


def _nesting(text: str) -> int:
    """An upper estimate of how deep lists and keys are nested; the YAML reader is slow on deep
    ones."""
    depth = deepest = 0
    for sign in text:
        depth += (sign in "[{") - (sign in "]}" and depth > 0)
        deepest = max(deepest, depth)
    lines = text.splitlines()
    in_line = max((len(re.findall(r"(?:^|\s)[-?:](?=\s)", line)) for line in lines), default=0)
    indent = max((len(line) - len(line.lstrip()) for line in lines), default=0)
    return max(deepest, in_line, indent // 2)


class _Reader:
    """Collects problems while it takes one file apart."""

    def __init__(self, file: str, problems: list[Problem]) -> None:
        self.file = file
        self.problems = problems

    def sheet(self, data: CommentedMap) -> MeterSheet | None:
        self._unknown(data, _TOP, "in a meter sheet")
        name = self._words(data, "name")
        source = self._words(data, "source", "Say where the numbers come from, such as the booklet")
        title = self._words(data, "title") if "title" in data else name
        functions = self._functions(data)
        optional: dict[str, Any] = {}
        values: tuple[tuple[str, str, Dimension], ...] = (
            ("input", "input_ohms", "resistance"),
            ("ac_bandwidth", "ac_bandwidth", "frequency"),
            ("leads", "lead_ohms", "resistance"),
            ("probe_contact", "contact_ohms", "resistance"),
            ("ac_floor", "ac_floor_pct", "percent"),
        )
        for key, field, dimension in values:
            if key in data:
                optional[field] = self._value(data, key, dimension, _at_least_zero)
        for key in ("auto_range", "true_rms", "zeroed"):
            if key in data:
                optional[key] = self._flag(data, key)
        if "shared_share" in data:
            optional["shared_share"] = self._bare(data, "shared_share", 0, 1)
        if self.problems:
            return None
        return MeterSheet(name, title, functions, source, **optional)

    def _functions(self, data: CommentedMap) -> tuple[tuple[Quantity, tuple[MeterRange, ...]], ...]:
        functions = data.get("functions")
        if not isinstance(functions, CommentedMap) or not functions:
            self._problem(data, "functions", "functions: is missing or empty", "List volts: first")
            return ()
        found: list[tuple[Quantity, tuple[MeterRange, ...]]] = []
        for quantity, rows in functions.items():
            if quantity not in _METERED:
                message = f"no function {str(quantity)[:40]!r}"
                self._problem(functions, quantity, message, _near(quantity, _METERED))
            elif not isinstance(rows, CommentedSeq) or not rows:
                example = "- {full_scale: 6 V, resolution: 0.001 V, pct: 0.5, counts: 3}"
                self._problem(functions, quantity, f"{quantity} has no ranges", f"Write {example}")
            else:
                ranges = [self._range(rows, i, quantity) for i in range(len(rows))]
                self._order(functions, quantity, [r.full_scale for r in ranges if r])
                found.append((quantity, tuple(r for r in ranges if r)))
        return tuple(found)

    def _range(self, rows: CommentedSeq, index: int, quantity: Quantity) -> MeterRange | None:
        row = rows[index]
        if not isinstance(row, CommentedMap):
            self._problem(rows, index, "a range must be keys and values", "Write full_scale: 6 V")
            return None
        self._unknown(row, _RANGE, "in a range")
        dimension = DIMENSION_OF[quantity]
        full = self._value(row, "full_scale", dimension, _above_zero)
        resolution = self._value(row, "resolution", dimension, _above_zero)
        pct = self._bare(row, "pct", 0, 50)
        counts = self._bare(row, "counts", 0, 1000)
        current = volts = None
        if "test_current" in row:
            current = self._value(row, "test_current", "current", _above_zero)
        if "open_volts" in row:
            volts = self._value(row, "open_volts", "voltage", _above_zero)
        if full is None or resolution is None or pct is None or counts is None:
            return None
        if resolution >= full:
            self._problem(row, "resolution", "resolution is not below full_scale", "Swap them?")
            return None
        name = self._words(row, "name") if "name" in row else format_value(full, dimension, 6)
        return MeterRange(name, full, resolution, pct, counts, current, volts)

    def _order(self, functions: CommentedMap, quantity: str, scales: list[float]) -> None:
        if any(b <= a for a, b in pairwise(scales)):
            message = f"the ranges of {quantity} are not in order"
            self._problem(functions, quantity, message, "Put the smallest first, each once")

    def _value(
        self, where: CommentedMap, key: str, dimension: Dimension, check: Callable[[float], str]
    ) -> float | None:
        raw = where.get(key)
        if raw is None:
            self._problem(where, key, f"{key}: is missing", f"Write {key}: {EXAMPLE[dimension]}")
            return None
        try:
            value = parse_as(str(raw), dimension)
        except UnitError as error:
            self._problem(where, key, f"{key}: {error}", f"Write {key}: {EXAMPLE[dimension]}")
            return None
        wrong = check(value)
        if wrong:
            self._problem(where, key, f"{key}: {raw} {wrong}", "Check the sign")
            return None
        return value

    def _bare(self, where: CommentedMap, key: str, low: float, high: float) -> float | None:
        raw = where.get(key)
        number = isinstance(raw, (int, float)) and not isinstance(raw, bool)
        if not number or not math.isfinite(raw) or not low <= raw <= high:
            got = f"{key}: is missing" if raw is None else f"{key}: {raw} will not do"
            self._problem(where, key, got, f"Write a plain number from {low:g} to {high:g}")
            return None
        return float(raw)

    def _flag(self, where: CommentedMap, key: str) -> bool:
        raw = where.get(key)
        if not isinstance(raw, bool):
            self._problem(where, key, f"{key}: {raw} will not do", "Write true or false")
        return bool(raw)

    def _words(self, where: CommentedMap, key: str, fix: str = "") -> str:
        raw = where.get(key)
        if raw is None or isinstance(raw, (CommentedMap, CommentedSeq)) or not str(raw).strip():
            self._problem(where, key, f"{key}: is missing", fix or f"Write {key}: and a few words")
            return ""
        return str(raw).strip()

    def _unknown(self, where: CommentedMap, allowed: Iterable[str], place: str) -> None:
        for key in where:
            if key not in allowed:
                fix = _near(key, sorted(allowed))
                self._problem(where, key, f"no key {str(key)[:40]!r} {place}", fix)

    def _problem(
        self, where: CommentedMap | CommentedSeq, key: object, message: str, fix: str
    ) -> None:
        try:
            line = where.lc.data[key][0]
        except (KeyError, TypeError, AttributeError):
            line = getattr(where.lc, "line", None)
        self.problems.append(Problem(self.file, 0 if line is None else line + 1, message, fix))


def _near(word: object, known: Sequence[str]) -> str:
    """The nearest known name, or all of them."""
    near = get_close_matches(str(word)[:80].casefold(), known, n=1, cutoff=0.6)
    return f"Did you mean {near[0]}?" if near else f"Use {', '.join(known)}"


def _at_least_zero(value: float) -> str:
    return "" if value >= 0 else "is below zero"


def _above_zero(value: float) -> str:
    return "" if value > 0 else "must be above zero"
