"""Fourteen machines of an invented shop that wait, each for something else, as of a given day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from importlib import resources

from knowngood.job import events as ev
from knowngood.job.shelf import AnswerAwaited, PartArrived, PartOrdered, Shelved
from knowngood.places.library import find_meter, machine_from
from knowngood.places.record import At, Record
from knowngood.store.log import new_job_id

METER = find_meter("generic-6000").text
NAMED = {
    "mower-battery-56v": ("Brackwater", "BM-561"),
    "hedge-trimmer-36v": ("Tolmin", "HT-36"),
    "rider-start-12v": ("Fenwick & Rowe", "R-12"),
}
MOWER, HEDGE, RIDER = "mower-battery-56v", "hedge-trimmer-36v", "rider-start-12v"


def fill(record: Record, now: datetime) -> dict[str, str]:
    """Open fourteen jobs in the days before `now`; their ids by the customer's name."""
    shop = _Shop(record, now)
    start = ev.PartDecided(
        "start_box", "Start box", "BW-1322", True,
        "Bail switch at its tabs, pressed, reads OL: a good start box cannot read that.",
    )  # fmt: skip
    trigger = ev.PartDecided(
        "trigger", "Trigger switch", "TM-0417", True, "It reads open pressed and released."
    )
    relay = ev.PartDecided("solenoid", "Start solenoid", "FR-220", False, "")
    console = ev.StepOpened("console", "Console cover off", 3, "tray 3")
    shell = ev.StepOpened("shell", "Right half of the shell", 6, "tray 1, blue lid")
    day = shop.day
    shop.job("Okafor", MOWER, "dead", "It will not start, it is dead.", 9, console, start,
             PartOrdered("start_box", "Start box", "BW-1322", "Brackwater", day(-1)),
             Shelved("shelf B2"))  # fmt: skip
    shop.job("Pohl", MOWER, "dead", "Clicks once and nothing.", 6, console, start,
             PartOrdered("start_box", "Start box", "BW-1322", "Brackwater", day(2)),
             Shelved("shelf B1"))  # fmt: skip
    shop.job("Roth", HEDGE, "dead", "Stopped in the middle of the hedge.", 5, shell, trigger,
             Shelved("bin 4"))  # fmt: skip
    shop.job("Ito", HEDGE, "dead", "Dead since it got wet.", 7,
             AnswerAwaited("New board at 120 USD, go on?", day(-1)), Shelved("bin 2"))  # fmt: skip
    shop.job("Silva", RIDER, "no_crank", "Clicks, does not crank.", 4, relay,
             AnswerAwaited("Is the battery under warranty?", day(3)),
             Shelved("yard, row 1"))  # fmt: skip
    shop.job("Novak", RIDER, "no_crank", "Nothing at all on the key.", 8, relay,
             PartOrdered("solenoid", "Start solenoid", "FR-220", "Fenwick & Rowe"),
             Shelved("yard, row 1"))  # fmt: skip
    shop.job("Berg", MOWER, "dead", "Blade will not turn.", 10, console, start,
             PartOrdered("start_box", "Start box", "BW-1322", "Brackwater", day(-3)),
             PartArrived("start_box", "Start box", "drawer 1"), Shelved("shelf A1"))  # fmt: skip
    shop.checked("Haas", MOWER, "dead", "Would not start after winter.", 11, start)
    shop.checked("Kim", HEDGE, "dead", "No power.", 6, trigger, failed=True)
    shop.job("Diaz", MOWER, "dead", "Beeps and stops.", 1, promised=day(3))
    shop.job("Wirth", HEDGE, "dead", "Does nothing.", 2, promised=day(-1))
    shop.job("Owusu", RIDER, "no_crank", "No crank, lights are on.", 3,
             ev.StepOpened("hood", "Hood up", 1, ""))  # fmt: skip
    shop.job("Lund", MOWER, "dead", "Stops after a minute.", 1)
    shop.job("Moss", HEDGE, "dead", "Trigger does nothing.", 4, shell, trigger,
             PartOrdered("trigger", "Trigger switch", "TM-0417", "Tolmin", day(7)),
             Shelved("bin 5"), promised=day(5))  # fmt: skip
    return shop.ids


def find_text(machine: str) -> str:
    file = resources.files("knowngood.machines") / "shipped" / f"{machine}.yaml"
    return file.read_text(encoding="utf-8")


class _Shop:
    """Jobs opened some days before now, the rest of what happened a day later at most."""

    def __init__(self, record: Record, now: datetime) -> None:
        self.record, self.now = record, now
        self.ids: dict[str, str] = {}

    def day(self, away: int) -> str:
        return (self.now.date() + timedelta(days=away)).isoformat()

    def job(
        self, customer: str, machine: str, complaint: str, words: str, ago: int,
        *events: ev.Event, promised: str = "",
    ) -> str:  # fmt: skip
        at = At(self.now - timedelta(days=ago), "Sam")
        job, files = new_job_id(), self.record.files
        opened = ev.JobOpened(
            self.record.log.new_job_number(f"{self.now:%y}-"), machine,
            files.keep_text(find_text(machine)), complaint, words, customer, *NAMED[machine],
            f"23{len(self.ids):02}A0{ago:04}", "generic-6000", files.keep_text(METER),
            promised=promised,
        )  # fmt: skip
        self.record.append(job, [opened], at)
        self.add(job, events, At(self.now - timedelta(days=max(ago - 1, 0), hours=1), "Ida"))
        self.ids[customer] = job
        return job

    def add(self, job: str, events: Sequence[ev.Event], at: At) -> None:
        self.record.append(job, events, at)

    def checked(
        self, customer: str, machine: str, complaint: str, words: str, ago: int,
        decided: ev.PartDecided, failed: bool = False,
    ) -> None:  # fmt: skip
        """Repaired, with every release check of its file made."""
        job = self.job(customer, machine, complaint, words, ago, decided)
        file = machine_from(find_text(machine), machine)
        checks: list[ev.Event] = [ev.ReleaseChecked(c.id, c.words, "pass") for c in file.release]
        if failed:
            last = file.release[0]
            checks.append(ev.ReleaseChecked(last.id, last.words, "fail", "runs on for 6 s"))
        self.add(job, [*checks, Shelved("shelf A2")], At(self.now - timedelta(days=1), "Ida"))
