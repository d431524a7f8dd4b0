"""Write the record of one job as this release writes it, once, at the release.

    python tests/old_records/make.py tests/old_records/v0_1_0.jsonl
    python tests/old_records/make.py tests/old_records/v0_1_0_details.jsonl

The others have what came to the first later (`LATER`). A file is never written again: every later
release must replay it. Shop, makers and people are invented for the demo.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from knowngood.job import apart, counter, learning, paperwork, shelf, stockroom
from knowngood.job import events as ev
from knowngood.job.own_machines import MachineDropped, MachineKept
from knowngood.job.shop_files import MailSet, ShopFileDropped, ShopFileKept, TaxesSet
from knowngood.job.shop_sheet import ShopNoted
from knowngood.measure.reading import Reading
from knowngood.store.export import lines
from knowngood.store.log import Entry, Log

JOB = "5b1f0c2e9a7d4c1f8e3b6a5d4c3b2a19"
START = datetime(2026, 3, 2, 9, 12, tzinfo=ZoneInfo("America/New_York"))

PACK = Reading(
    "value", "voltage", 20.1, 20.1, "V", "20.1 V", 0.003, 0.058, 0.01, "generic-6000", "60 V", 60.0
)
SWITCH = Reading(
    "value", "voltage", 0.012, 0.012, "V", "12 mV", 0.003, 0.058, 0.01, "generic-6000", "60 V", 60.0
)
MOTOR = Reading("over", "resistance", 60e6, None, "ohm", "OL", meter="generic-6000")

DESK: list[ev.Event] = [
    ev.JobOpened(
        number="",
        machine_id="brackwater-bt20",
        machine_digest="a" * 64,
        complaint="dead",
        customer_words="Worked on Sunday, nothing on Monday",
        customer="R. Okafor",
        maker="Brackwater",
        model="BT-20",
        serial="BW20-004417",
        meter="generic-2000",
        meter_digest="b" * 64,
        prices_digest="c" * 64,
        rates={"bench_rate": 95.0, "currency": "USD", "diagnosis_fee": 45},
        promised="2026-03-06",
    ),
    ev.NumberGiven("26-0007"),
    ev.MeterChosen("generic-6000", "d" * 64),
    ev.PictureAdded("e" * 64, "The plate", "plate"),
    ev.PictureAdded("f" * 64, "Thumb over the lens", "plate"),
    ev.PictureWithdrawn("f" * 64, "blurred"),
    ev.ToldNoted("charged", "charged overnight"),
    ev.ToldNoted("other-pack", "the other pack does not help either"),
    ev.ToldWithdrawn("other-pack", "it was the neighbour's tool"),
]
PHONE: list[ev.Event] = [
    ev.ReadingTaken(
        "r1",
        "pack-volts",
        "Pack at its terminals?",
        "2.01 V",
        {**PACK.to_dict(), "low": 2.01, "high": 2.01, "text": "2.01 V"},
        "pack-out",
        "rest",
        "1",
        "measured",
    ),
    ev.ReadingJudged(
        "r1",
        "fits nothing",
        "2.01 V fits no suspect; a slip of the point is likely.",
        {"belief": {"pack": 0.31, "trigger": 0.33}, "fits": False, "slip": "wrong range"},
    ),
    ev.ReadingTaken(
        "r2",
        "pack-volts",
        "Pack at its terminals?",
        "20.1 V",
        PACK.to_dict(),
        "pack-out",
        "rest",
        "1",
        "measured",
        corrects="r1",
    ),
    ev.ReadingJudged(
        "r2",
        "good",
        "20.1 V is a charged pack.",
        {"belief": {"trigger": 0.6, "board": 0.2}, "fits": True, "next": "Open the shell"},
    ),
    ev.MinutesNoted("pack-volts", 1.5, True),
    ev.StepOpened("shell", "Right half of the shell", 6.0, "tray 2, blue lid"),
    ev.Accepted("board", "swapped it for a known good one", "Ida"),
    ev.AcceptWithdrawn("board", "that one was not tried either"),
    ev.PartCalled("board", "Controller", "Sam"),
    ev.CallWithdrawn("board", "the trigger reads open"),
    ev.PartCalled("trigger", "Trigger switch", "Sam"),
    ev.ReadingTaken(
        "r3",
        "motor-ohms",
        "Motor lead to lead?",
        "OL",
        MOTOR.to_dict(),
        "shell-open",
        "rest",
        "1",
        "measured",
    ),
    ev.ReadingWithdrawn("r3", "the clip had slipped off"),
    ev.ReadingTaken(
        "r4",
        "switch-out",
        "Switch output, trigger held?",
        "12 mV",
        SWITCH.to_dict(),
        "trigger-held",
        "loaded",
        "1",
        "measured",
    ),
    ev.ReadingJudged(
        "r4",
        "bad",
        "12 mV where 20 V belong: nothing comes out of the trigger switch.",
        {"belief": {"trigger": 0.988, "board": 0.004}, "fits": True},
    ),
    ev.MachineAdopted("9" * 64, "switch number superseded"),
    ev.PartDecided(
        "trigger",
        "Trigger switch",
        "TS-114B",
        True,
        "Only the trigger switch explains 20.1 V in and 12 mV out.",
        {"readings": ["r2", "r4"], "belief": 0.988, "limit": 0.95},
    ),
    ev.DecisionWithdrawn("wrong revision of the number"),
    ev.PartDecided(
        "trigger",
        "Trigger switch",
        "TS-114C",
        True,
        "Only the trigger switch explains 20.1 V in and 12 mV out.",
        {"readings": ["r2", "r4"], "belief": 0.988, "limit": 0.95},
    ),
    ev.CauseAnswered(
        "dust",
        "metal dust in the switch",
        "Is there dust in the switch?",
        "yes",
        "grey film on the contacts",
        "blown out, gap sealed",
        "Sam",
    ),
    ev.StepClosed("shell"),
    ev.ReleaseChecked("trigger-off", "Stops when the trigger is let go", "pass"),
    ev.ReleaseChecked("guard", "Guard closes by itself", "not applicable", "has none"),
    ev.NoteAdded("Customer will bring the second pack too."),
    ev.JobClosed("repaired", "runs as new"),
    ev.JobReopened("second pack came in"),
]


DETAILS: list[ev.Event] = [
    DESK[0],
    ev.DetailsNoted("BW20-004471", "Rosa Okafor", "BT-20", "Brackwater"),
    ev.DetailsNoted(serial="BW20-004477"),
]


COUNTER: list[ev.Event] = [
    DESK[0],
    counter.CheckedIn(
        contact="555 0142",
        conditions=("after rain",),
        also=("weak",),
        accessories=("charger", "grass box"),
        fee="45 USD to look, credited when we mend it",
        storage="kept 30 days after the call",
        unsafe_asked=True,
        words="the green one",
    ),
    ev.MachineNamed("brackwater-bt20", "8" * 64, "weak"),
    counter.ContactNoted("555 0143"),
    counter.AccessoriesNoted(("charger",)),
    counter.PackTaken("p1", "BP40-1187", "5 Ah"),
    counter.PackTaken("p2", "BP40-0031", "", ("swollen", "hot")),
    counter.PackTaken("p3"),
    counter.PackWithdrawn("p3", "it was the charger"),
    counter.ComebackLinked("0" * 32, "25-0412", "new switch"),
    counter.ComebackWithdrawn("another machine"),
    counter.ComebackLinked("0" * 32, "25-0412", "new switch"),
    counter.PaymentNoted("not paid", "pays on Friday"),
    counter.HoldOverridden(("guard",), "Ida", "sold for parts", ("Guard closes by itself",)),
    counter.HandedBack("R. Okafor", "e" * 64, ("charger",), ("p1",), ("pack BP40-0031",)),
    counter.HandBackWithdrawn("came back for the charger"),
    ShopNoted(
        "Alder Lane Small Engine & Cordless", "3 Alder Lane", "555 0100", 95.0, "USD",
        "45 USD to look", "kept 30 days", 60.0, "America/New_York", ("Sam", "Ida"),
    ),
]  # fmt: skip

APART: list[ev.Event] = [
    DESK[0],
    ev.StepOpened("shell", "Right half of the shell", 6.0, "tray 2"),
    apart.StepNoted(
        "shell",
        {"kinds": [{"count": 8, "drive": "T20", "length": "16 mm", "where": "tray 2"}]},
        ("J1: red, black from the left",),
        ("return spring under the trigger",),
        "motor leads under the rib",
        "tray 2, blue lid",
        True,
    ),
    apart.StepNoted("shell", small=("spring and bushing",), cleared=("routing",)),
    apart.OwnStepMade("own-1", "Sticker over the hidden screw", ("shell",), "sharp edge"),
    ev.StepOpened("own-1", "Sticker over the hidden screw"),
    apart.PartInHand(
        "trigger", "Trigger switch", "wrong", "TS-114A", "", True, 5, 4, "four wires only"
    ),
    apart.PartInHand("trigger", "Trigger switch", "right", "TS-114C", "TS-114B -> TS-114C"),
    apart.PartTagged("trigger", "26-0007 trigger, held", "shelf 3", "open in every position"),
    ev.StepClosed("own-1"),
    apart.LineTicked("pinch:shell", "Look along the joint", "not good", "black lead on the rib"),
    apart.LineUnticked("pinch:shell", "moved it"),
    apart.LineTicked("pinch:shell", "Look along the joint", "good"),
    ev.StepClosed("shell"),
    apart.FastenersBack("shell", 7, 1, "one long one"),
    ev.MinutesNoted("shell", 31.0, True),
    apart.MinutesMended("shell", 9.0, "the phone lay about"),
    apart.StepTaught("own-1", "brackwater-bt20", "sticker_off"),
    apart.StepTaught("shell", "brackwater-bt20", "shell", 9.0),
    apart.VideoAdded("8" * 64, "shell off", "shell", 24.5),
]

PAPERS: list[ev.Event] = [
    DESK[0],
    paperwork.ProgrammeChosen("brackwater_outdoor", "Brackwater outdoor cover", "9" * 64),
    paperwork.CoverNoted(
        "household", "2024-04-19", "2024-04-20", "2024-01-05", "2026-02-27", "41",
        ("receipt with a date",), {"water": "no"},
    ),
    paperwork.CodesChosen("M05", "C04", "A01", "L20"),
    paperwork.ProgrammeAgreed("240.00", "USD", "J. Vale", "PA-118"),
    paperwork.EstimateMade(
        {"lines": [{"kind": "fee", "words": "looked at", "price": "45.00", "count": "1",
                    "tax": ""}],
         "taxes": {"percent": {"sales": "8.25"}, "on": "total", "step": "0.01",
                   "line_step": "0.01", "mode": "half up", "included": False}},
        "45.00", "USD", "60.00",
    ),
    paperwork.CustomerAgreed("R. Okafor", "by phone", "60.00", "USD"),
    paperwork.ClaimSent("c1", "2026-03-04", "118.50", "USD", "CL-7"),
    paperwork.ClaimAnswered("c2", "2026-03-20", "short-paid", "100.00", "USD", "labour cap"),
    paperwork.ClaimPaid("c3", "2026-03-28", "100.00", "USD"),
    paperwork.MoneyTaken("m1", "2026-03-28", "45.00", "USD", "cash"),
    paperwork.MoneyTaken("m2", "2026-03-28", "45.00", "USD", "cash"),
    paperwork.PaperWithdrawn("m2", "typed twice"),
]  # fmt: skip

SHELF: list[ev.Event] = [
    DESK[0],
    shelf.PartOrdered("trigger", "Trigger switch", "TS-114B", "Parts by post", "2026-03-09"),
    shelf.PartOrdered("bolt", "Blade bolt"),
    shelf.OrderWithdrawn("bolt", "found one"),
    shelf.Shelved("bin 4"),
    shelf.AnswerAwaited("120 USD, go on?", "2026-03-05"),
    shelf.AnswerCame("yes, go on"),
    shelf.Promised("2026-03-11"),
    shelf.PartArrived("trigger", "Trigger switch", "drawer 2"),
]

UNDONE: list[ev.Event] = [
    DESK[0],
    ev.DetailsNoted(serial="BW20-004477"),
    ev.EntryWithdrawn("details", reason="undone"),
    ev.NoteAdded("asked what was tried: nothing on the list"),
    ev.EntryWithdrawn("note", "asked what was tried: nothing on the list", "undone"),
    ev.CauseAnswered("dust", "metal dust in the switch", "Is there dust in the switch?", "no"),
    ev.EntryWithdrawn("cause", "dust", "undone"),
    ev.ReleaseChecked("guard", "Guard closes by itself", "pass"),
    ev.EntryWithdrawn("check", "guard", "undone"),
]

STOCK: list[ev.Event] = [
    DESK[0],
    stockroom.StockCounted("BW210", "BW-210", 3.0, "Start box", "shelf A2"),
    stockroom.StockReserved("BW210", JOB, 1.0),
    stockroom.StockUsed("u1", "BW210", 1.0, JOB),
    stockroom.OrderPlaced(
        "o1", "Brackwater parts",
        {"lines": [{"key": "BW310", "number": "BW-310", "count": 2, "price": "160.00",
                    "jobs": [JOB]}]},
        "USD", "12.50", "2026-03-09",
    ),
    stockroom.OrderReceived("r1", "o1", {"lines": [{"key": "BW310", "count": 1}]}),
    stockroom.PartSentBack("b1", "o1", "BW310", 1.0, "wrong revision"),
    stockroom.StockWithdrawn("b1", "it was right"),
]  # fmt: skip

LEARNING: list[ev.Event] = [
    DESK[0],
    learning.LessonsPinned("9" * 64, "31 known-good readings and 12 closed jobs of this shop"),
    learning.WarmthNoted(22.5),
    PHONE[0],
    learning.ReadingStands("r1", "differs", "a pack of another make"),
    learning.LessonsPinned(""),
]

MACHINES: list[ev.Event] = [
    DESK[0],
    MachineKept("brackwater-bt20", "7" * 64, "6" * 64, "described at the bench"),
    MachineKept("tolmin-tx40", "5" * 64, "5" * 64),
    MachineDropped("tolmin-tx40", "the same as another"),
]

PATH: list[ev.Event] = [DESK[0], ev.MachineFileNoted("/machines/bt20.yaml", "7" * 64)]

FILED: list[ev.Event] = [
    DESK[0],
    ShopFileKept("programme", "brackwater_outdoor", "Brackwater outdoor cover", "Brackwater",
                 "9" * 64),
    ShopFileKept("notices", "notices", "notices of the shop", "", "7" * 64),
    ShopFileDropped("notices", "notices", "the makers have their own"),
    MailSet("mail.example", 587.0, "starttls", "alder", "env:SHOP_MAIL", "shop@mail.example",
            {"estimate": "Dear {customer}"}),
    paperwork.PartLetGo("g1", "trigger", "scrapped", "kept long enough"),
    paperwork.PartLetGo("g2", "trigger", "scrapped", "typed twice"),
    paperwork.PaperWithdrawn("g2", "typed twice"),
    paperwork.MailSent("l1", "rosa@mail.example", "Estimate 26-0007", "mail.example", "estimate"),
    paperwork.MailFailed("l2", "rosa@mail.example", "Ready", "no connection", "ready"),
]  # fmt: skip

PAYMENT: list[ev.Event] = [
    DESK[0], counter.PaymentNoted("paid", "120, card"), counter.PaymentWithdrawn("wrong job"),
]  # fmt: skip

SUPPLIERS: list[ev.Event] = [
    DESK[0], stockroom.SupplierNoted("Brackwater parts", "USD", "50.00", "9.50")]  # fmt: skip

LISTS: list[ev.Event] = [
    DESK[0],
    stockroom.PriceListTaken(
        "Brackwater", "USD", "9" * 64,
        {"number": "Part number", "words": "Description", "price": "Price", "became": ""},
        "point", 4.0,
    ),
    stockroom.PriceListWithdrawn("Brackwater", "9" * 64, "an older one"),
]  # fmt: skip

WORDED: list[ev.Event] = [
    DESK[0], paperwork.ClaimWorded("does not start", "water in the trigger switch", ""),
]  # fmt: skip

TAXES: list[ev.Event] = [
    DESK[0],
    TaxesSet({"standard": "20", "reduced": "5.5"},
             {"labour": "standard", "part": "reduced", "fee": "", "credit": ""},
             "line", "0.05", "half even", True),
    *PAPERS[1:2],
    paperwork.CodesChosen("M05", "C03", "A01"),
    paperwork.CodesChosen("M01"),
    paperwork.PaperTakenBack("codes", "another job"),
    paperwork.CustomerAgreed("R. Okafor", "by phone", "60.00", "USD"),
    paperwork.PaperTakenBack("agreement", "it was the neighbour"),
]  # fmt: skip

LATER = {
    "details": DETAILS, "counter": COUNTER, "apart": APART, "papers": PAPERS, "shelf": SHELF,
    "undone": UNDONE, "stock": STOCK, "learning": LEARNING, "machines": MACHINES,
    "filed": FILED, "suppliers": SUPPLIERS, "payment": PAYMENT, "lists": LISTS,
    "worded": WORDED, "taxes": TAXES, "path": PATH,
}  # fmt: skip


def record(events: Sequence[ev.Event] = (*DESK, *PHONE)) -> list[str]:
    """The lines of events.jsonl for this job."""
    with tempfile.TemporaryDirectory() as folder, Log.open(Path(folder) / "shop.db") as log:
        for number, event in enumerate(events):
            device = "counter" if number < len(DESK) else "bench phone"
            now = START + timedelta(minutes=number)
            log.append(JOB, [Entry(event, device, number, None, now, "Sam")], now)
        return lines(log.events(JOB))


if __name__ == "__main__":
    target = Path(sys.argv[1])
    if target.exists():
        raise SystemExit(f"{target} is there already, and an old record is never written again")
    chosen = LATER.get(target.stem.rpartition("_")[2], [*DESK, *PHONE])
    target.write_text("\n".join([*record(chosen), ""]), encoding="utf-8")
