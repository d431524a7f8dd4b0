"""What a person says at the bench beside readings: told, accepted, called, decided, checked."""

from __future__ import annotations

from collections.abc import Sequence

from knowngood.diagnosis.standing import causes_to_clear
from knowngood.isolate.proof import Proof, judge_proof, shown_out
from knowngood.job import events as ev
from knowngood.job.events import Answer, CheckResult, Event
from knowngood.job.job import Job
from knowngood.job.stockroom import STOCKROOM
from knowngood.job.waiting import FITTED
from knowngood.machines.machine import ReleaseCheck, RootCause
from knowngood.machines.nearest import did_you_mean
from knowngood.places.bench import shown_now
from knowngood.places.fitted import stock_of_closed
from knowngood.places.gather import View, load_job, look, setup_of
from knowngood.places.library import find_part, part_number, read_at
from knowngood.places.record import At, Record, Refused
from knowngood.places.sentence import parts_words, proof_sentence
from knowngood.shop.release import RUNS, Release, release_of_job, runs_stopped

ASKED_NOTHING = "asked what was tried: nothing on the list"
NOT_ASKED = "what the customer tried was not asked"


def tell(record: Record, job_id: str, told: Sequence[str], at: At, asked: bool = True) -> View:
    """What the customer tried and saw, by ids of the machine's file; none is kept as a note."""
    job = load_job(record, job_id)
    machine = setup_of(record, job).machine
    known = {t.id: t for t in machine.told}
    wrong = [t for t in told if t not in known]
    if wrong:
        hint = did_you_mean(wrong[0], known)
        raise Refused(f"{machine.id} has nothing told by the name {wrong[0]!r}. {hint}")
    events: list[Event] = [ev.ToldNoted(t, known[t].words) for t in dict.fromkeys(told)]
    record.append(job_id, events or [ev.NoteAdded(ASKED_NOTHING if asked else NOT_ASKED)], at)
    return look(record, job_id)


def accept(record: Record, job_id: str, part: str, by: str, at: At) -> View:
    """Take a part as good on a person's word, without a test here."""
    if not by.strip():
        raise Refused("whose word is it? accept PART by NAME")
    found = find_part(setup_of(record, load_job(record, job_id)).machine, part)
    record.append(job_id, [ev.Accepted(found.id, found.words, by.strip())], at)
    return look(record, job_id)


def call(record: Record, job_id: str, part: str, at: At) -> View:
    """The person names the part; its proof and its causes are left."""
    found = find_part(setup_of(record, load_job(record, job_id)).machine, part)
    record.append(job_id, [ev.PartCalled(found.id, found.words, at.by)], at)
    return look(record, job_id)


def uncall(record: Record, job_id: str, at: At, reason: str = "") -> View:
    """The person no longer names the part named last."""
    job = load_job(record, job_id)
    if not job.called:
        raise Refused("no part is called")
    record.append(job_id, [ev.CallWithdrawn(job.called[-1].part, reason)], at)
    return look(record, job_id)


def decide(record: Record, job_id: str, at: At, part: str = "") -> View:
    """The one part to order: the proven one, or the named one with what its proof lacks."""
    view = look(record, job_id)
    proof = proof_for(view, part)
    record.append(job_id, [_decided(view, proof)], at)
    return look(record, job_id)


def proof_for(view: View, part: str = "") -> Proof:
    """The proof that stands, or that of the named part. Raises Refused when no part is named."""
    proof = view.assessment.proof
    if part:
        named = frozenset({find_part(view.machine, part).id})
        if not (proof.proven and named <= proof.parts):
            proof = judge_proof(view.assessment.belief, named)
    if not proof.parts:
        raise Refused(f"no part to decide on: {proof.missing}")
    return proof


def decided_already(view: View, proof: Proof) -> bool:
    """Whether this very decision stands and nothing was read, withdrawn or accepted since, and
    no number of the part became known."""
    job, stands = view.job, view.job.decision
    if stands is None or job.look_at_this or stands.proven != proof.proven:
        return False
    since = [r.taken.seq for r in job.readings] + [a.at.seq for a in job.accepted]
    opened = view.job.opened
    part = next((p for p in view.machine.parts if p.id == stands.part), None)
    if part and opened and not stands.number and part_number(part, opened.model, opened.serial):
        return False
    return causal_part(view, proof) == stands.part and max(since, default=0) < stands.at.seq


