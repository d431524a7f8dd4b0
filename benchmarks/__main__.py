"""Run benchmarks and write docs/benchmarks.md.

    python -m benchmarks [NAME ...] [--list]

A benchmark is a module of this folder with `run() -> dict`: `title`; `claim`, the sentence that the
figures bear out or not; `rows`, a list of flat dicts with the same keys; `notes`; `command`, what
repeats it. Without names all of them run. What is not run again keeps its last result, which lies
with its own date, machine and commit in benchmarks/results/.
"""

from __future__ import annotations

import importlib
import json
import os
import platform
import subprocess
import sys
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).resolve().parent
ROOT = FOLDER.parent
RESULTS = FOLDER / "results"
PAGE = ROOT / "docs" / "benchmarks.md"
KEYS = {"title", "claim", "rows", "notes", "command"}
LOOKED = "Each step of the planner is found by {} looks; the bench gives it up to 150 ms, for more."

Result = dict[str, Any]


def names() -> list[str]:
    """Every benchmark of this folder: a module whose text has a function `run`."""
    files = sorted(FOLDER.glob("*.py"))
    return [file.stem for file in files if "\ndef run(" in file.read_text(encoding="utf-8")]


def origin() -> dict[str, str]:
    """Where and on what a result was measured."""
    git = ["git", "-C", str(ROOT)]
    commit = _output([*git, "rev-parse", "--short", "HEAD"])
    changed = _output([*git, "status", "--porcelain", "--", "src", "benchmarks/*.py"])
    return {
        "measured": datetime.now(UTC).strftime("%Y-%m-%d"),
        "commit": (commit or "unknown") + (" with changes" if changed else ""),
        "machine": f"{_processor()}, {os.cpu_count()} cores, {platform.system()}",
        "versions": f"Python {platform.python_version()}, numpy {version('numpy')}",
    }


def _output(command: list[str]) -> str:
    try:
        return subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()
    except (OSError, subprocess.CalledProcessError):
        return ""


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        lines = []
    models = [line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")]
    return models[0] if models else platform.processor() or platform.machine()


def measure(name: str) -> Result:
    """Run one benchmark and keep its result."""
    return keep(name, importlib.import_module(f"benchmarks.{name}").run())


def keep(name: str, result: Result) -> Result:
    """Keep what a benchmark found, with where and on what, for the page."""
    if set(result) != KEYS or not result["rows"]:
        raise SystemExit(f"benchmarks/{name}.py: run() must give {sorted(KEYS)}, with rows")
    result |= origin()
    RESULTS.mkdir(exist_ok=True)
    text = json.dumps(result, indent=1, ensure_ascii=False) + "\n"
    (RESULTS / f"{name}.json").write_text(text, encoding="utf-8")
    return result


def page(results: list[Result]) -> str:
    """All results as one page of Markdown."""
    parts = [
        "# Measured claims",
        "Written by `python -m benchmarks`; not edited by hand. Each figure stands beside its peer "
        "from the same run on the same machine.",
    ]
    for result in results:
        parts += [f"## {result['title']}", result["claim"], table(result["rows"])]
        parts += [result["notes"]] if result["notes"] else []
        parts.append(
            f"Again: `{result['command']}`. Measured {result['measured']} at commit "
            f"{result['commit']}: {result['machine']}; {result['versions']}."
        )
    return "\n\n".join(parts) + "\n"


def table(rows: list[dict[str, Any]]) -> str:
    heads = list(rows[0])
    lines = ["| " + " | ".join(heads) + " |", "|" + " --- |" * len(heads)]
    lines += ["| " + " | ".join(_cell(row.get(head, "")) for head in heads) + " |" for row in rows]
    return "\n".join(lines)


def _cell(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.4g}"
    return str(value).replace("|", "\\|")


def main(arguments: list[str]) -> int:
    known = names()
    if "--list" in arguments:
        print("\n".join(known))
        return 0
    unknown = [name for name in arguments if name not in known]
    if unknown:
        print(f"no benchmark {', '.join(unknown)}; there are {', '.join(known)}", file=sys.stderr)
        return 2
    for name in arguments or known:
        print(f"{name} ...", flush=True)
        print(table(measure(name)["rows"]), flush=True)
    kept = [RESULTS / f"{name}.json" for name in known]
    results = [json.loads(file.read_text(encoding="utf-8")) for file in kept if file.exists()]
    PAGE.parent.mkdir(exist_ok=True)
    PAGE.write_text(page(results), encoding="utf-8")
    print(f"written: {PAGE.relative_to(ROOT)}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
