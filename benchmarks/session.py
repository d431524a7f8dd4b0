"""What a session of the bench takes of the machine's memory.

A whole job is typed from a file: complaint, questions, a part called, the readings that prove it.

    python -m benchmarks session
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

from benchmarks.startup import _peak_megabytes

MACHINE, METER = "mower-battery-56v", "generic-6000"
TYPED = """@ 2026-03-01 09:00
dead, nothing happens
1
no
nothing
none
call start box
upper_half: OL
bail_sw_cycles: OL
yes
"""


def run() -> dict[str, Any]:
    """Peak resident memory of whole processes."""
    knowngood = [sys.executable, "-m", "knowngood"]
    with tempfile.TemporaryDirectory() as folder:
        typed = Path(folder) / "session.txt"
        typed.write_text(TYPED, encoding="utf-8")
        bench = [
            *knowngood, "bench", "--machine", MACHINE, "--meter", METER, "--serial", "2304A01175",
            "--store", str(Path(folder) / "shop.db"), "--session", str(typed),
        ]  # fmt: skip
        plan = [*knowngood, "plan", "--machine", MACHINE, "--complaint", "dead", "--meter", METER]
        rows = [
            {"what": what, "peak memory MB": round(_peak_megabytes(command), 1)}
            for what, command in (
                ("python -c pass", [sys.executable, "-c", "pass"]),
                ("a job at the bench, from complaint to proof", bench),
                ("a plan on paper", plan),
            )
        ]
    return {
        "title": "Memory of a session",
        "claim": "A job at the bench needs less than 200 MB.",
        "rows": rows,
        "notes": "Largest resident memory of the process, as the system counted it.",
        "command": "python -m benchmarks session",
    }


if __name__ == "__main__":
    for row in run()["rows"]:
        print(row)
