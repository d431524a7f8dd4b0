"""Expected readings under every single fault: this solver against ngspice, and as it grows."""

from __future__ import annotations

import shutil
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.growth import draw
from knowngood.circuit.batch import table
from knowngood.circuit.circuit import Cell, Circuit
from knowngood.circuit.element import Battery, Element, Fuse, Resistor, Switch, Wire
from knowngood.circuit.faulted import Fault
from knowngood.circuit.probe import Probe

PICTURE = Path(__file__).resolve().parent.parent / "docs" / "pictures" / "circuit-growth.svg"
SIZES = (20, 40, 80, 160, 300, 500)
TIMES = 5
BAD_OHMS = 10.0
PROBE = Probe("volts", "n2", "B-")
OPTIONS = ".options reltol=1e-9 abstol=1e-15 vntol=1e-12"


def harness(count: int) -> Circuit:
    """A pack, a fuse, and branches of two wires, two switches and a load, `count` elements."""
    elements: list[Element] = [
        Battery(ref="BT1", pins={"plus": "B+", "minus": "B-"}, volts=20.0, ohms=0.05),
        Fuse(ref="F1", pins={"a": "B+", "b": "n0"}, ohms=0.005),
    ]
    here = "n0"
    for k in range(count - 2):
        pins = {"a": here, "b": f"n{k + 1}"}
        if k % 5 == 4:
            pins["b"] = "B-"
            elements.append(Resistor(ref=f"E{k}", pins=pins, ohms=80.0 + k))
        elif k % 2:
            elements.append(Switch(ref=f"E{k}", pins=pins, ohms=0.02, closed=True))
        else:
            elements.append(Wire(ref=f"E{k}", pins=pins, ohms=0.02))
        here = "n0" if k % 5 == 4 else pins["b"]
    return Circuit(f"harness of {count}", "B-", tuple(elements))


def single_faults(circuit: Circuit, mode: str) -> list[Cell]:
    """Each element but the pack in turn."""
    ohms = BAD_OHMS if mode == "high resistance" else None
    return [Cell((Fault(e.ref, mode, ohms),), PROBE) for e in circuit.elements[1:]]


def run() -> dict[str, Any]:
    """Rows of one cell each way, then of all single faults by size. Draws the growth."""
    if not shutil.which("ngspice"):
        raise SystemExit("ngspice is not installed; install it with: apt-get install ngspice")
    rows = [_against_ngspice(29), _against_ngspice(80)]
    lines: dict[str, list[tuple[float, float]]] = {"updates": [], "direct": []}
    for count in SIZES:
        circuit = harness(count)
        cells = single_faults(circuit, "open")
        update, fast = _timed(partial(table, circuit, cells))
        direct, slow = _timed(partial(table, circuit, cells, "direct"))
        gap = float(np.abs(fast.values - slow.values).max())
        rows.append(
            {
                "what": f"all single opens of {count} elements",
                "readings": len(cells),
                "ms": 1e3 * update,
                "ms direct": 1e3 * direct,
                "largest difference V": gap,
                "a process each, times": "",
                "one process, times": "",
            }
        )
        lines["updates"].append((count, 1e3 * update))
        lines["direct"].append((count, 1e3 * direct))
    title = "All single opens of a harness, one meter: milliseconds by elements"
    PICTURE.parent.mkdir(parents=True, exist_ok=True)
    PICTURE.write_text(draw(title, "elements", "ms", lines), encoding="utf-8")
    return {
        "title": "Expected readings of a circuit",
        "claim": "A reading under a fault costs at most a fiftieth of an ngspice process and a "
        "fifth of its share when one ngspice process solves them all; all single faults of an "
        "80-element harness take under 25 ms. ![growth](pictures/circuit-growth.svg)",
        "rows": rows,
        "notes": f"Median of {TIMES}. Columns `times`: how many times longer ngspice takes for a "
        "reading, started for each, or once for all with `alter` and `op` for each. In its rows "
        f"the fault is a contact of {BAD_OHMS:g} ohm and the difference is that to ngspice; in the "
        "others the fault is an open and the difference is that of updates to direct solves.",
        "command": "python -m benchmarks circuit",
    }


def _timed(work: Callable[[], Any]) -> tuple[float, Any]:
    seconds = []
    result = work()
    for _ in range(TIMES):
        started = time.perf_counter()
        result = work()
        seconds.append(time.perf_counter() - started)
    return statistics.median(seconds), result


def _against_ngspice(count: int) -> dict[str, Any]:
    circuit = harness(count)
    cells = single_faults(circuit, "high resistance")
    ours, shown = _timed(partial(table, circuit, cells))
    direct, _ = _timed(partial(table, circuit, cells, "direct"))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "one.cir").write_text(_deck(circuit, [None]), encoding="utf-8")
        (folder / "all.cir").write_text(_deck(circuit, [c.faults[0].on for c in cells]), "utf-8")
        one, _ = _timed(partial(_ngspice, folder, "one.cir"))
        every, theirs = _timed(partial(_ngspice, folder, "all.cir"))
    gap = float(np.abs(shown.values - np.array(theirs)).max())
    each = ours / len(cells)
    return {
        "what": f"a 10 ohm contact anywhere in {count} elements",
        "readings": len(cells),
        "ms": 1e3 * ours,
        "ms direct": 1e3 * direct,
        "largest difference V": gap,
        "a process each, times": one / each,
        "one process, times": every / ours,
    }


def _deck(circuit: Circuit, faulty: Sequence[str | None]) -> str:
    """The harness and its meter for ngspice, with an operating point for each faulty element."""
    lines = [f"* {circuit.name}", OPTIONS, f"RM {PROBE.red} 0 {PROBE.ohms!r}"]
    ohms: dict[str, float] = {}
    for element in circuit.elements:
        first, second = ("0" if n == "B-" else n for n in element.pins.values())
        value: float = getattr(element, "ohms")  # noqa: B009
        if isinstance(element, Battery):
            lines.append(f"V{element.ref} inside {second} {element.volts!r}")
            second = "inside"
        ohms[element.ref] = value
        lines.append(f"R{element.ref} {first} {second} {value!r}")
    lines += [".control", "set numdgt=15"]
    for ref in faulty:
        lines += [f"alter R{ref} = {BAD_OHMS!r}"] if ref else []
        lines += ["op", f"print v({PROBE.red})"]
        lines += [f"alter R{ref} = {ohms[ref]!r}"] if ref else []
    return "\n".join([*lines, "quit", ".endc", ".end", ""])


def _ngspice(folder: Path, file: str) -> list[float]:
    command = ["ngspice", "-b", file]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    start = f"v({PROBE.red}) = "
    return [float(x[len(start) :]) for x in done.stdout.splitlines() if x.startswith(start)]
