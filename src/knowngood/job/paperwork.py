"""The papers of a job: cover, codes, estimate and who agreed, claim and answer, money that came in.

Amounts are exact decimals as text ("84.00") in the currency beside them; days are ISO dates as
text. "" is not known. What was entered by mistake is withdrawn by its `entry`, never rewritten.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from decimal import Decimal
from typing import Any, Literal

from knowngood.job.chapter import Chapter
from knowngood.job.plain import Plain, Stamp, Words

UNSAID = "-"
"""For what was noted by mistake: it is not known again."""
ClaimReply = Literal["accepted", "short-paid", "denied"]
PaperKind = Literal["programme", "codes", "approval", "words", "estimate", "agreement"]
"""What has no entry of its own and is taken back as the last of its kind; approval and words: the
programme's word before the work, and the claim's words as a person wrote them."""


@dataclass(frozen=True, slots=True)
class ProgrammeChosen:
    """The warranty programme of this job; `digest` pins its file. An empty one: no programme."""

    programme: str
    words: str = ""
    digest: str = ""


@dataclass(frozen=True, slots=True)
class CoverNoted:
    """What cover depends on. "" or nothing leaves what stands, `UNSAID` takes it back; `answers`:
    question -> yes, no or `UNSAID`."""

    use: str = ""
    purchased: str = ""
    delivered: str = ""
    made: str = ""
    failed: str = ""
    hours: str = ""
    proof: Words = ()
    answers: Plain = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CodesChosen:
    """Failure mode, cause and action of our list or the programme's, and its labour code."""

    mode: str = ""
    cause: str = ""
    action: str = ""
    labour: str = ""


@dataclass(frozen=True, slots=True)
class ProgrammeAgreed:
    """The programme's word before the work: up to how much, by whom, under what number."""

    up_to: str
    currency: str
    by: str
    number: str = ""


@dataclass(frozen=True, slots=True)
class ClaimWorded:
    """Complaint, cause and correction as a person wrote them for the claim; "" leaves the record's
    own words. All three at once: what was worded before is replaced."""

    complaint: str = ""
    cause: str = ""
    correction: str = ""


@dataclass(frozen=True, slots=True)
class EstimateMade:
    """What the customer was told it would cost. `lines`: under "lines" a list of mappings with
    kind, words, price, count and tax; `gross` and `bad_case` are sums with tax."""

    lines: Plain
    gross: str
    currency: str
    bad_case: str = ""


@dataclass(frozen=True, slots=True)
class CustomerAgreed:
    """Who agreed to how much, and how ("by phone"). `said`: "yes" or "no"; "" of an older record,
    where up to 0 is a no."""

    who: str
    how: str
    up_to: str
    currency: str
    said: str = ""

    @property
    def said_no(self) -> bool:
        return self.said == "no" or (not self.said and not Decimal(self.up_to))


@dataclass(frozen=True, slots=True)
class ClaimSent:
    """Sent, or sent again. `day` is the day on the paper."""

    entry: str
    day: str
    asked: str
    currency: str
    number: str = ""


@dataclass(frozen=True, slots=True)
class ClaimAnswered:
    entry: str
    day: str
    reply: ClaimReply
    granted: str
    currency: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class ClaimPaid:
    """Money of the programme that came in."""

    entry: str
    day: str
    amount: str
    currency: str


@dataclass(frozen=True, slots=True)
class MoneyTaken:
    """Money of the customer: a payment, a deposit; below zero what was given back."""

    entry: str
    day: str
    amount: str
    currency: str
    way: str = ""


@dataclass(frozen=True, slots=True)
class PaperWithdrawn:
    """A claim's move, money, or a part let go was entered by mistake."""

    entry: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PaperTakenBack:
    """The last of this kind was said by mistake: what stood before it stands again."""

    what: PaperKind
    reason: str = ""


@dataclass(frozen=True, slots=True)
class MailSent:
    """A message a person let go. `way`: the server it went by, or the file it was put into."""

    entry: str
    to: str
    subject: str
    way: str
    about: str = ""


@dataclass(frozen=True, slots=True)
class MailFailed:
    """A message that did not go out, and why, in words."""

    entry: str
    to: str
    subject: str
    reason: str
    about: str = ""


@dataclass(frozen=True, slots=True)
class PartLetGo:
    """The failed part is here no more. `how`: scrapped, sent to the programme, given back."""

    entry: str
    part: str
    how: str
    words: str = ""


