"""Events and what comes next, in the words of the bench."""

from __future__ import annotations

from collections.abc import Mapping

from knowngood.job import events as ev
from knowngood.job.chapters import words_for
from knowngood.job.events import Event
from knowngood.job.job import Job
from knowngood.job.own_machines import MachineDropped, MachineKept, machine_words
from knowngood.job.shop_files import (
    MailSet,
    ShopFileDropped,
    ShopFileKept,
    TaxesSet,
    shop_file_words,
)
from knowngood.job.shop_sheet import ShopNoted
from knowngood.job.stockroom import (
    OrderPlaced,
    OrderReceived,
    PartSentBack,
    PriceListTaken,
    PriceListWithdrawn,
    StockCounted,
    StockReserved,
    StockUsed,
    StockWithdrawn,
    SupplierNoted,
    stock_words,
)
from knowngood.job.waiting import FITTED, waits_for


def in_words(event: Event) -> str:
    """One event as half a sentence: "took off the lid"."""
    if (of_chapter := words_for(event)) is not None:
        return of_chapter(event)
    match event:
        case ev.JobOpened():
            return f"checked in: {event.customer_words or event.complaint}"
        case ev.NumberGiven():
            return f"numbered {event.number}"
        case ev.DetailsNoted():
            names = ("maker", "model", "serial", "customer")
            return ", ".join(f"{n} {getattr(event, n)}" for n in names if getattr(event, n))
        case ev.MeterChosen():
            return f"took the meter {event.name}"
        case ev.MachineAdopted():
            return _with("went over to a newer machine file", event.reason)
        case ev.MachineNamed():
            return f"it is a {event.machine_id}, complaint {event.complaint or 'not listed'}"
        case ev.MachineFileNoted():
            return f"its machine file is {event.path}"
        case ev.ReadingTaken():
            return f"{event.question or event.test} {event.text}"
        case ev.ReadingJudged():
            return event.sentence or event.verdict
        case ev.ReadingWithdrawn():
            return _with("withdrew a reading", event.reason)
        case ev.ToldNoted():
            return f"the customer said: {event.words}"
        case ev.ToldWithdrawn():
            return _with("withdrew what the customer said", event.reason)
        case ev.Accepted():
            return _with(f"{event.part} accepted as good by {event.by}", event.words)
        case ev.AcceptWithdrawn():
            return _with(f"{event.part} no longer accepted as good", event.reason)
        case ev.PartCalled():
            return f"{event.by or 'somebody'} called it: {event.words or event.part}"
        case ev.CallWithdrawn():
            return _with(f"no longer calls it {event.part}", event.reason)
        case ev.StepOpened():
            return _with(f"opened: {event.words or event.step}", event.where)
        case ev.StepClosed():
            return f"put back: {event.step}"
        case ev.MinutesNoted():
            return f"{event.minutes:g} min for {event.what}"
        case ev.PictureAdded():
            return _with("picture", event.caption or event.about)
        case ev.PictureWithdrawn():
            return _with("withdrew a picture", event.reason)
        case ev.CauseAnswered():
            return f"{event.ask or event.words} {event.answer}"
        case ev.PartDecided():
            proven = "proven" if event.proven else "not proven"
            return f"decided: {event.words or event.part} ({proven})"
        case ev.DecisionWithdrawn():
            return _with("withdrew the decision", event.reason)
        case ev.ReleaseChecked():
            return _with(f"{event.words or event.check}: {event.result}", event.reason)
        case ev.NoteAdded():
            return event.text
        case ev.EntryWithdrawn():
            named = {"cause": "an answer about why it failed", "check": "a release check"}
            return _with(f"took back {named.get(event.what, event.what)}", event.reason)
        case ev.JobClosed():
            return f"closed: {event.outcome}"
        case ev.JobReopened():
            return _with("reopened", event.reason)
        case ShopNoted():
            return f"the shop's sheet was noted: {event.name or 'no name'}"
        case MachineKept() | MachineDropped():
            return machine_words(event)
        case ShopFileKept() | ShopFileDropped() | MailSet() | TaxesSet():
            return shop_file_words(event)
        case (
            StockCounted() | StockUsed() | StockReserved() | OrderPlaced() | OrderReceived()
            | PartSentBack() | StockWithdrawn() | SupplierNoted() | PriceListTaken()
            | PriceListWithdrawn()
        ):  # fmt: skip
            return stock_words(event)
        case ev.Unknown():
            return f"{event.name}, recorded by a newer version"
        case _:
            raise TypeError(f"{type(event).__name__} has no words; see knowngood.job.words")


def next_in_words(job: Job) -> str:
    """What is next, as far as the record tells: what was shown last, else by where it stands."""
    if job.closed is not None:
        return "nothing; the job is closed"
    failed = [check.words or check.check for check in job.release if check.result == "fail"]
    if failed:
        return f"mend what failed, then check again: {', '.join(failed)}"
    if job.shelf.asked is not None:
        return f"the customer's answer: {job.shelf.question}"
    if job.shelf.on_order:
        return f"wait for {', '.join(order.words for order in job.shelf.on_order)}"
    if job.decision is not None:
        return _shown_next(job.decision.proof) or _after_decision(job)
    judged = [reading for reading in job.live_readings if reading.judged]
    if judged:
        last = max(judged, key=lambda reading: reading.judged.seq if reading.judged else 0)
        if shown := _shown_next(last.shown):
            return shown
    if job.called:
        return f"prove it: {job.called[-1].words or job.called[-1].part}"
    return "the next reading" if job.live_readings else "the first reading"


def _after_decision(job: Job) -> str:
    assert job.decision is not None
    words, decided = job.decision.words or job.decision.part, job.decision.at.seq
    fitted = any(n.text.startswith(FITTED) and n.at.seq > decided for n in job.notes)
    number = job.decision.number
    if number and waits_for(job).kind == "order":
        after = "put it together again" if job.open_steps else "make the release checks"
        return f"order {words} {number}; once it is here fit it, then {after}"
    if job.open_steps:
        return "put it together again" if fitted else f"fit {words}, then put it together again"
    if fitted and not job.release:
        return "the release checks"
    if not job.release:
        return f"fit {words}, then the release checks"
    return "the rest of the release checks, then close the job"


def _shown_next(shown: Mapping[str, object]) -> str:
    """What was shown as next: text under "next", or its "words" if it is a mapping."""
    following = shown.get("next")
    if isinstance(following, Mapping):
        following = following.get("words")
    return following if isinstance(following, str) else ""


def _with(words: str, more: str) -> str:
    return f"{words} ({more})" if more else words
