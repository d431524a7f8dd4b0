"""What a bench session asks next: it follows from the job, and from what was put aside."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from knowngood.cli import answers, show
from knowngood.cli.question import Ask, Lines
from knowngood.cli.release_checks import release_left, release_lines
from knowngood.cli.show_lists import look_list as look_list_lines
from knowngood.cli.show_lists import told_list
from knowngood.cli.show_orders import orders
from knowngood.diagnosis.gate import is_gated
from knowngood.diagnosis.hazard import barred, look_before
from knowngood.machines.machine import Test
from knowngood.places import bench, decision
from knowngood.places.capacitor import to_discharge
from knowngood.places.complaints import look_list, looks_left, verifying_test, ways_to_show
from knowngood.places.gather import View
from knowngood.places.library import find_test, shipped_machines
from knowngood.places.sentence import parts_words

if TYPE_CHECKING:
    from knowngood.cli.session import Session

ASKED = frozenset({decision.ASKED_NOTHING, decision.NOT_ASKED})


def next_ask(s: Session) -> Ask:
    """The question that is next."""
    if s.machine is None and s.view is None:
        return Ask("machine", "which machine", s.choose_machine, partial(_machines, s), bare=True)
    if s.view is None and not s.words:
        return Ask("words", "what does the customer say", s.hear, bare=True)
    if s.view is None:
        lines = partial(show.complaints, s.offered)
        which = "which one (Enter: 1)" if s.leads else "which one, by its number"
        return Ask("complaint", which, s.choose_complaint, lines)
    view = s.view
    if view.job.closed is not None:
        return Ask("done", "closed", s.nothing)
    if s.waiting is not None:
        return answers.ask_volts(s, s.waiting.step, tuple)
    if s.unproven is not None:
        proof = decision.proof_for(view, s.unproven)
        return Ask(
            "confirm", "decide without proof, yes or no", partial(s.confirm, s.unproven),
            lambda: show.not_proven(view, proof),
        )  # fmt: skip
    if s.releasing and not s.chosen and (check := release_left(view, s.again)) is not None:
        return Ask(
            f"release {check.check}", "pass, fail REASON or n/a REASON",
            partial(answers.release, s, check), partial(release_lines, view, check),
        )  # fmt: skip
    if view.job.decision is not None and not s.chosen:
        return _after_decision(s, view)
    if s.chosen:
        return _step(s, find_test(view.machine, s.chosen))
    if not view.job.called and (intro := _intro(s, view)) is not None:
        return intro
    if view.assessment.proof.proven:
        words = show.short(parts_words(view.machine, view.assessment.proof.parts))
        return Ask("order", f"decide: {words} (Enter: yes)", s.order, lambda: show.proven(view))
    return _next_step(s, view)


def _intro(s: Session, view: View) -> Ask | None:
    """Verify, told, look: each asked once."""
    read = {r.test for r in view.job.live_readings if not bench.unread(r.value())}
    complaint = view.job.opened.complaint if view.job.opened else ""
    verify = verifying_test(view.setup, complaint)
    done = view.evidence.read | view.evidence.passed_over
    stopped = barred(view.machine, view.assessment.hazards)
    to_show = verify is not None and not read & ways_to_show(view.machine, complaint)
    held = verify is not None and is_gated(view.assessment.held_back.get(verify.id, ""))
    if verify is not None and to_show and not held and verify.id not in stopped:
        if (hazard := look_before(view.machine, verify, done)) is not None:
            return _step(s, hazard, "Before anything runs, a look for what may hurt.")
        if first := [id for id in verify.after if id not in done]:
            return _step(s, find_test(view.machine, first[0]), "Before it is tried, a look.")
        return _step(s, verify, "Does it show here?")
    asked = view.job.told or any(n.text in ASKED for n in view.job.notes)
    if view.machine.told and not asked:
        lines = partial(told_list, view.machine)
        return Ask("told", "tried before", partial(answers.told, s), lines)
    plain = {t.id for t in look_list(view.machine) if not t.hazard}
    seen = plain - ways_to_show(view.machine, complaint)
    looks = looks_left(view)
    if looks and "look" not in s.passed and not read & seen:
        lines = partial(look_list_lines, view, looks)
        return Ask("look", "not good", partial(answers.looked, s), lines)
    return None


def _next_step(s: Session, view: View) -> Ask:
    tests = [step for step in view.assessment.steps if step.kind == "test"]
    first = view.next
    if first is None or not tests:
        return Ask("end", "what next", s.nothing, lambda: _nothing_left(view))
    done = view.evidence.read | view.evidence.passed_over
    wanted = find_test(view.machine, tests[0].id)
    called = view.evidence.called is not None
    if (hazard := look_before(view.machine, wanted, done, called)) is not None:
        return _step(s, hazard, "Before it, a look for what may hurt.", override=False)
    ask = _step(s, wanted, override=False)
    if first.kind == "test":
        return ask

    def lines() -> Lines:
        yield ""
        yield from show.wrapped(f"Cheapest now: {show.decides(first)}.")
        yield from show.wrapped(f"Not proven: {view.assessment.proof.missing}.", "  ")
        if first.kind == "order":
            yield "  Type decide to do so without proof. The cheapest proof:"
        yield from ask.lines()

    return Ask(ask.key, ask.prompt, ask.answer, lines)


def _step(s: Session, test: Test, head: str = "", override: bool = True) -> Ask:
    view = s.opened
    found = view.step(test.id)
    held = view.assessment.held_back.get(test.id, "")

    def lines() -> Lines:
        if head:
            yield f"\n{head}"
        yield from show.step(view, test, found, held, override=override and not head)

    if (step := to_discharge(view, test)) is not None:
        return answers.ask_volts(s, step, lines)
    if s.live_and_open(test) and s.agreed != test.id:

        def with_warning() -> Lines:
            yield from lines()
            yield from show.wrapped(
                f"{s.live_while(test)}. Type yes and then what it reads, or skip.", "  ")

        return Ask(
            f"agree {test.id}", "energised, go on", lambda t: s.agree(test, t), with_warning
        )  # fmt: skip
    prompt = test.question.rstrip("?")
    return Ask(f"test {test.id}", prompt, partial(answers.reading, s, test), lines)


def _after_decision(s: Session, view: View) -> Ask:
    left = decision.open_causes(view)
    causes = {c.id: c for c in view.machine.causes}
    if left:
        return Ask(
            f"cause {left[0]}", "yes or no, and what you saw",
            partial(answers.cause, s, left[0]), lambda: show.cause(causes[left[0]]),
        )  # fmt: skip
    return Ask("done", "what next", s.nothing, lambda: _done_lines(s.opened))


def _machines(s: Session) -> Lines:
    head = "These have that name" if s.listed else "Known machines"
    yield f"{head}; type the number or a part of the name, or name a file:"
    for number, name in enumerate(s.listed or shipped_machines(), start=1):
        yield f"  {number}. {name}"


def _nothing_left(view: View) -> Lines:
    yield ""
    yield from show.wrapped("No step is left that would tell more.")
    yield from show.wrapped(f"Not proven: {view.assessment.proof.missing}.", "  ")
    yield from show.steps(view, 4)
    yield "Type decide to decide without proof, or do TEST to read one again."


def _done_lines(view: View) -> Lines:
    yield ""
    for one in view.job.look_at_this:
        yield from show.wrapped(f"{one.what}: {one.why}", "Look at this: ")
    yield from show.causes(view)
    yield from orders(view)
    yield "claim writes the packet; release checks it; fitted: the part is in; done OUTCOME."
