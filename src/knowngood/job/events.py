"""What can happen on a job: one frozen record a kind, plain data only.

An event holds text, numbers, yes/no, and mappings or lists of those. What the person was shown
(verdict, belief, proof) is stored as it was shown: a claim prints it and never works it out again,
so an old job opens the same after every later version of the planner.

Money is in the currency of the job's `rates`; minutes are minutes of work.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from knowngood.job.apart import ApartEvent
from knowngood.job.counter import CounterEvent
from knowngood.job.learning import LearningEvent
from knowngood.job.own_machines import OwnMachineEvent
from knowngood.job.paperwork import PaperEvent
from knowngood.job.plain import Plain
from knowngood.job.shelf import ShelfEvent
from knowngood.job.shop_files import ShopFileEvent
from knowngood.job.shop_sheet import ShopNoted
from knowngood.job.stockroom import StockroomEvent

Grade = Literal["measured", "seen"]
Answer = Literal["yes", "no", "can't tell"]
CheckResult = Literal["pass", "fail", "not applicable"]


@dataclass(frozen=True, slots=True)
class JobOpened:
    """A machine came in. `complaint` is the id of the machine's file, `customer_words` verbatim.

    `rates` is what the shop asked on that day: bench_rate (money an hour), currency, and so on.
    `promised` is what the customer was told, in words ("Thursday"); a date if it is one.
    """

    number: str
    machine_id: str
    machine_digest: str
    complaint: str
    customer_words: str = ""
    customer: str = ""
    maker: str = ""
    model: str = ""
    serial: str = ""
    meter: str = ""
    meter_digest: str = ""
    prices_digest: str = ""
    rates: Plain = field(default_factory=dict)
    promised: str = ""


@dataclass(frozen=True, slots=True)
class NumberGiven:
    """A job that was started offline gets the shop's number."""

    number: str


@dataclass(frozen=True, slots=True)
class DetailsNoted:
    """What the plate or the counter said later than check-in; "" leaves what stands."""

    serial: str = ""
    customer: str = ""
    model: str = ""
    maker: str = ""


@dataclass(frozen=True, slots=True)
class MeterChosen:
    name: str
    digest: str


@dataclass(frozen=True, slots=True)
class MachineAdopted:
    """The job goes on with a newer machine file."""

    digest: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class MachineNamed:
    """Which machine file it is and which of its complaints comes closest, said after check-in."""

    machine_id: str
    digest: str
    complaint: str


@dataclass(frozen=True, slots=True)
class MachineFileNoted:
    """The person's own file that the job's machine was read from: its whole path, and the digest of
    what it said, its family with it, when it was last read or last said to be left as it is."""

    path: str
    digest: str


@dataclass(frozen=True, slots=True)
class ReadingTaken:
    """What was read. `reading` is `Reading.to_dict()`; `question` what the person was asked.

    `condition` is the id of the condition, `circumstance` when an intermittent fault would show
    (rest, wiggled, warm, loaded), `visit` what ties readings of one sitting together.
    `corrects` names an earlier reading that this one replaces.
    """

    reading_id: str
    test: str
    question: str
    text: str
    reading: Plain
    condition: str = ""
    circumstance: str = "rest"
    visit: str = ""
    grade: Grade = "measured"
    corrects: str = ""


@dataclass(frozen=True, slots=True)
class ReadingJudged:
    """What the program said about a reading.

    `shown`: the belief per part as shown, whether it fits anything listed, the likeliest slip.
    """

    reading_id: str
    verdict: str
    sentence: str
    shown: Plain = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ReadingWithdrawn:
    reading_id: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class ToldNoted:
    """What the customer tried and saw: `told_id` of the machine's file, in words."""

    told_id: str
    words: str


@dataclass(frozen=True, slots=True)
class ToldWithdrawn:
    told_id: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Accepted:
    """A part taken as good on a person's word, without a test here."""

    part: str
    words: str
    by: str


@dataclass(frozen=True, slots=True)
class AcceptWithdrawn:
    part: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PartCalled:
    """ "I call it": the person names the part; its proof and its causes are left."""

    part: str
    words: str
    by: str


