"""The bench screen of one job as plain data: all words are made here, none in the browser."""

from __future__ import annotations

from typing import Any

from knowngood.diagnosis.hazard import STOP, Hazard, bad_answer, look_before
from knowngood.diagnosis.sentences import FITS_NONE
from knowngood.diagnosis.views import PartView, StepView, Suspect, by_reason
from knowngood.isolate.proof import shown_out
from knowngood.job.things import JobReading
from knowngood.job.words import next_in_words
from knowngood.measure.meter import shipped_meters
from knowngood.places.account import stopped
from knowngood.places.calling import proving_steps
from knowngood.places.complaints import good_answer, looks_left
from knowngood.places.decision import (
    ASKED_NOTHING,
    NOT_ASKED,
    cause_against,
    causes_of,
    open_causes,
)
from knowngood.places.gather import View, load_job, view_of
from knowngood.places.library import find_part, number_wants, part_number
from knowngood.places.number_offered import numbers_missing
from knowngood.places.price_first import price_first
from knowngood.places.programmes import notices_for
from knowngood.places.record import Record
from knowngood.places.sentence import parts_words, proof_sentence
from knowngood.web.alone_view import alone_view
from knowngood.web.apart_view import apart_view
from knowngood.web.capacitor_view import times_read, volts_faces
from knowngood.web.file_edited import LOST, file_edited
from knowngood.web.last import last_said
from knowngood.web.step_view import step_view

Json = dict[str, Any]

MOST_STEPS = 40
CALLED_AGAINST = 0.5


def bench_view(record: Record, job: View | str) -> Json:
    """Everything the bench shows of a job. Raises Refused, StoreProblem.

    Beliefs and prices come as words; `seq` is what a phone names as `based_on`.
    """
    view = job if isinstance(job, View) else view_of(record, load_job(record, job))
    it, assessment, steps = view.job, view.assessment, _in_order(view)
    return {
        "id": it.id, "name": it.name, "number": it.number, "seq": it.last_seq, "state": it.state,
        "next_words": next_in_words(it),
        "closed": it.closed.outcome if it.closed else None,
        "head": _head(view) | _warnings(record, view),
        "meter": {"name": it.meter, "title": view.meter.title} if view.meter else None,
        "meters": list(shipped_meters()),
        "left_words": _left_words(view),
        "known_good": [_good(view, p) for p in assessment.parts if _is_good(p)],
        "left": [_part(view, p) for p in assessment.parts if not _is_good(p)],
        "callable": [
            {"id": p.id, "words": p.words} for p in assessment.parts if p.standing != "known good"
        ],
        "suspects": [_suspect(view, s) for s in assessment.suspects if s.belief >= 5e-4],
        "step": step_view(view, steps[0]) if steps else None,
        "others": [step_view(view, s) for s in steps[1:MOST_STEPS]],
        "held_back": _held_back(view),
        "looks": _looks(view),
        "hazards": [_hazard(h) for h in assessment.hazards], "hazard_looks": _hazard_looks(view),
        "told": _told(view),
        "readings": [_reading(view, n, r) for n, r in enumerate(it.readings, start=1)],
        "accepted": [{"part": a.part, "words": a.words, "by": a.by} for a in it.accepted],
        "called": [{"part": c.part, "words": c.words, "by": c.by} for c in it.called],
        "proof": _proof(view),
        "decision": _decision(record, view),
        "causes": _causes(view),
        "file": file_edited(it), "undo": last_said(it), "volts_read": times_read(view),
        "pictures": [{"digest": p.digest, "caption": p.caption, "about": p.about}
                     for p in it.pictures],
        "off": [{"step": s.step, "words": s.words, "where": s.where} for s in it.open_steps],
        "look_at_this": [{"what": one.what, "why": one.why} for one in it.look_at_this],
        "cautions": list(view.machine.cautions),
        "alone": alone_view(view.machine, view.setup.bench.table, view.evidence.opened),
        "volts": volts_faces(view.machine),
        "apart": apart_view(view), "wired": view.machine.wires is not None,
    }  # fmt: skip


def _in_order(view: View) -> tuple[StepView, ...]:
    """The steps, the one in front first: a test before an order without proof, and for a part that
    was called what proves it."""
    return _looks_first(view, _by_use(view))


def _looks_first(view: View, steps: tuple[StepView, ...]) -> tuple[StepView, ...]:
    """A look for a hazard in front of the first test, where that runs something or a part was
    called."""
    first = next((s for s in steps[:1] if s.kind == "test"), None)
    if first is None:
        return steps
    test = next(t for t in view.machine.tests if t.id == first.id)
    done = view.evidence.read | view.evidence.passed_over
    look = look_before(view.machine, test, done, view.evidence.called is not None)
    found = view.step(look.id) if look else None
    return steps if found is None else (found, *(s for s in steps if s is not found))


