"""The bench on a terminal: what is shown, as lines of text. Nothing is decided here."""

from __future__ import annotations

import shlex
import textwrap
from collections.abc import Iterable, Iterator

from knowngood.diagnosis.steps import ONCE_MORE
from knowngood.diagnosis.views import StepView, by_reason
from knowngood.isolate.proof import Proof
from knowngood.isolate.slips import POINTS
from knowngood.job.things import JobReading
from knowngood.machines.forecast_text import expected_words
from knowngood.machines.machine import Complaint, Machine, RootCause, Test
from knowngood.machines.template import asked_by
from knowngood.places.bench import Taken
from knowngood.places.gather import View
from knowngood.places.library import number_wants, part_number, read_at
from knowngood.places.number_offered import numbers_missing
from knowngood.places.outlook import Outcome
from knowngood.places.sentence import lower_first, parts_words

WIDTH = 88
WORTH_NAMING = 0.01
MORE_THAN_ALL = 1.015  # a sum above it is no rounding
DISCHARGED = "capacitor shown discharged (its volts not noted)"
HELP = """\
A reading as the meter shows it: 57.9 V, 4R7, OL, jumps 3-8 V, yes, no.
  skip, can't tell, as expected           for this step; same: as before, or as the last
  do TEST        another step first        steps      all steps with what they cost
  TEST: READING  the same in one line; TEST by id or by what it asks
  why            what each answer leaves   table      what each suspect would read
  points A B [volts] [in STATE] [: 12.1 V]  what any two points show; with a reading it counts
  suspects [all] the faults behind parts   plan       the way from here
  call PART      name it; its proof is left
  accept PART by NAME                      take it as good on a person's word
  readings       what was read, numbered   undo       take back the last entry
  withdraw N why it does not count         meter NAME another meter from here on
  serial X, customer X, model X, maker X   what was not known at check-in
  complaint [N or NAME]  what it is here for; the readings count under that one
  verify         does it show here, again  steps all  every step with its id
  fitted [WORDS] the part is in            done anyway REASON  close with blanks
  open STEP [in TRAY]  it came off         back [STEP]    the next, or that, is back on
  back STEP anyway REASON  close over it   release anyway REASON  with parts still off
  prove [N READING]  what is proven before a cover closes
  seen [QUESTION ANSWER]  of a machine that is not fully described
  newer [FILE]   the job's machine file as it is now; newer no stays with it as it was
  note WORDS                               picture FILE [WORDS]
  decide [PART]  it is the part            claim [FILE]   write the packet
  ordered [DAY] [from SUPPLIER] [old number]  it is on its way
  arrived [in PLACE]  the part is here
  known [TEST]   known-good readings here  warm 22 C      how warm it is at the bench
  lessons now    judge with what the shop knows by now; lessons none: the file alone
  teach [STEP [alone]]  what of this job goes into the machine's file; with STEP it is kept there
  cover [WORDS]  is it covered; note it   codes M05 C04 A01 [LABOUR]  of the claim
  release        the checks before it goes done OUTCOME   close the job: repaired,
                                             returned unrepaired, scrapped, no fault found
  pickup [NAME]  NAME fetches it, closed   quit       all is kept"""


def wrapped(text: str, lead: str = "", hang: str | None = None) -> list[str]:
    """A text in lines that fit; ``lead`` before the first, ``hang`` before the others."""
    later = " " * len(lead) if hang is None else hang
    return textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=later) or [lead]


def short(words: str) -> str:
    """A part's words without what stands in brackets or after a comma."""
    return lower_first(words.split(" (")[0].split(",")[0])


def complaints(
    found: Iterable[Complaint], head: str = "Closest complaints:"
) -> Iterator[str]:
    """The complaints under this head, numbered."""
    yield head
    for number, complaint in enumerate(found, start=1):
        yield from wrapped(complaint.words, f"  {number}. ")


def opened(view: View) -> Iterator[str]:
    """The head of a job, at its opening or when it is gone on with."""
    job = view.job
    words = next(
        (c.words for c in view.machine.complaints if job.opened and c.id == job.opened.complaint),
        "",
    )
    yield from wrapped(f"Job {job.name}, {view.machine.words}. {words}")
    if view.meter is not None:
        yield f"Meter: {view.meter.title}"
    else:
        yield "Meter: none named; rough limits are taken (meter NAME)"


