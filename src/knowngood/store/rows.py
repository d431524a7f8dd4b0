"""One row a job, worked out from its events: what lists and searches read.

The rows hold nothing of their own. They are written in the transaction that stores the events, and
made anew from the events when the program that opens the record makes them differently.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from knowngood import __version__
from knowngood.job.events import Envelope, JobOpened, NumberGiven
from knowngood.job.job import Job, replay
from knowngood.job.shop_sheet import SHOP
from knowngood.job.stockroom import STOCKROOM
from knowngood.job.unsafe import unsafe_words
from knowngood.job.waiting import Waits, waits_for
from knowngood.job.words import next_in_words
from knowngood.store.event_table import number, read_events
from knowngood.store.problem import StoreProblem
from knowngood.store.sql import Database, Row, Statements
from knowngood.store.words import INDEX, has_index, index_row, plain_words, words_of

ROWS = f"3 {__version__}"
"""Version of the rows and of the program whose words they hold; another one makes them anew."""

NO_DATE = "9999-12-31"  # so that what has no date comes last

TABLES = (
    """CREATE TABLE job_row (
        id INTEGER PRIMARY KEY,
        job TEXT NOT NULL UNIQUE,
        job_key TEXT NOT NULL,
        number TEXT NOT NULL,
        number_key TEXT NOT NULL,
        machine TEXT NOT NULL,
        customer TEXT NOT NULL,
        maker TEXT NOT NULL,
        model TEXT NOT NULL,
        serial TEXT NOT NULL,
        serial_key TEXT NOT NULL,
        complaint TEXT NOT NULL,
        state TEXT NOT NULL,
        stands TEXT NOT NULL,
        promised TEXT NOT NULL,
        waits TEXT NOT NULL,
        what TEXT NOT NULL,
        since TEXT NOT NULL,
        own TEXT NOT NULL,
        due TEXT NOT NULL,
        next TEXT NOT NULL,
        place TEXT NOT NULL,
        off TEXT NOT NULL,
        machine_digest TEXT NOT NULL,
        unsafe TEXT NOT NULL,
        events INTEGER NOT NULL,
        last_seq INTEGER NOT NULL,
        last_at TEXT NOT NULL,
        words TEXT NOT NULL
    )""",
    "CREATE INDEX job_row_key ON job_row (job_key)",
    "CREATE INDEX job_row_number ON job_row (number_key)",
    "CREATE INDEX job_row_serial ON job_row (serial_key)",
    "CREATE INDEX job_row_due ON job_row (stands, due, since, id)",
    "CREATE TABLE job_number (number TEXT NOT NULL, job TEXT NOT NULL, PRIMARY KEY (number, job))",
)

COLUMNS = (
    "job, number, machine, customer, maker, model, serial, complaint, state, stands, promised, "
    "waits, what, since, own, due, next, place, off, machine_digest, unsafe, events, last_seq, "
    "last_at"
)
_NAMES = tuple(name.strip() for name in COLUMNS.split(","))
_PLAIN = tuple(name for name in _NAMES if name not in ("stands", "due", "off", "last_at"))


@dataclass(frozen=True, slots=True)
class JobSummary:
    """One line of the list of jobs. `last_at` is in UTC.

    `waits`, `what`, `since`, `own`, `due`, `place` as in `job.waiting`; `next` what is next;
    `off` the ids of the teardown steps that are open, of the machine file `machine_digest`;
    `unsafe` what is wrong with a pack that must be left alone, "" for none.
    """

    job: str
    number: str
    machine: str
    customer: str
    maker: str
    model: str
    serial: str
    complaint: str
    state: str
    closed: bool
    promised: str
    waits: str
    what: str
    since: str
    own: str
    due: str
    next: str
    place: str
    off: tuple[str, ...]
    machine_digest: str
    unsafe: str
    events: int
    last_seq: int
    last_at: datetime

    @property
    def name(self) -> str:
        return self.number or self.job[:8]


def summary_of(row: Row) -> JobSummary:
    """The line that COLUMNS of a row make."""
    given = dict(zip(_NAMES, row, strict=True))
    return JobSummary(
        **{name: given[name] for name in _PLAIN},
        closed=given["stands"] == "closed",
        due="" if given["due"] == NO_DATE else given["due"],
        off=tuple(given["off"].split()),
        last_at=datetime.fromisoformat(given["last_at"]),
    )


def key(text: str) -> str:
    """A serial as it is compared: small letters and digits alone."""
    return "".join(plain_words(text))


def keep_rows(write: Statements, jobs: Iterable[str], indexed: bool) -> None:
    """Bring the rows of these jobs to what their events say now."""
    for job in jobs:
        if job not in (SHOP, STOCKROOM):  # these are no jobs
            _keep_row(write, job, indexed)


def make_rows(database: Database, write: Statements) -> None:
    """Make the rows of all jobs anew from the events."""
    if database.has_table(write, "job_words"):
        if not has_index(write):
            raise StoreProblem(
                f"The record at {database.place} has an index of words, which the SQLite of this "
                f"Python cannot read (it lacks FTS5). Use the Python it was made with."
            )
        write.execute("DROP TABLE job_words")
    for name in ("job_row", "job_number"):
        write.execute(f"DROP TABLE IF EXISTS {name}")
    indexed = has_index(write)
    for statement in (*TABLES, *([INDEX] if indexed else [])):
        write.execute(statement)
    first = write.rows("SELECT job, MIN(seq) FROM event GROUP BY job ORDER BY 2")
    keep_rows(write, [job for job, _ in first], indexed)


def _keep_row(write: Statements, job: str, indexed: bool) -> None:
    there = write.rows("SELECT id, words, stands FROM job_row WHERE job = ?", (job,))
    try:
        values, numbers = _row_of(read_events(write, "job = ? ORDER BY seq", (job,)))
    except StoreProblem as problem:  # this job cannot be read; the others can
        values, numbers = _unread(write, job, problem), []
    names = list(values)
    if there:
        id, *old = there[0]
        sets = ", ".join(f"{name} = ?" for name in names)
        write.execute(f"UPDATE job_row SET {sets} WHERE id = ?", [*values.values(), id])
    else:
        old = []
        marks = ", ".join("?" for _ in names)
        write.execute(
            f"INSERT INTO job_row ({', '.join(names)}) VALUES ({marks})", list(values.values())
        )
        id = write.rows("SELECT id FROM job_row WHERE job = ?", (job,))[0][0]
    if indexed:
        index_row(write, id, old or None, [str(values["words"]), str(values["stands"])])
    for given in numbers:
        write.execute("INSERT INTO job_number VALUES (?, ?) ON CONFLICT DO NOTHING", (given, job))


def _row_of(events: list[Envelope]) -> tuple[dict[str, object], list[str]]:
    job = replay(events)
    waits = waits_for(job)
    numbers = [e.event.number for e in events if isinstance(e.event, JobOpened | NumberGiven)]
    values = _values(job, waits) | {
        "events": len(events), "last_seq": job.last_seq,
        "last_at": events[-1].server_time.isoformat(),
    }  # fmt: skip
    return values, [one for one in numbers if one]


def _values(job: Job, waits: Waits) -> dict[str, object]:
    opened = job.opened
    maker, model, serial, customer, said, machine = "", "", "", "", "", ""
    if opened is not None:
        maker, model, serial = opened.maker, opened.model, opened.serial
        customer, said = opened.customer, opened.customer_words or opened.complaint
        machine = f"{maker} {model}".strip() or opened.machine_id
    texts = (customer, machine, said, opened.complaint if opened else "")
    return {
        "job": job.id, "job_key": job.id.casefold(),
        "number": job.number, "number_key": job.number.casefold(),
        "machine": machine, "customer": customer, "maker": maker, "model": model,
        "serial": serial, "serial_key": key(serial), "complaint": said, "state": job.state,
        "stands": "closed" if job.closed is not None else "open", "promised": waits.promised,
        "waits": waits.kind, "what": waits.what, "since": waits.since,
        "own": waits.own, "due": waits.due or NO_DATE, "next": next_in_words(job),
        "place": waits.place, "off": " ".join(step.step for step in job.open_steps),
        "machine_digest": job.machine_digest, "unsafe": unsafe_words(job),
        "words": words_of(job.number or job.id[:8], serial, texts),
    }  # fmt: skip


def _unread(read: Statements, job: str, problem: StoreProblem) -> dict[str, object]:
    texts = dict.fromkeys(
        ("number", "number_key", "machine", "customer", "maker", "model", "serial", "serial_key",
         "complaint", "promised", "what", "since", "own", "next", "place", "off",
         "machine_digest", "unsafe"), "",
    )  # fmt: skip
    last = number(read, "MAX(seq)", "job = ?", (job,))
    at = read.rows("SELECT server_time FROM event WHERE seq = ?", (last,))[0][0]
    return {
        **texts, "job": job, "job_key": job.casefold(), "state": str(problem), "stands": "open",
        "waits": "unread", "due": NO_DATE, "last_seq": last, "last_at": at,
        "events": number(read, "COUNT(*)", "job = ?", (job,)),
        "words": words_of(job[:8], "", ()),
    }  # fmt: skip
