"""A family's volts for a pack of another number of cells: what changes, by path.

Volts grow with the cells, loads and weak cells with them; supplies of the shop stay at 56 V or
less. Above the limit for open live work the conditions that need it are dropped with their tests;
what takes their place is in `above_limit`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

from knowngood.machines.above_limit import on_supply, replacements
from knowngood.machines.edits import in_words
from knowngood.machines.safety import LIVE_LIMIT

CELL_FULL: Final = 4.2  # V of a full lithium-ion cell
CELL_RATED: Final = 3.6
SUPPLY_MOST: Final = 56.0  # V, bench supply of the shop
LOWEST: Final = 6.0  # V; below it is a supply of sensors, not of the pack
_NUMBER: Final = re.compile(r"([0-9]+(?:\.[0-9]+)?)(?=\s*(?:V|m?ohm)\b)")

Path = tuple[str, ...]


def rescaled(
    base: Mapping[str, Any], cells: int, again: bool = False
) -> Iterator[tuple[Path, Any]]:
    """(path, value) of everything to override. Paths ("elements", ref, field) are elements of the
    circuit, ("drop", section) lists of ids. ``base`` must have full_volts. ``again``: also what is
    as in the family, since an earlier answer may stand there."""
    full = float(str(base["full_volts"]).split()[0])
    ratio = cells * CELL_FULL / full
    yield ("rated_volts",), f"{CELL_RATED * cells:g} V"
    yield ("full_volts",), f"{CELL_FULL * cells:g} V"
    if abs(ratio - 1) < 1e-6 and not again:
        return
    gone = dict(too_high(base)) if cells * CELL_FULL > LIVE_LIMIT else {}
    moved = dict(replacements(base, live_open(base))) if gone else {}
    circuit = base.get("circuit") or {}
    for element in circuit.get("elements") or ():
        yield from _element(element, ratio)
    for key, text in (circuit.get("spreads") or {}).items():
        if _of_pack(key, text):
            yield ("circuit", "spreads", key), _times(text, ratio)
    for id, condition in (base.get("conditions") or {}).items():
        if id in gone.get("conditions", ()):
            continue
        if condition.get("spreads"):
            yield ("conditions", id, "spreads"), {
                k: _times(v, ratio) if _of_pack(k, v) else v
                for k, v in condition["spreads"].items()}
        if condition.get("volts"):
            most = SUPPLY_MOST if _bares(base, condition) else None
            yield ("conditions", id, "volts"), _times(condition["volts"], ratio, most)
    for id, fault in (base.get("faults") or {}).items():
        changes = fault.get("circuit")
        listed = [changes] if isinstance(changes, dict) else list(changes or ())
        if any(c.get("set") for c in listed) and ("faults", id, "circuit") not in moved:
            yield ("faults", id, "circuit"), [
                {**c, "to": _times(c["to"], ratio)} if c.get("set") else c for c in listed]
    for id, test in (base.get("tests") or {}).items():
        if id not in gone.get("tests", ()):
            yield from _limits(id, test, ratio, full, cells)
    for section, ids in gone.items():
        yield ("drop", section), ids
    yield from moved.items()


def _element(element: Mapping[str, Any], ratio: float) -> Iterator[tuple[Path, Any]]:
    words, ref = str(element.get("words")), str(element.get("ref"))
    if found := re.search(r"\b([0-9]+)(?= cells)", words):
        old = int(found[1])
        yield ("elements", ref, "words"), in_words(words, old, round(old * ratio))
    for field in ("volts", "alive_above", "enable_above"):
        if field in element and _first(element[field]) > LOWEST:
            most = SUPPLY_MOST if "supply" in words else None
            yield ("elements", ref, field), _times(element[field], ratio, most)
    if words.startswith("load of the shop"):
        yield ("elements", ref, "ohms"), _times(element["ohms"], ratio)


def _limits(
    id: str, test: Mapping[str, Any], ratio: float, full: float, cells: int
) -> Iterator[tuple[Path, Any]]:
    limits = test.get("limits") or {}
    probe = test.get("probe") or {}
    volts = "volts" in (test.get("quantity"), probe.get("read"))
    if volts and "high" in limits and _first(limits["high"]) > 0.6 * full:
        new = {k: _times(limits[k], ratio) for k in ("low", "high") if k in limits}
        yield ("tests", id, "limits"), {**new, "source": f"that of the family, for {cells} cells in"
                                        " series (arithmetic)"}
        yield ("tests", id, "good_reads"), f"{new.get('low', '0 V')} to {new['high']}"
        for field in ("good", "expect"):
            if isinstance(test.get(field), str):
                yield ("tests", id, field), _times(test[field], ratio)
            elif isinstance(test.get(field), dict):
                yield ("tests", id, field), {k: _times(v, ratio) if isinstance(v, str) else v
                                             for k, v in test[field].items()}


def too_high(base: Mapping[str, Any]) -> Iterator[tuple[str, list[str]]]:
    """(section, ids) of the live work with the shell open that a pack above 60 V takes away."""
    found = live_open(base)
    gone = [id for id in found["conditions"] if not on_supply(base, id)]
    tests = [id for id in found["tests"] if base["tests"][id].get("condition") in gone]
    if gone:
        yield "conditions", gone
        yield "tests", tests


def live_open(base: Mapping[str, Any]) -> dict[str, list[str]]:
    """Conditions with the shell open and the pack in, and their tests."""
    live = [id for id, c in (base.get("conditions") or {}).items()
            if c.get("energised") and not c.get("volts") and _bares(base, c)]
    tests = [id for id, t in (base.get("tests") or {}).items() if t.get("condition") in live]
    return {"conditions": live, "tests": tests}


def _bares(base: Mapping[str, Any], condition: Mapping[str, Any]) -> bool:
    """Whether a condition has the shell open."""
    steps = base.get("teardown") or {}

    def opens(id: str) -> bool:
        step = steps.get(id) or {}
        return step.get("role") == "shell" or any(opens(n) for n in _list(step.get("needs")))

    return any(opens(s) for s in _list(condition.get("open")))


def _of_pack(key: str, text: Any) -> bool:
    """Whether a spread is of volts that grow with the cells."""
    return key.endswith((".volts", ".alive_above", ".enable_above")) and _first(text) > LOWEST


def _list(value: Any) -> list[Any]:
    return [value] if isinstance(value, str) else list(value or ())


def _first(text: Any) -> float:
    found = _NUMBER.search(str(text))
    return float(found[1]) if found else 0.0


def _times(text: Any, ratio: float, most: float | None = None) -> str:
    """Every number before a unit, times the ratio, to four digits."""
    def times(found: re.Match[str]) -> str:
        value = float(found[1]) * ratio
        return f"{value if most is None else min(value, most):.4g}"

    return _NUMBER.sub(times, str(text))