@dataclass(frozen=True, slots=True)
class CallWithdrawn:
    part: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class StepOpened:
    """A step of the teardown was done; `minutes` what it took or is reckoned to take."""

    step: str
    words: str
    minutes: float = 0.0
    where: str = ""
    """Where the parts and screws went: "tray 3, blue lid"."""


@dataclass(frozen=True, slots=True)
class StepClosed:
    step: str


@dataclass(frozen=True, slots=True)
class MinutesNoted:
    """Minutes spent on `what` (a step, or words). `measured`: by a clock, not by guess."""

    what: str
    minutes: float
    measured: bool = False


@dataclass(frozen=True, slots=True)
class PictureAdded:
    """`about` names what it belongs to: a step, a reading, "plate", "damage"."""

    digest: str
    caption: str = ""
    about: str = ""


@dataclass(frozen=True, slots=True)
class PictureWithdrawn:
    digest: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class CauseAnswered:
    """Why it failed: a root cause asked about and answered; `mend` what was done about it."""

    cause: str
    words: str
    ask: str
    answer: Answer
    evidence: str = ""
    mend: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class PartDecided:
    """The one part to order. `proof` is what was shown for it.

    `proof["readings"]`, a list of reading ids, says what the decision rests on; without it the
    decision rests on every reading that stood at the time.
    """

    part: str
    words: str
    number: str
    proven: bool
    sentence: str
    proof: Plain = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class DecisionWithdrawn:
    reason: str = ""


@dataclass(frozen=True, slots=True)
class ReleaseChecked:
    """One check before the machine is handed back. `reason` is asked for unless it passed."""

    check: str
    words: str
    result: CheckResult
    reason: str = ""


@dataclass(frozen=True, slots=True)
class NoteAdded:
    text: str


@dataclass(frozen=True, slots=True)
class EntryWithdrawn:
    """Something said was taken back; of several alike the one said last. `what` is "cause", "note",
    "details" or "check", `id` its cause, its text, "" or its check."""

    what: str
    id: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class JobClosed:
    """`outcome` in a word or two: repaired, returned unrepaired, no fault found, scrapped."""

    outcome: str
    words: str = ""


@dataclass(frozen=True, slots=True)
class JobReopened:
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Unknown:
    """A kind of event that this version does not know; kept whole, shown as a note."""

    name: str
    body: Plain


Event = (
    JobOpened
    | NumberGiven
    | DetailsNoted
    | MeterChosen
    | MachineAdopted
    | MachineNamed
    | MachineFileNoted
    | ReadingTaken
    | ReadingJudged
    | ReadingWithdrawn
    | ToldNoted
    | ToldWithdrawn
    | Accepted
    | AcceptWithdrawn
    | PartCalled
    | CallWithdrawn
    | StepOpened
    | StepClosed
    | MinutesNoted
    | PictureAdded
    | PictureWithdrawn
    | CauseAnswered
    | PartDecided
    | DecisionWithdrawn
    | ReleaseChecked
    | NoteAdded
    | EntryWithdrawn
    | JobClosed
    | JobReopened
    | CounterEvent
    | PaperEvent
    | StockroomEvent
    | ApartEvent
    | ShelfEvent
    | LearningEvent
    | ShopNoted
    | OwnMachineEvent
    | ShopFileEvent
    | Unknown
)
"""What happens at the bench, and the events of each chapter of a job (`job/chapters.py`)."""


@dataclass(frozen=True, slots=True)
class Envelope:
    """One event with where it came from.

    `seq` is given by the store and rises over the whole shop. `device` and `device_seq` are
    unique together, so sending twice is harmless. `based_on` is the last seq the device had seen.
    `device_time` keeps the device's own offset; `server_time` is UTC and `zone` is the shop's zone
    at that moment. `by` is the person.
    """

    seq: int
    job: str
    kind: str
    version: int
    device: str
    device_seq: int
    based_on: int
    device_time: datetime
    server_time: datetime
    zone: str
    by: str
    event: Event
