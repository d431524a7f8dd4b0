"""An unknown machine as a short file on top of its family: asked, answered, or not seen yet.

The file can be worked with as soon as the family is known. What is not seen yet stands as a trap
of the teardown step that shows it, and goes when it is answered. Edits keep a person's comments
and the order of the file.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap

from knowngood.machines.nearest import did_you_mean
from knowngood.machines.rescale import rescaled, too_high
from knowngood.machines.shipped import shipped_names
from knowngood.machines.variant import Bases, read_whole, shipped_base

NOT_SEEN: Final = "not seen yet: "


@dataclass(frozen=True, slots=True)
class Question:
    """``role``: of the teardown step that shows it; "" is seen from outside, at check-in."""

    id: str
    ask: str
    example: str
    role: str


QUESTIONS: Final = (
    Question("maker", "Maker, as on the plate", "Tolmin", ""),
    Question("model", "Model, as on the plate", "TX-40", ""),
    Question("cells", "Cells in series of the pack, or its rated volts", "10, or 36 V",
             "source out"),
    Question("controls", "Controls, and what each does", "lock-off, trigger with speed", ""),
    Question("one_part", "Parts of the family that are sold as one", "motor, impeller", "shell"),
    Question("screws", "Screws of the shell", "9 T20 18 mm", "shell"),
    Question("connectors", "Connectors: plugs or soldered", "all plugs", "shell"),
    Question("hall", "Has the motor Hall sensors (a plug of five thin wires)", "yes", "shell"),
)  # fmt: skip
BY_ID: Final = {q.id: q for q in QUESTIONS}


class AnswerError(ValueError):
    """An answer that cannot be used; the text says what to write."""


def new_file(
    name: str, family: str, words: str, answers: Mapping[str, str], bases: Bases = shipped_base
) -> str:
    """The text of a new machine file. ``family``: a shipped one, or a file that ``bases`` knows.
    AnswerError."""
    base = _base(family, bases)
    file = CommentedMap(machine=name, based_on=family, words=words or str(base["words"]))
    file.yaml_set_start_comment(f"Written with the questions of `machine new`; all that is not"
                                f" here is as in {family}.")
    for question in QUESTIONS:
        if step := _step(base, question):
            _traps(file, base, step).append(_mark(question))
    text = _dumped(file)
    for id, answer in answers.items():
        text = answered(text, id, answer, bases)
    return text


def open_questions(text: str) -> tuple[Question, ...]:
    """What is not answered yet, in the order it is asked."""
    file = _loaded(text)
    traps = [str(t) for step in (file.get("teardown") or {}).values()
             for t in (step.get("traps") or ())]
    return tuple(q for q in QUESTIONS if any(t == _mark(q) for t in traps))


def answered(text: str, id: str, answer: str, bases: Bases = shipped_base) -> str:
    """The file with one more answer, its comments and order kept. AnswerError."""
    if id not in BY_ID:
        raise AnswerError(f"there is no question {id!r}; there are {', '.join(BY_ID)}")
    answer = " ".join(answer.split())
    if not answer:
        raise AnswerError(f"{id} has no answer; write it like: {BY_ID[id].example}")
    file = _loaded(text)
    base = _base(str(file.get("based_on")), bases)
    _ANSWERS[id](file, base, answer)
    for step in (file.get("teardown") or {}).values():
        traps = step.get("traps") or []
        for trap in [t for t in traps if t == _mark(BY_ID[id])]:
            traps.remove(trap)
    return _dumped(file)


def _mark(question: Question) -> str:
    return f"{NOT_SEEN}{question.ask} ({question.id}, such as {question.example})"


def _base(family: str, bases: Bases) -> dict[str, Any]:
    """All that the family says; what an earlier file of the shop has not seen is asked anew."""
    text = bases(family)
    if text is None:
        raise AnswerError(f"there is no family {family[:60]!r}."
                          f" {did_you_mean(family, shipped_names())}")
    data = read_whole(text, family, bases).data
    if not isinstance(data, dict):
        raise AnswerError(f"{family} cannot be read; check it first")
    for step in (data.get("teardown") or {}).values():
        traps = _list(step.get("traps"))
        step["traps"] = [t for t in traps if not str(t).startswith(NOT_SEEN)]
    return data


def _step(base: Mapping[str, Any], question: Question) -> str:
    """The family's step that shows it: of its role, else the one that takes the source out."""
    steps = base.get("teardown") or {}
    for role in (question.role, "source out"):
        for id, step in steps.items():
            if role and step.get("role") == role:
                return str(id)
    return ""


def _traps(file: CommentedMap, base: Mapping[str, Any], step: str) -> list[Any]:
    entry = _entry(file, "teardown", step)
    if "traps" not in entry:
        known = base["teardown"][step].get("traps") or []
        entry["traps"] = [known] if isinstance(known, str) else list(known)
    found: list[Any] = entry["traps"]
    return found


def _entry(file: CommentedMap, *path: str) -> CommentedMap:
    """The mapping at a path, made where it is missing."""
    at = file
    for name in path:
        if not isinstance(at.get(name), dict):
            at[name] = CommentedMap()
        at = at[name]
    return at


def _maker(file: CommentedMap, base: Mapping[str, Any], answer: str) -> None:
    file["makers"] = [answer]


def _model(file: CommentedMap, base: Mapping[str, Any], answer: str) -> None:
    file["models"] = [answer]


