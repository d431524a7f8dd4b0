"""The work behind ``knowngood paper``; each function returns the exit code."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Final, cast, get_args

from knowngood.cli.bench import Clock
from knowngood.cli.person import person
from knowngood.cli.to_read import to_read
from knowngood.documents.day_sheet import LOCAL_LAW
from knowngood.documents.pdf import write_claim
from knowngood.job.job import Job
from knowngood.job.paperwork import (
    ClaimAnswered,
    ClaimPaid,
    ClaimReply,
    ClaimSent,
    CodesChosen,
    CoverNoted,
    MoneyTaken,
    PartLetGo,
)
from knowngood.places import account, paperwork
from knowngood.places.account import Account
from knowngood.places.checks_blank import checks_blank
from knowngood.places.claim_paper import given_of
from knowngood.places.claim_words import set_aside
from knowngood.places.cover_asked import note_asked
from knowngood.places.due import UNCOLLECTED
from knowngood.places.gather import load_job, setup_of
from knowngood.places.paper_undo import take_back, to_take_back
from knowngood.places.papers_due import papers_due
from knowngood.places.paperwork import ClaimPage
from knowngood.places.part_ids import part_ids
from knowngood.places.premises import in_shop_time, letterhead
from knowngood.places.programme_word import agree_programme
from knowngood.places.programmes import read_notices, read_programme
from knowngood.places.record import At, Record, Refused
from knowngood.places.resubmitted import earlier_of
from knowngood.places.text_file import text_of
from knowngood.shop.codes import ACTION, CAUSE, MODE
from knowngood.shop.cover import ASK_LOCALLY, Cover
from knowngood.shop.money import MoneyProblem
from knowngood.shop.notice_file import is_notices
from knowngood.store.problem import StoreProblem, not_written
from knowngood.store.where import store_path

ENTRIES: Final[Mapping[type, str]] = {
    ClaimSent: "the claim's sending", ClaimAnswered: "the programme's answer",
    ClaimPaid: "money of the programme", MoneyTaken: "money of the customer",
    PartLetGo: "the end of the failed part",
}  # fmt: skip
LARGEST = 1_000_000  # bytes of a programme file


def check(file: Path, store: Path | None = None) -> int:
    """Every problem of a programme's file or of a list of notices, else what it says. Parts are
    looked for in the files that come with the program and in those of the record."""

    def work() -> None:
        text, place = text_of_file(file), store_path(store)
        if is_notices(text, file.name):
            count = len(read_notices(text, file.name))
            print(f"{file.name}: {count} notice{'' if count == 1 else 's'}, no problem found")
            return
        if store is None and not place.exists():
            parts = part_ids(None)
        else:
            with Record.open(place, make=False) as record:
                parts = part_ids(record)
        programme = read_programme(text, file.name, parts)
        print(f"{file.name}: {programme.words} ({programme.maker}), no problem found")
        for line in programme.cover:
            span = f"{line.months} months from {line.counted_from}" if line.months else "none"
            print(f"  {line.group}, {line.use}: {span}")
        print(f"  claim within {programme.claim_days} days; parts kept {programme.keep_days} days")

    return said(work)


def under(file: Path, job: str, store: Path | None, by: str) -> int:
    """Put the job under the programme and say what it makes of it so far."""

    def work(record: Record, at: At, job_id: str) -> None:
        paperwork.choose_programme(record, job_id, text_of_file(file), file.name, at)
        _print_cover(paperwork.cover_of(record, load_job(record, job_id), at.now.date()))

    return on_job(job, store, by, work)


def cover(job: str, noted: CoverNoted, store: Path | None, by: str) -> int:
    """Note what was given, then the answer with its reasons."""

    def work(record: Record, at: At, job_id: str) -> None:
        if noted != CoverNoted():
            note_asked(record, job_id, noted, at)
        found = paperwork.cover_of(record, load_job(record, job_id), at.now.date())
        if found is None and noted != CoverNoted():
            print(f"Noted; {paperwork.NO_PROGRAMME} yet: knowngood paper under FILE --job JOB")
        else:
            _print_cover(found)

    return on_job(job, store, by, work)


def codes(job: str, chosen: CodesChosen, store: Path | None, by: str) -> int:
    """Note the codes; without any, say what is chosen and list those there are."""

    def work(record: Record, at: At, job_id: str) -> None:
        if chosen == CodesChosen():
            _print_codes(record, load_job(record, job_id))
            return
        paperwork.choose_codes(record, job_id, chosen, at)
        print("noted")

    return on_job(job, store, by, work)


def _print_codes(record: Record, job: Job) -> None:
    stands, programme = job.paperwork.codes, paperwork.programme_of(record, job)
    said = [f"{n} {v}" for n, v in asdict(stands or CodesChosen()).items() if v]
    print(f"Chosen: {', '.join(said) or 'none yet'}")
    flat = programme.labour.flat if programme else None
    labour = {code: f"{words}, {minutes} min" for code, (words, minutes) in (flat or {}).items()}
    for title, known in (("mode", MODE), ("cause", CAUSE), ("action", ACTION), ("labour", labour)):
        print(f"--{title}")
        for code, words in known.items():
            print(f"  {code} {words}")
    if programme is None:
        print(f"  {paperwork.NO_PROGRAMME} yet: knowngood paper under FILE --job {job.name}")
    elif not labour:
        print(f"  none: {programme.words} pays labour by minutes")


def claim(
    job: str, out: Path | None, send: bool, number: str, store: Path | None, by: str, on: str = ""
) -> int:
    """The claim's page; as PDF too, and sent."""

    def work(record: Record, at: At, job_id: str) -> None:
        today = at.now.date()
        page = paperwork.claim_page(record, job_id, today)
        if send:
            page = paperwork.send_claim(record, job_id, at, number, on=on)
        _print_claim(page)
        it = load_job(record, job_id)
        if page.course.granted is None and (blank := checks_blank(record, it)):
            print(f"  missing: {blank}")
        earlier = earlier_of(it, page)
        if earlier is not None and page.course.answer != "accepted":
            print(earlier.words)
            if page.worth is not None and page.worth.known:
                print(f"The paper asks {earlier.open_of(page.worth.total)}, what is open of it.")
        say_set_aside(it)
        if out is not None:
            files = record.files
            pictures = {p.digest: files.for_paper(p.digest) for p in it.pictures
                        if files.has(p.digest)}  # fmt: skip
            machine, given = setup_of(record, it).machine, given_of(record, it, today)
            try:
                write_claim(it, machine, letterhead(record), pictures, out, at.now, given=given)
            except OSError as error:
                raise Refused(not_written(out, error)) from error
            print(f"written: {out}")

    return on_job(job, store, by, work)


