"""Letters of a job, from the shop's templates; nothing goes out without a person's tap.

Without a server they become files beside the record, to be sent by hand. What went out, or did not
and why, is an event of the job.
"""

from __future__ import annotations

import re
import ssl
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage
from email.utils import format_datetime, make_msgid
from typing import Final

from knowngood.documents.claim import claim_document
from knowngood.documents.pdf import render
from knowngood.job.job import Job
from knowngood.job.paperwork import MailFailed, MailSent
from knowngood.job.shop_files import MailSet
from knowngood.job.shop_sheet import SHOP
from knowngood.places.account import account_of
from knowngood.places.bill_paper import bill_paper
from knowngood.places.claim_paper import given_of
from knowngood.places.gather import load_job, setup_of
from knowngood.places.premises import letterhead, the_shop
from knowngood.places.programmes import files_of
from knowngood.places.record import At, Record, Refused
from knowngood.store.post import NotSent, Server, put_into, send
from knowngood.store.where import mail_folder

LETTERS: Final[Mapping[str, tuple[str, str]]] = {
    "estimate": (
        "Estimate for your {machine}, {number}",
        "Dear {customer},\n\nwe have looked at your {machine}. The estimate is attached: {total}"
        "{bad_case}.\n\nPlease tell us whether we shall go on, by answering this mail or by phone"
        "{phone}.\n\n{shop}",
    ),
    "part": (
        "Your {machine} waits for a part, {number}",
        "Dear {customer},\n\nthe part for your {machine} is on order. We tell you when it is done."
        "\n\n{shop}{phone}",
    ),
    "ready": (
        "Your {machine} is ready, {number}",
        "Dear {customer},\n\nyour {machine} can be fetched.{left}\n\n{storage}\n\n{shop}{phone}",
    ),
    "claim": (
        "Warranty claim {number}, serial {serial}",
        "Good day,\n\na warranty claim for {machine}, serial {serial}, is attached; its data is "
        "inside the file as JSON.\n\n{shop}{phone}",
    ),
}  # fmt: skip
"""Subject and text by what it is about; the shop's own templates go first."""
ADDRESS: Final = re.compile(r"[^\s@,;<>\"]{1,64}@[A-Za-z0-9.-]{1,190}[A-Za-z0-9]")
MOST: Final = 8000
_BUSY = threading.Lock()
_UNDER_WAY: set[str] = set()


@dataclass(frozen=True, slots=True)
class Letter:
    """`about`: an id of `LETTERS`; the PDF that belongs to it goes along."""

    about: str
    to: str
    subject: str
    body: str


def mail_of(record: Record) -> MailSet:
    """How the shop's mail goes out."""
    return files_of(record).mail


def set_mail(record: Record, mail: MailSet, at: At) -> None:
    """Keep how mail goes out. Raises Refused. A password itself is never taken."""
    check_mail(mail)
    record.append(SHOP, [mail], at)


def check_mail(mail: MailSet) -> None:
    """Raises Refused naming what is off."""
    if mail.server and not re.fullmatch(r"[A-Za-z0-9.:-]{1,200}", mail.server):
        raise Refused(f"{mail.server[:60]!r} is no server; write it like mail.example.org")
    if mail.server and not ADDRESS.fullmatch(mail.sender):
        raise Refused(f"{mail.sender[:60]!r} is no address to send from")
    if not (0 <= mail.port <= 65535 and mail.port == int(mail.port)):
        raise Refused(f"a port of {mail.port:g}; give 0 to 65535")
    if mail.secret and not re.fullmatch(r"(env:[A-Za-z_][A-Za-z0-9_]*|file:.+)", mail.secret):
        raise Refused('say where the password lies, not what it is: "env:NAME" or "file:PATH"')
    if mail.user and not mail.secret:
        raise Refused('a user needs a password: say where it lies, "env:NAME" or "file:PATH"')
    unknown = [name for name in mail.templates if name not in LETTERS]
    if unknown:
        raise Refused(f"there is no letter {unknown[0]!r}; there are: {', '.join(LETTERS)}")
    for name, text in mail.templates.items():
        _filled(str(text), dict.fromkeys(_VALUES, "x"), name)


def try_out(
    record: Record, to: str, now: datetime, trust: ssl.SSLContext | None = None
) -> str:  # fmt: skip
    """A short message through the server that is set, whose name is returned. Raises Refused;
    nothing is written down."""
    mail, shop = mail_of(record), letterhead(record).name
    if not mail.server:
        raise Refused(
            f"no mail server is set, so letters become files in {mail_folder(record.files.folder)}"
        )
    if not ADDRESS.fullmatch(to.strip()):
        raise Refused(f"{to[:60]!r} is no address; write it like name@example.org")
    letter = Letter("", to, f"Test from {shop}", f"Mail of {shop} goes out by {mail.server}.\n")
    try:
        _server(mail, _envelope(letter, mail, now), trust)
    except NotSent as reason:
        raise Refused(f"it did not go out: {reason}") from reason
    return mail.server


def _server(mail: MailSet, message: EmailMessage, trust: ssl.SSLContext | None) -> None:
    send(Server(mail.server, int(mail.port), mail.safety, mail.user, mail.secret), message, trust)


_VALUES: Final = (
    "customer", "machine", "number", "serial", "shop", "phone", "total", "bad_case", "left",
    "storage",
)  # fmt: skip


