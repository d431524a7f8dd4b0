"""With --all nothing may be skipped; without it the slow tests stay out."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

SUITE = """
import pytest

def test_good(): pass

@pytest.mark.slow
def test_long(): pass

@pytest.mark.xfail
def test_known_limit(): assert False

def test_left_out(): pytest.skip("no time")
"""


@pytest.mark.parametrize(
    ("options", "counts"),
    [
        ([], {"passed": 1, "skipped": 2, "xfailed": 1, "deselected": 1}),
        (["--all"], {"passed": 2, "failed": 1, "xfailed": 1, "error": 1}),
        (["--all", "-n", "2"], {"passed": 2, "failed": 1, "xfailed": 1, "error": 1}),
    ],
)
def test_a_skip_fails_where_all_is_asked_for(
    options: list[str], counts: dict[str, int], tmp_path: Path
) -> None:
    shutil.copy(Path(__file__).parent / "conftest.py", tmp_path)
    (tmp_path / "pytest.ini").write_text("[pytest]\nmarkers = slow\n")
    (tmp_path / "test_suite.py").write_text(SUITE)
    (tmp_path / "test_whole.py").write_text("import pytest\npytest.importorskip('not_there')\n")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *options]
    command += ["--continue-on-collection-errors", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path)
    last = done.stdout.strip().splitlines()[-1]
    found = {word: int(number) for number, word in re.findall(r"(\d+) ([a-z]+?)s?\b", last)}
    assert {word: found.get(word) for word in counts} == counts, done.stdout
    assert done.returncode == (1 if options else 0)
