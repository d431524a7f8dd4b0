"""A machine taken apart, put together and handed back, as a phone sends it."""

from __future__ import annotations

import io
import itertools
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from pypdf import PdfReader

from knowngood.job.events import MachineAdopted
from knowngood.places.bench import CheckIn, open_job
from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import At, Record
from knowngood.web.app import create_app

SMALL = Path(__file__).parent.parent / "places" / "small.yaml"
START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("apart") / "shop.db"


@pytest.fixture(scope="module")
def web(store: Path) -> Iterator[TestClient]:
    with TestClient(create_app(store)) as client:
        yield client


class Phone:
    """One phone on one job; minutes of its clock pass only when told to."""

    numbers = itertools.count(1)

    def __init__(self, web: TestClient, job: str, by: str = "Ana") -> None:
        self.web, self.job, self.by = web, job, by
        self.device, self.n, self.minutes = f"phone-{next(self.numbers)}", 0, 0.0

    based_on: int | None = None

    def send(self, kind: str, after: float = 1.0, **body: Any) -> tuple[str, str]:
        """Status and message of one entry, ``after`` so many minutes."""
        self.n, self.minutes = self.n + 1, self.minutes + after
        at = (START + timedelta(minutes=self.minutes)).isoformat()
        entry = {"device_seq": self.n, "kind": kind, "device_time": at, "by": self.by,
                 "based_on": self.based_on, "body": body}  # fmt: skip
        sent = {"device": self.device, "events": [entry]}
        answer = self.web.post(f"/api/jobs/{self.job}/events", json=sent)
        assert answer.status_code == 200, answer.text
        (result,) = answer.json()["results"]
        return result["status"], result["message"]

    def do(self, kind: str, after: float = 1.0, **body: Any) -> None:
        assert self.send(kind, after, **body) == ("stored", "")

    def refused(self, kind: str, **body: Any) -> str:
        status, message = self.send(kind, **body)
        assert status == "refused"
        return message

    @property
    def view(self) -> Any:
        return self.web.get(f"/api/jobs/{self.job}").json()

    @property
    def apart(self) -> Any:
        return self.view["apart"]

    @property
    def to_do(self) -> list[str]:
        return [line["id"] for line in self.apart["lines"] if not line["done"]]


@pytest.fixture
def phone(store: Path, web: TestClient) -> Phone:
    with Record.open(store) as record:
        meter = find_meter("generic-6000")
        check_in = CheckIn(find_machine(str(SMALL)), "dead", meter=meter, serial="5100")
        job = open_job(record, check_in, At(START, "Sam")).job.id
    return Phone(web, job)


def test_from_the_first_screw_to_closed(phone: Phone) -> None:
    phone.do("StepOpened", step="plug", where="hangs on the left")  # takes the cover with it
    phone.do("StepNoted", step="cover", small=["spring of the flap"], routing="leads under the rib")
    assert [s["id"] for s in phone.apart["off"]] == ["cover", "plug"]
    phone.do("PartDecided", part="controller")
    for cause in ("grass", "motor_bad"):
        assert f"cause:{cause}" in phone.to_do
    phone.do("CauseAnswered", cause="grass", answer="yes")
    phone.do("CauseAnswered", cause="motor_bad", answer="no")
    assert phone.to_do == [
        "cause:grass", "part:controller", "tag:controller", "fit:controller", "back:plug",
        "prove:controls",
        "pinch:cover", "back:cover", "count",
    ]  # fmt: skip
    phone.do("LineTicked", line="cause:grass", words="Scrape the deck clean", result="done")
    phone.do("PartInHand", part="controller", verdict="right", number="BW-311",
             chain="BW-310 is now BW-311", beside=True, old_plugs=2, new_plugs=2)  # fmt: skip
    phone.do("PartTagged", part="controller", tag="26-0001 controller, held", tested="0.02 V")
    phone.do("PartFitted", part="controller")
    assert phone.refused("StepClosed", step="cover") == (
        "Lift the controller cover can't be back yet, still off inside it: unplug the controller. "
        "Put that back first"
    )
    phone.do("StepClosed", step="plug")
    phone.do("LineTicked", line="prove:controls", words="controls", result="good",
             text="0.4 ohm, OL released")  # fmt: skip
    phone.do("LineTicked", line="pinch:cover", words="pinch", result="good")
    phone.do("StepClosed", step="cover", back=7, over=1, words="a long one")
    count = phone.apart["count"]
    assert not count["even"]
    assert "LEFT OVER: 1 from lift the controller cover" in count["words"]
    phone.do("StepOpened", step="cover")  # it belonged in the rear corner
    worked = {"line": "prove:controls", "words": "controls"}
    for text in ("", "fine", "0.4 ohm"):  # a good without what the meter said proves nothing
        assert "such as" in phone.refused("LineTicked", **worked, result="good", text=text) or (
            not text
        )
    phone.do("LineTicked", **worked, result="good", text="0.4 ohm; OL let go")
    phone.do("LineTicked", line="pinch:cover", words="pinch", result="good")
    phone.do("StepClosed", step="cover", back=8)
    assert phone.apart["count"]["even"]
    phone.do("LineTicked", line="count", words="count", result="done")
    assert phone.to_do == []
    assert phone.refused("JobClosed", outcome="repaired").startswith("It may not leave")
    phone.do("ReleaseChecked", check="blade_stop", result="pass")
    phone.do("ReleaseChecked", check="two_actions", result="pass")
    phone.do("JobClosed", outcome="repaired")
    assert phone.view["closed"] == "repaired"