def answer(
    job: str, reply: str, granted: str, reason: str, store: Path | None, by: str, on: str = ""
) -> int:
    """What the programme answered."""

    def work(record: Record, at: At, job_id: str) -> None:
        if reply not in get_args(ClaimReply):
            raise Refused(f"{reply!r} is no answer; it may be {', '.join(get_args(ClaimReply))}")
        kind = cast(ClaimReply, reply)
        page = paperwork.answer_claim(record, job_id, kind, granted, reason, at, on=on)
        print(f"Claim: {page.course.words}")

    return on_job(job, store, by, work)


def paid(job: str, amount: str, store: Path | None, by: str, on: str = "") -> int:
    """Money of the programme."""

    def work(record: Record, at: At, job_id: str) -> None:
        page = paperwork.claim_paid(record, job_id, amount, at, on=on)
        print(f"Claim: {page.course.words}")

    return on_job(job, store, by, work)


def agreed(
    job: str, who: str, how: str, up_to: str, store: Path | None, by: str, no: bool = False
) -> int:
    """The customer's word."""

    def work(record: Record, at: At, job_id: str) -> None:
        print_account(account.agree(record, job_id, who, how, up_to, at, no))

    return on_job(job, store, by, work)


def approved(
    job: str, amount: str, who: str, number: str, store: Path | None, by: str
) -> int:
    """The programme's word."""

    def work(record: Record, at: At, job_id: str) -> None:
        _print_claim(agree_programme(record, job_id, amount, who, number, at))

    return on_job(job, store, by, work)


def took(
    job: str, amount: str, way: str, store: Path | None, by: str, on: str = ""
) -> int:
    """Money of the customer."""

    def work(record: Record, at: At, job_id: str) -> None:
        print_account(account.take_money(record, job_id, amount, way, at, on=on))

    return on_job(job, store, by, work)


