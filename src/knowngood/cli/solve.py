"""``knowngood solve CIRCUIT.yaml``: volts at every node and what each meter shows, fault by fault.

Exit codes: 0 done; 2 the circuit is wrong, every problem is listed with its line; 3 no answer.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any, Final

from knowngood.circuit.answer import answer
from knowngood.circuit.circuit import Circuit, CircuitError
from knowngood.circuit.netlist import parse_circuit
from knowngood.circuit.text import MOST_TEXT
from knowngood.measure.units import Dimension, format_value

_DIMENSION: Final[dict[str, Dimension]] = {
    "volts": "voltage",
    "ohms": "resistance",
    "amps": "current",
    "diode": "voltage",
}
NOTHING: Final = 1e-13
"""V, A or ohm: under the last digit of a double beside the volts of a machine."""


def solve(circuit: Path, json_out: bool = False) -> int:
    """Solve the circuit in this file (``-``: standard input) and print the answer; exit code."""
    text = _read(circuit)
    if text is None:
        return 2
    found, problems = parse_circuit(text, str(circuit))
    if found is None:
        for problem in problems:
            print(str(problem), file=sys.stderr)
        print(f"{len(problems)} problem(s) in {circuit}; nothing was solved", file=sys.stderr)
        return 2
    try:
        result = answer(found)
    except CircuitError as error:
        print(f"{circuit}: {error}", file=sys.stderr)
        return 3 if error.kind == "no convergence" else 2
    if json_out:
        print(json.dumps(result, ensure_ascii=False, allow_nan=False))
    else:
        _show(found, result)
    return 0


def _read(circuit: Path) -> str | None:
    try:
        if str(circuit) == "-":
            raw = sys.stdin.buffer.read(4 * MOST_TEXT + 1)
        else:
            with open(circuit, "rb") as file:
                raw = file.read(4 * MOST_TEXT + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        print(f"{circuit}: cannot be read: {reason}", file=sys.stderr)
        return None
    if len(raw) > 4 * MOST_TEXT:
        print(f"{circuit}: larger than {4 * MOST_TEXT // 1_000_000} MB", file=sys.stderr)
        return None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        print(f"{circuit}: not UTF-8 at byte {error.start}; save it as UTF-8", file=sys.stderr)
        return None


def _show(circuit: Circuit, result: dict[str, Any]) -> None:
    """The same for a person: nodes once, then the readings of each case."""
    print("Healthy:")
    for node, volts in result["healthy"]["nodes"].items():
        shown = "floating" if volts is None else _value(volts, "voltage")
        print(f"  {node:<24} {shown}")
    cases = [("healthy", result["healthy"])]
    cases += [(f"{fault['on']} {fault['mode']}", fault) for fault in result["faults"]]
    for number, probe in enumerate(circuit.probes):
        place = probe.through or f"{probe.red} to {probe.black}"
        print(f"{probe.read.capitalize()} {place}:")
        for name, case in cases:
            reading = case["probes"][number] if case["probes"] else {"error": case["error"]}
            print(f"  {name:<36} {_reading(reading, _DIMENSION[probe.read])}")


def _value(value: float, dimension: Dimension) -> str:
    """Five digits; what is less than the solver can tell from nothing is 0."""
    return format_value(0.0 if abs(value) < NOTHING else value, dimension, 5)


def _reading(reading: Any, dimension: Dimension) -> str:
    if isinstance(reading, str):
        return reading
    if not isinstance(reading, dict):
        return _value(reading, dimension)
    if "error" in reading:
        return f"no reading: {reading['error']}"
    unit = "ohms" if "ohms per second" in reading else "volts"
    return f"climbing {reading[unit + ' per second']:.4g} {unit} a second"
