"""The plan of a job on paper, from the bench."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from pypdf import PdfReader

from knowngood.web.app import create_app
from tests.web.test_entries import entry, reading, send, status


@pytest.fixture
def web(tmp_path: Path) -> Iterator[TestClient]:
    with TestClient(create_app(tmp_path / "shop.db")) as client:
        yield client


def front(web: TestClient, job: str) -> str:
    answer = web.get(f"/job/{job}/card.pdf")
    assert answer.status_code == 200 and answer.headers["content-type"] == "application/pdf"
    pages = PdfReader(io.BytesIO(answer.content)).pages
    assert len(pages) == 2
    return " ".join(pages[0].extract_text().split())


@pytest.mark.slow
def test_the_card_of_a_job_goes_on_from_its_readings(web: TestClient) -> None:
    opened = send(web, "c1", entry(
        1, "JobOpened", machine="mower-battery-56v", complaint="dead", words="It is dead",
    ))  # fmt: skip
    words = front(web, "c1")
    assert f"job {opened['job']['number']}" in words and "So far" not in words
    send(web, "c1", reading(2, "pack_rest", "57.9"), reading(3, "input_ohms", "212 kohm"))
    assert "So far 2 steps read" in front(web, "c1")
    decided = send(web, "c1", entry(4, "PartDecided", part="start_box"))
    assert status(decided) == ["stored"]
    assert "So far 2 steps read" in front(web, "c1")


def test_no_card_without_a_job_or_a_machine_file(web: TestClient) -> None:
    assert web.get("/job/nowhere/card.pdf").status_code == 404
    send(web, "c2", entry(1, "JobOpened", words="It is dead", customer="Rosa Okafor"))
    answer = web.get("/job/c2/card.pdf")
    assert answer.status_code == 409 and "no machine file" in answer.text