PaperEvent = (
    ProgrammeChosen
    | CoverNoted
    | CodesChosen
    | ProgrammeAgreed
    | EstimateMade
    | CustomerAgreed
    | ClaimSent
    | ClaimAnswered
    | ClaimPaid
    | MoneyTaken
    | PaperWithdrawn
    | PaperTakenBack
    | MailSent
    | MailFailed
    | PartLetGo
    | ClaimWorded
)
Move = ClaimSent | ClaimAnswered | ClaimPaid


@dataclass(frozen=True, slots=True)
class Said:
    """Something that can be taken back, and the fields of the papers `before` it."""

    what: PaperKind
    event: PaperEvent
    at: Stamp
    before: Plain


@dataclass(frozen=True, slots=True)
class SetAside:
    """Words of a claim that were written for another part, `part` in words, and are not printed."""

    cause: str
    correction: str
    part: str


@dataclass(frozen=True, slots=True)
class Paperwork:
    """The papers as they stand. `moves`: the claim's story; `agreed`: each word of the customer's
    with when; both without what was withdrawn. `worded`: the claim's words as a person wrote them,
    and when, None where the record's own stand. `said`: what can be taken back as the last of its
    kind, in its order."""

    programme: ProgrammeChosen | None = None
    cover: CoverNoted = CoverNoted()
    codes: CodesChosen = CodesChosen()
    programme_agreed: ProgrammeAgreed | None = None
    estimate: EstimateMade | None = None
    estimated_at: Stamp | None = None
    agreed: tuple[tuple[CustomerAgreed, Stamp], ...] = ()
    moves: tuple[Move, ...] = ()
    taken: tuple[MoneyTaken, ...] = ()
    mails: tuple[tuple[MailSent | MailFailed, Stamp], ...] = ()
    let_go: tuple[tuple[PartLetGo, Stamp], ...] = ()
    worded: tuple[ClaimWorded, Stamp] | None = None
    said: tuple[Said, ...] = ()
    set_aside: SetAside | None = None


def _programme(it: Paperwork, event: ProgrammeChosen, at: Stamp) -> Paperwork:
    return replace(it, programme=event if event.programme else None)


def _cover(it: Paperwork, event: CoverNoted, at: Stamp) -> Paperwork:
    named = {f.name: getattr(event, f.name) for f in fields(event)}
    more = {name: value for name, value in named.items() if value and name != "answers"}
    more = {name: "" if value == UNSAID else value for name, value in more.items()}
    if UNSAID in event.proof:
        more["proof"] = ()
    answers = {**it.cover.answers, **event.answers}
    answers = {id_: answer for id_, answer in answers.items() if answer != UNSAID}
    return replace(it, cover=replace(it.cover, **more, answers=answers))


def _codes(it: Paperwork, event: CodesChosen, at: Stamp) -> Paperwork:
    named = {f.name: getattr(event, f.name) for f in fields(event)}
    return replace(it, codes=replace(it.codes, **{k: v for k, v in named.items() if v}))


def _programme_agreed(it: Paperwork, event: ProgrammeAgreed, at: Stamp) -> Paperwork:
    return replace(it, programme_agreed=event)


def _estimate(it: Paperwork, event: EstimateMade, at: Stamp) -> Paperwork:
    return replace(it, estimate=event, estimated_at=at)


def _agreed(it: Paperwork, event: CustomerAgreed, at: Stamp) -> Paperwork:
    return replace(it, agreed=(*it.agreed, (event, at)))


def _move(it: Paperwork, event: Move, at: Stamp) -> Paperwork:
    if any(move.entry == event.entry for move in it.moves):
        return it  # both phones said so
    return replace(it, moves=(*it.moves, event))


def _taken(it: Paperwork, event: MoneyTaken, at: Stamp) -> Paperwork:
    if any(one.entry == event.entry for one in it.taken):
        return it
    return replace(it, taken=(*it.taken, event))


def _mail(it: Paperwork, event: MailSent | MailFailed, at: Stamp) -> Paperwork:
    return replace(it, mails=(*it.mails, (event, at)))


def _let_go(it: Paperwork, event: PartLetGo, at: Stamp) -> Paperwork:
    if any(one.entry == event.entry for one, _ in it.let_go):
        return it
    return replace(it, let_go=(*it.let_go, (event, at)))


def _worded(it: Paperwork, event: ClaimWorded, at: Stamp) -> Paperwork:
    return replace(it, worded=(event, at) if event != ClaimWorded() else None)