def test_the_release_holds_until_somebody_takes_it_on(phone: Phone) -> None:
    phone.do("ReleaseChecked", check="blade_stop", result="fail", reason="4 s")
    assert phone.apart["release"]["words"] == "held: 1 failed, 1 safety check not made"
    assert "may not leave" in phone.refused("JobClosed", outcome="fixed", anyway="he waits")
    assert "reason" in phone.refused("HoldOverridden", by="Sam", reason=" ")
    assert "name" in Phone(phone.web, phone.job, "").refused("HoldOverridden", reason="no blade")
    phone.do("HoldOverridden", by="Sam", reason="goes to the breaker without a blade")
    release = phone.apart["release"]
    assert release["words"] == "may go by override of 2 checks"
    assert release["checks"][0]["override"] == "Sam: goes to the breaker without a blade"
    phone.do("ReleaseChecked", check="two_actions", result="fail", reason="starts on one")
    assert phone.apart["release"]["held"], "what failed after the override is not covered by it"


def test_closed_without_everything_only_with_a_reason(phone: Phone) -> None:
    phone.do("StepOpened", step="cover")
    for check in ("blade_stop", "two_actions"):
        phone.do("ReleaseChecked", check=check, result="pass")
    said = phone.refused("JobClosed", outcome="repaired")
    assert "not put back: lift the controller cover" in said.casefold()
    phone.do("JobClosed", outcome="repaired", anyway="the customer takes the cover along")
    with Record.open(Path(phone.web.app.state.here.record.log.place)) as record:  # type: ignore[attr-defined]
        job = record.log.job(phone.job)
    assert job is not None and job.closed is not None
    assert job.closed.outcome == "closed with blanks"
    assert "the customer takes the cover along" in job.closed.words


def test_a_machine_that_stays_needs_no_checks(phone: Phone) -> None:
    phone.do("StepOpened", step="cover")
    phone.do("JobClosed", outcome="returned unrepaired")
    assert phone.view["closed"] == "returned unrepaired"


def test_the_clock_runs_by_itself_and_gaps_count_nothing(phone: Phone) -> None:
    phone.do("NoteAdded", text="begins")
    phone.do("NoteAdded", 4, text="screws look alike")
    phone.do("StepOpened", 5, step="cover")
    minutes = {m["what"]: m for m in phone.apart["minutes"]}
    assert (minutes["cover"]["minutes"], minutes["cover"]["how"]) == (9.0, "by the clock")
    assert minutes["cover"]["by"] == "Ana"
    phone.do("NoteAdded", 90, text="back from lunch")
    phone.do("StepOpened", 3, step="plug")
    assert {m["what"]: m["minutes"] for m in phone.apart["minutes"]} == {"cover": 9.0, "plug": 3.0}
    phone.do("StepClosed", 2, step="plug")
    other = Phone(phone.web, phone.job, "Ben")
    other.do("NoteAdded", 100, text="goes on")
    other.do("StepClosed", 6, step="cover")
    minutes = {m["what"]: m for m in phone.apart["minutes"]}
    assert (minutes["back plug"]["minutes"], minutes["back plug"]["by"]) == (2.0, "Ana")
    assert (minutes["back cover"]["minutes"], minutes["back cover"]["by"]) == (6.0, "Ben")


