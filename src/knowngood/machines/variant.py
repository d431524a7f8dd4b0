"""A variant: a short file on top of a family (``based_on``), not a copy. The family may be a
variant itself, up to four on top of each other.

Entries with ids are overridden field by field, elements of the circuit by ``ref``; a field that is
given replaces the family's whole field. ``parts``, ``doubles``, ``fixed_order`` and the other lists
are replaced as a whole; ``numbers`` puts part numbers onto the parts. ``drop`` takes entries out,
together with what names them. Every entry keeps the line of the file it was written in.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Mapping
from typing import Any, Final

from ruamel.yaml import YAML

from knowngood.machines.edits import listed, with_cells
from knowngood.machines.nearest import did_you_mean
from knowngood.machines.shipped import load_shipped, shipped_names
from knowngood.machines.tree import Line, Tree, read_tree
from knowngood.measure.problem import Problem

DEEPEST: Final = 4  # families on top of each other
BY_ID: Final = ("sources", "nuisances", "teardown", "conditions", "faults", "tests", "complaints",
                "told", "causes", "release")  # fmt: skip
DROPS: Final = (*(s for s in BY_ID if s != "sources"), "elements", "points")
# where an id of a section is named elsewhere: (section that names it, field)
NAMED: Final[Mapping[str, tuple[tuple[str, str], ...]]] = {
    "faults": (("tests", "expect"), ("complaints", "given"), ("told", "given"),
               ("faults", "leaves")),
    "tests": (("tests", "after"), ("tests", "holds"), ("complaints", "shown_by"),
              ("causes", "read_by")),
    "causes": (("faults", "causes"),),
    "conditions": (),
    "teardown": (("conditions", "open"), ("conditions", "closed"), ("teardown", "needs")),
}  # fmt: skip

WRITTEN_OUT: Final = "# Written out from "
NUMBERS_FIX: Final = "Write it like numbers: {pack: [{number: OX-4410, models: OX-80}]}"
BASE_NAME: Final = re.compile(r"[a-z][a-z0-9_-]{0,59}")  # of a file of one's own

Bases = Callable[[str], str | None]


def shipped_base(name: str) -> str | None:
    """The text of a family that comes with the program, or None."""
    return load_shipped(name) if name in shipped_names() else None


def read_whole(text: str, name: str, bases: Bases = shipped_base) -> Tree:
    """The tree of a machine file; of a variant with all that its family says."""
    return _read(text, name, bases, (name,))


def is_variant(text: str) -> bool:
    """Whether the file stands on another one."""
    if "based_on" not in text:
        return False
    data = read_tree(text, "").data
    return isinstance(data, dict) and data.get("based_on") is not None


def written_out(text: str, name: str, bases: Bases = shipped_base) -> str:
    """A variant as a file of its own, to be kept where its family may change; any other text, and
    one with problems, as it is."""
    if not is_variant(text):
        return text
    tree = read_whole(text, name, bases)
    if tree.problems or not isinstance(tree.data, dict):
        return text
    data = {k: v for k, v in tree.data.items() if k not in ("based_on", "drop")}
    out, yaml = io.StringIO(), YAML(typ="safe", pure=True)
    yaml.default_flow_style, yaml.allow_unicode, yaml.width = False, True, 4096
    yaml.sort_base_mapping_type_on_output = False  # type: ignore[assignment]
    out.write(f"{WRITTEN_OUT}{name}, based on {tree.data['based_on']}.\n")
    yaml.dump(data, out)
    return out.getvalue()


def _read(text: str, name: str, bases: Bases, seen: tuple[str, ...]) -> Tree:
    tree = read_tree(text, name)
    if not isinstance(tree.data, dict) or not {"based_on", "drop"} & set(tree.data):
        return tree
    base_name = tree.data.get("based_on")
    line = tree.lines.get("based_on", tree.lines.get("drop", 1))
    if not isinstance(base_name, str) or not base_name:
        return _with(tree, Problem(name, line, "based_on names no family",
                                   f"Name one: {', '.join(shipped_names())}"))
    if base_name in seen or len(seen) >= DEEPEST:
        ring = " on ".join((*seen, base_name))
        return _with(tree, Problem(name, line, f"{ring}: a ring, or too many on top of each other",
                                   "Base it on a family that stands alone"))
    base_text = bases(base_name)
    if base_text is None:
        return _with(tree, Problem(
            name, line, f"there is no family {base_name[:60]!r}",
            "A shipped family, or a file of your own by its name. "
            + did_you_mean(base_name, shipped_names())))
    base = _read(base_text, base_name, bases, (*seen, base_name))
    if not isinstance(base.data, dict):
        return _with(tree, *base.problems)
    return _Merge(tree, base, base_name, name).done(base_text + base.base)


def _with(tree: Tree, *problems: Problem) -> Tree:
    return Tree(None, tree.lines, [*tree.problems, *problems])


class _Merge:
    """One pass over the variant; `lines` follows `data`."""

    def __init__(self, own: Tree, base: Tree, base_name: str, name: str) -> None:
        self.own, self.name = own, name
        self.data: dict[str, Any] = dict(base.data)
        self.problems = [*own.problems, *base.problems]
        self.lines: dict[str, int] = {
            path: line if isinstance(line, Line) else Line(line, base_name)
            for path, line in base.lines.items()
        }

    def done(self, base_text: str) -> Tree:
        drop = self.own.data.get("drop") or {}
        base_full = self.data.get("full_volts")
        if not isinstance(drop, dict):
            self._bad("drop", "drop is no list of entries with names", "Write drop: {tests: [a]}")
            drop = {}
        self._put("drop", drop, "drop")
        for section, ids in drop.items():
            self._drop(str(section), [ids] if isinstance(ids, str) else ids)
        for key, value in self.own.data.items():
            old = self.data.get(key)
            if key == "numbers":
                continue  # below, onto the parts as they are then
            if key in BY_ID and isinstance(value, dict) and isinstance(old, dict):
                self.data[key] = self._entries(key, old, value)
            elif key == "circuit" and isinstance(value, dict) and isinstance(old, dict):
                self.data[key] = self._circuit(old, value)
            else:
                self._put(key, value, key)
                self.data[key] = value
        if "models" in self.own.data and "parts" not in self.own.data:
            self._own_numbers(set(listed(self.own.data["models"])))
        if "parts" not in self.own.data and isinstance(self.data.get("parts"), dict):
            ratio = _volts(self.data.get("full_volts")) / (_volts(base_full) or 1.0)
            self.data["parts"] = with_cells(self.data["parts"], ratio)
        self._put_numbers(self.own.data.get("numbers") or {})
        if "fixed_order" not in self.own.data and "fixed_order" in self.data:
            gone = set(drop.get("tests") or ()) if isinstance(drop.get("tests"), list) else set()
            gone |= {drop["tests"]} if isinstance(drop.get("tests"), str) else set()
            order = self.data["fixed_order"]
            self.data["fixed_order"] = [t for t in order if t not in gone]
        return Tree(self.data, self.lines, self.problems, base_text)

    def _own_numbers(self, models: set[Any]) -> None:
        """Numbers of other models than those of the variant are not its own."""
        parts = self.data.get("parts")
        for id, part in parts.items() if isinstance(parts, dict) else ():
            numbers = part.get("numbers") if isinstance(part, dict) else None
            if not isinstance(numbers, list):
                continue
            kept = [n for n, one in enumerate(numbers)
                    if not (isinstance(one, dict) and one.get("models"))
                    or models & set(listed(one["models"]))]
            if len(kept) < len(numbers):
                self.data["parts"] = {**self.data["parts"],
                                      id: {**part, "numbers": [numbers[n] for n in kept]}}
                self._renumber(f"parts.{id}.numbers", kept)

    def _put_numbers(self, own: Any) -> None:
        """The variant's part numbers onto the parts, before those that are there; one that is there
        too is replaced."""
        parts = self.data.get("parts")
        if not isinstance(own, dict) or not isinstance(parts, dict):
            self._bad("numbers", "numbers is no list of parts with their numbers", NUMBERS_FIX)
            return
        for id, value in own.items():
            part, path = parts.get(id), f"numbers.{id}"
            if not isinstance(part, dict):
                self._bad(path, f"{path}: this machine has no part {id}",
                          did_you_mean(str(id), parts))
            elif not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
                self._bad(path, f"{path} is no list of numbers", NUMBERS_FIX)
            else:
                there = listed(part.get("numbers"))
                mine = {str(v.get("number")) for v in value}
                kept = [n for n, one in enumerate(there)
                        if not (isinstance(one, dict) and str(one.get("number")) in mine)]
                self.data["parts"] = {**self.data["parts"],
                                      id: {**part, "numbers": value + [there[n] for n in kept]}}
                self._renumber(f"parts.{id}.numbers", kept, len(value))
                for n, one in enumerate(value):
                    self._put(f"parts.{id}.numbers.{n}", one, f"{path}.{n}")
                self.lines[f"parts.{id}.numbers"] = self.own.lines.get(path, 1)

    def _bad(self, path: str, message: str, fix: str) -> None:
        self.problems.append(Problem(self.name, self.own.lines.get(path, 1), message, fix))

    def _put(self, path: str, value: Any, own_path: str) -> None:
        """The lines of a value that the variant writes, instead of what was there."""
        for old in [p for p in self.lines if p == path or p.startswith(path + ".")]:
            del self.lines[old]
        for mine, line in self.own.lines.items():
            if mine == own_path or mine.startswith(own_path + "."):
                self.lines[path + mine[len(own_path):]] = line

    def _entries(self, path: str, old: dict[str, Any], new: dict[str, Any]) -> dict[str, Any]:
        """Entries by id, each field by field."""
        merged = dict(old)
        for id, value in new.items():
            here = f"{path}.{id}"
            if isinstance(value, dict) and isinstance(old.get(id), dict):
                merged[id] = {**old[id], **value}
                for name in value:
                    self._put(f"{here}.{name}", value[name], f"{here}.{name}")
                self.lines[here] = self.own.lines.get(here, 1)
            else:
                merged[id] = value
                self._put(here, value, here)
        return merged

    def _circuit(self, old: dict[str, Any], new: dict[str, Any]) -> dict[str, Any]:
        merged = dict(old)
        for key, value in new.items():
            path = f"circuit.{key}"
            if key in ("states", "spreads", "points") and isinstance(value, dict):
                merged[key] = self._entries(path, old.get(key) or {}, value)
            elif key == "elements" and isinstance(value, list):
                merged[key] = self._elements(old.get(key) or [], value)
            else:
                merged[key] = value
                self._put(path, value, path)
        return merged

    def _elements(self, old: list[Any], new: list[Any]) -> list[Any]:
        """Elements by ref: a known one is changed, a new one added."""
        merged = list(old)
        at = {e.get("ref"): n for n, e in enumerate(old) if isinstance(e, dict)}
        for m, element in enumerate(new):
            ref = element.get("ref") if isinstance(element, dict) else None
            mine = f"circuit.elements.{m}"
            if ref in at:
                n = at[ref]
                merged[n] = {**merged[n], **element}
                for name in element:
                    self._put(f"circuit.elements.{n}.{name}", element[name], f"{mine}.{name}")
                self.lines[f"circuit.elements.{n}"] = self.own.lines.get(mine, 1)
            else:
                self._put(f"circuit.elements.{len(merged)}", element, mine)
                merged.append(element)
        return merged

    def _drop(self, section: str, ids: Any) -> None:
        path = f"drop.{section}"
        if section not in DROPS or not isinstance(ids, list):
            self._bad(path, f"{path} cannot be dropped like that",
                      f"Write a list of ids under one of: {', '.join(DROPS)}")
            return
        for id in ids:
            if not self._known(section, id):
                self._bad(path, f"the family has no {id!r} in {section} to drop",
                          did_you_mean(str(id), self._ids(section)))
        gone = {str(i) for i in ids}
        if section == "elements":
            circuit = dict(self.data.get("circuit") or {})
            kept = [(n, e) for n, e in enumerate(circuit.get("elements") or ())
                    if not (isinstance(e, dict) and e.get("ref") in gone)]
            circuit["elements"] = [e for _, e in kept]
            self._renumber("circuit.elements", [n for n, _ in kept])
            self.data["circuit"] = circuit
        elif section == "points":
            circuit = dict(self.data.get("circuit") or {})
            circuit["points"] = _without(circuit.get("points") or {}, gone)
            self.data["circuit"] = circuit
        else:
            self.data[section] = _without(self.data.get(section) or {}, gone)
            for place, field in NAMED.get(section, ()):
                self._unname(place, field, gone)
            if section == "conditions":
                self._unname_changes(gone)
            if section == "faults":
                doubles = self.data.get("doubles") or []
                kept = [(n, d) for n, d in enumerate(doubles) if not _names(d, gone)]
                self.data["doubles"] = [d for _, d in kept]
                self._renumber("doubles", [n for n, _ in kept])

    def _renumber(self, path: str, kept: list[int], first: int = 0) -> None:
        """The lines of a list of which only these entries are left, the first of them now at
        ``first``."""
        old = {p: self.lines.pop(p) for p in list(self.lines) if p.startswith(path + ".")}
        for new, n in enumerate(kept, start=first):
            head = f"{path}.{n}"
            for p, line in old.items():
                if p == head or p.startswith(head + "."):
                    self.lines[f"{path}.{new}{p[len(head):]}"] = line

    def _ids(self, section: str) -> list[str]:
        circuit = self.data.get("circuit") or {}
        if section == "elements":
            return [str(e.get("ref")) for e in circuit.get("elements") or () if isinstance(e, dict)]
        found = circuit.get("points") if section == "points" else self.data.get(section)
        return [str(k) for k in found or ()]

    def _known(self, section: str, id: Any) -> bool:
        return str(id) in self._ids(section)

    def _unname(self, section: str, field: str, gone: set[str]) -> None:
        """Take ids out of the field of every entry that names them."""
        entries = self.data.get(section)
        if not isinstance(entries, dict):
            return
        self.data[section] = {
            id: {**e, field: self._left(f"{section}.{id}.{field}", e[field], gone)}
            if isinstance(e, dict) and field in e else e
            for id, e in entries.items()
        }

    def _unname_changes(self, gone: set[str]) -> None:
        """Changes of a fault in conditions that are gone; one that has no other goes with them."""
        faults = self.data.get("faults")
        for id, fault in faults.items() if isinstance(faults, dict) else ():
            changes = fault.get("circuit") if isinstance(fault, dict) else None
            if not isinstance(changes, list):
                changes = [changes] if isinstance(changes, dict) else []
            new = [{k: [c for c in listed(v) if c not in gone] if k in ("when", "unless") else v
                    for k, v in change.items()} for change in changes if isinstance(change, dict)]
            kept = [n for n, change in enumerate(new) if change.get("when", True)]
            if new != changes and len(new) == len(changes):
                self.data["faults"] = {**self.data["faults"],
                                       id: {**fault, "circuit": [new[n] for n in kept]}}
                self._renumber(f"faults.{id}.circuit", kept)

    def _left(self, path: str, value: Any, gone: set[str]) -> Any:
        if isinstance(value, str):
            return [] if value in gone else value
        if isinstance(value, list):
            return [v for v in value if v not in gone]
        if not isinstance(value, dict):
            return value
        left = {}
        for keys, entry in value.items():
            kept = ", ".join(k for k in (p.strip() for p in keys.split(",")) if k not in gone)
            if kept:
                left[kept] = entry
                line = self.lines.get(f"{path}.{keys}")
                if kept != keys and line:
                    self.lines[f"{path}.{kept}"] = line
        return left


def _without(entries: Any, gone: set[str]) -> Any:
    return {k: v for k, v in entries.items() if k not in gone} if isinstance(entries, dict) else (
        entries)


def _names(double: Any, gone: set[str]) -> bool:
    faults = double.get("faults") if isinstance(double, dict) else None
    return isinstance(faults, list) and bool(gone & {str(f) for f in faults})


def _volts(text: Any) -> float:
    """The number of "58.8 V"; 0 where there is none."""
    match = re.match(r"\s*([0-9]+(?:\.[0-9]+)?)\s*V\b", str(text))
    return float(match[1]) if match else 0.0