def _note(key: str) -> Any:
    def write(file: CommentedMap, base: Mapping[str, Any], answer: str) -> None:
        """Kept as a trap of the shell, in words: nothing is worked out from it."""
        step = _step(base, BY_ID[key])
        traps = _traps(file, base, step or _step(base, BY_ID["cells"]))
        traps[:] = [t for t in traps if not str(t).startswith(f"{key}: ")]
        traps.append(f"{key}: {answer}")

    return write


def _cells(file: CommentedMap, base: Mapping[str, Any], answer: str) -> None:
    match = re.fullmatch(r"([0-9.]+)\s*(V|S)?", answer, re.IGNORECASE)
    number = float(match[1]) if match and match[1].count(".") < 2 and match[1] != "." else 0.0
    cells = round(number / 3.6) if match and (match[2] or "").upper() == "V" else int(number)
    if not 1 <= cells <= 40:
        raise AnswerError(f"cells: {answer[:40]!r}; write 10, or rated volts such as 36 V")
    if base.get("full_volts") is None:
        raise AnswerError("cells: this family has no pack")
    dropped = file.get("drop") or {}
    for section, ids in too_high(base):  # of an earlier answer
        if section in dropped:
            dropped[section] = [i for i in dropped[section] if i not in ids]
    for path, value in rescaled(base, cells, again="full_volts" in file):
        if path[0] == "elements":
            _element(file, path[1], path[2], value)
        elif path[0] == "drop":
            _drop(file, path[1], value)
        else:
            _entry(file, *path[:-1])[path[-1]] = value


def _element(file: CommentedMap, ref: str, field: str, value: Any) -> None:
    elements = _entry(file, "circuit").setdefault("elements", [])
    for element in elements:
        if element.get("ref") == ref:
            element[field] = value
            return
    elements.append(CommentedMap(ref=ref, **{field: value}))


def _drop(file: CommentedMap, section: str, ids: list[str]) -> None:
    kept = _entry(file, "drop").setdefault(section, [])
    kept += [i for i in ids if i not in kept]


def _hall(file: CommentedMap, base: Mapping[str, Any], answer: str) -> None:
    if answer.casefold() not in ("yes", "no"):
        raise AnswerError(f"hall: {answer[:40]!r}; write yes or no")
    if answer.casefold() == "no":
        for section, id in (("faults", "motor_hall"), ("tests", "motor_halls")):
            if id in (base.get(section) or {}):
                _drop(file, section, [id])


def _screws(file: CommentedMap, base: Mapping[str, Any], answer: str) -> None:
    match = re.fullmatch(r"([0-9]{1,3})\s+(\S+)(?:\s+(.+))?", answer)
    if not match or int(match[1]) < 1:
        raise AnswerError(f"screws: {answer[:40]!r}; write count, drive and length: 9 T20 18 mm")
    step = _step(base, BY_ID["screws"])
    if not step:
        raise AnswerError("screws: this family is not opened")
    one = CommentedMap(count=int(match[1]), drive=match[2])
    if match[3]:
        one["length"] = match[3]
    _entry(file, "teardown", step)["fasteners"] = [one]


def _one_part(file: CommentedMap, base: Mapping[str, Any], answer: str) -> None:
    ids = [i.strip().casefold().replace(" ", "_") for i in answer.split(",") if i.strip()]
    parts: dict[str, Any] = file.get("parts") or base["parts"]
    unknown = [i for i in ids if i not in parts]
    if len(ids) < 2 or unknown:
        raise AnswerError(f"one_part: {', '.join(unknown) or answer[:40]} - name two or more of"
                          f" {', '.join(parts)}")
    first, rest = ids[0], ids[1:]
    merged = dict(parts[first])
    for other in rest:
        more = parts[other]
        merged["words"] = f"{merged['words']} with {str(more['words']).lower()}"
        merged["contents"] = [*_list(merged.get("contents")), *_list(more.get("contents"))]
        merged["price"] = float(merged["price"]) + float(more["price"])
        merged["needs"] = list(dict.fromkeys([*_list(merged.get("needs")),
                                              *_list(more.get("needs"))]))
    merged.pop("numbers", None)  # the numbers were those of the pieces
    file["parts"] = CommentedMap(
        (id, merged if id == first else part) for id, part in parts.items() if id not in rest)
    for id, fault in base["faults"].items():
        named = _list(fault.get("parts"))
        if set(named) & set(rest):
            kept = dict.fromkeys(first if p in rest else p for p in named)
            _entry(file, "faults", str(id))["parts"] = list(kept)


def _list(value: Any) -> list[Any]:
    return [value] if isinstance(value, str) else list(value or ())


_ANSWERS: Final[Mapping[str, Any]] = {
    "maker": _maker, "model": _model, "cells": _cells, "hall": _hall, "screws": _screws,
    "one_part": _one_part, "controls": _note("controls"), "connectors": _note("connectors"),
}  # fmt: skip


def _yaml() -> YAML:
    yaml = YAML(typ="rt")
    yaml.width, yaml.allow_unicode, yaml.preserve_quotes = 4096, True, True
    return yaml


def _loaded(text: str) -> CommentedMap:
    data = _yaml().load(text)
    if not isinstance(data, CommentedMap) or not data.get("based_on"):
        raise AnswerError("this file stands on no family: answers go into a file of `machine new`")
    return data


def _dumped(file: CommentedMap) -> str:
    out = io.StringIO()
    _yaml().dump(file, out)
    return out.getvalue()
