"""Checks on the house itself: size, names, clocks, packages, locks, documented commands.

Each rule is a function from source text (or a file) to what breaks it, tried first on a text that
breaks it, then on the project.
"""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest
import typer
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from knowngood.cli import app

ROOT = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PACKAGE = ROOT / "src" / "knowngood"

# Rooms that touch no disk, network, database or clock: `now` is handed to them.
PURE = ["documents", "diagnosis", "learn", "shop", "drawing", "job", "machines"]
PURE += ["circuit", "isolate", "listen", "calculate", "measure"]
PDF = PACKAGE / "documents" / "pdf.py"  # rendering alone may write
OUTSIDE = ["sqlite3", "sqlalchemy", "socket", "ssl", "requests", "urllib", "http", "httpx"]
OUTSIDE += ["fastapi", "starlette", "uvicorn", "subprocess", "shutil", "tempfile", "glob"]
CLOCKS = {
    "datetime": {"now", "utcnow", "today"},
    "date": {"today"},
    "time": {"time", "time_ns", "localtime", "gmtime", "ctime", "strftime"},
}
STOPWATCHES = {"perf_counter", "perf_counter_ns", "monotonic", "monotonic_ns"}  # isolate/ may
ON_DISK = {"read_text", "write_text", "read_bytes", "write_bytes", "mkdir", "unlink", "touch"}
NO_NAMES = {"utils", "util", "helpers", "helper", "common", "core", "manager"}


def python_files(*folders: str) -> list[Path]:
    return sorted(path for folder in folders for path in (ROOT / folder).rglob("*.py"))


def pure_files() -> Iterator[Path]:
    for room in PURE:
        single = PACKAGE / f"{room}.py"
        yield from [single] if single.exists() else sorted((PACKAGE / room).rglob("*.py"))