def _decided(view: View, proof: Proof) -> ev.PartDecided:
    machine, opened = view.machine, view.job.opened
    causal = causal_part(view, proof)
    part = find_part(machine, causal)
    model, serial = (opened.model, opened.serial) if opened else ("", "")
    sentence = proof_sentence(view.setup, view.assessment) if proof.proven else ""
    others = sorted(proof.parts - {causal})
    questions = {t.id: t.question for t in machine.tests}
    words = {h.id: h.words for h in view.assessment.belief.hypotheses}
    out = shown_out(view.assessment.belief)
    shown = shown_now(view, True)
    shown.pop("next", None)
    return ev.PartDecided(
        part=causal,
        words=parts_words(machine, [causal]),
        number=part_number(part, model, serial),
        proven=proof.proven,
        sentence=sentence or f"Decided without proof: {proof.missing}.",
        proof={
            **shown,
            "readings": _most_telling_first(view, proof),
            "tests": list(proof.tests),
            "belief": proof.belief,
            "missing": proof.missing,
            "part_price": part.price,
            "read_at": read_at(part, model, serial),
            "also": [
                {"part": o, "words": parts_words(machine, [o]),
                 "number": part_number(find_part(machine, o), model, serial)}
                for o in others
            ],
            "shown_out": [
                {"suspect": words[h], "by": questions.get(t, t), "chance": p}
                for h, (t, p) in out.items()
            ],
        },
    )  # fmt: skip


def _most_telling_first(view: View, proof: Proof) -> list[str]:
    """Ids of the readings that the proof rests on, in the order of its tests."""
    return [
        item
        for test in proof.tests
        for w in view.assessment.belief.weighed
        if w.test == test
        for item in w.items
    ]


def causal_part(view: View, proof: Proof) -> str:
    """Of the parts to order the one that failed first; the others it took along."""
    belief, faults = view.assessment.belief, {f.id: f for f in view.machine.faults}
    best, most = "", -1.0
    for h, p in zip(belief.hypotheses, belief.p, strict=True):
        if h.parts == proof.parts and h.marks and p > most and faults[h.marks[0]].parts:
            best, most = faults[h.marks[0]].parts[0], float(p)
    return best or min(proof.parts)


def answer_cause(
    record: Record, job_id: str, cause_id: str, answer: Answer, at: At,
    evidence: str = "", mend: str = "",
) -> View:  # fmt: skip
    """A root cause asked about, with what was seen and what was done about it."""
    machine = setup_of(record, load_job(record, job_id)).machine
    cause = next((c for c in machine.causes if c.id == cause_id), None)
    if cause is None:
        hint = did_you_mean(cause_id, (c.id for c in machine.causes))
        raise Refused(f"{machine.id} has no cause {cause_id!r}. {hint}")
    done = mend or (cause.mend if answer == "yes" else "")
    answered = ev.CauseAnswered(cause.id, cause.words, cause.ask, answer, evidence, done, at.by)
    record.append(job_id, [answered], at)
    return look(record, job_id)


def cause_against(view: View, cause_id: str, answer: Answer) -> str:
    """The reading that speaks against this answer, in words: a bad one against no, the last of all
    good ones against yes; "" where none does."""
    cause = next((c for c in view.machine.causes if c.id == cause_id), None)
    if cause is None or answer not in ("yes", "no"):
        return ""
    last = {r.test: (n, r) for n, r in enumerate(view.job.readings, start=1)
            if r.test in cause.read_by and r.withdrawn is None and r.verdict in ("good", "bad")}
    bad = [one for one in last.values() if one[1].verdict == "bad"]
    good = [one for one in last.values() if one[1].verdict == "good"]
    if answer == "no" and bad:
        number, one = bad[-1]
    elif answer == "yes" and not bad and good and len(last) == len(cause.read_by):
        number, one = good[-1]
    else:
        return ""
    return f"[{number}] {one.question} {one.text} ({one.verdict})"


def open_causes(view: View) -> tuple[str, ...]:
    """Ids of the causes still to be answered before the part goes in."""
    answered = {c.cause for c in view.job.causes}
    return tuple(c.id for c in causes_of(view) if c.id not in answered)


