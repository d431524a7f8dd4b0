"""The pages of what the shop has learned: strips, questions, answers; hostile words stay words."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from knowngood.places.bench import CheckIn, open_job
from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import Record
from knowngood.web.app import create_app
from knowngood.web.learned_view import WIDTH, strip
from tests.learn.test_limits import good, the
from tests.places.conftest import SMALL, at
from tests.places.mended import mended


@pytest.fixture(name="desk", scope="module")
def _desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    path = tmp_path_factory.mktemp("shop") / "shop.db"
    small, meter = find_machine(str(SMALL)), find_meter("generic-6000")
    with Record.open(path) as record:
        for number in range(1, 9):
            mended((record, small, meter), number, f"0.{20 + number % 3} ohm")
        mended((record, small, meter), 10, "3.5 ohm")
        open_job(record, CheckIn(small, "dead", "dead", meter, model="BT-5"), at(day=20), "next")
    with TestClient(create_app(path)) as client:
        yield client


def test_the_page_of_a_machine(desk: TestClient) -> None:
    page = desk.get("/learned").text
    assert "9 of 9 closed jobs proven, 18 known-good readings" in page
    page = desk.get("/learned/test-mower").text
    assert "Known good readings here" in page and '<svg class="strip-plot"' in page
    assert "8 known-good readings here." in page
    assert "Judged by at most 0.46 ohm: this shop" in page or "this shop&#39;s own readings" in page
    assert page.count('class="own"') == 8 + 9  # motor_ohms and pack_rest
    assert "Start box" in page and "reckoned" not in page
    first = desk.get("/learned/test-mower?model=brackwater bt-5").text
    assert "of this model" in first
    assert desk.get("/learned/test-mower?model=tolmin").status_code == 409
    for name in ("nothing", "..%2F..%2Fetc%2Fpasswd", "%2Fetc%2Fpasswd", "small.yaml"):
        assert desk.get(f"/learned/{name}").status_code in (404, 409)


def test_the_bench_leads_there(desk: TestClient) -> None:
    view = desk.get("/api/jobs/next").json()
    known = {one["id"]: one["known"] for one in (view["step"], *view["others"])
             if one["kind"] == "test"}  # fmt: skip
    assert known["motor_ohms"] == "/learned/test-mower#motor_ohms"
    assert known["box_ohms"] == ""  # nothing known good there yet


def test_a_reading_that_stands_out_is_answered_on_the_page(desk: TestClient) -> None:
    page = desk.get("/learned").text
    assert "does" not in desk.get("/learned/test-mower").text or "stands out" in page
    job = page.split('name="job" value="')[1].split('"')[0]
    form = {"job": job, "number": "2", "standing": "maybe", "by": "Ida", "reason": ""}
    assert desk.post("/learned", data=form).status_code == 409
    assert desk.post("/learned", data={**form, "number": "x"}).status_code == 409
    answer = {**form, "standing": "differs", "reason": "<script>alert(1)</script>"}
    assert "None: every known-good reading goes with the others" in desk.post(
        "/learned", data=answer
    ).text  # fmt: skip
    page = desk.get("/learned/test-mower").text
    assert "this machine differs" in page and "<script>alert" not in page


def test_a_strip_holds_every_reading_inside(desk: TestClient) -> None:
    machine = find_machine(str(SMALL)).it
    from knowngood.learn.limits import lesson

    it = lesson(the(machine, "pack_rest"), good([57.2, 57.3, 57.25, 57.4, 57.3, 57.31, 41.0]))
    found = strip(the(machine, "pack_rest"), it)
    assert len(found.marks) == 7 and found.expected is not None and found.next is not None
    assert all(0 < m.x < WIDTH and 0 < m.y < 53 for m in found.marks)
    assert [m.shape for m in found.marks].count("asked") == 1
    assert min(found.marks, key=lambda m: m.x).shape == "asked"  # 41 V stands alone at the left
    placed = {(m.x, m.y) for m in found.marks}
    assert len(placed) == 7
