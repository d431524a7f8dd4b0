"""A job is opened: machine, meter, prices and the shop's terms of the day are pinned to it."""

from __future__ import annotations

from dataclasses import dataclass

from knowngood.isolate.prices import Prices
from knowngood.job import events as ev
from knowngood.job.events import Event
from knowngood.machines.machine import Machine
from knowngood.measure.meter import MeterSheet
from knowngood.places.from_file import noted
from knowngood.places.gather import View, look
from knowngood.places.lessons import pin
from knowngood.places.library import Known, make_setup, prices_text
from knowngood.places.premises import pinned_terms, prices_of
from knowngood.places.record import At, Record
from knowngood.store.log import new_job_id


@dataclass(frozen=True, slots=True)
class CheckIn:
    """A machine that came in. ``complaint``: id of the machine's file; ``words``: verbatim.
    ``machine`` None: no file knows it yet; ``prices`` None: the shop's. ``file``: the person's own
    that the machine was read from, "" for a shipped one or one of the Library."""

    machine: Known[Machine] | None
    complaint: str
    words: str = ""
    meter: Known[MeterSheet] | None = None
    prices: Prices | None = None
    customer: str = ""
    maker: str = ""
    model: str = ""
    serial: str = ""
    promised: str = ""
    number: str = ""
    file: str = ""


def opening(record: Record, check_in: CheckIn, at: At) -> ev.JobOpened:
    """The event that opens this job, its files kept; whether machine, complaint and meter go
    together is not looked at. Raises StoreProblem."""
    known, meter = check_in.machine, check_in.meter
    machine = known.it if known else None
    makers, models = (machine.makers, machine.models) if machine else ((), ())
    prices = check_in.prices or prices_of(record)
    return ev.JobOpened(
        number=check_in.number or record.log.new_job_number(f"{at.now:%y}-"),
        machine_id=machine.id if machine else "",
        machine_digest=record.files.keep_text(known.text) if known else "",
        complaint=check_in.complaint if machine else "",
        customer_words=check_in.words,
        customer=check_in.customer,
        maker=check_in.maker or (makers[0] if len(makers) == 1 else ""),
        model=check_in.model or (models[0] if len(models) == 1 else ""),
        serial=check_in.serial,
        meter=meter.it.name if meter else "",
        meter_digest=record.files.keep_text(meter.text) if meter else "",
        prices_digest=record.files.keep_text(prices_text(prices)),
        rates={
            "bench_rate": prices.bench_rate,
            "currency": prices.currency,
            **pinned_terms(record),
        },
        promised=check_in.promised,
    )


def open_job(record: Record, check_in: CheckIn, at: At, job_id: str = "") -> View:
    """Open a job: pin machine, meter, prices and what the shop has learned by digest, then write
    `JobOpened`."""
    if check_in.machine is not None:
        meter = check_in.meter.it if check_in.meter else None
        prices = check_in.prices or prices_of(record)
        make_setup(check_in.machine.it, check_in.complaint, meter, prices)
    job_id = job_id or new_job_id()
    machine = check_in.machine.it if check_in.machine else None
    pinned = pin(record, machine, check_in.meter.it if check_in.meter else None)
    opened: list[Event] = [opening(record, check_in, at)]
    if check_in.file and check_in.machine is not None:
        opened.append(noted(check_in.file, check_in.machine.text))
    record.append(job_id, [*opened, *pinned], at)
    return look(record, job_id)