def standing(view: View) -> Iterator[str]:
    """Which parts are left, which are shown good: two lines; what must be left alone first."""
    for alone in view.assessment.hazards:
        yield from wrapped(
            f"{alone.words} is unsafe, left alone ({alone.why}): not charged, opened or plugged in",
            "  ! STOP: ", "    ! ",
        )  # fmt: skip
    parts = view.assessment.parts
    left = [p for p in parts if p.standing in ("open", "bad", "good so far")]
    left = [p for p in left if p.belief >= WORTH_NAMING]
    good = [short(p.words) for p in parts if p.standing == "known good"]
    taken = [f"{short(p.words)} ({p.evidence})" for p in parts if p.standing == "accepted"]
    named = ", ".join(f"{short(p.words)} {p.belief:.0%}" for p in left[:4])
    more = f" and {len(left) - 4} more" if len(left) > 4 else ""
    other = sum(s.belief for s in view.assessment.suspects if not s.parts)
    none = f"; none of the listed parts {other:.0%}" if other >= WORTH_NAMING else ""
    if sum(p.belief for p in left) + other > MORE_THAN_ALL:
        none += "; more than 100 % in all, as some faults need several parts"
    yield from wrapped(f"{named}{more}{none}" or "nothing", f"  left ({len(left)}): ", "    ")
    numbers = {r.id: view.number_of(r) for r in view.job.readings}
    for one in view.assessment.readings:
        if one.slip:
            number = numbers[one.items[-1]]
            text = f"{one.question} {one.reads}. {one.slip[:1].upper()}{one.slip[1:]}"
            yield from wrapped(
                f"[{number}] {text}{_what_then(one.slip, number)}", "  in doubt: ", "    "
            )
    if good:
        yield from wrapped(", ".join(good), "  known good: ", "    ")
    if taken:
        yield from wrapped(", ".join(taken), "  accepted: ", "    ")


def _what_then(slip: str, number: int) -> str:
    """When a doubted reading is taken back: the words of a slip are a guess at what is wrong, but
    for the points, where they say what is right."""
    wrong, right = ("if not", "if so") if slip == POINTS else ("if so", "if not")
    point = "" if slip.endswith("?") else ";"
    wrong = wrong if point else wrong.capitalize()
    return f"{point} {wrong}, withdraw {number}; {right}, keep it or read it once more"


def _override(view: View, found: StepView) -> str:
    """What this step costs more than the cheapest, as sure as the plan is of it."""
    most = found.costs_more
    if most < 0.005:
        return ""
    currency = view.setup.bench.prices.currency
    least = max(0.0, found.lower - (found.price - most))
    if most - least < 0.01:
        return f"; costs {most:.2f} {currency} more than the cheapest"
    between = f"{least:.2f} to {most:.2f}" if least >= 0.005 else f"up to {most:.2f}"
    return f"; costs {between} {currency} more than the cheapest"


def step(
    view: View, test: Test, found: StepView | None, why_held: str = "", override: bool = True
) -> Iterator[str]:
    """A step in the shop's words: what comes off first, where the leads go, what to mind."""
    condition = view.machine.state_of(test)
    minutes = found.minutes if found else test.minutes
    more = _override(view, found) if found and override else ""
    yield ""
    yield from wrapped(found.words if found else test.words, "* ")
    if found and test.id in view.assessment.proof.again:
        yield from wrapped(f"not proven: {view.assessment.proof.missing}", "  ")
    yield from wrapped(f"{minutes:g} min; {condition.words}{more}", "  ")
    if why_held:
        yield from wrapped(f"note: {why_held}", "  ")
    if found:
        for off, minding in zip(found.opens, found.minding, strict=True):
            yield from wrapped(off, "  first: ")
            if minding:
                yield from wrapped(minding, "    ! ")
        for back in found.closes:
            yield from wrapped(back, "  then: ")
        steps = [s for s in view.machine.teardown if s.words in found.opens]
        if unseen := asked_by(t for s in steps for t in s.traps):
            names = ", ".join(q.id for q in unseen)
            yield from wrapped(f"{names}. seen {unseen[0].id} ANSWER (such as"
                               f" {unseen[0].example}); seen lists them", "  not seen yet: ")
    yield from leads(view.machine, test)
    expect = test.good_reads or expected_words(test.good, test.quantity, view.meter)
    yield from wrapped(f"good: {expect}", "  ")
    if test.compare:
        names = " ".join(test.compare)
        yield from wrapped(f"type all, on one range: {names}, in one line or one by one", "  ")
    for caution in found.cautions if found else (test.caution, condition.caution):
        if caution:
            yield from wrapped(caution, "  ! ")


