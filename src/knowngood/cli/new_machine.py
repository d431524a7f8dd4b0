"""`knowngood machine new` and `machine answer`: an unknown machine on top of its family, and
`machine number`: a part number into a machine file."""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from pathlib import Path

from knowngood.machines.check import read_machine
from knowngood.machines.nearest import which_of
from knowngood.machines.number_noted import NumberError, with_part_number
from knowngood.machines.shipped import shipped_names
from knowngood.machines.template import QUESTIONS, AnswerError, answered, new_file, open_questions
from knowngood.places.library import MOST_BYTES, bases_beside
from knowngood.places.record import Refused
from knowngood.places.text_file import text_of


def new(file: Path, family: str, words: str, answers: Sequence[str]) -> int:
    """Write a new machine file; on a terminal what is not given is asked, Enter leaves it open.

    ``family``: a shipped one, or NAME of a file NAME.yaml beside it. ``answers``: "cells=10".
    0 written; 2 with every problem, and nothing is written.
    """
    bases = bases_beside(str(file))
    if bases(family) is None:
        return _refuse(f"there is no family {family!r}. {which_of(family, shipped_names())}")
    if file.exists():
        return _refuse(f"{file} is there already: choose another name, or use machine answer")
    given, wrong = {}, []
    for text in answers:
        key, sep, value = text.partition("=")
        given[key.strip()] = value.strip()
        wrong += [] if sep else [f"{text[:40]!r} is no answer; write it like cells=10"]
    if wrong:
        return _refuse(*wrong)
    if sys.stdin.isatty():
        print("Enter leaves a question open; it is asked again at the step that shows it.")
        for q in QUESTIONS:
            if q.id not in given and (said := input(f"{q.ask} (such as {q.example}): ").strip()):
                given[q.id] = said
    name = re.sub(r"[^a-z0-9]+", "-", file.stem.casefold()).strip("-") or "machine"
    name = name if name[0].isalpha() else f"m-{name}"
    try:
        text = new_file(name[:60], family, words, given, bases)
    except AnswerError as error:
        return _refuse(str(error))
    return _keep(file, text)


def answer(file: Path, question: str, said: str) -> int:
    """One more answer into a file of `new`, comments and order kept; 0, or 2 and as it was."""
    try:
        text = answered(_sound(file), question, said, bases_beside(str(file)))
    except (AnswerError, Refused) as error:
        return _refuse(str(error))
    return _keep(file, text)


def number(
    file: Path, part: str, number: str, models: Sequence[str] = (), serial_from: str = "",
    serial_to: str = "", read_at: str = "",
) -> int:  # fmt: skip
    """A part number into a machine file, comments and order kept; 0, or 2 and as it was.

    ``part``: id or words. ``models``: those it fits, none for any.
    """
    models = [m.strip() for one in models for m in one.split(",") if m.strip()]
    try:
        text = with_part_number(_sound(file), part, number, models, serial_from.strip(),
                                serial_to.strip(), read_at.strip(), bases_beside(str(file)))
        _write(file, text)
    except (NumberError, Refused) as error:
        return _refuse(str(error))
    print(f"{file}: {part} has the number {number}. A job on this file takes it with newer.")
    return 0


def _sound(file: Path) -> str:
    """The text of a machine file without problems. Raises Refused with all of them."""
    text = text_of(file, MOST_BYTES, "machine file")
    _, problems = read_machine(text, str(file), bases_beside(str(file)))
    if problems:
        raise Refused("\n".join(str(p) for p in problems))
    return text


def _write(file: Path, text: str) -> None:
    """Raises Refused, and leaves the file as it was, where the text has problems."""
    _, problems = read_machine(text, str(file), bases_beside(str(file)))
    if problems:
        raise Refused("\n".join(str(p) for p in problems))
    try:
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise Refused(f"{file} cannot be written ({error.strerror or error})") from error


def _keep(file: Path, text: str) -> int:
    try:
        _write(file, text)
    except Refused as refused:
        return _refuse(str(refused))
    left = open_questions(text)
    print(f"{file}: sound, ready to work with.")
    for q in left:
        print(f"not seen yet: {q.ask}. knowngood machine answer {file} {q.id} \"{q.example}\"")
    return 0


def _refuse(*problems: str) -> int:
    print("\n".join(problems), file=sys.stderr)
    return 2