def test_the_clock_starts_when_the_step_is_in_front(phone: Phone) -> None:
    phone.minutes = 30.0
    since = (START + timedelta(minutes=32)).isoformat()
    phone.do("StepOpened", 6, step="cover", since=since)
    assert phone.apart["minutes"][0]["minutes"] == 4.0


def test_minutes_can_be_put_right(phone: Phone) -> None:
    phone.do("NoteAdded", text="begins")
    phone.do("StepOpened", 8, step="cover")
    phone.do("MinutesMended", what="cover", minutes=5, reason="the telephone")
    (cover,) = phone.apart["minutes"]
    assert (cover["minutes"], cover["how"]) == (5.0, "put right by Ana")
    assert "no minutes" in phone.refused("MinutesMended", what="nothing", minutes=5).casefold()
    for wrong in (-1, 7000, "5", True):
        assert "minutes" in phone.refused("MinutesMended", what="cover", minutes=wrong).casefold()


def test_a_step_of_the_jobs_own(phone: Phone) -> None:
    phone.do("StepOpened", step="cover")
    phone.do("StepOpened", step="own-7", words="Sticker over a <b>hidden</b> screw 🔩")
    one = {"count": 1, "drive": "T20", "length": "8 mm", "where": "cell 4"}
    phone.do("StepNoted", step="own-7", where="cell 4", fasteners=[one])
    off = phone.apart["off"][-1]
    assert (off["words"], off["count"]) == ("Sticker over a <b>hidden</b> screw 🔩", 1)
    assert phone.to_do == [
        "back:own-7", "prove:controls", "pinch:cover", "back:cover", "count",
    ]  # fmt: skip
    assert "still off inside it" in phone.refused("StepClosed", step="cover")


def test_two_phones_and_a_step_that_changed_meanwhile(phone: Phone) -> None:
    """The second phone was without network while the first put the step back."""
    phone.do("StepOpened", step="plug")
    other = Phone(phone.web, phone.job, "Ben")
    phone.do("StepClosed", step="plug")
    other.do("StepClosed", step="plug")  # both said so, and both stay on the record
    assert "gone back meanwhile" in other.refused("StepClosed", step="plug", back=3, over=1)
    other.do("StepNoted", step="plug", routing="was tied to the left")  # nothing noted is lost
    phone.do("StepClosed", step="cover")
    other.do("StepOpened", step="plug")
    assert [s["notes"] for s in other.apart["off"]] == [[], ["was tied to the left"]]
    phone.do("StepOpened", step="plug", where="tray 4")
    assert [s["where"] for s in phone.apart["off"]] == ["", "tray 4"]
    assert [s["by"] for s in phone.apart["off"]] == ["Ben", "Ben"], "who was first stands"


def test_nothing_is_stored_on_a_job_that_is_not_there(phone: Phone) -> None:
    for kind, body in (("NoteAdded", {"text": "x"}), ("DetailsNoted", {"serial": "1"})):
        said = Phone(phone.web, "no-such-job", "Ana").refused(kind, **body)
        assert said.startswith("There is no job 'no-such-job' here yet")


def test_what_the_new_machine_file_does_not_know_says_so(phone: Phone, store: Path) -> None:
    phone.based_on = phone.view["seq"]
    with Record.open(store) as record:
        job = record.log.job(phone.job)
        assert job is not None
        text = record.files.text_of(job.machine_digest).replace("harness_wiggle", "harness_bent")
        digest = record.files.keep_text(text)
        record.append(phone.job, [MachineAdopted(digest)], At(START + timedelta(minutes=1), "Sam"))
    said = phone.refused("ReadingTaken", test="harness_wiggle", text="0.3 ohm", reading_id="r9")
    assert "went over to another complaint or machine file meanwhile (by Sam)" in said