def leads(machine: Machine, test: Test) -> Iterator[str]:
    """Where the two leads go; of several pairs each on a line of its own."""
    pairs = test.probe.pairs if test.probe is not None and machine.wires is not None else ()
    points = machine.wires.points if machine.wires is not None else {}
    if len(pairs) < 2:
        if test.red or test.black:
            yield from wrapped(f"red {test.red}; black {test.black}", "  ")
        return
    named = ((points[n].words if n in points else n for n in pair) for pair in pairs)
    for number, (red, black) in enumerate(named, start=1):
        yield from wrapped(f"{number}. red {red}; black {black}", "  ", "     ")


def taken(view: View, one: Taken) -> Iterator[str]:
    """A reading as kept, by its number, with what it proves in one sentence."""
    if one.judged is None:
        yield from wrapped(f"kept, no evidence: {one.reading.note}", f"[{one.number}] ")
    else:
        yield from wrapped(one.judged.sentence, f"[{one.number}] ")
        if one.reading.note:
            yield from wrapped(one.reading.note, "    ")
    steps = {t.id: t for t in view.machine.teardown}
    if one.opened:
        words = [DISCHARGED if steps[o].role == "discharge" else steps[o].words for o in one.opened]
        yield from wrapped(", ".join(words), "    done now: ")
    back = [steps[o].goes_back for o in one.closed if steps[o].role != "discharge"]
    if back:
        yield from wrapped(", ".join(back), "    done now: ")


def steps(view: View, most: int = 12) -> Iterator[str]:
    """Every step possible now, cheapest first, with what the override costs."""
    assessment = view.assessment
    currency = view.setup.bench.prices.currency
    yield from wrapped(f"Expected price to the end in {currency}, and what each costs more:")
    for found in assessment.steps[:most]:
        first = f"; first {len(found.opens)} to open" if found.opens else ""
        minutes = f", {found.minutes:g} min{first}" if found.kind == "test" else ""
        name = decides(found)
        if found.kind == "test":
            name = f"{found.id}: {found.question}{once_more(found)}"
        yield from wrapped(f"{name}{minutes}", f"  {found.price:8.2f}  +{found.costs_more:<7.2f} ")
    if len(assessment.steps) > most:
        yield f"  and {len(assessment.steps) - most} more"
    for reason, tests in by_reason(assessment.held_back).items():
        if reason not in ("already read", "skipped"):
            yield from wrapped(f"{', '.join(tests)}: {reason}", "  held back: ")


def decides(found: StepView) -> str:
    """The step's words, where it ends with a part as at the bench: "decide on controller"."""
    order = "order "
    if found.kind == "order" and found.words.startswith(order):
        return f"decide on {lower_first(found.words.removeprefix(order))}"
    return found.words


def once_more(found: StepView) -> str:
    """ " (once more)" for a test that was read."""
    return " (once more)" if found.words.startswith(ONCE_MORE) else ""


def readings(view: View) -> Iterator[str]:
    """What was read, numbered; withdrawn ones with the reason."""
    if not view.job.readings:
        yield "No readings yet."
    for number, one in enumerate(view.job.readings, start=1):
        yield from wrapped(reading_line(one), f"[{number}] ")


def reading_line(one: JobReading) -> str:
    """A reading as typed, with its verdict or why it is withdrawn."""
    text = f"{one.question}: {one.text}"
    if one.withdrawn is not None:
        how = "corrected" if one.corrected_by else f"withdrawn: {one.reason or 'no reason given'}"
        return f"{text} ({how})"
    return f"{text} ({one.verdict})" if one.verdict else text


def table(view: View, test: Test) -> Iterator[str]:
    """What each suspect would read here."""
    row = view.setup.bench.table.rows[test.id]
    good = expected_words(test.good, test.quantity, view.meter)
    yield from wrapped(f"{test.question}: good {good}")
    table_of = {s.id: s for s in view.assessment.suspects}
    for i, h in enumerate(view.setup.bench.table.hypotheses):
        place = int(row.index[i])
        if place == row.good or "&" in h.id or h.kind == "other":
            continue
        words = expected_words(row.forecasts[place], row.quantity, view.meter)
        yield from wrapped(f"{h.words}: {words}", f"  {table_of[h.id].belief:6.1%}  ")
    yield "  every other suspect reads good"


