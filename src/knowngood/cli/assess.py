"""``knowngood assess``, ``table`` and ``plan``: answers for scripts and for paper.

Exit codes: 0 done; 2 the input is wrong, every problem listed with its place.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path
from typing import Any

from knowngood.diagnosis.assess import assess as judge
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.sentences import reads
from knowngood.diagnosis.views import Assessment
from knowngood.isolate.prices import Prices
from knowngood.learn.lessons import Lessons, to_text
from knowngood.machines.machine import Machine, ServicePart
from knowngood.measure.meter import MeterSheet
from knowngood.places.library import (
    find_complaint,
    find_machine,
    find_meter,
    make_setup,
    number_wants,
    part_number,
    read_lessons,
    wired,
)
from knowngood.places.plan import plan_lines, plan_tree, tree_json
from knowngood.places.points import setup_with
from knowngood.places.readings import ReadingsFile, parse_readings
from knowngood.places.record import Refused
from knowngood.places.sentence import lower_first, proof_sentence
from knowngood.places.shapes import assessment_json, table_json

MOST_BYTES = 16_000_000
PATIENCE = 0.15
LONGEST = 86400.0
PLAN_PATIENCE = 1.0


def assess(
    machine: str,
    complaint: str,
    readings: str | Path,
    meter: str | None = None,
    json_out: bool = False,
    deadline: float | None = None,
    lessons: str | None = None,
) -> int:
    """Print what the readings prove and what to do next; exit code.

    ``readings``: a JSON file (``-``: standard input). ``deadline``: seconds to plan, 0.15 s
    without one. ``lessons``: a file of what a shop has learned of this machine.
    """
    problems: list[str] = []
    found, sheet = _machine_and_meter(machine, complaint, meter, problems)
    text = _read(str(readings), problems)
    taught = None if lessons is None or found is None else _lessons(lessons, found, problems)
    file: ReadingsFile | None = None
    if found is not None and text is not None:
        file, wrong = parse_readings(text, str(readings), wired(found, sheet), sheet)
        problems += wrong
    if problems or found is None or file is None:
        return _refuse(problems)
    try:
        setup = make_setup(found, complaint, sheet, Prices(), taught)
        setup = setup_with(setup, [e.test for e in file.entries])
    except Refused as refused:
        return _refuse([str(refused)])
    limit = PATIENCE if deadline is None else deadline
    if not 0 <= limit <= LONGEST:
        return _refuse([f"--deadline: must be from 0 s to {LONGEST:.0f} s"])
    answer = judge(setup, file.evidence, deadline=limit)
    if json_out:
        digest = None if taught is None else sha256(to_text(taught).encode()).hexdigest()
        _print({**assessment_json(setup, file.evidence, answer, file.entries), "lessons": digest})
    else:
        print("\n".join(_lines(answer, proof_sentence(setup, answer), file, found.parts)))
    return 0


def table(
    machine: str, complaint: str | None = None, json_out: bool = False, lessons: str | None = None
) -> int:
    """Print what every test should read under every suspect; exit code."""
    problems: list[str] = []
    found, _ = _machine_and_meter(machine, complaint, None, problems)
    taught = None if lessons is None or found is None else _lessons(lessons, found, problems)
    if found is None or problems:
        return _refuse(problems)
    try:
        setup = make_setup(found, complaint, None, Prices(), taught)
    except Refused as refused:
        return _refuse([str(refused)])
    answer = table_json(setup)
    if json_out:
        _print(answer)
        return 0
    words = {s["id"]: s["words"] for s in answer["suspects"]}
    for test in answer["tests"]:
        print(f"{test['id']}: {test['question']} ({test['minutes']:g} min)")
        print(f"    good: {test['good']}")
        for suspect, expected in test["expected"].items():
            if expected != test["good"] and "&" not in suspect:
                print(f"    {words[suspect]}: {expected}")
    return 0


def plan(
    machine: str,
    complaint: str,
    meter: str | None = None,
    json_out: bool = False,
    nodes: int = 127,
    lessons: str | None = None,
    card: Path | None = None,
    shop: str = "",
) -> int:
    """Print the plan as a tree of readings in bands, at most ``nodes`` places; exit code.

    ``card``: write it as a bench card there instead, as much as one page holds, under the name of
    the ``shop``.
    """
    problems: list[str] = []
    found, sheet = _machine_and_meter(machine, complaint, meter, problems)
    taught = None if lessons is None or found is None else _lessons(lessons, found, problems)
    if found is None or problems:
        return _refuse(problems)
    try:
        setup = make_setup(found, complaint, sheet, Prices(), taught)
    except Refused as refused:
        return _refuse([str(refused)])
    if card is not None:
        from knowngood.cli.card import write_card

        words = find_complaint(found, complaint).words
        problem, plan_on_it = write_card(setup, words, card, shop)
        if problem:
            return _refuse([problem])
        _print({"policy": plan_on_it}) if json_out else print(f"written: {card}")
        return 0
    tree = plan_tree(setup, Evidence(), most=nodes, deadline=PLAN_PATIENCE)
    if json_out:
        _print(tree_json(tree))
        return 0
    words = find_complaint(found, complaint).words
    with_meter = f", read with {sheet.title}" if sheet else ""
    made = tree.advice.plan
    currency = setup.bench.prices.currency
    print(f"{found.words}: {words}{with_meter}")
    print(f"Expected price to the part: {made.expected_price:.2f} {currency}", end="")
    print("" if made.exact else f" (the best possible is {made.lower:.2f} or more)")
    print("\n".join(plan_lines(tree)))
    return 0


def _machine_and_meter(
    machine: str, complaint: str | None, meter: str | None, problems: list[str]
) -> tuple[Machine | None, MeterSheet | None]:
    """All that is wrong with the names at once."""
    found: Machine | None = None
    sheet: MeterSheet | None = None
    try:
        found = find_machine(machine).it
        if complaint:
            find_complaint(found, complaint)
    except Refused as refused:
        problems.append(str(refused))
    try:
        sheet = find_meter(meter).it if meter else None
    except Refused as refused:
        problems.append(str(refused))
    return found, sheet


def _lessons(name: str, machine: Machine, problems: list[str]) -> Lessons | None:
    text = _read(name, problems)
    if text is None:
        return None
    try:
        found = read_lessons(text, name)
    except Refused as refused:
        problems.append(str(refused))
        return None
    if found.machine != machine.id:
        problems.append(f"{name} is about {found.machine!r}, the machine is {machine.id!r}")
    return found


def _read(name: str, problems: list[str]) -> str | None:
    try:
        if name == "-":
            raw = sys.stdin.buffer.read(MOST_BYTES + 1)
        else:
            with open(name, "rb") as file:
                raw = file.read(MOST_BYTES + 1)
        if len(raw) > MOST_BYTES:
            problems.append(f"{name}: larger than {MOST_BYTES // 1_000_000} MB")
            return None
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        problems.append(f"{name}: not UTF-8 at byte {error.start}; save it as UTF-8")
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        problems.append(f"{name}: cannot be read: {reason}")
    return None


def _refuse(problems: Sequence[str]) -> int:
    for problem in problems:
        print(problem, file=sys.stderr)
    return 2


def _print(answer: dict[str, Any]) -> None:
    text = json.dumps(answer, ensure_ascii=False, allow_nan=False)
    print(text.encode("utf-8", "replace").decode("utf-8"))  # half a surrogate pair is no text


def _number_line(part: ServicePart) -> str:
    """The number to order, or what decides it: a file of readings says neither model nor serial."""
    wants, number = number_wants(part, None), part_number(part)
    said = wants.why if wants else f"part {number}" if number else "its file has no number of it"
    return f"    order {lower_first(part.words)}: {said}"


def _lines(
    answer: Assessment, proof: str, file: ReadingsFile, parts: Sequence[ServicePart]
) -> list[str]:
    """The assessment for a person, in the order of the bench."""
    lines = []
    by_item = {i: j for j in answer.readings for i in j.items}
    for entry in file.entries:
        judged = by_item.get(entry.id)
        said = f"{entry.test} {entry.text!r}: {entry.reading.note}"
        if judged is not None:
            said = judged.sentence_of(entry.id, reads(entry.reading))
        if entry.withdrawn:
            said = f"{entry.test} {entry.text!r}: withdrawn"
        lines.append(f"[{entry.index}] {said}")
    lines.append("Parts:")
    for part in answer.parts:
        shown = part.evidence and part.standing != "open"
        by = f", by {part.evidence}" if shown else ""
        lines.append(f"    {part.belief:6.1%}  {part.words}: {part.standing}{by}")
    if proof:
        lines.append(f"Proven. {proof}")
        lines += [_number_line(p) for p in parts if p.id in answer.proof.parts]
        lines += [f"    before the new part: {c.ask}" for c in answer.causes]
    else:
        lines.append(f"Not proven: {answer.proof.missing}.")
    lines.append("Next, cheapest first:")
    for step in answer.steps[:8]:
        opens = f"; first {', '.join(step.opens)}" if step.opens else ""
        lines.append(f"    {step.price:8.2f}  {step.words} ({step.minutes:g} min{opens})")
    return lines