def letter_for(record: Record, job_id: str, about: str) -> Letter:
    """The letter as it would go out, to be read over. Raises Refused."""
    if about not in LETTERS:
        raise Refused(f"there is no letter {about!r}; there are: {', '.join(LETTERS)}")
    job = load_job(record, job_id)
    values = _values(record, job, about)
    subject, body = LETTERS[about]
    body = str(mail_of(record).templates.get(about) or body)
    found = ADDRESS.search(job.counter.contact) if about != "claim" else None
    text = _filled(body, values, about)
    return Letter(
        about, found[0] if found else "", _filled(subject, values, about),
        re.sub(r"\n{3,}", "\n\n", text),
    )  # fmt: skip


def _values(record: Record, job: Job, about: str) -> dict[str, str]:
    opened, shop, account = job.opened, the_shop(record), account_of(record, job)
    named = f"{opened.maker} {opened.model}".strip() if opened else ""
    left = account.bill.left if account else None
    asked = account and (account.estimate if about == "estimate" else account.bill).taxed.gross
    return {
        "customer": opened.customer if opened and opened.customer else "customer",
        "machine": named or job.counter.words or "machine",
        "number": job.name,
        "serial": opened.serial if opened else "",
        "shop": letterhead(record).name,
        "phone": f", {shop.phone}" if shop.phone else "",
        "total": str(asked) if asked else "no sum yet",
        "bad_case": f", at most {account.bad_case} in 9 of 10 such cases"
        if account and account.bad_case and account.estimate.taxed.gross < account.bad_case else "",
        "left": f" {left} is left to pay." if left and left.amount > 0 else "",
        "storage": shop.storage,
    }  # fmt: skip


def _filled(text: str, values: Mapping[str, str], about: str) -> str:
    """{name} replaced; anything else in braces is refused."""

    def put(found: re.Match[str]) -> str:
        if found[1] not in values:
            raise Refused(
                f"the letter {about} has {{{found[1]}}}; it may have {', '.join(_VALUES)}"
            )
        return values[found[1]]

    return re.sub(r"\{([^{}]*)\}", put, text)


def post(
    record: Record, job_id: str, letter: Letter, at: At, entry: str,
    trust: ssl.SSLContext | None = None,
) -> MailSent | MailFailed:  # fmt: skip
    """Let the letter go, once for each `entry`; what became of it is written down. Raises
    Refused for a letter that cannot be.
    """
    job = load_job(record, job_id)
    before = next((m for m, _ in job.paperwork.mails if m.entry == entry), None)
    if before is not None:
        return before
    if letter.about not in LETTERS:
        raise Refused(f"there is no letter {letter.about!r}; there are: {', '.join(LETTERS)}")
    if not ADDRESS.fullmatch(letter.to.strip()):
        raise Refused(f"{letter.to[:60]!r} is no address; write it like name@example.org")
    if not letter.subject.strip() or not letter.body.strip() or len(letter.body) > MOST:
        raise Refused(f"a letter needs a subject and a text of at most {MOST} characters")
    with _BUSY:
        if entry in _UNDER_WAY:
            raise Refused("it is on its way already; look again in a moment")
        _UNDER_WAY.add(entry)
    try:
        event = _sent(record, job, letter, at.now, entry, trust)
        record.append(job_id, [event], at)
        return event
    finally:
        with _BUSY:
            _UNDER_WAY.discard(entry)


def _sent(
    record: Record, job: Job, letter: Letter, now: datetime, entry: str,
    trust: ssl.SSLContext | None,
) -> MailSent | MailFailed:  # fmt: skip
    mail = mail_of(record)
    to, subject = letter.to.strip(), " ".join(letter.subject.split())
    message = _message(record, job, letter, mail, now)
    try:
        if not mail.server:
            path = put_into(mail_folder(record.files.folder), message, f"{job.name}-{letter.about}")
            return MailSent(entry, to, subject, f"file {path.name}", letter.about)
        _server(mail, message, trust)
    except NotSent as reason:
        return MailFailed(entry, to, subject, str(reason), letter.about)
    return MailSent(entry, to, subject, mail.server, letter.about)


def _message(
    record: Record, job: Job, letter: Letter, mail: MailSet, now: datetime
) -> EmailMessage:
    message = _envelope(letter, mail, now)
    paper = _paper(record, job, letter.about, now)
    if paper is not None:
        name, data = paper
        message.add_attachment(data, maintype="application", subtype="pdf", filename=name)
    return message


def _envelope(letter: Letter, mail: MailSet, now: datetime) -> EmailMessage:
    message = EmailMessage()
    message["Subject"] = " ".join(letter.subject.split())
    message["To"] = letter.to.strip()
    if mail.sender:
        message["From"] = mail.sender
    message["Date"] = format_datetime(now)
    domain = mail.sender.rpartition("@")[2] or "localhost"
    message["Message-ID"] = make_msgid(domain=domain)
    message.set_content(letter.body)
    return message


def _paper(record: Record, job: Job, about: str, now: datetime) -> tuple[str, bytes] | None:
    now = now.replace(microsecond=0)
    if about == "estimate":
        return f"estimate-{job.name}.pdf", render(bill_paper(record, job, now), {}, now)
    if about == "claim":
        files = record.files
        pictures = {p.digest: files.for_paper(p.digest) for p in job.pictures
                    if files.has(p.digest)}  # fmt: skip
        given = given_of(record, job, now.date())
        document = claim_document(
            job, setup_of(record, job).machine, letterhead(record), now, given
        )
        return f"claim-{job.name}.pdf", render(document, pictures, now)
    return None