def why(outcomes: Iterable[Outcome], found: StepView | None) -> Iterator[str]:
    """What each answer would leave, the minutes, and what has to come off."""
    if found is not None:
        off = f"; comes off first: {', '.join(found.opens)}" if found.opens else ""
        yield from wrapped(f"{found.question}: {found.minutes:g} min{off}")
    for one in outcomes:
        left = ", ".join(f"{short(words)} {p:.0%}" for words, p in one.left)
        yield from wrapped(f"leaves {left}", f"  {one.words} ({one.chance:.0%}): ", "      ")


def proven(view: View) -> Iterator[str]:
    """The part to order with its number, and the proof."""
    from knowngood.places.sentence import proof_sentence

    model, serial = _plate(view)
    yield ""
    for part in view.machine.parts:
        if part.id in view.assessment.proof.parts:
            number = part_number(part, model, serial)
            at = read_at(part, model, serial)
            yield (f"Proven: order {lower_first(part.words)}{f', part {number}' if number else ''}"
                   f"{f' (read at: {at})' if number and at else ''}")
            if wants := number_wants(part, model, serial):
                yield from wrapped(f"{wants.why}: type {wants.field} X", "  ? ")
            elif not number and not part.labour_only:
                yield from no_number(view, part.id)
    yield from wrapped(proof_sentence(view.setup, view.assessment), "  ")


def no_number(view: View, part: str) -> Iterator[str]:
    """How a number that the machine's file lacks gets into it."""
    kept = view.job.machine_file
    file = shlex.quote(kept.path) if kept else "FILE"
    yield "  ? its number is not in the machine's file. With one of your own (machine new):"
    yield f'    knowngood machine number {file} {part} NUMBER --read-at "the old part"; then newer'


def not_proven(view: View, proof: Proof) -> Iterator[str]:
    """What deciding without proof would lack."""
    yield ""
    yield from wrapped(f"Not proven: {proof.missing}.")
    yield from wrapped(f"Decide without proof: {parts_words(view.machine, proof.parts)}?")


def decided(view: View) -> Iterator[str]:
    """The decision as kept."""
    decision = view.job.decision
    if decision is None:
        return
    number = f", part {decision.number}" if decision.number else ""
    word = "proven" if decision.proven else "not proven"
    yield from wrapped(f"Decided: {lower_first(decision.words)}{number} ({word}).")
    for one in numbers_missing(view.machine, view.job):
        first = f"type {one.field} X, then decide" if one.field else "decide takes it"
        yield from wrapped(f"{one.why}: {first}", "  ? ")
    if not decision.proven:
        yield from wrapped(decision.sentence, "  ")
    also = decision.proof.get("also")
    for other in also if isinstance(also, list) else []:
        yield from wrapped(f"and with it: {other['words']} {other['number']}", "  ")


def cause(asked: RootCause) -> Iterator[str]:
    """A root cause to clear before the new part goes in."""
    yield ""
    yield from wrapped(asked.ask, "? ")
    if asked.caution:
        yield from wrapped(asked.caution, "  ! ")


def causes(view: View) -> Iterator[str]:
    """What was asked about why it failed, and what of it stays open."""
    from knowngood.places.decision import causes_of

    answers = {c.cause: c for c in view.job.causes}
    applies = causes_of(view)
    if not applies and not answers:
        yield "No cause is listed for this fault; note what you see with `note`."
        return
    known = [c.words for c in answers.values() if c.answer != "can't tell"]
    left = [c.words for c in answers.values() if c.answer == "can't tell"]
    left += [c.words for c in applies if c.id not in answers]
    if known:
        yield from wrapped("; ".join(known), "Causes answered: ", "  ")
    if left:
        yield from wrapped("; ".join(left), "Causes still open: ", "  ")
    for one in answers.values():
        if one.answer == "yes" and one.mend:
            yield from wrapped(one.mend, "Also to do: ", "  ")


def all_steps(view: View) -> Iterator[str]:
    """Every step of the machine's file with its id, read or not."""
    read = {r.test: r.text for r in view.job.live_readings}
    for test in view.machine.tests:
        if test.generated and test.id not in read:
            continue
        held = view.assessment.held_back.get(test.id, "")
        said = f"; read: {read[test.id]}" if test.id in read else f"; {held}" if held else ""
        text = f"{test.id}: {test.question}, {test.minutes:g} min{said}"
        yield from wrapped(text, "  ", "      ")


def _plate(view: View) -> tuple[str, str]:
    opened_with = view.job.opened
    return (opened_with.model, opened_with.serial) if opened_with else ("", "")
