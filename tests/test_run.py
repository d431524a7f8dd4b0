"""run.py on its own: what it says when something is missing, and how it mends a half-made .venv."""

from __future__ import annotations

import ast
import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest
from pytest import CaptureFixture, MonkeyPatch

ROOT = Path(__file__).resolve().parent.parent
RUN = ROOT / "run.py"

JUNIT = """<testsuites><testsuite name="pytest" errors="1" failures="2" skipped="3" tests="10">
</testsuite></testsuites>"""


@pytest.fixture
def run(monkeypatch: MonkeyPatch, tmp_path: Path) -> ModuleType:
    """run.py as a module, for a checkout that is the empty folder `tmp_path`."""
    spec = importlib.util.spec_from_file_location("run_py", RUN)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    monkeypatch.setattr(module, "ROOT", tmp_path)
    monkeypatch.setattr(module, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(module, "PYTHON", tmp_path / ".venv" / "bin" / "python")
    monkeypatch.setattr(module, "STAMPS", tmp_path / ".venv" / "stamps")
    monkeypatch.setattr(module, "UNFINISHED", tmp_path / ".venv" / "stamps" / "unfinished")
    (tmp_path / "requirements").mkdir()
    for name in ("run", "test"):
        (tmp_path / "requirements" / f"{name}.lock").write_text("six==1.0\n")
    (tmp_path / "pyproject.toml").write_text("")
    return module


def test_an_older_python_can_read_it_and_is_told(
    run: ModuleType, monkeypatch: MonkeyPatch, capsys: CaptureFixture[str]
) -> None:
    ast.parse(RUN.read_text(encoding="utf-8"), feature_version=(3, 7))
    monkeypatch.setattr(run.sys, "version_info", (3, 9, 2))
    assert run.main(["demo"]) == 2
    assert "needs Python 3.11 or newer; this is 3.9.2" in capsys.readouterr().out


def test_it_uses_the_standard_library_only() -> None:
    tree = ast.parse(RUN.read_text(encoding="utf-8"))
    names = [node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    for node in ast.walk(tree):
        names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
    assert {str(name).split(".")[0] for name in names} <= sys.stdlib_module_names


def test_a_missing_venv_module_names_its_package(
    run: ModuleType, monkeypatch: MonkeyPatch, capsys: CaptureFixture[str]
) -> None:
    monkeypatch.setattr(run.importlib.util, "find_spec", lambda name: None)
    assert run.main(["demo"]) == 2
    assert "sudo apt-get install python3-venv" in capsys.readouterr().out


def test_a_folder_that_cannot_be_written_is_named(
    run: ModuleType, monkeypatch: MonkeyPatch, capsys: CaptureFixture[str]
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(run.tempfile, "TemporaryFile", refuse)
    assert run.main(["test"]) == 2
    said = capsys.readouterr().out
    assert str(run.ROOT) in said and "Permission denied" in said and len(said.splitlines()) == 1


def test_a_stop_promises_a_repair(
    run: ModuleType, monkeypatch: MonkeyPatch, capsys: CaptureFixture[str]
) -> None:
    def stop() -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(run, "make_venv", stop)
    assert run.main(["demo"]) == 130
    assert "Run the same command again" in capsys.readouterr().out


def test_the_stamp_changes_with_the_lock_and_the_place(
    run: ModuleType, monkeypatch: MonkeyPatch, tmp_path: Path
) -> None:
    lock = tmp_path / "requirements" / "run.lock"
    first = run.digest_of(lock)
    lock.write_text("six==1.1\n")
    second = run.digest_of(lock)
    (tmp_path / "moved").mkdir()
    shutil.copy(tmp_path / "pyproject.toml", tmp_path / "moved")
    monkeypatch.setattr(run, "ROOT", tmp_path / "moved")
    assert len({first, second, run.digest_of(lock)}) == 3


def test_the_counts_are_those_of_the_report(run: ModuleType, tmp_path: Path) -> None:
    (tmp_path / "report.xml").write_text(JUNIT)
    assert run.counts(tmp_path / "report.xml") == (4, 3, 3)
    assert run.counts(tmp_path / "missing.xml") == (0, 0, 0)


@pytest.mark.parametrize(("typed", "code"), [([], 2), (["--help"], 0), (["serve"], 2)])
def test_anything_else_shows_the_two_commands(
    run: ModuleType, typed: list[str], code: int, capsys: CaptureFixture[str]
) -> None:
    assert run.main(typed) == code
    said = capsys.readouterr().out
    assert "run.py demo" in said and "run.py test" in said


@pytest.mark.slow
def test_without_network_it_says_so_and_a_half_made_venv_is_mended(tmp_path: Path) -> None:
    """The package index is a port of this machine where nobody listens."""
    checkout, elsewhere = tmp_path / "a checkout", tmp_path / "elsewhere"
    elsewhere.mkdir()
    shutil.copytree(ROOT / "requirements", checkout / "requirements")
    for name in ("run.py", "pyproject.toml"):
        shutil.copy(ROOT / name, checkout)
    (checkout / ".venv" / "bin").mkdir(parents=True)
    (checkout / ".venv" / "bin" / "python").write_text("cut short")

    env = {name: value for name, value in os.environ.items() if not name.startswith("PIP_")}
    env |= {"PIP_CONFIG_FILE": os.devnull, "PIP_INDEX_URL": "http://127.0.0.1:9/simple"}
    done = subprocess.run(
        [sys.executable, str(checkout / "run.py"), "demo"],
        capture_output=True,
        text=True,
        cwd=elsewhere,
        env=env,
        timeout=120,
    )
    assert done.returncode == 2, done.stderr
    assert "there is no network" in done.stdout.splitlines()[-1]
    assert (checkout / ".venv" / "pyvenv.cfg").exists() and not done.stderr
    assert list(elsewhere.iterdir()) == []