def _withdrawn(it: Paperwork, event: PaperWithdrawn, at: Stamp) -> Paperwork:
    return replace(
        it,
        moves=tuple(move for move in it.moves if move.entry != event.entry),
        taken=tuple(one for one in it.taken if one.entry != event.entry),
        let_go=tuple(one for one in it.let_go if one[0].entry != event.entry),
    )


Fold = Callable[[Paperwork, Any, Stamp], Paperwork]


def _to_take_back(what: PaperKind, fold: Fold, *names: str) -> Fold:
    """The fold, which also keeps what stood in these fields."""

    def folded(it: Paperwork, event: Any, at: Stamp) -> Paperwork:
        before = {name: getattr(it, name) for name in names}
        return replace(fold(it, event, at), said=(*it.said, Said(what, event, at, before)))

    return folded


def _taken_back(it: Paperwork, event: PaperTakenBack, at: Stamp) -> Paperwork:
    last = next((one for one in reversed(it.said) if one.what == event.what), None)
    if last is None:
        return it  # both phones said so
    return replace(it, **last.before, said=tuple(one for one in it.said if one is not last))


def _codes_words(event: CodesChosen) -> str:
    named = ((f.name, getattr(event, f.name)) for f in fields(event))
    return "codes: " + ", ".join(f"{name} {code}" for name, code in named if code)


_FOLD: Mapping[type[Any], Fold] = {
    ProgrammeChosen: _to_take_back("programme", _programme, "programme"),
    CoverNoted: _cover,
    CodesChosen: _to_take_back("codes", _codes, "codes"),
    ProgrammeAgreed: _to_take_back("approval", _programme_agreed, "programme_agreed"),
    EstimateMade: _to_take_back("estimate", _estimate, "estimate", "estimated_at"),
    CustomerAgreed: _to_take_back("agreement", _agreed, "agreed"),
    ClaimSent: _move,
    ClaimAnswered: _move,
    ClaimPaid: _move,
    MoneyTaken: _taken,
    PaperWithdrawn: _withdrawn,
    PaperTakenBack: _taken_back,
    MailSent: _mail,
    MailFailed: _mail,
    PartLetGo: _let_go,
    ClaimWorded: _to_take_back("words", _worded, "worded"),
}

KINDS: Mapping[str, str] = {
    "programme": "choice of a programme", "codes": "codes", "words": "words of the claim",
    "approval": "word of the programme", "estimate": "estimate",
    "agreement": "word of the customer",
}  # fmt: skip

_WORDS: Mapping[type[Any], Callable[[Any], str]] = {
    ProgrammeChosen: lambda e: f"under {e.words or e.programme}" if e.programme else "no programme",
    CoverNoted: lambda e: "noted what cover depends on",
    CodesChosen: _codes_words,
    ProgrammeAgreed: lambda e: f"{e.by} of the programme agreed to {e.up_to} {e.currency}",
    EstimateMade: lambda e: f"estimate of {e.gross} {e.currency}",
    CustomerAgreed: lambda e: f"{e.who} said no ({e.how})" if e.said_no
    else f"{e.who} agreed to {e.up_to} {e.currency} ({e.how})",
    ClaimSent: lambda e: f"claim of {e.asked} {e.currency} sent" + (e.number and f", {e.number}"),
    ClaimAnswered: lambda e: f"claim {e.reply}" + (e.reason and f": {e.reason}"),
    ClaimPaid: lambda e: f"{e.amount} {e.currency} from the programme",
    MoneyTaken: lambda e: f"{e.amount} {e.currency} from the customer" + (e.way and f", {e.way}"),
    PaperWithdrawn: lambda e: "entry withdrawn" + (e.reason and f": {e.reason}"),
    PaperTakenBack: lambda e: f"the last {KINDS[e.what]} taken back"
    + (e.reason and f": {e.reason}"),
    MailSent: lambda e: f"mail to {e.to}: {e.subject} ({e.way})",
    MailFailed: lambda e: f"mail to {e.to} did not go out: {e.reason}",
    PartLetGo: lambda e: f"{e.part} {e.how}" + (e.words and f": {e.words}"),
    ClaimWorded: lambda e: "wrote the claim's words"
    if e != ClaimWorded() else "the claim's words are the record's again",
}

CHAPTER: Chapter[Paperwork] = Chapter(Paperwork(), _FOLD, _WORDS)
