"""One machine worked through line by line: what an answer does.

A line is either a command (see `commands`) or the answer to what is asked (`asking` says what that
is). Everything that is
answered with a line of its own is on the disk before that line is printed; nothing else is kept in
memory, so a session that is cut off anywhere goes on from the record.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from knowngood.cli import answers, show
from knowngood.cli.asking import next_ask
from knowngood.cli.from_file import file_lines
from knowngood.cli.others import heed
from knowngood.cli.question import Lines
from knowngood.cli.release_checks import half_done
from knowngood.cli.stop import stop
from knowngood.isolate.prices import Prices
from knowngood.machines.machine import Complaint, Machine, TeardownStep, Test
from knowngood.measure.meter import MeterSheet
from knowngood.places import bench, decision
from knowngood.places.complaints import closest, leads
from knowngood.places.from_file import own_path
from knowngood.places.gather import View, look
from knowngood.places.library import (
    Known,
    Several,
    find_complaint,
    find_machine,
    pick_machine,
)
from knowngood.places.programmes import notices_for
from knowngood.places.record import At, Record, Refused
from knowngood.places.sentence import lower_first
from knowngood.store.problem import BadFile, StoreProblem

if TYPE_CHECKING:
    from knowngood.documents.parties import Given, Shop



@dataclass(frozen=True, slots=True)
class Start:
    """How a new job is opened; what is "" or None is asked or left blank, ``prices`` None are the
    shop's. ``file``: the machine as it was named, a shipped one or a path."""

    machine: Known[Machine] | None = None
    complaint: str = ""
    meter: Known[MeterSheet] | None = None
    prices: Prices | None = None
    customer: str = ""
    maker: str = ""
    model: str = ""
    serial: str = ""
    file: str = ""


@dataclass(frozen=True, slots=True)
class Waiting:
    """What waits until the capacitor is shown discharged by this step; ``said``: it in words."""

    step: TeardownStep
    said: str
    go_on: Callable[[], None]


