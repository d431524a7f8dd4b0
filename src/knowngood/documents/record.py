"""The record behind a claim: readings, causes, work, checks, notes and pictures, as tables."""

from __future__ import annotations

from collections.abc import Mapping

from knowngood.documents.document import (
    Block,
    Bullets,
    Cell,
    Column,
    Heading,
    Paragraph,
    Picture,
    Pictures,
    Row,
    Table,
)
from knowngood.documents.handback import override_lines
from knowngood.documents.shown import (
    adds_something,
    against,
    clears,
    is_evidence,
    measured_with,
    not_understood,
    other_explanations,
    proof_readings,
    reading_words,
    state,
    verdict_words,
)
from knowngood.documents.wording import listed, minutes, moment_of, sentence
from knowngood.job.job import Job
from knowngood.job.things import JobReading
from knowngood.machines.machine import Machine
from knowngood.shop.proofs import proofs_of
from knowngood.shop.release import release_of_job, wrong_proofs

TWO_FAULTS = "; and "  # how a suspect of two faults is put in words
RARE = 0.0001  # a chance below this is printed as such
NOTHING_NOTED = "nothing noted: not measured"
_LONGEST_NOTE = 4000  # signs; the record keeps the rest


def record_blocks(job: Job, machine: Machine) -> list[Block]:
    """Everything after page one, in the order a reader asks for it."""
    return [
        *_readings(job, machine),
        *_withdrawn(job),
        *_others(job),
        *_causes(job, machine),
        *_work(job, machine),
        *_release(job, machine),
        *_notes(job),
        *_pictures(job),
    ]


def _readings(job: Job, machine: Machine) -> list[Block]:
    blocks: list[Block] = [Heading("Readings and other evidence")]
    resting = set()
    if job.decision is not None:
        resting = {one.id for one in proof_readings(job, job.decision)}
    slips = {one.id for one in job.readings if _slip_of_the_keys(one)}
    rows = [
        _reading(one, machine, one.id in resting, one.corrects not in slips)
        for one in job.live_readings if not not_understood(one)
    ]
    for told in job.told:
        by = Cell("told by the customer", moment_of(told.at))
        rows.append(Row((Cell(told.words or told.id), Cell("-"), Cell("-"), Cell("-"), by)))
    for one in job.accepted:
        part = one.words or _part(machine, one.part)
        by = Cell(f"accepted by {one.by}", moment_of(one.at))
        rows.append(Row((Cell(part), Cell("-"), Cell("-"), Cell("taken as good"), by)))
    if not rows:
        return [*blocks, Paragraph("No reading stands on this job.")]
    columns = (
        Column("Question, and state of the machine", 3.2),
        Column("Reading", 1.8),
        Column("A good one reads", 2.2),
        Column("Verdict", 1.8),
        Column("Evidence", 2.2),
    )
    return [*blocks, Table(columns, tuple(rows))]


def _reading(reading: JobReading, machine: Machine, resting: bool, listed_below: bool) -> Row:
    verdict = verdict_words(reading)
    cleared = clears(reading)
    said = "cannot come from" if reading.verdict == "bad" else "clears"
    beside = [f"{said} {listed(cleared)}"] if cleared else []
    if resting:
        beside.append("the decision rests on this")
    by = f" by {reading.taken.by}" if reading.taken.by else ""
    told = [measured_with(reading), moment_of(reading.taken)]
    good = against(reading)
    notes = []
    if not good and is_evidence(reading) and adds_something(reading):
        notes.append(f"Shown at the bench: {reading.sentence}")
    if slip := reading.shown.get("slip"):
        notes.append(f"A likely slip was shown: {slip}")
    if reading.corrects and listed_below:
        notes.append("Replaces an earlier reading, listed below.")
    return Row(
        (
            Cell(reading.question or reading.test, state(reading, machine)),
            Cell(reading_words(reading), strong=True),
            Cell(good or "-"),
            Cell(verdict, "; ".join(beside), strong=reading.verdict == "bad"),
            Cell(f"{reading.grade}{by}", "\n".join(one for one in told if one)),
        ),
        note=" ".join(notes),
    )


def _slip_of_the_keys(one: JobReading) -> bool:
    """What was no reading at all and was typed again; the record keeps it."""
    return bool(one.corrected_by) and not is_evidence(one)