def shown(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def clocks(source: str, stopwatch: bool) -> list[str]:
    """Every use of a clock in a module's text, as `line: name`."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Attribute):
            owner = getattr(node.value, "attr", getattr(node.value, "id", ""))
            barred = CLOCKS.get(owner, set())
            if owner == "time" and not stopwatch:
                barred = barred | STOPWATCHES
            if node.attr in barred:
                found.append(f"{node.lineno}: {owner}.{node.attr}")
        elif isinstance(node, ast.ImportFrom) and node.module == "time":
            barred = CLOCKS["time"] | (set() if stopwatch else STOPWATCHES)
            found += [f"{node.lineno}: {name.name}" for name in node.names if name.name in barred]
    return found


def imports(source: str) -> Iterator[tuple[int, str]]:
    """Line and full name of everything imported absolutely."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, name.name) for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            yield from ((node.lineno, f"{node.module}.{name.name}") for name in node.names)


def doors(source: str) -> list[str]:
    """Imports and calls that reach disk, network or database, as `line: name`.

    Data shipped inside the package, read through importlib.resources, is no disk of a person.
    """
    found = [f"{line}: {name}" for line, name in imports(source) if name.split(".")[0] in OUTSIDE]
    shipped = any(name.startswith("importlib.resources") for _, name in imports(source))
    barred = ON_DISK - {"read_text", "read_bytes"} if shipped else ON_DISK
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        call = node.func
        if isinstance(call, ast.Name) and call.id == "open":
            found.append(f"{node.lineno}: open")
        elif isinstance(call, ast.Attribute) and call.attr in barred:
            found.append(f"{node.lineno}: {call.attr}")
    return found


def listed(*groups: str) -> set[str]:
    """Distributions that pyproject.toml names: what the program needs, and these groups."""
    project = PROJECT["project"]
    lines = [*project["dependencies"]]
    for extra in project.get("optional-dependencies", {}).values():
        lines += extra
    for group in groups:
        lines += PROJECT["dependency-groups"][group]
    return {canonicalize_name(Requirement(line).name) for line in lines}


@cache
def owners_of_modules() -> Mapping[str, list[str]]:
    return packages_distributions()


def unlisted(source: str, allowed: set[str]) -> list[str]:
    """Imported packages that are neither Python's, the project's nor allowed."""
    owners = owners_of_modules()
    found = []
    for line, module in imports(source):
        top = module.split(".")[0]
        if top in sys.stdlib_module_names or top in {"knowngood", "benchmarks", "tests", "tools"}:
            continue
        names = {canonicalize_name(name) for name in owners.get(top, [top])}
        if not names & allowed:
            found.append(f"{line}: {top}")
    return found


def offenders(files: Iterator[Path] | list[Path], rule: object, *options: object) -> list[str]:
    assert callable(rule)
    found = []
    for path in files:
        text = path.read_text(encoding="utf-8")
        found += [f"{shown(path)}:{what}" for what in rule(text, *options)]
    return found


def locked(name: str) -> dict[str, list[str]]:
    """Package -> its lines (version and marker) in one lock."""
    entries: dict[str, list[str]] = {}
    for line in (ROOT / "requirements" / f"{name}.lock").read_text(encoding="utf-8").splitlines():
        if "==" in line:
            entry = line.rstrip("\\ ")
            entries.setdefault(canonicalize_name(entry.split("==")[0]), []).append(entry)
    return entries


def test_no_file_is_longer_than_one_sitting() -> None:
    files = python_files("src", "tests", "benchmarks", "tools")
    files += [path for path in PACKAGE.rglob("*.js") if "vendor" not in path.parts]
    lengths = {shown(path): len(path.read_bytes().splitlines()) for path in files}
    assert {name: length for name, length in lengths.items() if length > 400} == {}


def test_no_drawer_for_everything() -> None:
    paths = [path.relative_to(ROOT) for path in python_files("src", "tests", "benchmarks", "tools")]
    parts = [(path, {*path.parts[:-1], path.stem}) for path in paths]
    assert [path.as_posix() for path, names in parts if names & NO_NAMES] == []


@pytest.mark.parametrize(
    ("source", "stopwatch", "count"),
    [
        ("import datetime\ndatetime.datetime.now()", True, 1),
        ("from datetime import date\nf = date.today", True, 1),
        ("import time\ntime.time()\ntime.monotonic()", True, 1),
        ("import time\ntime.time()\ntime.monotonic()", False, 2),
        ("from time import time, sleep", True, 1),
        ("from datetime import datetime\ndatetime(2026, 3, 1)", False, 0),
    ],
)
def test_the_clock_rule_sees_a_clock(source: str, stopwatch: bool, count: int) -> None:
    assert len(clocks(source, stopwatch)) == count


def test_no_clock_from_documents_down() -> None:
    timed = {path: "isolate" in path.parts for path in pure_files()}
    found = [line for path, watch in timed.items() for line in offenders([path], clocks, watch)]
    assert found == []


def test_the_door_rule_sees_a_door() -> None:
    source = "import sqlite3\nfrom urllib.request import urlopen\nopen('x')\np.read_text()"
    assert [what.split(": ")[1] for what in doors(source)] == [
        "sqlite3",
        "urllib.request.urlopen",
        "open",
        "read_text",
    ]
    assert doors("from importlib import resources\nresources.files('a').read_text()") == []


def test_no_disk_network_or_database_from_documents_down() -> None:
    assert offenders([path for path in pure_files() if path != PDF], doors) == []


def test_the_package_rule_sees_an_unlisted_package() -> None:
    assert unlisted("import pytest\nimport numpy.linalg\nimport os", listed()) == ["1: pytest"]


def test_every_imported_package_is_listed() -> None:
    assert offenders(python_files("src"), unlisted, listed()) == []
    assert offenders(python_files("tests", "benchmarks"), unlisted, listed("test", "data")) == []
    assert offenders([*python_files("tools"), ROOT / "run.py"], unlisted, set()) == []


@pytest.mark.parametrize("name", ["run", "test"])
def test_a_lock_has_digests_and_no_host(name: str) -> None:
    text = (ROOT / "requirements" / f"{name}.lock").read_text(encoding="utf-8")
    assert "://" not in text and "index" not in text.split("==")[0]
    for entry in re.split(r"\n(?=\S)", text.strip()):
        assert re.fullmatch(r"[\w.-]+==\S+( ; .+?)? \\\n(    --hash=sha256:\w{64}( \\\n)?)+", entry)


@pytest.mark.parametrize(
    ("name", "groups"), [("run", ["build"]), ("test", ["build", "test", "data"])]
)
def test_a_lock_covers_what_the_project_names(name: str, groups: list[str]) -> None:
    entries = locked(name)
    lines = [line for group in groups for line in PROJECT["dependency-groups"][group]]
    for line in PROJECT["project"]["dependencies"] + lines:
        wanted = Requirement(line)
        found = entries.get(canonicalize_name(wanted.name))
        assert found, f"{line} is not in requirements/{name}.lock; run tools/lock.py"
        for entry in found:
            version = entry.split("==")[1].split(" ")[0]
            assert wanted.specifier.contains(version), f"{line}, but {entry}; run tools/lock.py"


def test_the_lock_of_the_tests_contains_the_other() -> None:
    run, test = locked("run"), locked("test")
    assert {name: test.get(name) for name in run} == run


def commands() -> Iterator[str]:
    """Every command as a person types it."""
    group = typer.main.get_command(app)
    for name, command in getattr(group, "commands", {}).items():
        inner = getattr(command, "commands", None)
        yield from (f"{name} {part}" for part in inner) if inner else [name]


def test_every_command_is_documented() -> None:
    pages = [ROOT / "README.md", ROOT / "docs" / "scripts.md"]
    text = "\n".join(page.read_text(encoding="utf-8") for page in pages if page.exists())
    names = list(commands())
    assert {"isolate", "job list", "machine check"} <= set(names)
    assert [name for name in names if f"knowngood {name}" not in text] == []
