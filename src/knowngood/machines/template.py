"""An unknown machine as a short file on top of its family: asked, answered, or not seen yet.

The file can be worked with as soon as the family is known. What is not seen yet stands as a trap
of the teardown step that shows it, and goes when it is answered. Edits keep a person's comments
and the order of the file.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap

from knowngood.machines.answers import ANSWERS, step_of, traps_of
from knowngood.machines.answers import AnswerError as AnswerError
from knowngood.machines.answers import CellsAsked as CellsAsked
from knowngood.machines.brushed import has_phases
from knowngood.machines.comments import end_note, with_comments
from knowngood.machines.edits import listed
from knowngood.machines.machine import NOT_SEEN
from knowngood.machines.nearest import which_of
from knowngood.machines.shipped import shipped_names
from knowngood.machines.variant import Bases, read_whole, shipped_base


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
    Question("cells", "Cells in series of the pack, or the volts on its label", "10 S",
             "source out"),
    Question("controls", "Controls, and what each does",
             "lock-off: blocks the trigger; trigger: speed", ""),
    Question("brake", "Brake: none, electric (by the controller) or mechanical", "electric, 3 s",
             ""),
    Question("one_part", "Parts of the family that are sold as one, or none", "motor, controller",
             "shell"),
    Question("screws", "Screws of the shell", "9 T20 18 mm", "shell"),
    Question("connectors", "Connectors: plugs, or which are soldered", "all plugs, motor soldered",
             "shell"),
    Question("motor_wires", "Thick motor wires: 3 (brushless) or 2 (brushed)", "3", "shell"),
    Question("hall", "Has the motor Hall sensors (a plug of five thin wires)", "yes", "shell"),
)  # fmt: skip
BY_ID: Final = {q.id: q for q in QUESTIONS}


def questions_for(base: Mapping[str, Any]) -> tuple[Question, ...]:
    """Those that this family leaves open: no cells without a pack, no motor without a wiring."""
    roles = {s.get("role") for s in (base.get("teardown") or {}).values()}
    known = {
        "cells": base.get("full_volts") is not None,
        "motor_wires": has_phases(base),
        "hall": "motor_hall" in base["faults"],
        "brake": has_phases(base),
        "screws": "shell" in roles,
        "connectors": "shell" in roles,
    }
    return tuple(q for q in QUESTIONS if known.get(q.id, True))


def new_file(
    name: str, family: str, words: str, answers: Mapping[str, str], bases: Bases = shipped_base
) -> str:
    """The text of a new machine file. ``family``: a shipped one, or a file that ``bases`` knows.
    AnswerError."""
    base = _base(family, bases)
    file = CommentedMap(machine=name, based_on=family, words=words or str(base["words"]),
                        makers=[], models=[])  # fmt: skip
    file.yaml_set_start_comment(
        f"Written with the questions of `machine new`; all that is not here is as in {family}.\n"
        "What is not seen yet is a trap of the step that shows it, and goes when it is answered:\n"
        "knowngood machine answer THIS_FILE QUESTION ANSWER, or at the bench: seen QUESTION ANSWER"
        "\nOf several answers to a question the last one counts.")
    for question in questions_for(base):
        if step := step_of(base, question.role):
            traps_of(file, base, step).append(_mark(question))
    for id, answer in answers.items():
        _take(file, base, id, answer)
    return _dumped(file)


def open_questions(text: str) -> tuple[Question, ...]:
    """What is not answered yet, in the order it is asked."""
    file = _loaded(text)
    return asked_by(str(t) for step in (file.get("teardown") or {}).values()
                    for t in (step.get("traps") or ()))


def asked_by(traps: Iterable[str]) -> tuple[Question, ...]:
    """The questions that stand among these traps, in the order they are asked."""
    marks = [t for t in traps if t.startswith(NOT_SEEN)]
    return tuple(q for q in QUESTIONS if any(_marks(t, q) for t in marks))


def answered(text: str, id: str, answer: str, bases: Bases = shipped_base) -> str:
    """The file with one more answer, its comments and order kept. AnswerError."""
    text, end = end_note(text)
    file = _loaded(text)
    _take(file, _base(str(file.get("based_on")), bases), id, answer)
    return with_comments(text, _dumped(file)) + end


def _take(file: CommentedMap, base: Mapping[str, Any], id: str, answer: str) -> None:
    if id not in BY_ID:
        raise AnswerError(f"there is no question {id!r}; there are {', '.join(BY_ID)}")
    answer = " ".join(answer.split())
    if not answer:
        raise AnswerError(f"{id} has no answer; write it like: {BY_ID[id].example}")
    ANSWERS[id](file, base, answer)
    for step in (file.get("teardown") or {}).values():
        traps = step.get("traps") or []
        for trap in [t for t in traps if _marks(str(t), BY_ID[id])]:
            traps.remove(trap)


def _mark(question: Question) -> str:
    return f"{NOT_SEEN}{question.ask} ({question.id}, such as {question.example})"


def _marks(trap: str, question: Question) -> bool:
    """Whether a trap asks this question, in these words or those of an earlier version."""
    return trap.startswith(NOT_SEEN) and f" ({question.id}, such as " in trap


def _base(family: str, bases: Bases) -> dict[str, Any]:
    """All that the family says; what an earlier file of the shop has not seen is asked anew."""
    text = bases(family)
    if text is None:
        raise AnswerError(f"there is no family {family[:60]!r}."
                          f" {which_of(family, shipped_names())}")
    data = read_whole(text, family, bases).data
    if not isinstance(data, dict):
        raise AnswerError(f"{family} cannot be read; check it first")
    for step in (data.get("teardown") or {}).values():
        traps = listed(step.get("traps"))
        step["traps"] = [t for t in traps if not str(t).startswith(NOT_SEEN)]
    return data


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
