"""`knowngood machine check`: what is wrong with a machine file, and what its tests can tell."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path

from knowngood.machines.check import Report, report_text
from knowngood.machines.machine import Machine
from knowngood.machines.nearest import did_you_mean
from knowngood.machines.shipped import load_shipped, shipped_names
from knowngood.machines.tree import LARGEST
from knowngood.measure.problem import Problem
from knowngood.places.library import bases_beside


def check(file: Path | str, json_out: bool = False) -> int:
    """Check a machine file, or a shipped machine by name; 0 sound, 2 with problems.

    Problems go to standard error, each with file, line and the way out; notes and the summary to
    standard output. With ``json_out`` all goes to standard output as JSON.
    """
    name = str(file)
    text, problem = _text(name)
    name = name.encode("utf-8", "replace").decode()
    if text is None:
        return _tell(name, None, Report((problem or Problem(name, 0, "cannot be read"),)), json_out)
    machine, report = report_text(text, name, bases_beside(name))
    return _tell(name, machine, report, json_out)


def _text(name: str) -> tuple[str | None, Problem | None]:
    if name in shipped_names():
        return load_shipped(name), None
    try:
        with Path(name).open("rb") as source:
            raw = source.read(LARGEST + 1)
        if len(raw) > LARGEST:
            return None, Problem(name, 0, f"the file has more than {LARGEST:,} bytes",
                                 "Keep pictures and manuals beside the file, not in it")
        return raw.decode("utf-8-sig"), None
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        return None, Problem(name, line, "this is not UTF-8 text", "Save the file as plain UTF-8")
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        near = did_you_mean(name, shipped_names())
        return None, Problem(name, 0, f"cannot be read ({why})",
                             f"Give the path of a machine file, or a shipped name. {near}")


def _tell(name: str, machine: Machine | None, report: Report, json_out: bool) -> int:
    code = 2 if report.problems else 0
    if json_out:
        print(json.dumps(
            {
                "file": name,
                "sound": code == 0,
                "problems": [asdict(p) for p in report.problems],
                "notes": [asdict(p) for p in report.notes],
                "untold": [asdict(p) for p in report.untold],
                "proofs": [asdict(p) for p in report.proofs],
            },
            ensure_ascii=False,
        ))
        return code
    for problem in report.problems:
        print(problem, file=sys.stderr)
    if code or machine is None:
        count = len(report.problems)
        print(f"{count} {'problem' if count == 1 else 'problems'} in {name}", file=sys.stderr)
        return code
    for note in report.notes:
        print(f"note: {note}")
    counts = ((machine.parts, "service part"), (machine.faults, "fault"), (machine.tests, "test"),
              (machine.complaints, "complaint"))
    print(f"{name}: sound. {', '.join(_many(len(every), one) for every, one in counts)}.")
    print(f"{_many(len(report.untold), 'pair')} of faults in different parts that no test tells"
          f" apart; {sum(p.test is not None for p in report.proofs)} of {len(report.proofs)} faults"
          " can be proven by one reading.")
    return code


def _many(count: int, one: str) -> str:
    return f"{count} {one if count == 1 else f'{one}s'}"
