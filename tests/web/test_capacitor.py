"""The capacitor before a step: its volts are asked, judged and kept, on the bench and apart; and a
cause answered against a reading. The limit of 1 V is common practice."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from knowngood.places.bench import CheckIn, open_job
from knowngood.places.library import find_machine
from knowngood.places.record import At, Record
from knowngood.places.returning import returning
from knowngood.web.app import create_app
from tests.web.test_apart import SMALL, START, Phone

STEP = """
  cap_safe: {words: "Wait a minute, then measure the capacitor on itself; below 1 V to go on",
    role: discharge, minutes: 1, back_minutes: 0, needs: [cover],
    caution: "Above 1 V bleed it with about 1 kohm"}
"""


def with_capacitor(folder: Path) -> Path:
    """The small machine with a capacitor under its cover, and a cause that a reading tells of."""
    text = SMALL.read_text(encoding="utf-8")
    plug = "  plug: {words: unplug the controller, minutes: 1, back_minutes: 1, needs: [cover]}"
    grass = "mend: Scrape the deck clean,"
    assert plug in text and grass in text
    after = plug.replace("[cover]", "[cover, cap_safe]")
    text = text.replace(plug, f"{STEP.strip(chr(10))}\n{after}")
    text = text.replace(grass, f"{grass} read_by: [input_diode],")
    path = folder / "small-with-capacitor.yaml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("capacitor") / "shop.db"


@pytest.fixture(scope="module")
def web(store: Path) -> Iterator[TestClient]:
    with TestClient(create_app(store)) as client:
        yield client


@pytest.fixture
def phone(store: Path, web: TestClient) -> Phone:
    with Record.open(store) as record:
        check_in = CheckIn(find_machine(str(with_capacitor(store.parent))), "dead", serial="5100")
        job = open_job(record, check_in, At(START, "Sam")).job.id
    return Phone(web, job)


def volts_of(phone: Phone, test: str = "input_diode") -> dict[str, object] | None:
    view = phone.view
    step = next(s for s in [view["step"], *view["others"]] if s["id"] == test)
    found: dict[str, object] | None = step["discharge"]
    return found


def test_the_volts_are_asked_before_the_step_and_judged(phone: Phone) -> None:
    asked = volts_of(phone)
    assert asked is not None
    assert (asked["id"], asked["below"], asked["said"]) == ("cap_safe", 1.0, "")
    assert asked["opens"] == ["lift the controller cover"]
    assert "bleed it" in str(asked["cautions"])
    assert volts_of(phone, "pack_rest") is None
    for text, said in (
        ("31 V", "31 V is not below 1 V"), ("1 V", "1 V is not below 1 V"),
        ("-31", "-31 is not below 1 V"), ("empty", "no reading in volts"),
    ):  # fmt: skip
        phone.do("CapacitorRead", step="cap_safe", text=text)
        asked = volts_of(phone)
        assert asked is not None and said in str(asked["said"])
    assert phone.apart["off"] == []
    phone.do("CapacitorRead", step="cap_safe", text="400 mV")
    assert volts_of(phone) is None
    view = phone.view
    assert [s["step"] for s in view["off"]] == ["cover", "cap_safe"]
    assert view["undo"] == {"words": "volts on the capacitor: 400 mV", "kind": "StepClosed",
                            "body": {"step": "cap_safe"}}  # fmt: skip
    phone.do("StepClosed", step="cap_safe")
    assert volts_of(phone) is not None, "undone, it is asked again"


def test_nothing_further_comes_off_before_it_reads_empty(phone: Phone) -> None:
    plug = next(s for s in phone.apart["steps"] if s["id"] == "plug")
    assert plug["volts"]["id"] == "cap_safe" and plug["volts"]["said"] == ""
    for step in ("plug", "cap_safe", "PLUG", "Unplug the controller"):
        assert "Type the volts" in phone.refused("StepOpened", step=step)
    phone.do("StepOpened", step="cover")
    phone.do("CapacitorRead", step="cap_safe", text="12 V")
    assert "Type the volts" in phone.refused("StepOpened", step="plug")
    plug = next(s for s in phone.apart["steps"] if s["id"] == "plug")
    assert plug["volts"]["said"] == "12 V is not below 1 V"
    phone.do("CapacitorRead", step="cap_safe", text="zero point four volts")
    phone.do("StepOpened", step="plug")
    phone.do("PartDecided", part="controller")
    assert phone.to_do[0] == "discharge:cap_safe", "in the rebuild before hands go in, again"
    ticked = {"line": "discharge:cap_safe", "words": "Wait, measure", "result": "good"}
    for text in ("", "31 V"):
        assert phone.refused("LineTicked", text=text, **ticked)
    assert phone.send("LineTicked", 1.0, text="12 mV", **ticked)[0] == "stored"
    (found,) = [x for x in phone.apart["lines"] if x["id"] == "discharge:cap_safe"]
    assert found["said"] == "12 mV" and "bleed it" in found["caution"]


def test_a_plug_that_does_not_name_the_capacitor_waits_for_it_too(
    store: Path, web: TestClient
) -> None:
    """A charged one bites at the phase leads as well; the pack comes out before the shell."""
    with Record.open(store) as record:
        check_in = CheckIn(find_machine("hedge-trimmer-36v"), "dead", serial="5101")
        phone = Phone(web, open_job(record, check_in, At(START, "Sam")).job.id)
    phone.do("StepOpened", step="pack_out")
    phone.do("StepOpened", step="shell")
    found = {s["id"]: s for s in phone.apart["steps"]}
    for plug in ("motor_plug", "sensor_plug", "switch_plug", "gear_case"):
        assert found[plug]["volts"]["id"] == "cap_safe", plug
        assert found[plug]["first_ids"] == ["cap_safe"]
        assert "Type the volts" in phone.refused("StepOpened", step=plug)
    phone.do("CapacitorRead", step="cap_safe", text="0.2 V")
    phone.do("StepOpened", step="motor_plug")
    assert {s["volts"] for s in phone.apart["steps"]} == {None}


def test_a_later_reading_that_is_not_empty_counts_and_may_be_taken_back(phone: Phone) -> None:
    phone.do("CapacitorRead", step="cap_safe", text="0.4 V")
    phone.do("StepOpened", step="plug")
    phone.do("CapacitorRead", step="cap_safe", text="40 V")
    assert [one["id"] for one in phone.apart["off"]] == ["cover", "plug"]
    phone.do("CapacitorRead", step="cap_safe", text="0.2 V")
    phone.do("StepClosed", step="cap_safe")  # the Undo of it, though what needs it is off
    assert [one["id"] for one in phone.apart["off"]] == ["cover", "plug"]
    phone.do("CapacitorRead", step="cap_safe", text="0.2 V")
    phone.do("StepClosed", step="cover", anyway="kept shut over night")
    assert [one["id"] for one in phone.apart["off"]] == ["plug"], "what rests on it is not done"


def test_only_a_capacitor_takes_its_volts(phone: Phone) -> None:
    assert "measures no capacitor" in phone.refused("CapacitorRead", step="cover", text="0 V")
    assert "hat does the meter show" in phone.refused("CapacitorRead", step="cap_safe", text=" ")


def test_a_phone_without_the_shop_asks_them_as_well(phone: Phone) -> None:
    plan = phone.web.get(f"/api/jobs/{phone.job}/plan").json()
    (face,) = plan["volts"]
    (asked,) = [s for s in phone.view["others"] if s["id"] == "input_diode"]
    assert face.keys() == plan["blank"].keys() == asked.keys(), "one list of fields"
    assert face.keys() == asked["discharge"].keys()
    assert face["words"].startswith("Wait a minute") and face["below"] == 1.0


def test_a_cause_against_a_reading_is_told_with_it(phone: Phone) -> None:
    phone.do("CapacitorRead", step="cap_safe", text="0.1 V")
    phone.do("ReadingTaken", reading_id="r1", test="input_diode", text="0.01 V")
    phone.do("PartDecided", part="controller")
    grass = next(c for c in phone.view["causes"]["open"] if c["id"] == "grass")
    assert "controller input, diode test 0.01 V (bad)" in grass["against"]["no"]
    assert grass["against"]["yes"] == ""


def test_a_measured_capacitor_is_nothing_taken_off(phone: Phone, store: Path) -> None:
    phone.do("CapacitorRead", step="cap_safe", text="0.3 V")
    with Record.open(store) as record:
        there = returning(record, phone.job, START)
    assert [one.step for one in there.off] == ["cover"] and there.line.pieces == 1