def causes_of(view: View) -> tuple[RootCause, ...]:
    """The causes that apply to the part decided on, proven or not; without a decision those of
    the proof."""
    decision, belief = view.job.decision, view.assessment.belief
    if decision is None or decision.part in view.assessment.proof.parts:
        return view.assessment.causes
    proof = judge_proof(belief, frozenset({decision.part}))
    return causes_to_clear(view.machine, belief, proof)


def check_release(
    record: Record, job_id: str, check_id: str, result: CheckResult, at: At, reason: str = "",
    stops: bool = False,
) -> View:  # fmt: skip
    """One check before the machine is handed back. Anything but a pass needs its reason.
    ``stops``: so does a pass after a failure, what was done about it, and nothing is run while a
    check stands failed."""
    job = load_job(record, job_id)
    machine = setup_of(record, job).machine
    check = next((c for c in machine.release if c.id == check_id), None)
    if check is None:
        hint = did_you_mean(check_id, (c.id for c in machine.release))
        raise Refused(f"{machine.id} has no release check {check_id!r}. {hint}")
    if result != "pass" and not reason.strip():
        raise Refused(f"{check.words}: {result} needs its reason")
    if result == "pass" and stops:
        _may_pass(release_of_job(machine, job), check, reason)
    record.append(job_id, [ev.ReleaseChecked(check.id, check.words, result, reason)], at)
    return look(record, job_id)


def _may_pass(release: Release, check: ReleaseCheck, reason: str) -> None:
    stopped = runs_stopped(release)
    if any(c.check == check.id for c in stopped):
        if not reason.strip():
            raise Refused(f"{check.words} failed before: say what was done about it")
    elif stopped and check.stage in RUNS:
        raise Refused(
            f"it failed: {stopped[0].words}. Nothing is run before that is mended and passes"
        )


def close_job(record: Record, job_id: str, outcome: str, at: At, words: str = "") -> View:
    """The job is done. A repaired machine leaves only with every release check made and none
    failed, or by an override with a name and a reason. Parts kept for it leave the stockroom."""
    job = load_job(record, job_id)
    machine = setup_of(record, job).machine
    if outcome == "repaired":
        _may_leave(release_of_job(machine, job))
    if job.closed is not None:
        raise Refused(f"job {job.name} is closed: {job.closed.outcome}")
    closed: list[Event] = [ev.JobClosed(outcome, words)]
    record.append_all([(job_id, closed), (STOCKROOM, stock_of_closed(record, job, outcome))], at)
    return look(record, job_id)


def fit(record: Record, job_id: str, at: At, words: str = "") -> View:
    """The part decided on is in the machine; kept as a note."""
    decision = load_job(record, job_id).decision
    if decision is None:
        raise Refused("no part is decided on yet; order PART decides")
    more = f", {words.strip()}" if words.strip() else ""
    record.append(job_id, [ev.NoteAdded(f"{FITTED}{decision.words}{more}")], at)
    return look(record, job_id)


def left_to_close(view: View) -> tuple[str, ...]:
    """What a machine that goes out mended still lacks, each in words."""
    job, machine = view.job, view.machine
    blank = [
        f"{c.words} ({c.stale})" if c.stale else c.words
        for c in release_of_job(machine, job).blank if c.override is None
    ]  # fmt: skip
    nothing_to_shut = {t.id for t in machine.teardown if t.role == "discharge"}
    off = [s.words or s.step for s in job.open_steps if s.step not in nothing_to_shut]
    found = []
    if blank:
        count = f"{len(blank)} checks are" if len(blank) > 1 else "1 check is"
        found.append(f"{count} blank: {'; '.join(blank)}")
    if off:
        found.append(f"not put back: {'; '.join(off)}")
    if part := not_fitted(job):
        found.append(f"not noted as fitted: {part}")
    return tuple(found)


def not_fitted(job: Job) -> str:
    """The part decided on, in words, while nobody noted it as fitted; else ""."""
    decision = job.decision
    if decision is None or any(
        n.text.startswith(FITTED) and n.at.seq > decision.at.seq for n in job.notes
    ):
        return ""
    return decision.words


def _may_leave(release: Release) -> None:
    failed = [c.words for c in release.holding if c.result == "fail"]
    blank = [c.words for c in release.holding if c.result != "fail"]
    if failed:
        raise Refused(f"it may not leave: failed {'; '.join(failed)}")
    if blank:
        raise Refused(f"it may not leave: not checked yet: {'; '.join(blank)}")
