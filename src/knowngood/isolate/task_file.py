"""A bare task as JSON text -> `Task`, with every mistake listed at its place."""

from __future__ import annotations

import difflib
import json
import math
from collections.abc import Iterable
from typing import Any

import numpy as np

from knowngood.isolate.task import Cover, Fault, Goal, Part, Task, Test, clash, find_cycle
from knowngood.measure.problem import Problem

MOST_CELLS = 4_000_000
MOST_PRICE = 1e12
_TOP = ("goal", "faults", "parts", "covers", "tests", "give_up", "wrong_price")
_KEYS = {
    "faults": ("id", "weight", "parts"),
    "parts": ("id", "price", "needs", "closed"),
    "covers": ("id", "price", "needs", "close_price"),
    "tests": ("id", "price", "needs", "closed", "outcomes", "given"),
}


class _Twice(dict[str, Any]):
    """An object of the file, with the keys that stood in it more than once."""

    twice: tuple[str, ...] = ()


def parse_task(text: str) -> tuple[Task | None, list[Problem]]:
    """Read a task; (None, problems) when anything is wrong. Never raises on bad text."""
    try:
        raw = json.loads(text, object_pairs_hook=_object)
    except json.JSONDecodeError as e:
        return None, [Problem("task", e.lineno, f"not JSON: {e.msg} at column {e.colno}")]
    except RecursionError:
        return None, [Problem("task", 0, "nested too deep: a task is at most 5 deep")]
    except ValueError as e:
        return None, [Problem("task", 0, f"cannot be read: {str(e)[:80]}")]
    if not isinstance(raw, dict):
        return None, [Problem("task", 0, "must be an object with goal, faults, parts, tests")]
    return _Reader(raw).task()


def _object(pairs: list[tuple[str, Any]]) -> _Twice:
    out = _Twice(pairs)
    if len(out) < len(pairs):
        keys = [k for k, _ in pairs]
        out.twice = tuple(k for k in out if keys.count(k) > 1)
    return out


def nearest(word: str, known: Iterable[str]) -> str:
    """What to write instead of an unknown id: the nearest known one, or the list."""
    names = list(known)
    near = difflib.get_close_matches(word[:80], [n[:80] for n in names[:500]], n=1, cutoff=0.5)
    if near:
        return f"Did you mean {near[0]!r}?"
    return "Known: " + ", ".join(repr(n[:30]) for n in names[:8]) if names else "None is listed"


