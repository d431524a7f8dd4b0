"""The page of measured claims is what the kept results say, and nothing else."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import pytest
from pytest import CaptureFixture

from benchmarks import calibration, families
from benchmarks.__main__ import KEYS, PAGE, RESULTS, ROOT, main, names, page, table
from tests.isolate.test_calibration import ELSEWHERE


def kept() -> list[Path]:
    return [file for name in names() if (file := RESULTS / f"{name}.json").exists()]


def test_the_page_is_written_from_the_results() -> None:
    results = [json.loads(file.read_text(encoding="utf-8")) for file in kept()]
    assert results and all(set(result) >= KEYS for result in results)
    assert PAGE.read_text(encoding="utf-8") == page(results)


def test_no_result_outlives_its_benchmark() -> None:
    assert sorted(RESULTS.glob("*.json")) == kept()


def test_calibration_tells_jobs_of_the_model_from_others() -> None:
    rows = calibration.run(40, 40, 0)["rows"]
    assert len(rows) == 2 + len(ELSEWHERE) and {tuple(row) for row in rows} == {tuple(rows[0])}
    assert 0 <= float(rows[0]["calibration error"]) < 0.2 and rows[1]["jobs"] == 20


@pytest.mark.slow
def test_calibration_shows_the_stops_without_proof() -> None:
    row = calibration.stopped("dead", range(2))
    assert row["stops unproven"] in ("0.0%", "50.0%", "100.0%") and not row["slope"]


def git(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["git", "-C", str(ROOT), *words], capture_output=True, text=True)


def has_history() -> bool:
    """A clone with all its commits, not a copy of the files or a shallow one."""
    return shutil.which("git") is not None and (
        git("rev-parse", "--is-shallow-repository").stdout.strip() == "false"
    )


def test_each_result_was_measured_at_a_commit_of_this_history() -> None:
    """Elsewhere its figures would be of files that nobody has. Where the history is not there only
    that nothing was changed by hand can be told."""
    at = {file.stem: json.loads(file.read_text(encoding="utf-8"))["commit"] for file in kept()}
    changed = [f"{name} ({commit})" for name, commit in at.items() if " " in commit]
    assert not changed, "measured with changes that are in no commit"
    if not has_history():
        return
    lost = [f"{name} ({commit})" for name, commit in at.items()
            if git("merge-base", "--is-ancestor", commit, "HEAD").returncode]  # fmt: skip
    assert not lost, "measured at a commit that is not an ancestor of this one"


def test_families_played_again_stand_beside_those_kept() -> None:
    first, second = families.families()[:2]
    kept = [{"family": first, "jobs": 20}, {"family": second, "jobs": 20}]
    rows = families.beside([{"family": second, "jobs": 2000, "commit": "abc"}], kept)
    assert rows == [{"commit": "", "family": first, "jobs": 20},
                    {"commit": "abc", "family": second, "jobs": 2000}]  # fmt: skip
    assert [list(r) for r in rows] == [["family", "jobs", "commit"]] * 2


def test_a_table_has_a_line_for_each_row() -> None:
    rows = [{"task": "a|b", "ms": 1.23456}, {"task": "c", "ms": 2}]
    lines = ["| task | ms |", "| --- | --- |", "| a\\|b | 1.235 |", "| c | 2 |"]
    assert table(rows).splitlines() == lines


def test_an_unknown_name_lists_those_there_are(capsys: CaptureFixture[str]) -> None:
    assert main(["bogus"]) == 2
    assert "startup" in capsys.readouterr().err