def test_a_control_that_reads_open_is_not_good(phone: Phone) -> None:
    """Limits of the test: below 2 ohm. The reading 40 ohm is 20 times that."""
    phone.do("PartDecided", part="start_box")
    phone.do("StepOpened", step="handle")
    assert "prove:box_ohms" in phone.to_do
    tick = {"line": "prove:box_ohms", "words": "Measure the start box"}
    assert "40 ohm is not under 2 ohm" in phone.refused(
        "LineTicked", **tick, result="good", text="40 ohm"
    )
    phone.do("LineTicked", **tick, result="not good", text="40 ohm")
    assert phone.apart["release"]["holding"][0] == "Measure the start box: fail"
    said = phone.refused("StepClosed", step="handle")
    assert "can't be back yet, not good: Prove: start box closed: 40 ohm" in said
    passed = {"check": phone.apart["release"]["checks"][0]["id"], "result": "pass"}
    assert "Nothing is run before that" in phone.refused("ReleaseChecked", **passed)
    assert "it may not leave" in phone.refused("JobClosed", outcome="repaired").casefold()
    phone.do("LineTicked", **tick, result="good", text="0.4 ohm")
    assert not any("start box: fail" in one for one in phone.apart["release"]["holding"])
    assert "prove:box_ohms" not in phone.to_do
    phone.do("LineUnticked", line="prove:box_ohms")
    assert "prove:box_ohms" in phone.to_do


def test_a_proof_that_is_not_good_is_closed_over_with_name_and_reason_only(phone: Phone) -> None:
    phone.do("PartDecided", part="start_box")
    phone.do("StepOpened", step="handle")
    tick = {"line": "prove:box_ohms", "words": "Measure the start box"}
    phone.do("LineTicked", **tick, result="not good", text="40 ohm")
    phone.do("StepClosed", step="handle", anyway="the customer takes it as it is")
    phone.do("HoldOverridden", by="Ana", reason="goes back unmended")
    checks = {one["id"]: one for one in phone.apart["release"]["checks"]}
    assert checks["prove:box_ohms"]["override"] == "Ana: goes back unmended"
    pages = PdfReader(io.BytesIO(phone.web.get(f"/job/{phone.job}/claim.pdf").content)).pages
    printed = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "the customer takes it as it is" in printed and "goes back unmended" in printed
    assert "Measure the start box FAILED" in printed


def test_the_part_in_hand(phone: Phone) -> None:
    phone.do("PartDecided", part="controller")
    given = {"part": "controller", "number": "BW-310"}
    said = phone.refused("PartInHand", **given, verdict="right", old_plugs=2, new_plugs=1)
    assert "2 plugs, this one 1" in said
    assert "what is wrong" in phone.refused("PartInHand", **given, verdict="wrong").casefold()
    phone.do("PartInHand", **given, verdict="wrong", reason="three wires only")
    (part,) = phone.apart["parts"]
    assert part["seen"]["verdict"] == "wrong"
    assert phone.apart["lines"][2]["wrong"] and "part:controller" in phone.to_do


def test_another_number_needs_its_reason(phone: Phone) -> None:
    """BW-311 replaces BW-310 by the machine's file; nothing leads to BW-999."""
    phone.do("PartDecided", part="controller")
    given = {"part": "controller", "verdict": "right", "old_plugs": 2, "new_plugs": 2}
    said = phone.refused("PartInHand", **given, number="BW-999")
    assert "BW-311 was ordered, this one is BW-999" in said
    assert "part:controller" in phone.to_do
    phone.do("PartInHand", **given, number="BW-999", reason="the maker's letter of 2 March")
    assert "part:controller" not in phone.to_do
    phone.do("PartInHand", **given, number="bw 311")
    assert "part:controller" not in phone.to_do