def _by_use(view: View) -> tuple[StepView, ...]:
    steps = view.assessment.steps
    if view.assessment.proof.proven:
        return steps
    tests = proving_steps(view) or tuple(s for s in steps if s.kind == "test")
    if view.evidence.called is None and (not steps or steps[0].kind != "order"):
        return steps
    return (*tests, *(s for s in steps if s.kind != "test"))


def _head(view: View) -> Json:
    opened, machine = view.job.opened, view.machine
    if opened is None:
        return {"machine": machine.words, "complaint": "", "customer": "", "serial": ""}
    complaint = next((c.words for c in machine.complaints if c.id == opened.complaint), "")
    named = f"{opened.maker} {opened.model}".strip()
    return {
        "machine": named or machine.words, "kind": machine.words, "complaint": complaint,
        "words": opened.customer_words, "customer": opened.customer, "serial": opened.serial,
        "promised": opened.promised, "warm": _warm(view),
    }  # fmt: skip


def _warm(view: View) -> str:
    noted = view.job.learning.warmth
    return f"{noted[-1][1]:.3g} C" if noted else ""


def _warnings(record: Record, view: View) -> Json:
    """Recalls and notices that mean this machine, and why the customer has to be asked first."""
    opened = view.job.opened
    named = (opened.maker, opened.model, opened.serial) if opened else ("", "", "")
    return {
        "notices": [{"id": n.id, "words": n.words, "stop_use": n.stop_use}
                    for n in notices_for(record, *named)],
        "stop": stopped(record, view.job),
    }  # fmt: skip


def _is_good(part: PartView) -> bool:
    return part.standing in ("known good", "accepted", "good so far")


def _left_words(view: View) -> str:
    """ "3 left: controller, start box and key switch"."""
    left = [p for p in view.assessment.parts if not _is_good(p)]
    if not left:
        return "No part of the list is left in question."
    words = ", ".join(_short(p.words) for p in left[:3])
    more = f" and {len(left) - 3} more" if len(left) > 3 else ""
    return f"{len(left)} left: {words}{more}"


def _short(words: str) -> str:
    """A part without what stands in brackets or after a comma."""
    return words.split(" (")[0].split(", ")[0]


def _good(view: View, part: PartView) -> Json:
    grade = _grade(view, part)
    said = {
        "known good": f"known good, {grade}",
        "accepted": part.evidence,
        "good so far": f"not shown good, {grade}",
    }[part.standing]
    by = part.evidence if part.standing != "accepted" else ""
    return {"id": part.id, "words": part.words, "standing": part.standing, "said": said, "by": by}


def _grade(view: View, part: PartView) -> str:
    """The best grade of evidence that speaks for the part: measured, seen or told."""
    belief = view.assessment.belief
    tests = {t.id: t for t in view.machine.tests}
    out = shown_out(belief)
    grades = {
        tests[out[h.id][0]].grade
        for h in belief.hypotheses
        if part.id in h.parts and h.id in out and out[h.id][0] in tests
    }
    if grades:
        return "measured" if "measured" in grades else "seen"
    return "told by the customer" if view.job.told else "seldom the cause"


def _part(view: View, part: PartView) -> Json:
    called = any(c.part == part.id for c in view.job.called)
    return {
        "id": part.id, "words": part.words, "standing": part.standing, "called": called,
        "belief": percent(part.belief), "share": round(part.belief, 4), "by": part.evidence,
    }  # fmt: skip


def percent(p: float) -> str:
    """A belief as a person says it: "61 %", "under 1 %"."""
    if p < 0.01:
        return "under 1 %"
    return "over 99 %" if p > 0.99 else f"{p:.0%}".replace("%", " %")


def _suspect(view: View, suspect: Suspect) -> Json:
    questions = {t.id: t.question for t in view.machine.tests}
    by = questions.get(suspect.shown_out_by, suspect.shown_out_by)
    return {
        "id": suspect.id, "words": suspect.words, "parts": list(suspect.parts),
        "part": parts_words(view.machine, suspect.parts) if suspect.parts else "",
        "belief": percent(suspect.belief), "before": percent(suspect.prior), "shown_out_by": by,
    }  # fmt: skip


def _held_back(view: View) -> list[Json]:
    questions = {t.id: t.question for t in view.machine.tests}
    held = by_reason(view.assessment.held_back)
    return [{"id": ids[0], "question": ", ".join(questions.get(id, id) for id in ids), "why": why}
            for why, ids in held.items()][:MOST_STEPS]  # fmt: skip


def _looks(view: View) -> list[Json]:
    """What can be seen without a tool and has not been looked at."""
    return [
        {"id": t.id, "words": t.words, "question": t.question, "good": good_answer(t),
         "good_reads": t.good_reads, "caution": t.caution, "minutes": f"{t.minutes:g} min"}
        for t in looks_left(view)
    ]  # fmt: skip