def undo(job: str, reason: str, store: Path | None, by: str) -> int:
    """Take back what was entered last on the papers."""

    def work(record: Record, at: At, job_id: str) -> None:
        there = to_take_back(record, load_job(record, job_id))
        if not there:
            raise Refused("nothing to take back on this job's papers")
        last = there[-1]
        take_back(record, job_id, last.key, reason, at)
        print(f"taken back: {ENTRIES.get(type(last.event), last.words)}")

    return on_job(job, store, by, work)


def due(store: Path | None, json_out: bool) -> int:
    """Every paper that waits, the late ones first."""

    def work() -> None:
        with to_read(store) as record:
            today = moment().date()
            found = papers_due(record, today)
        if json_out:
            print(json.dumps([
                {"job": d.job, "number": d.number, "words": d.words, "late": d.late,
                 "by": d.by.isoformat() if d.by else None}
                for d in found
            ], indent=1))  # fmt: skip
            return
        for one in found:
            print(("LATE  " if one.late else "      ") + one.line(today))
        if any(one.about == UNCOLLECTED for one in found):
            print(LOCAL_LAW)
        if not found:
            print("No paper waits.")

    return said(work)


def _print_cover(cover: Cover | None) -> None:
    if cover is None:
        raise Refused(f"{paperwork.NO_PROGRAMME}: knowngood paper under FILE --job JOB")
    print(cover.sentence)
    for notice in cover.notices:
        print(f"  NOTICE {notice.id}: {notice.words}" + (": do not run it" * notice.stop_use))
    for missing in cover.missing if cover.answer != "can't say" else ():
        print(f"  not known yet: {missing}")
    print(f"  {ASK_LOCALLY}")


def say_set_aside(job: Job) -> None:
    """Words that were written for another part, and how they are taken again."""
    if said := set_aside(job):
        print(f"{said} Taken again by: knowngood paper words --job {job.name} --again")


def _print_claim(page: ClaimPage) -> None:
    print(f"Claim: {page.course.words}")
    print(page.cover.sentence)
    if page.worth is None:
        print("No part is decided on yet.")
    else:
        labour, diagnosis, parts, total = page.worth.words
        print(f"Worth {total}: labour {labour}, diagnosis {diagnosis}, parts {parts}")
        for note in page.worth.notes:
            print(f"  {note}")
    for lack in page.lacks:
        print(f"  missing: {lack.words} ({lack.fix}); at risk {lack.at_risk}")
    if page.keep_until is not None:
        print(f"Keep the failed part until {page.keep_until}: {page.programme.keep_how}")


def print_account(it: Account | None) -> None:
    """The customer's account. Raises Refused without an estimate."""
    if it is None:
        raise Refused("there is no estimate on this job yet; give its lines with --line")
    for line in it.bill.lines:
        print(f"  {line.words}: {line.amount}")
    for name, tax in it.bill.taxed.tax.items():
        print(f"  {name} tax, {it.bill.percent_of(name)}: {tax}")
    if it.bad_case is not None and it.bill == it.estimate:
        print(f"In 9 of 10 such jobs at most {it.bad_case}")
    if it.bill.deposit.amount:
        left = f" ({it.deposit_open} of it to come)" if it.deposit_open.amount else ", paid"
        print(f"Deposit before a part is ordered: {it.bill.deposit}{left}")
    print(f"Total {it.bill.taxed.gross}; paid {it.bill.paid}; left {it.bill.left}")
    if it.worthwhile is not None:
        print(it.worthwhile.sentence)
    print(it.gate.sentence if it.gate.open else f"STOP: {it.gate.sentence}")


def on_job(
    job: str, store: Path | None, by: str, work: Callable[[Record, At, str], None]
) -> int:
    """Run it on the job with this number; exit code."""

    def found() -> None:
        with Record.open(store_path(store), make=False) as record:
            at = At(in_shop_time(record, moment()), person(record, by))
            work(record, at, record.log.find(job))

    return said(found)


def said(work: Callable[[], None]) -> int:
    """Run it; what a person can put right is printed, code 2."""
    try:
        work()
    except (Refused, StoreProblem, MoneyProblem) as problem:
        print(problem, file=sys.stderr)
        return 2
    return 0


def text_of_file(file: Path) -> str:
    """A person's file as text. Raises Refused where it cannot be read."""
    return text_of(file, LARGEST, "programme file")


def moment() -> datetime:
    """Now, in whole seconds, with the zone of this computer."""
    return Clock()()