def _withdrawn(job: Job) -> list[Block]:
    rows = []
    for one in job.readings:
        if one.withdrawn is None or _slip_of_the_keys(one):
            continue
        instead = job.reading(one.corrected_by) if one.corrected_by else None
        reason = one.reason or "no reason given"
        if instead is not None:
            reason = f"{reason}: {reading_words(instead)} instead"
        by = f"by {one.withdrawn.by}, " if one.withdrawn.by else ""
        rows.append(
            Row(
                (
                    Cell(one.question or one.test),
                    Cell(reading_words(one), moment_of(one.taken)),
                    Cell(reason, f"{by}{moment_of(one.withdrawn)}"),
                )
            )
        )
    if not rows:
        return []
    columns = (Column("Question", 3), Column("Reading", 2.5), Column("Why it was withdrawn", 4))
    return [Heading("Withdrawn readings, not counted"), Table(columns, tuple(rows))]


def _others(job: Job) -> list[Block]:
    if job.decision is None:
        return []
    told = other_explanations(job.decision)
    both = [one for one in told if TWO_FAULTS in one[0]]
    rows = [
        Row((Cell(suspect), Cell(by), Cell(_chance(chance))))
        for suspect, by, chance in told
        if TWO_FAULTS not in suspect
    ]
    if both:
        most = max((chance for _, _, chance in both if chance is not None), default=None)
        by = listed(list(dict.fromkeys(by for _, by, _ in both)))
        what = f"two at once ({len(both)} pairs)" if len(both) > 1 else both[0][0]
        at_most = "at most " if len(both) > 1 and most is not None and most >= RARE else ""
        rows.append(Row((Cell(what), Cell(by), Cell(f"{at_most}{_chance(most)}"))))
    if not rows:
        return []
    columns = (
        Column("Could also have caused it", 4),
        Column("Shown out by", 4),
        Column("Chance of such a reading", 1.8, right=True),
    )
    return [
        Heading("Other explanations, as they stood at the decision"),
        Table(columns, tuple(rows)),
    ]


def _chance(chance: float | None) -> str:
    if chance is None:
        return "-"
    if chance < RARE:
        return "below 0.01 %"
    return f"{100 * chance:.2g} %"


def _causes(job: Job, machine: Machine) -> list[Block]:
    rows = [
        Row(
            (
                Cell(cause.ask or cause.words or cause.cause, cause.words if cause.ask else ""),
                Cell(cause.answer, strong=cause.answer == "yes"),
                Cell(
                    cause.evidence or NOTHING_NOTED,
                    f"{cause.by}, {moment_of(cause.at)}".lstrip(", "),
                ),
                Cell(cause.mend or "-"),
            )
        )
        for cause in job.causes
    ]
    answered = {cause.cause for cause in job.causes}
    rows += [
        Row((Cell(cause.ask, cause.words), Cell("not answered"), Cell("-"), Cell("-")))
        for cause in machine.causes
        if cause.id in _to_ask(job, machine) - answered
    ]
    if not rows:
        return []
    columns = (
        Column("Why it failed: asked", 3),
        Column("Found", 1.3),
        Column("Evidence", 3),
        Column("To do", 2.5),
    )
    return [Heading("Root causes"), Table(columns, tuple(rows))]


def _to_ask(job: Job, machine: Machine) -> set[str]:
    """Causes of the faults of the part that no reading had shown out at the decision."""
    if job.decision is None:
        return set()
    part, shown = job.decision.part, job.decision.proof.get("shown_out", ())
    out = {str(one.get("suspect", "")) for one in shown if isinstance(one, Mapping)}
    alive = [f for f in machine.faults if part in f.parts and f.words not in out]
    return {cause for fault in alive for cause in fault.causes}


def _work(job: Job, machine: Machine) -> list[Block]:
    spent = job.minutes_by_step()
    if not spent:
        return []
    words = {step.id: step.words for step in machine.teardown}
    words |= {step.step: step.words for step in job.steps if step.words}
    words |= {f"test {test.id}": f"reading: {test.question}" for test in machine.tests}
    words |= {f"back {id}": f"back: {said}" for id, said in words.items()}
    waited = {step.id for step in machine.teardown if step.role == "discharge"}
    off = {step.step for step in job.open_steps}
    taken = {step.step for step in job.steps}
    clocked: dict[str, set[bool]] = {}
    for noted in job.minutes:
        clocked.setdefault(noted.what, set()).add(noted.measured)
    rows = []
    for what, amount in spent.items():
        how = {True: "by the clock", False: "noted by hand"}
        marks = clocked.get(what, set())
        source = how[next(iter(marks))] if len(marks) == 1 else "partly by the clock"
        if mended := job.apart.mended.get(what):
            marks, source = {False}, f"put right by {mended.at.by}"
        came = "still off" if what in off else "put back" if what in taken else "-"
        if what in waited:
            came = "done"
        rows.append(
            Row(
                (
                    Cell(words.get(what, what)),
                    Cell(came),
                    Cell(source if marks else "estimated"),
                    Cell(minutes(amount)),
                )
            )
        )
    read = {f"test {one.test}": f"reading: {one.question or one.test}"
            for one in job.live_readings if is_evidence(one)}  # fmt: skip
    rows += [
        Row((Cell(said), Cell("read"), Cell("not timed"), Cell("-")))
        for what, said in read.items() if what not in spent
    ]  # fmt: skip
    rows.append(Row((Cell("Together"), Cell(""), Cell(""), Cell(minutes(sum(spent.values()))))))
    columns = (
        Column("Step", 4),
        Column("State", 1.5),
        Column("Minutes are", 2),
        Column("Minutes", 1.3, right=True),
    )
    return [Heading("Work, step by step"), Table(columns, tuple(rows), total=True)]


