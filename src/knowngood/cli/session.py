"""One machine worked through line by line: what is asked next, and what an answer does.

A line is either a command (see `commands`) or the answer to what is asked. Everything that is
answered with a line of its own is on the disk before that line is printed; nothing else is kept in
memory, so a session that is cut off anywhere goes on from the record.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from knowngood.cli import answers, show
from knowngood.isolate.prices import Prices
from knowngood.machines.machine import Complaint, Machine, Test
from knowngood.measure.meter import MeterSheet
from knowngood.places import bench, decision
from knowngood.places.complaints import closest, look_list, verifying_test
from knowngood.places.gather import View, look
from knowngood.places.library import (
    Known,
    find_complaint,
    find_machine,
    find_test,
    pick_machine,
    shipped_machines,
)
from knowngood.places.record import At, Record, Refused
from knowngood.store.problem import StoreProblem

if TYPE_CHECKING:
    from knowngood.documents.parties import Given, Shop

Lines = Iterable[str]
ASKED = frozenset({decision.ASKED_NOTHING, decision.NOT_ASKED})


@dataclass(frozen=True, slots=True)
class Start:
    """How a new job is opened; what is "" or None is asked or left blank."""

    machine: Known[Machine] | None = None
    complaint: str = ""
    meter: Known[MeterSheet] | None = None
    prices: Prices = field(default_factory=Prices)
    customer: str = ""
    maker: str = ""
    model: str = ""
    serial: str = ""


@dataclass(frozen=True, slots=True)
class Ask:
    """What is asked: ``key`` says which question it is, ``bare``: any words are an answer."""

    key: str
    prompt: str
    answer: Callable[[str], None]
    lines: Callable[[], Lines] = tuple
    bare: bool = False


class Session:
    """``say`` prints a line; ``clock`` tells the time with the shop's zone; pictures and papers
    are named from ``folder``."""

    def __init__(
        self,
        record: Record,
        start: Start,
        by: str,
        say: Callable[[str], None],
        clock: Callable[[], datetime],
        shop: Shop | None = None,
        given: Given | None = None,
        folder: Path | None = None,
    ) -> None:
        self.record, self.start, self.by = record, start, by
        self.shop, self.given = shop, given
        self.say, self.clock = say, clock
        self.folder = folder or Path()
        self.machine = start.machine
        self.words = ""
        self.offered: Sequence[Complaint] = ()
        self.view: View | None = None
        self.chosen = ""  # the test that the person went for
        self.agreed = ""  # the live test to which the person said yes
        self.releasing = False
        self.unproven: str | None = None  # the part to order without proof, not yet confirmed
        self.passed: set[str] = set()  # questions put aside in this sitting
        self.over = False
        self.ask = self._ask()

    # -- in and out ------------------------------------------------------------------------

    def begin(self) -> None:
        """Open the job when all is known, and show the first question."""
        if self.machine is not None and self.start.complaint:
            self._open(find_complaint(self.machine.it, self.start.complaint))
        self._show()

    def go_on(self, job_id: str) -> None:
        """Go on with a job as the record leaves it."""
        self.view = look(self.record, job_id)
        self.tell(show.opened(self.view))
        self.tell(show.readings(self.view))
        self.tell(show.standing(self.view))
        self._show()

    def enter(self, line: str) -> None:
        """One line as typed. Whatever is wrong with it is said, and asked again."""
        from knowngood.cli.commands import command_in

        line = "".join(sign for sign in line if sign.isprintable() or sign == "\t").strip()
        try:
            command = command_in(self, line)
            if command is not None:
                command()
            elif not line and self.ask.key not in ("machine", "complaint", "order"):
                pass
            else:
                self.ask.answer(line)
                self._show()
        except (Refused, StoreProblem) as problem:
            for text in str(problem).splitlines():
                self.tell(show.wrapped(text))

    def tell(self, lines: Lines) -> None:
        for line in lines:
            self.say(line)

    def quit(self) -> None:
        self.over = True
        if self.view is None:
            self.say("Nothing was opened.")
        else:
            self.say(f"All is kept. Go on with: knowngood bench --job {self.view.job.name}")

    @property
    def prompt(self) -> str:
        return f"{self.ask.prompt}> "

    @property
    def opened(self) -> View:
        """The job that is open. Refused before one is."""
        if self.view is None:
            raise Refused("first say what is wrong with the machine")
        return self.view

    @property
    def job_id(self) -> str:
        return self.opened.job.id

    def at(self) -> At:
        return At(self.now(), self.by)

    def now(self) -> datetime:
        """The time in whole seconds, as papers print it."""
        return self.clock().replace(microsecond=0)

    def moved(self, view: View) -> None:
        """The job has changed: what is asked next follows from it."""
        self.view = view
        self.chosen = ""
        self.unproven = None

    def _show(self) -> None:
        if not self.over:
            self.ask = self._ask()
            self.tell(self.ask.lines())

    # -- what is asked next ----------------------------------------------------------------

    def _ask(self) -> Ask:
        if self.machine is None and self.view is None:
            return Ask("machine", "which machine", self._machine, self._machines, bare=True)
        if self.view is None and not self.words:
            return Ask("words", "what does the customer say", self._words, bare=True)
        if self.view is None:
            return Ask("complaint", "which one (Enter: 1)", self._complaint, self._complaints)
        view = self.view
        if view.job.closed is not None:
            return Ask("done", "closed", self._nothing)
        if self.unproven is not None:
            proof = decision.proof_for(view, self.unproven)
            return Ask(
                "confirm", "order without proof, yes or no", partial(self._confirm, self.unproven),
                lambda: show.not_proven(view, proof),
            )  # fmt: skip
        if self.releasing and (check := answers.release_left(self)):
            id, words, caution = check
            return Ask(
                f"release {id}", "pass, fail REASON or n/a REASON",
                partial(answers.release, self), lambda: show.release_check(words, caution),
            )  # fmt: skip
        if view.job.decision is not None and not self.chosen:
            return self._after_decision(view)
        if self.chosen:
            return self._step(find_test(view.machine, self.chosen))
        if not view.job.called and (intro := self._intro(view)) is not None:
            return intro
        if view.assessment.proof.proven:
            return Ask("order", "order it (Enter: yes)", self._order, lambda: show.proven(view))
        return self._next_step(view)

    def _intro(self, view: View) -> Ask | None:
        """Verify, told, look: each asked once."""
        read = {r.test for r in view.job.live_readings if not bench.unread(r.value())}
        verify = verifying_test(view.setup)
        if verify is not None and not read & {t.id for t in view.machine.tests if t.verifies}:
            return self._step(verify, "Does it show here?")
        asked = view.job.told or any(n.text in ASKED for n in view.job.notes)
        if view.machine.told and not asked:
            lines = partial(show.told_list, view.machine)
            return Ask("told", "tried before", partial(answers.told, self), lines)
        looks = look_list(view.machine)
        if looks and "look" not in self.passed and not read & {t.id for t in looks}:
            return Ask(
                "look", "not good", partial(answers.looked, self), lambda: show.look_list(looks)
            )
        return None

    def _next_step(self, view: View) -> Ask:
        tests = [s for s in view.assessment.steps if s.kind == "test"]
        first = view.next
        if first is None or not tests:
            return Ask("end", "what next", self._nothing, lambda: self._nothing_left(view))
        ask = self._step(find_test(view.machine, tests[0].id), override=False)
        if first.kind == "test":
            return ask

        def lines() -> Lines:
            yield ""
            yield from show.wrapped(f"Cheapest now: {first.words}.")
            yield from show.wrapped(f"Not proven: {view.assessment.proof.missing}.", "  ")
            if first.kind == "order":
                yield "  Type order to decide without proof. The cheapest proof:"
            yield from ask.lines()

        return Ask(ask.key, ask.prompt, ask.answer, lines)

    def _step(self, test: Test, head: str = "", override: bool = True) -> Ask:
        view = self.opened
        found = view.step(test.id)
        held = view.assessment.held_back.get(test.id, "")

        def lines() -> Lines:
            if head:
                yield f"\n{head}"
            yield from show.step(view, test, found, held, override=override and not head)

        if (step := answers.to_discharge(view, test)) is not None:
            return answers.ask_volts(self, step, lines)
        if self.live_and_open(test) and self.agreed != test.id:

            def with_warning() -> Lines:
                yield from lines()
                yield "  Energised with the shell open. Type yes and then what it reads, or skip."

            return Ask(
                f"agree {test.id}", "energised, go on", lambda t: self.agree(test, t), with_warning
            )  # fmt: skip
        prompt = test.question.rstrip("?")
        return Ask(f"test {test.id}", prompt, lambda text: self.take(test, text), lines)

    def live_and_open(self, test: Test) -> bool:
        """It is energised while something screwed down is open: asks for an explicit yes."""
        machine = self.opened.machine
        condition = next(c for c in machine.conditions if c.id == test.condition)
        undone = {t.id for t in machine.teardown if t.fasteners or t.role == "shell"}
        return condition.energised and bool(undone & set(condition.open))

    def _after_decision(self, view: View) -> Ask:
        left = decision.open_causes(view)
        causes = {c.id: c for c in view.machine.causes}
        if left:
            return Ask(
                f"cause {left[0]}", "yes or no, and what you saw",
                partial(answers.cause, self, left[0]), lambda: show.cause(causes[left[0]]),
            )  # fmt: skip
        return Ask("done", "what next", self._nothing, self._done_lines)

    # -- answers ---------------------------------------------------------------------------

    def _machines(self) -> Lines:
        yield "Known machines; type the number or a part of the name, or name a file:"
        for number, name in enumerate(shipped_machines(), start=1):
            yield f"  {number}. {name}"

    def _machine(self, text: str) -> None:
        self.machine = find_machine(pick_machine(text))

    def _words(self, text: str) -> None:
        assert self.machine is not None
        self.words = text
        self.offered = closest(self.machine.it, text)

    def _complaints(self) -> Lines:
        return show.complaints(self.offered)

    def _complaint(self, text: str) -> None:
        assert self.machine is not None
        if not text or (text.isascii() and text.isdigit()):
            number = int(text or 1)
            if not 1 <= number <= len(self.offered):
                raise Refused(f"there are 1 to {len(self.offered)}; or type other words")
            self._open(self.offered[number - 1])
            return
        known = [c for c in self.offered if c.id == text]
        if known:
            self._open(known[0])
        else:
            self._words(text)

    def _open(self, complaint: Complaint) -> None:
        assert self.machine is not None
        s = self.start
        self.view = bench.open_job(
            self.record,
            bench.CheckIn(
                self.machine, complaint.id, self.words or complaint.words, s.meter, s.prices,
                s.customer, s.maker, s.model, s.serial,
            ),
            self.at(),
        )  # fmt: skip
        self.tell(show.opened(self.view))

    def take(self, test: Test, text: str) -> None:
        """A reading of this test, kept with what it proves."""
        text, said = answers.as_said(test, text)
        answers.no_command_slip(test, text, self.opened.meter)
        at = self.at()
        one, view = bench.take_reading(self.record, self.job_id, test.id, text, at, said=said)
        unread = bench.unread(one.reading)
        self.view = view
        self.chosen = self.chosen if unread else ""
        self.agreed = self.agreed if unread else ""
        self.tell(show.taken(view, one))
        if one.judged is not None:
            self.tell(show.standing(view))

    def agree(self, test: Test, text: str) -> None:
        """The yes to a live test in an open shell, the reading with it or on the next line."""
        word, _, reading = text.partition(" ")
        if word.casefold().rstrip(",:") in ("yes", "y"):
            self.agreed = self.chosen = test.id
            if reading.strip():
                self.take(test, reading.strip())
        elif text.casefold() in ("skip", "no", "n"):
            self.take(test, "skip")
        else:
            raise Refused(
                "type yes first (yes 12.1 V): it is energised with the shell open; or skip"
            )

    def _order(self, text: str) -> None:
        if text.casefold() not in ("", "yes", "y"):
            raise Refused("Enter or yes decides; or do TEST, withdraw N, undo, quit")
        self.decide("")

    def _confirm(self, part: str, text: str) -> None:
        word = text.casefold().strip(" .!")
        if word not in ("yes", "y", "no", "n"):
            raise Refused("yes orders it without proof, no goes on with the proof")
        self.unproven = None
        if word in ("yes", "y"):
            self.decide(part, sure=True)
        else:
            self.say("Nothing is decided.")

    def decide(self, part: str, sure: bool = False) -> None:
        """Decide on the part named, else the proven one; without proof only when sure."""
        proof = decision.proof_for(self.opened, part)
        if not proof.proven and not sure:
            self.unproven = part
            return
        self.moved(decision.decide(self.record, self.job_id, self.at(), part))
        self.tell(show.decided(self.opened))

    def _nothing(self, text: str) -> None:
        raise Refused("type claim, release, fitted, done OUTCOME, undo or quit; help lists all")

    def _nothing_left(self, view: View) -> Lines:
        yield ""
        yield from show.wrapped("No step is left that would tell more.")
        yield from show.wrapped(f"Not proven: {view.assessment.proof.missing}.", "  ")
        yield from show.steps(view, 4)
        yield "Type order to decide without proof, or do TEST to read one again."

    def _done_lines(self) -> Lines:
        yield ""
        for one in self.opened.job.look_at_this:
            yield from show.wrapped(f"{one.what}: {one.why}", "Look at this: ")
        yield from show.causes(self.opened)
        yield "claim writes the packet; release checks it; fitted: the part is in; done OUTCOME."
