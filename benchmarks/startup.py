"""How long a person waits before `knowngood` says its first word."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

TIMES = 21


def run() -> dict[str, Any]:
    """Median of 21 starts each, taken in turn so that a busy moment strikes all alike."""
    commands = {
        "python -c pass": [sys.executable, "-c", "pass"],
        "python -c 'import typer'": [sys.executable, "-c", "import typer"],
        "knowngood --help": [str(Path(sys.executable).parent / "knowngood"), "--help"],
    }
    seconds: dict[str, list[float]] = {name: [] for name in commands}
    for command in commands.values():
        _timed(command)  # the first start compiles
    for _ in range(TIMES):
        for name, command in commands.items():
            seconds[name].append(_timed(command))
    medians = {name: statistics.median(values) for name, values in seconds.items()}
    bare = medians["python -c pass"]
    memory = {name: _peak_megabytes(command) for name, command in commands.items()}
    return {
        "title": "Start of the command",
        "claim": "`knowngood --help` takes at most three times as long as loading its own library.",
        "rows": [
            {
                "command": name,
                "median ms": round(1000 * median, 1),
                "times bare Python": round(median / bare, 2),
                "peak memory MB": round(memory[name], 1),
            }
            for name, median in medians.items()
        ],
        "notes": f"Wall time of a whole process, {TIMES} starts each, in turn, compiled once.",
        "command": "python -m benchmarks startup",
    }


def _timed(command: list[str]) -> float:
    started = time.perf_counter()
    env = {key: v for key, v in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=env)
    return time.perf_counter() - started


def _peak_megabytes(command: list[str]) -> float:
    """Largest resident memory of a process, as the system counted it."""
    code = (
        "import resource, subprocess, sys; "
        "subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL); "
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    call = [sys.executable, "-c", code, *command]
    counted = int(subprocess.run(call, check=True, capture_output=True, text=True).stdout)
    return counted / (2**20 if sys.platform == "darwin" else 2**10)
