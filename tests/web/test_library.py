"""The Library: what a file says, an unknown machine on the bench at once, files kept or refused."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from httpx import Response

from knowngood.calculate.all_sums import SUMS
from knowngood.machines.template import QUESTIONS
from knowngood.places.gather import load_job, look
from knowngood.places.own_machines import kept_files, own_file
from knowngood.places.record import Record
from knowngood.web.app import create_app
from knowngood.web.bench_view import bench_view
from tests.machines.test_guide import GUIDE

FAN = GUIDE.split("```yaml\n")[1].split("```")[0]
FAMILY = "hedge-trimmer-36v"


@pytest.fixture(name="desk")
def _desk(tmp_path: Path) -> Iterator[TestClient]:
    with TestClient(create_app(tmp_path / "shop.db")) as client:
        yield client


def text(answer: Response) -> str:
    return unescape(re.sub(r"<[^>]+>", "", answer.text))


def record(desk: TestClient) -> Record:
    found: Record = desk.app.state.here.record  # type: ignore[attr-defined]
    return found


def send(desk: TestClient, body: str, what: str, **fields: str) -> Response:
    return desk.post("/library/file", data={"text": body, "what": what, **fields})


def test_the_list_is_searched(desk: TestClient) -> None:
    everything = text(desk.get("/library"))
    assert "Families that come with the program (10)" in everything
    assert "Families that come with the program (1)" in text(desk.get("/library?q=riding"))
    assert "No machine file speaks of" in text(desk.get("/library?q=submarine"))


@pytest.mark.parametrize("id", [FAMILY, "blower-80v", "mower-4stroke"])
def test_a_file_shows_each_section_with_its_origin(desk: TestClient, id: str) -> None:
    page = text(desk.get(f"/library/machine/{id}"))
    for section in ("Complaints (", "Service parts (", "Tests and limits (", "Taking apart (",
                    "Faults (", "Before it goes back (", "entries: common practice"):  # fmt: skip
        assert section in page, section
    wired = desk.get(f"/library/machine/{id}/wiring.svg")
    if id == FAMILY:
        assert wired.headers["content-type"].startswith("image/svg+xml")
        assert "worked out from the wiring" in page and "limits 40.5 V to" in page
    assert (wired.status_code == 200) == (">Wiring<" in desk.get(f"/library/machine/{id}").text)
    saved = desk.get(f"/library/machine/{id}/file.yaml")
    assert f"machine: {id}" in saved.text


@pytest.mark.slow
def test_an_unknown_machine_is_on_the_bench_with_family_and_complaint(desk: TestClient) -> None:
    assert "most like?" in text(desk.get("/library/new"))
    assert "What is wrong with it?" in text(desk.get(f"/library/new/{FAMILY}"))
    complaint = "dead"
    sent = desk.post(f"/library/new/{FAMILY}", data={"complaint": complaint, "what": "job"},
                     follow_redirects=False)  # fmt: skip
    assert sent.status_code == 303, text(sent)
    job = re.fullmatch(r"/job/(\w+)/bench", sent.headers["location"])
    assert job is not None
    view = look(record(desk), job[1])
    assert view.next is not None and view.machine.id == "unknown"
    asked = [t for s in view.machine.teardown for t in s.traps if t.startswith("not seen yet")]
    assert len(asked) == len(QUESTIONS)  # the family has a pack, a shell and a motor
    page = text(desk.get("/library/machine/unknown"))
    assert f"Not seen yet ({len(QUESTIONS)})" in page and "Files of this shop (1)" in text(
        desk.get("/library"))  # fmt: skip

    before = load_job(record(desk), job[1]).machine_digest
    said = desk.post("/library/machine/unknown/answer", data={"question": "cells", "answer": "5"})
    assert "1 open job goes on with it" in text(said)
    after = load_job(record(desk), job[1])
    assert after.machine_digest != before
    assert look(record(desk), job[1]).machine.full_volts == pytest.approx(21.0)  # 5 x 4.2 V
    page = text(desk.get("/library/machine/unknown"))
    assert f"Not seen yet ({len(QUESTIONS) - 1})" in page and "Answered (1): put one right" in page
    said = desk.post("/library/machine/unknown/answer", data={"question": "cells", "answer": "10"})
    assert "1 open job goes on with it" in text(said)
    assert look(record(desk), job[1]).machine.full_volts == pytest.approx(42.0)  # 10 x 4.2 V
    wrong = desk.post("/library/machine/unknown/answer", data={"question": "cells", "answer": "x"})
    assert wrong.status_code == 409 and "write 10, or the volts on the label" in text(wrong)


def test_what_is_not_seen_yet_is_a_tap_from_the_step_that_shows_it_and_back(
    desk: TestClient,
) -> None:
    sent = desk.post(f"/library/new/{FAMILY}", data={"complaint": "dead", "what": "job"},
                     follow_redirects=False)  # fmt: skip
    job = sent.headers["location"].split("/")[2]
    view = bench_view(record(desk), job)
    steps = {s["id"]: s for s in view["apart"]["steps"]}
    asked = {one["id"]: one["page"] for s in steps.values() for one in s["unseen"]}
    assert set(asked) == {q.id for q in QUESTIONS}
    assert not [t for s in steps.values() for t in s["traps"] if "not seen yet" in t]
    opening = next(s for s in [view["step"], *view["others"]] if steps["pack_out"]["words"]
                   in s.get("opens", ()))  # fmt: skip
    assert "cells" in {one["id"] for one in opening["unseen"]}

    page, _, field = asked["cells"].partition("#")
    shown = desk.get(page).text
    assert f'id="{field}"' in shown and f'href="/job/{job}/bench"' in shown
    said = desk.post("/library/machine/unknown/answer",
                     data={"question": "cells", "answer": "5", "job": job})  # fmt: skip
    assert f'href="/job/{job}/bench"' in said.text and f'id="{field}"' not in said.text
    left = bench_view(record(desk), job)["apart"]["steps"]
    assert "cells" not in {one["id"] for s in left for one in s["unseen"]}


@pytest.mark.slow
def test_one_machine_stands_on_another_of_the_shop(desk: TestClient) -> None:
    desk.post(f"/library/new/{FAMILY}",
              data={"what": "file", "q-maker": "Tolmin", "q-model": "TX-18", "q-cells": "5 cells",
                    "words": "Our trimmer"})  # fmt: skip
    desk.post("/library/new/tolmin-tx-18", data={"what": "file", "q-model": "TX-18 B"})
    assert set(kept_files(record(desk))) == {"tolmin-tx-18", "tx-18-b"}
    own = own_file(record(desk), "tx-18-b")
    assert own is not None and own.base == "tolmin-tx-18"
    page = text(desk.get("/library/machine/tx-18-b"))
    assert "full 21 V" in page and "stands on tolmin-tx-18" in page
    ring = own_file(record(desk), "tolmin-tx-18")
    assert ring is not None
    turned = ring.text.replace(f"based_on: {FAMILY}", "based_on: tx-18-b")
    refused = send(desk, turned, "keep", id="tolmin-tx-18")
    assert refused.status_code == 409 and "a ring" in text(refused)
    away = desk.post("/library/machine/tolmin-tx-18/put-away")
    assert away.status_code == 409 and "tx-18-b stand on tolmin-tx-18" in text(away)
    desk.post("/library/machine/tx-18-b/put-away")
    desk.post("/library/machine/tolmin-tx-18/put-away")
    assert kept_files(record(desk)) == {}


def test_a_file_is_looked_at_kept_and_changed_with_its_comments(desk: TestClient) -> None:
    looked = send(desk, FAN, "look")
    assert "It is sound" in text(looked) and kept_files(record(desk)) == {}
    file = {"file": ("fan.yaml", FAN.encode())}
    kept = desk.post("/library/file", data={"what": "keep"}, files=file)
    assert "Kept." in text(kept) and "Cordless shop fan" in text(kept)
    again = send(desk, FAN, "keep")
    assert again.status_code == 409 and "there is a file fan-cordless already" in text(again)
    changed = FAN.replace("price: 60", "price: 65  # Ida: more of these")
    assert send(desk, changed, "keep", id="fan-cordless", reason="weights").status_code == 200
    assert "Ida: more of these" in desk.get("/library/machine/fan-cordless/file.yaml").text
    assert "Ida: more of these" in desk.get("/library/file?id=fan-cordless").text


def test_problems_are_shown_with_their_lines_and_nothing_is_stored(desk: TestClient) -> None:
    bad = FAN.replace("price: 60", "price: -2").replace("weight: 3", "wieght: 3")
    answer = send(desk, bad, "keep")
    page = text(answer)
    line = 1 + bad.splitlines().index("    price: -2")
    assert answer.status_code == 409 and "3 problems" in page
    assert f"line {line}: parts.pack.price is -2" in page and "price: -2" in page
    assert "Did you mean weight?" in page and kept_files(record(desk)) == {}
    shipped = send(desk, FAN.replace("machine: fan-cordless", f"machine: {FAMILY}"), "keep")
    assert shipped.status_code == 409 and "comes with the program" in text(shipped)


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"\xff\xfe\x00m", "not UTF-8"), (b"a: &x [1]\nb: *x\n", "names an entry"),
        (b"[" * 5000, "nested more than"), (b"a: " + b"{b: " * 40, "nested more than"),
        (b"machine: m\n" * 30_000, "here twice"), (b"- 1\n" * 50_000, "more than 40,000 entries"),
        (b"x" * 2_000_001, "larger than 2,000,000 bytes"), (b"machine: 3\nfaults: no\n", "faults"),
        (b"based_on: hedge-trimmer-36v\nbased_on: x\n", "twice"), (b"%YAML 9\n---\n", "line"),
        (b"!!python/object:os.system x\n", "tag"), (b"m\x00: 1\n", "not text"),
    ],
)  # fmt: skip
def test_anything_may_be_sent_and_nothing_is_stored(
    desk: TestClient, raw: bytes, said: str
) -> None:
    answer = desk.post("/library/file", data={"what": "keep"}, files={"file": ("a.yaml", raw)})
    assert answer.status_code in (409, 413), text(answer)
    assert said in text(answer) and kept_files(record(desk)) == {}


def test_fifty_megabytes_are_not_read(desk: TestClient) -> None:
    file = {"file": ("a.yaml", b"#" * 50_000_000)}
    answer = desk.post("/library/file", data={"what": "look"}, files=file)
    assert answer.status_code == 409 and "larger than 2,000,000 bytes" in text(answer)


def test_every_sum_has_a_page_and_answers_its_own_example(desk: TestClient) -> None:
    listed = desk.get("/library/sums").text
    for name, one in SUMS.items():
        assert f'href="/library/sums/{name}"' in listed
        shown = {i.name: i.example for i in one.inputs if i.default is None or i.shown}
        page = desk.get(f"/library/sums/{name}", params=shown)
        assert page.status_code == 200, (name, text(page))
        for words in (one.formula, one.source, one.stops):
            assert words in unescape(page.text), name
        assert 'id="answer"' in page.text, name


def test_a_sum_out_of_range_says_so(desk: TestClient) -> None:
    page = desk.get("/library/sums/pack-cells", params={"full": "900 ohm"})
    assert page.status_code == 409
    page = desk.get("/library/sums/wire-drop",
                    params={"awg": "900", "length": "3 m", "amps": "10 A"})  # fmt: skip
    assert page.status_code == 409 and "no wire gauge" in text(page)
    assert desk.get("/library/sums/nothing").status_code == 409