def test_a_failed_check_stops_what_runs(phone: Phone) -> None:
    phone.do("ReleaseChecked", check="blade_stop", result="fail", reason="4 s")
    assert phone.apart["release"]["stopped"] == ["blade_stop"]
    said = phone.refused("ReleaseChecked", check="two_actions", result="pass")
    assert "Nothing is run before that is mended" in said
    said = phone.refused("ReleaseChecked", check="blade_stop", result="pass")
    assert "say what was done about it" in said
    phone.do("ReleaseChecked", check="blade_stop", result="pass", reason="brake relined")
    phone.do("ReleaseChecked", check="two_actions", result="pass")
    assert phone.apart["release"]["checks"][0]["reason"] == "brake relined"
    assert not phone.apart["release"]["held"]


@pytest.mark.parametrize(
    ("kind", "body", "said"),
    [
        ("StepOpened", {"step": "covr"}, "Did you mean cover"),
        ("StepOpened", {"step": "cover", "since": "noon"}, "is no time"),
        ("StepOpened", {"step": "cover", "since": "2026-03-02T09:00"}, "offset"),
        ("StepClosed", {"step": "cover"}, "not off"),
        ("StepNoted", {"step": "nowhere"}, "no step"),
        ("StepNoted", {"step": "cover", "fasteners": [{"count": 0}]}, "1 to 999"),
        ("StepNoted", {"step": "cover", "fasteners": {"count": 3}}, "list"),
        ("StepNoted", {"step": "cover", "plugs": "red"}, "list"),
        ("LineTicked", {"line": "x", "words": "x", "result": "maybe"}, "one of"),
        ("LineUnticked", {"line": "x"}, "not ticked"),
        ("PartInHand", {"part": "wheel", "verdict": "right"}, "wheel"),
        ("PartFitted", {"part": "controller"}, "no part is decided"),
        ("DetailsNoted", {}, "nothing to note"),
    ],
)
def test_bad_input_is_answered_in_words(
    phone: Phone, kind: str, body: dict[str, Any], said: str
) -> None:
    assert said.casefold() in phone.refused(kind, **body).casefold()


def test_details_noted_later(phone: Phone) -> None:
    phone.do("DetailsNoted", serial="5101", customer="R. Okafor")
    assert phone.view["head"]["serial"] == "5101"


def test_the_wiring_of_a_machine_without_one(phone: Phone) -> None:
    assert phone.web.get(f"/api/jobs/{phone.job}/wiring").json() == {"svg": "", "points": []}


def test_the_wiring_has_its_points(store: Path, web: TestClient) -> None:
    with Record.open(store) as record:
        check_in = CheckIn(find_machine("rider-start-12v"), "no_crank")
        job = open_job(record, check_in, At(START, "Sam")).job.id
    found = web.get(f"/api/jobs/{job}/wiring").json()
    assert found["svg"].startswith("<svg ")
    tests = web.get(f"/api/jobs/{job}/plan").json()["tests"].values()
    probed = {node for test in tests for pair in test["probe"] for node in pair}
    assert probed <= {p["node"] for p in found["points"]}
    assert len({p["number"] for p in found["points"]}) == len(found["points"])
    one = web.get(f"/api/jobs/{job}/wiring", params={"test": "rest_volts"}).json()
    assert 'data-element="LOAD"' in found["svg"] and 'data-element="LOAD"' not in one["svg"]
    for p in found["points"]:
        assert 0 <= p["at"][0] <= found["width"] and 0 <= p["at"][1] <= found["height"]


def test_an_override_and_the_part_in_hand_print_on_the_claim(phone: Phone) -> None:
    phone.do("PartDecided", part="controller")
    phone.do("PartInHand", part="controller", verdict="right", number="BW-311",
             chain="replaces BW-310", old_plugs=2, new_plugs=2)  # fmt: skip
    phone.do("PartTagged", part="controller", tag="removed controller", where="shelf 3",
             tested="0.02 V over the input")  # fmt: skip
    phone.do("HoldOverridden", by="Sam", reason="goes to the breaker without a blade")
    answer = phone.web.get(f"/job/{phone.job}/claim.pdf")
    pages = PdfReader(io.BytesIO(answer.content)).pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "Let go although held (Blade seen still within 3.0 s of release: not checked; " in text
    assert "goes to the breaker without a blade" in text
    assert "Handed back by override." in text
    assert "replaces BW-310" in text
    assert "plugs 2 on the old, 2 on the new" in text
    assert "shelf 3; on the bench: 0.02 V over the input" in text