class Session:
    """``say`` prints a line; ``clock`` tells the time with the shop's zone; pictures and papers
    are named from ``folder``; ``store`` is the option that names the record again."""

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
        store: str = "",
    ) -> None:
        self.record = replace(record, written=set())  # its own entries are told from others
        self.start, self.by = start, by
        self.shop, self.given = shop, given
        self.say, self.clock = say, clock
        self.folder = folder or Path()
        self.machine, self.file = start.machine, own_path(start.file)
        self.words = ""
        self.offered: Sequence[Complaint] = ()
        self.leads = False  # the first of them is clearly the one
        self.listed: Sequence[str] = ()  # the machines that a part of a name left
        self.seen = 0  # the last entry of the job that is in the view or was said
        self.view: View | None = None
        self.chosen = ""  # the test that the person went for
        self.agreed = ""  # the live test to which the person said yes
        self.releasing = False
        self.again: set[str] = set()  # failed release checks that are made again
        self.waiting: Waiting | None = None
        self.unproven: str | None = None  # the part to decide on without proof, not yet confirmed
        self.passed: set[str] = set()  # questions put aside in this sitting
        self.sure: set[tuple[str, str]] = set()  # answers asked once more, as a reading is against
        self.stopped: set[tuple[str, str]] = set()  # hazards that were said
        self.over = False
        self.trouble = False  # something could not be stored
        self.opening = False  # a job is being opened
        self.typed = False  # by a person, who is told what takes its time
        self.store = store
        self.ask = next_ask(self)

    # -- in and out ------------------------------------------------------------------------

    def begin(self) -> None:
        """Open the job when all is known, and show the first question."""
        if self.machine is not None and self.start.complaint:
            self._open(find_complaint(self.machine.it, self.start.complaint))
        self._show()

    def go_on(self, job_id: str) -> None:
        """Go on with a job as the record leaves it."""
        self.view = look(self.record, job_id)
        self.seen = self.view.job.last_seq
        self.tell(show.opened(self.view))
        self.tell(file_lines(self.view.job))
        self._tell_notices()
        self.tell(show.readings(self.view))
        self.tell(show.standing(self.view))
        if half := half_done(self.view):
            self.releasing = True
            self.say(f"{half}; they go on here. Any other command comes first.")
        self._show()

    def enter(self, line: str) -> None:
        """One line as typed. Whatever is wrong with it is said, and asked again."""
        from knowngood.cli.commands import command_in

        line = "".join(sign for sign in line if sign.isprintable() or sign == "\t").strip()
        try:
            moved_on = heed(self)
            command = command_in(self, line)
            if command is not None:
                command()
            elif moved_on:
                self.say(f"Something else is asked now; not kept: {line or 'Enter'}")
                self._show()
            elif not line and self.ask.key not in ("machine", "words", "complaint", "order"):
                pass
            else:
                self.ask.answer(line)
                self._show()
        except (Refused, StoreProblem) as problem:
            self.trouble |= isinstance(problem, StoreProblem) and not isinstance(problem, BadFile)
            for text in str(problem).splitlines():
                self.tell(show.wrapped(text))

    def tell(self, lines: Lines) -> None:
        for line in lines:
            self.say(line)

    def quit(self) -> None:
        self.over = True
        self.put_aside()
        if self.view is None:
            self.say("Nothing was opened.")
        else:
            again = f"knowngood bench --job {self.view.job.name}{self.store}"
            kept = "What was entered before is kept" if self.trouble else "All is kept"
            self.say(f"{kept}. Go on with: {again}")

    def way_on(self, job: str = "") -> str:
        """What is kept when the person stops here, and how to go on; ``job``: the one named when
        it began."""
        name = job if self.view is None else self.view.job.name
        if not name and self.opening:
            return f"the job may be open already: knowngood job list{self.store} shows it"
        if not name:
            return "no job was opened, nothing is kept"
        but = f" but {self.waiting.said}, which waited" if self.waiting is not None else ""
        return (f"everything entered so far is kept{but}. Go on with: knowngood bench --job "
                f"{name}{self.store}")  # fmt: skip

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
        self.put_aside()

    def wait_for(self, step: TeardownStep, said: str, go_on: Callable[[], None]) -> None:
        """This goes on once the capacitor is shown discharged; what waited before is dropped."""
        if self.waiting is not None and self.waiting.said != said:
            self.put_aside()
        self.waiting = Waiting(step, said, go_on)

    def put_aside(self) -> None:
        """Whatever was half entered is dropped; a reading that waited is said, as it is nowhere."""
        waiting, self.unproven, self.waiting = self.waiting, None, None
        if waiting is not None:
            self.tell(show.wrapped(f"{waiting.said}: it waited for the capacitor. Type it again "
                                   "when its volts are taken", "! not kept: "))  # fmt: skip

    def _show(self) -> None:
        if not self.over:
            self._say_hazards()
            self.ask = next_ask(self)
            self.tell(self.ask.lines())

    def _say_hazards(self) -> None:
        """Each part that must be left alone, once while it stands."""
        found = self.view.assessment.hazards if self.view is not None else ()
        for one in found:
            if (one.part, one.why) not in self.stopped:
                self.tell(stop(one))
        self.stopped = {(one.part, one.why) for one in found}

    def live_and_open(self, test: Test) -> bool:
        """It is energised while something screwed down is open: asks for an explicit yes."""
        machine = self.opened.machine
        condition = machine.state_of(test)
        undone = {t.id for t in machine.teardown if t.fasteners or t.role == "shell"}
        return condition.energised and bool(undone & set(condition.open))

    def live_while(self, test: Test) -> str:
        """What to say yes to: "Energised with the shell open", or what else is off."""
        machine = self.opened.machine
        off = [t for t in machine.teardown if t.id in machine.state_of(test).open]
        shell = any(t.role == "shell" for t in off)
        named = "; ".join(lower_first(t.words) for t in off if t.fasteners)
        return f"Energised with {'the shell open' if shell else f'this done: {named}'}"

    # -- answers ---------------------------------------------------------------------------

    def choose_machine(self, text: str) -> None:
        try:
            name = pick_machine(text, self.listed)
        except Several as several:
            self.listed = several.names
            return
        self.machine, self.file = find_machine(name), own_path(name)
        self.say(f"Machine: {self.machine.it.words} ({name})")

    def hear(self, text: str) -> None:
        """The customer's words; Enter lists all complaints, one of which a number then names."""
        assert self.machine is not None
        if not text:
            self.offered = self.machine.it.complaints
            self.tell(show.complaints(self.offered, "Complaints:"))
            self.say("Type what the customer says, or a number of this list.")
            return
        if self.offered and not self.words and text.isascii() and text.isdigit():
            self.choose_complaint(text)
            return
        if not any(sign.isalpha() for sign in text):
            raise Refused(
                f"{text!r} is not what a customer says. In their words, such as: it does not start;"
                " the list to choose from comes after. Nothing is kept"
            )
        self.words = text
        self.offered, self.leads = closest(self.machine.it, text), leads(self.machine.it, text)

    def choose_complaint(self, text: str) -> None:
        assert self.machine is not None
        if not text and not self.leads:
            raise Refused("several are close: type the number of one, or other words")
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
            self.hear(text)

    def _open(self, complaint: Complaint) -> None:
        assert self.machine is not None
        s = self.start
        if self.typed:
            self.say("Working out what each step would show on this machine, some seconds ...")
        self.opening = True
        self.view = bench.open_job(
            self.record,
            bench.CheckIn(
                self.machine, complaint.id, self.words or complaint.words, s.meter, s.prices,
                s.customer, s.maker, s.model, s.serial, file=self.file,
            ),
            self.at(),
        )  # fmt: skip
        self.seen = self.view.job.last_seq
        self.tell(show.opened(self.view))
        self._tell_notices()

    def _tell_notices(self) -> None:
        """Recalls that mean this machine, before anything is run."""
        opened = self.opened.job.opened
        if opened is not None:
            for n in notices_for(self.record, opened.maker, opened.model, opened.serial):
                said = f"{n.words}: do not run it" if n.stop_use else n.words
                self.tell(show.wrapped(said, f"NOTICE {n.id}: "))

    def take(self, test: Test, text: str) -> None:
        """A reading of this test, kept with what it proves."""
        text, said = answers.as_said(test, text)
        answers.no_command_slip(self.opened.machine, test, text, self.opened.meter)
        at = self.at()
        one, view = bench.take_reading(self.record, self.job_id, test.id, text, at, said=said)
        unread = bench.unread(one.reading)
        self.view = view
        self.chosen = test.id if unread else ""
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
            example = "yes no" if test.quantity == "yes_no" else "yes 12.1 V"
            raise Refused(
                f"type yes first ({example}): {lower_first(self.live_while(test))}; or skip"
            )

    def order(self, text: str) -> None:
        if text.casefold() not in ("", "yes", "y"):
            raise Refused("Enter or yes decides; or do TEST, withdraw N, undo, quit")
        self.decide("")

    def confirm(self, part: str, text: str) -> None:
        word = text.casefold().strip(" .!")
        if word not in ("yes", "y", "no", "n"):
            raise Refused("yes decides without proof, no goes on with the proof")
        self.unproven = None
        if word in ("yes", "y"):
            self.decide(part, sure=True)
        else:
            self.say("Nothing is decided.")

    def decide(self, part: str, sure: bool = False) -> None:
        """Decide on the part named, else the proven one; without proof only when sure."""
        proof = decision.proof_for(self.opened, part)
        if decision.decided_already(self.opened, proof):
            self.say("Decided already, and nothing was read since:")
            self.tell(show.decided(self.opened))
            return
        if not proof.proven and not sure:
            self.unproven = part
            return
        self.moved(decision.decide(self.record, self.job_id, self.at(), part))
        self.tell(show.decided(self.opened))

    def nothing(self, text: str) -> None:
        if self.opened.job.closed is not None:
            raise Refused("it is closed: pickup NAME hands it back, undo opens it again; quit or "
                          "help")  # fmt: skip
        raise Refused(
            "type ordered, arrived, claim, release, fitted, done OUTCOME, undo, quit or help"
        )

