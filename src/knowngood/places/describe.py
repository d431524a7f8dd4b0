"""An unknown machine: described on top of a family, put on the bench at once, answered later.

Family and complaint alone are enough. What is answered later goes into the file, and the open jobs
on it go over to it.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass

from knowngood.machines.label_volts import Meant
from knowngood.machines.machine import Machine
from knowngood.machines.shipped import shipped_names
from knowngood.machines.template import (
    AnswerError,
    CellsAsked,
    Question,
    answered,
    new_file,
    open_questions,
    questions_for,
)
from knowngood.machines.variant import Bases, read_whole
from knowngood.places.catalogue import Face, faces, machine_named
from knowngood.places.complaints import stems
from knowngood.places.from_file import noted
from knowngood.places.gather import load_job
from knowngood.places.library import Known, find_complaint, sound_machine
from knowngood.places.naming import name_machine
from knowngood.places.opening import CheckIn, open_job
from knowngood.places.own_machines import (
    adopt,
    keep_file,
    kept_files,
    machine_of_shop,
    open_on,
    own_bases,
    own_file,
)
from knowngood.places.premises import prices_of
from knowngood.places.record import At, Record, Refused

LONGEST_NAME = 40
MOST_ALIKE = 500


class CellsUnclear(Refused):
    """The volts of a label may mean one thing or another: a person chooses one of `options`."""

    def __init__(self, asked: CellsAsked) -> None:
        self.options: tuple[Meant, ...] = asked.options
        super().__init__(str(asked))


@dataclass(frozen=True, slots=True)
class Described:
    """A described machine: the id of its file, and of the job on it, "" when none was opened."""

    machine: str
    job: str = ""


def describe(
    record: Record,
    family: str,
    words: str,
    answers: Mapping[str, str],
    complaint: str,
    at: At,
    said: str = "",
    customer: str = "",
    job: str = "",
) -> Described:
    """Keep the file of an unknown machine, and open a job on it when a complaint is given; with
    ``job`` the machine of that job, which was checked in without a file, is named.

    ``said``: the complaint in the customer's words. Raises Refused with every problem; then nothing
    is stored. CellsUnclear where volts of a label have to be told as cells."""
    given = {id: text for id, text in answers.items() if text.strip()}
    known = keep_described(record, family, words, given, complaint, at)
    name = known.it.id
    if job:
        name_machine(record, job, name, complaint, at)
        return Described(name, job)
    if not complaint:
        return Described(name)
    check_in = CheckIn(known, complaint, said, None, prices_of(record), customer,
                       given.get("maker", ""), given.get("model", ""))  # fmt: skip
    return Described(name, open_job(record, check_in, at).job.id)


def keep_described(
    record: Record, family: str, words: str, given: Mapping[str, str], complaint: str, at: At
) -> Known[Machine]:
    """The file of an unknown machine on top of its family, kept. Raises Refused."""
    base = machine_named(record, family)
    if base is None:
        raise Refused(f"there is no family {family[:60]!r}; choose one of the list")
    if complaint:
        find_complaint(base.it, complaint)
    name = free_name(record, " ".join([given.get("maker", ""), given.get("model", "")]), words)
    try:
        text = new_file(name, family, words.strip(), given, own_bases(record))
    except AnswerError as error:
        raise _refused(error) from error
    return keep_file(record, text, name, at, "described with the questions", may_replace=False)


def _refused(error: AnswerError) -> Refused:
    return CellsUnclear(error) if isinstance(error, CellsAsked) else Refused(str(error))


def families_like(record: Record, words: str) -> tuple[Face, ...]:
    """What an unknown machine can be described on top of; those that share most telling words with
    these (kind of machine, complaint) first, and the shop's own files last of equals."""
    said, kept = stems(words), kept_files(record)
    found = [f for f in faces(record) if f.complaints]

    def score(face: Face) -> tuple[float, bool]:
        kind = stems(f"{face.words} {face.family}")
        near = max((len(said & stems(c.words)) for c in face.complaints), default=0)
        return -3.0 * len(said & kind) - near, face.id in kept

    return tuple(sorted(found, key=score))


def answer(record: Record, id: str, question: str, said: str, at: At) -> tuple[str, ...]:
    """One more answer into a file of the shop; open jobs on it go over to the new file, and their
    ids are returned. Raises Refused."""
    own = own_file(record, id)
    if own is None:
        raise Refused(f"{id} is no file of this shop; a shipped family is answered in a file of"
                      " your own on top of it")  # fmt: skip
    try:
        text = answered(own.text, question, said, own_bases(record))
    except AnswerError as error:
        raise _refused(error) from error
    keep_file(record, text, id, at, f"{question}: {said}")
    return take_over(record, id, at, f"{question}: {said}")


def answer_of_job(
    record: Record, job_id: str, text: str, name: str, bases: Bases, question: str, said: str,
    at: At,
) -> str:  # fmt: skip
    """One more answer into a person's own file that this job was opened with, not kept by the shop:
    the job goes over to it, and the new text is returned. ``text``, ``name``: the file as it is
    now. Raises Refused."""
    try:
        text = answered(text, question, said, bases)
    except AnswerError as error:
        raise Refused(str(error)) from error
    known = sound_machine(text, name, bases)
    opened = load_job(record, job_id).opened
    if opened is None or opened.machine_id != known.it.id:
        of = opened.machine_id if opened else "nothing yet"
        raise Refused(f"{name} is of {known.it.id}, this job of {of}; name the file of this job")
    note = noted(os.path.abspath(name), known.text)
    adopt(record, job_id, known, at, f"{question}: {said}", (note,))
    return text


def take_over(record: Record, id: str, at: At, reason: str) -> tuple[str, ...]:
    """The open jobs on this file go over to it as it stands now; their ids."""
    known = machine_of_shop(record, id)
    if known is None:
        return ()
    jobs = open_on(record, id)
    for job in jobs:
        adopt(record, job, known, at, reason)
    return jobs


def questions_of_family(record: Record, family: str) -> tuple[Question, ...]:
    """What may be asked about a machine on top of this family. Raises Refused."""
    data = read_whole(own_bases(record)(family) or "", family, own_bases(record)).data
    if not isinstance(data, dict):
        raise Refused(f"{family[:60]} cannot be read; check the file first")
    return questions_for(data)


def questions_of(record: Record, id: str) -> tuple[Question, ...]:
    """What is not seen yet of a file of the shop."""
    own = own_file(record, id)
    try:
        return open_questions(own.text) if own is not None and own.base else ()
    except AnswerError:
        return ()


def answered_of(record: Record, id: str) -> tuple[Question, ...]:
    """What was answered of a file of the shop, where another answer may take its place."""
    own = own_file(record, id)
    if own is None or not own.base:
        return ()
    try:
        left = {q.id for q in open_questions(own.text)}
        asked = questions_of_family(record, own.base)
    except (AnswerError, Refused):
        return ()
    return tuple(q for q in asked if q.id not in left)


def free_name(record: Record, plate: str, words: str) -> str:
    """An id for the file that no other has: from the plate, else from its words."""
    slug = re.sub(r"[^a-z0-9]+", "-", (plate.strip() or words or "unknown").casefold()).strip("-")
    slug = slug[:LONGEST_NAME].strip("-") or "unknown"
    slug = slug if slug[0].isalpha() else f"m-{slug}"
    taken = {*shipped_names(), *kept_files(record)}
    ways = (slug if n == 1 else f"{slug}-{n}" for n in range(1, MOST_ALIKE))
    return next(name for name in ways if name not in taken)