def _release(job: Job, machine: Machine) -> list[Block]:
    done = {check.check: check for check in job.release}
    result = {"pass": "passed", "fail": "FAILED", "not applicable": "not applicable"}
    rows = [
        Row(
            (
                Cell(check.words or check.check),
                Cell(result[check.result], strong=check.result == "fail"),
                Cell(check.reason, f"{check.at.by}, {moment_of(check.at)}".lstrip(", ")),
            )
        )
        for check in done.values()
    ]
    wrong = wrong_proofs(job)
    proofs = proofs_of(machine, job)
    rows += [
        Row((Cell(one.line.words, next((x for x in one.line.hints if x.startswith("good: ")), "")),
             Cell(result["pass"]),
             Cell(one.made.text, f"{one.made.at.by}, {moment_of(one.made.at)}".lstrip(", "))))
        for one in proofs if one.made is not None and one.made.result == "good"
    ]  # fmt: skip
    rows += [
        Row((Cell(one.line.words), Cell("left out", strong=True),
             Cell(f"not done before {one.before} went back")))
        for one in proofs if one.left_out
    ]  # fmt: skip
    rows += [
        Row((Cell(one.words), Cell(result["fail"], strong=True), Cell(one.reason, one.by)))
        for one in wrong
    ]
    rows += [
        Row((Cell(check.words), Cell("blank", strong=True), Cell("-")))
        for check in machine.release
        if check.id not in done
    ]
    if not rows:
        return []
    columns = (Column("Check", 5), Column("Result", 1.6), Column("Remark", 3))
    blocks: list[Block] = [Heading("Checks before it is handed back")]
    blank = [check for check in machine.release if check.safety and check.id not in done]
    failed = [check for check in job.release if check.result == "fail"]
    if blank or failed or wrong:
        held = release_of_job(machine, job).held
        words = "Not released: a check has failed or is blank."
        blocks.append(Paragraph(words if held else "Handed back by override.", "strong"))
    blocks += [Paragraph(one, "strong") for one in override_lines(job)]
    return [*blocks, Table(columns, tuple(rows))]


def release_words(job: Job, machine: Machine) -> str:
    """ "2 passed, 1 not done yet"."""
    done = [check.result for check in job.release]
    answered = {check.check for check in job.release}
    counted = {
        "passed": done.count("pass"),
        "FAILED": done.count("fail") + len(wrong_proofs(job)),
        "not applicable": done.count("not applicable"),
        "left out in the rebuild": sum(one.left_out for one in proofs_of(machine, job)),
        "not done yet": sum(check.id not in answered for check in machine.release),
    }
    return ", ".join(f"{number} {what}" for what, number in counted.items() if number) or "none"


def _notes(job: Job) -> list[Block]:
    if not job.notes:
        return []
    lines = []
    for note in job.notes:
        by = f"{note.at.by}, " if note.at.by else ""
        text = note.text
        if len(text) > _LONGEST_NOTE:
            text = f"{text[:_LONGEST_NOTE]} … ({len(text)} signs in the record)"
        lines.append(f"{by}{moment_of(note.at)}: {text}")
    return [Heading("Notes"), Bullets(tuple(lines))]


def _pictures(job: Job) -> list[Block]:
    if not job.pictures:
        return []
    shown = []
    for number, picture in enumerate(job.pictures, 1):
        caption = picture.caption or picture.about or "no caption"
        about = f" ({picture.about})" if picture.about and picture.caption else ""
        taken = sentence(f"{caption}{about}, {moment_of(picture.at)}")
        shown.append(Picture(picture.digest, f"{number}. {taken}"))
    return [Heading("Pictures"), Pictures(tuple(shown))]


def _part(machine: Machine, part: str) -> str:
    return next((one.words for one in machine.parts if one.id == part), part)
