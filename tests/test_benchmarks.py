"""The page of measured claims is what the kept results say, and nothing else."""

from __future__ import annotations

import json
from pathlib import Path

from pytest import CaptureFixture

from benchmarks.__main__ import KEYS, PAGE, RESULTS, main, names, page, table


def kept() -> list[Path]:
    return [file for name in names() if (file := RESULTS / f"{name}.json").exists()]


def test_the_page_is_written_from_the_results() -> None:
    results = [json.loads(file.read_text(encoding="utf-8")) for file in kept()]
    assert results and all(set(result) >= KEYS for result in results)
    assert PAGE.read_text(encoding="utf-8") == page(results)


def test_no_result_outlives_its_benchmark() -> None:
    assert sorted(RESULTS.glob("*.json")) == kept()


def test_a_table_has_a_line_for_each_row() -> None:
    rows = [{"task": "a|b", "ms": 1.23456}, {"task": "c", "ms": 2}]
    lines = ["| task | ms |", "| --- | --- |", "| a\\|b | 1.235 |", "| c | 2 |"]
    assert table(rows).splitlines() == lines


def test_an_unknown_name_lists_those_there_are(capsys: CaptureFixture[str]) -> None:
    assert main(["bogus"]) == 2
    assert "startup" in capsys.readouterr().err
