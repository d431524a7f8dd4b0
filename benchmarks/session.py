"""What a session of the bench takes of the machine's memory.

A whole job is typed from a file: complaint, questions, a part called, the readings that prove it.
The first job on a machine with a meter works out what its wiring reads; the next finds that kept.

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
    with tempfile.TemporaryDirectory() as folder:
        kept = f"KNOWNGOOD_CACHE={Path(folder) / 'kept'}"
        knowngood = ["env", kept, sys.executable, "-m", "knowngood"]
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
                ("the first job on a machine, from complaint to proof", bench),
                ("the next one", bench),
                ("a plan on paper", plan),
            )
        ]
    return {
        "title": "Memory of a session",
        "claim": (
            "A job at the bench needs less than 200 MB, the first on a machine file less than 300."
        ),
        "rows": rows,
        "notes": "Largest resident memory of the process, as the system counted it.",
        "command": "python -m benchmarks session",
    }


if __name__ == "__main__":
    for row in run()["rows"]:
        print(row)