class _Reader:
    """Collects problems while it turns plain JSON values into the parts of a task."""

    def __init__(self, raw: dict[str, Any]) -> None:
        self.raw = raw
        self.problems: list[Problem] = []

    def bad(self, place: str, message: str, fix: str = "") -> None:
        self.problems.append(Problem(place, 0, message, fix))

    def near(self, word: str, known: Iterable[str]) -> str:
        """The nearest known id; not for the hundredth mistake, it takes time."""
        return nearest(word, known) if len(self.problems) < 100 else ""

    def task(self) -> tuple[Task | None, list[Problem]]:
        raw = self.raw
        self.keys("task", raw, _TOP)
        goal = raw.get("goal")
        if goal not in ("part", "cured"):
            self.bad("goal", f"must be 'part' or 'cured', not {_show(goal)}")
        rows = {k: self.rows(k) for k in _KEYS}
        ids = {k: self.ids(k, rows[k]) for k in _KEYS}
        if not rows["faults"] and not self.problems:
            self.bad("faults", "no fault is listed", "List at least one")
        cells = len(ids["faults"]) * sum(
            len(t["outcomes"]) for t in rows["tests"] if isinstance(t.get("outcomes"), list)
        )
        if cells > MOST_CELLS:
            self.bad("tests", f"{cells} probabilities, more than {MOST_CELLS}")
            return None, self.problems
        covers = [self.cover(i, c, ids) for i, c in enumerate(rows["covers"])]
        needs = {c.id: c.needs for c in covers}
        if cycle := find_cycle(needs):
            self.bad("covers", "a cycle in needs: " + " > ".join(cycle))
        parts = [self.part(i, p, ids, needs) for i, p in enumerate(rows["parts"])]
        faults = [self.fault(i, f, ids) for i, f in enumerate(rows["faults"])]
        tests = [self.test(i, t, ids, needs) for i, t in enumerate(rows["tests"])]
        if faults and not self.problems and not sum(f.weight for f in faults) > 0:
            self.bad("faults", "all weights are 0", "Give at least one fault a weight above 0")
        give_up = raw.get("give_up")
        give_up_price: float | None = None
        if give_up is not None:
            if isinstance(give_up, dict):
                self.keys("give_up", give_up, ("price",))
                give_up_price = self.number("give_up.price", give_up.get("price"), MOST_PRICE)
            else:
                self.bad("give_up", f'must be an object {{"price": ..}}, not {_show(give_up)}')
        wrong = raw.get("wrong_price")
        wrong_price = None if wrong is None else self.number("wrong_price", wrong, MOST_PRICE)
        if goal == "cured" and give_up is None:
            for i, f in enumerate(faults):
                if not f.parts:
                    fix = 'Add "give_up": {"price": ..} or the parts that cure it'
                    self.bad(f"faults[{i}].parts", f"nothing cures {f.id!r}", fix)
        if self.problems:
            return None, self.problems
        which: Goal = "part" if goal == "part" else "cured"
        task = Task(
            which, tuple(faults), tuple(parts), tuple(covers), tuple(tests),
            give_up_price, wrong_price,
        )  # fmt: skip
        return task, []

    def keys(self, place: str, row: dict[str, Any], known: tuple[str, ...]) -> None:
        """Keys that stand twice, and keys that a task does not have."""
        for k in getattr(row, "twice", ()):
            self.bad(place, f"{k[:60]!r} stands twice")
        for k in row:
            if k not in known:
                self.bad(place, f"unknown key {k[:60]!r}", self.near(k, known))

    def rows(self, kind: str) -> list[dict[str, Any]]:
        value = self.raw.get(kind)
        if value is None:
            return []
        if not isinstance(value, list):
            self.bad(kind, f"must be a list, not {_show(value)}")
            return []
        for i, row in enumerate(value):
            if isinstance(row, dict):
                self.keys(f"{kind}[{i}]", row, _KEYS[kind])
            else:
                self.bad(f"{kind}[{i}]", f"must be an object, not {_show(row)}")
        return [row if isinstance(row, dict) else {} for row in value]

    def ids(self, kind: str, rows: list[dict[str, Any]]) -> dict[str, int]:
        out: dict[str, int] = {}
        for i, row in enumerate(rows):
            name = row.get("id")
            if not isinstance(name, str) or not name:
                self.bad(f"{kind}[{i}].id", f"must be text, not {_show(name)}")
            elif name in out:
                self.bad(f"{kind}[{i}].id", f"{name!r} is already {kind}[{out[name]}]")
            else:
                out[name] = i
        return out

    def number(self, place: str, value: Any, most: float, *, missing: float | None = None) -> float:
        if value is None and missing is not None:
            return missing
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.bad(place, f"must be a number of 0 or more, not {_show(value)}")
        elif isinstance(value, float) and not math.isfinite(value):
            self.bad(place, f"must be finite, not {value}")
        elif value < 0:
            self.bad(place, f"must not be below 0, is {_show(value)}")
        elif value > most:
            self.bad(place, f"must not be above {most:g}, is {_show(value)}")
        else:
            return float(value)
        return 0.0

    def names(self, place: str, value: Any, known: dict[str, int], what: str) -> tuple[str, ...]:
        if value is None:
            return ()
        if not isinstance(value, list):
            self.bad(place, f"must be a list of {what} ids, not {_show(value)}")
            return ()
        out: list[str] = []
        for i, name in enumerate(value):
            if not isinstance(name, str) or name not in known:
                fix = self.near(name, known) if isinstance(name, str) else ""
                self.bad(f"{place}[{i}]", f"unknown {what} {_show(name)}", fix)
            elif name in out:
                self.bad(f"{place}[{i}]", f"{name!r} stands twice")
            else:
                out.append(name)
        return tuple(out)

    def fault(self, i: int, row: dict[str, Any], ids: dict[str, dict[str, int]]) -> Fault:
        at = f"faults[{i}]"
        weight = self.number(f"{at}.weight", row.get("weight"), 1e100)
        parts = self.names(f"{at}.parts", row.get("parts"), ids["parts"], "part")
        return Fault(str(row.get("id")), weight, parts)

    def cover(self, i: int, row: dict[str, Any], ids: dict[str, dict[str, int]]) -> Cover:
        at = f"covers[{i}]"
        price = self.number(f"{at}.price", row.get("price"), MOST_PRICE)
        close = self.number(f"{at}.close_price", row.get("close_price"), MOST_PRICE, missing=0.0)
        needs = self.names(f"{at}.needs", row.get("needs"), ids["covers"], "cover")
        return Cover(str(row.get("id")), price, needs, close)

    def reach(
        self, at: str, row: dict[str, Any], ids: dict[str, dict[str, int]], covers: dict[str, Any]
    ) -> tuple[float, tuple[str, ...], tuple[str, ...]]:
        price = self.number(f"{at}.price", row.get("price"), MOST_PRICE)
        needs = self.names(f"{at}.needs", row.get("needs"), ids["covers"], "cover")
        closed = self.names(f"{at}.closed", row.get("closed"), ids["covers"], "cover")
        if both := clash(needs, closed, covers):
            self.bad(at, f"cover {both!r} would have to be open and shut at once")
        return price, needs, closed

    def part(
        self, i: int, row: dict[str, Any], ids: dict[str, dict[str, int]], covers: dict[str, Any]
    ) -> Part:
        return Part(str(row.get("id")), *self.reach(f"parts[{i}]", row, ids, covers))

    def test(
        self, i: int, row: dict[str, Any], ids: dict[str, dict[str, int]], covers: dict[str, Any]
    ) -> Test:
        at = f"tests[{i}]"
        price, needs, closed = self.reach(at, row, ids, covers)
        names = row.get("outcomes")
        outcomes: tuple[str, ...] = ()
        if not isinstance(names, list) or not names:
            self.bad(f"{at}.outcomes", f"must list at least one outcome, not {_show(names)}")
        elif not all(isinstance(o, str) and o for o in names):
            self.bad(f"{at}.outcomes", "every outcome must be text")
        elif len(set(names)) < len(names):
            self.bad(f"{at}.outcomes", "an outcome stands twice")
        else:
            outcomes = tuple(names)
        table = np.zeros((len(outcomes), len(ids["faults"])))
        given = row.get("given")
        if not isinstance(given, dict):
            self.bad(f"{at}.given", f"must be an object, a row for each fault, not {_show(given)}")
            return Test(str(row.get("id")), price, outcomes, table, needs, closed)
        for k in getattr(given, "twice", ()):
            self.bad(f"{at}.given", f"{k[:60]!r} stands twice")
        for name in given:
            if name not in ids["faults"]:
                fix = self.near(name, ids["faults"])
                self.bad(f"{at}.given", f"unknown fault {_show(name)}", fix)
        for j, name in enumerate(ids["faults"]):
            if name not in given:
                self.bad(f"{at}.given", f"no row for fault {_show(name)}")
            elif outcomes:
                table[:, j] = self.row(f"{at}.given[{name!r:.60}]", given[name], len(outcomes))
        return Test(str(row.get("id")), price, outcomes, table, needs, closed)

    def row(self, place: str, value: Any, width: int) -> list[float]:
        blank = [0.0] * width
        if not isinstance(value, list) or len(value) != width:
            self.bad(place, f"must be a list of {width} probabilities, not {_show(value)}")
            return blank
        before = len(self.problems)
        out = [self.number(f"{place}[{k}]", p, 1 + 1e-9) for k, p in enumerate(value)]
        if len(self.problems) > before:
            return blank
        if abs(math.fsum(out) - 1) > 1e-9:
            self.bad(place, f"sums to {math.fsum(out):.12g}, must sum to 1")
        return out


def _show(value: Any) -> str:
    """A value of the file in few characters."""
    if value is None:
        return "nothing"
    if isinstance(value, list | dict):
        return f"{'a list' if isinstance(value, list) else 'an object'} of {len(value)}"
    try:
        return repr(value)[:60]
    except ValueError:
        return "a number with thousands of digits"