def _hazard(found: Hazard) -> Json:
    return {"part": found.part, "title": STOP, "why": f"{found.words}: {found.why}",
            "to_do": list(found.to_do)}  # fmt: skip


def _hazard_looks(view: View) -> list[Json]:
    """The looks after whose bad answer a phone says stop by itself, before the shop hears of it."""
    words = {p.id: p.words for p in view.machine.parts}
    found = []
    for test in view.machine.tests:
        if test.hazard:
            bad = bad_answer(test)
            why = f"{test.question.rstrip(' ?')}: {bad}"
            stop = _hazard(Hazard(test.hazard, words[test.hazard], why))
            found.append({"test": test.id, "bad": bad, **stop})
    return found


def _told(view: View) -> Json:
    said = {t.id for t in view.job.told}
    asked = bool(said) or any(n.text in (ASKED_NOTHING, NOT_ASKED) for n in view.job.notes)
    return {
        "asked": asked,
        "said": [{"id": t.id, "words": t.words} for t in view.job.told],
        "list": [{"id": t.id, "words": t.words} for t in view.machine.told if t.id not in said],
    }


def _reading(view: View, number: int, reading: JobReading) -> Json:
    said = reading.shown.get("slip")
    lost = reading.live and all(t.id != reading.test for t in view.machine.tests)
    by, at = reading.taken.by, reading.taken.device_time
    return {
        "id": reading.id, "number": number, "test": reading.test,
        "question": reading.question or reading.test, "text": reading.text,
        "sentence": LOST if lost else reading.sentence or reading.verdict,
        "short": LOST if lost else _short_sentence(reading),
        "verdict": reading.verdict,
        "fits": reading.shown.get("fits") is not False, "slip": said or "",
        "grade": reading.grade, "live": reading.live, "reason": reading.reason,
        "by": by, "at": f"{at:%H:%M}", "device": reading.taken.device,
    }  # fmt: skip


def _short_sentence(reading: JobReading) -> str:
    """The sentence without the limits, which stand with the readings, and without the likeliest
    slip, which stands below it."""
    limits, slip = (str(reading.shown.get(name) or "") for name in ("limits", "slip"))
    said = reading.sentence or reading.verdict
    if slip:
        said, none, _ = said.partition(FITS_NONE)
        for end in (f" But {slip}.", f" But {slip}"):
            said = said.removesuffix(end)
        said = f"{said}." if none else said
    return said.replace(f", good is {limits}", "") if limits else said


def _proof(view: View) -> Json:
    proof, machine, opened = view.assessment.proof, view.machine, view.job.opened
    model, serial = (opened.model, opened.serial) if opened else ("", "")
    parts = [find_part(machine, p) for p in sorted(proof.parts)]
    numbers = [part_number(p, model, serial) for p in parts]
    wants = [w.why for p in parts if (w := number_wants(p, model, serial))]
    return {
        "proven": proof.proven, "parts": sorted(proof.parts),
        "words": parts_words(machine, proof.parts) if proof.parts else "",
        "numbers": [n for n in numbers if n], "wants": wants, "belief": percent(proof.belief),
        "sentence": proof_sentence(view.setup, view.assessment), "missing": proof.missing,
    }  # fmt: skip


def _decision(record: Record, view: View) -> Json | None:
    decision, last = view.job.decision, view.job.last
    if decision is None:
        return None
    ordered = decision.part in view.job.shelf.orders
    today = last.device_time.date() if last else None
    ask = None if ordered or today is None else price_first(record, view.job, today)
    also = decision.proof.get("also", [])
    return {
        "part": decision.part, "words": decision.words, "number": decision.number,
        "read_at": str(decision.proof.get("read_at") or ""),
        "wants": [{"why": one.why, "field": one.field}
                  for one in numbers_missing(view.machine, view.job)],
        "proven": decision.proven, "sentence": decision.sentence,
        "ordered": ordered,
        "price": None if ask is None else
        {"words": ask.sentence, "key": ask.key, "address": ask.address},
        "also": also if isinstance(also, list) else [],
    }  # fmt: skip


def _causes(view: View) -> Json:
    waiting = set(open_causes(view))
    return {
        "open": [
            {"id": c.id, "words": c.words, "ask": c.ask, "mend": c.mend, "caution": c.caution,
             "against": {said: cause_against(view, c.id, said) for said in ("yes", "no")}}
            for c in causes_of(view)
            if c.id in waiting
        ],
        "answered": [
            {"words": c.words, "ask": c.ask, "answer": c.answer, "mend": c.mend, "by": c.by}
            for c in view.job.causes
        ],
    }  # fmt: skip
