"""Expected readings under every single fault: this solver against ngspice, and as it grows."""

from __future__ import annotations

import shutil
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable
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
TIMES = 15
BAD_OHMS = 10.0
METERS = 4
AWAY = 1e15  # ohms of a meter that is not there, for ngspice
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


def points(circuit: Circuit, count: int) -> list[Probe]:
    """A voltmeter at `count` nodes spread over the harness."""
    nodes = [node for node in circuit.nodes if node.startswith("n")]
    return [Probe("volts", nodes[i * len(nodes) // count], "B-") for i in range(count)]


def single_faults(circuit: Circuit, mode: str, meters: int) -> list[Cell]:
    """Each element but the pack in turn, with each of the meters."""
    ohms = BAD_OHMS if mode == "high resistance" else None
    faults = [Fault(element.ref, mode, ohms) for element in circuit.elements[1:]]
    return [Cell((fault,), probe) for fault in faults for probe in points(circuit, meters)]


def run() -> dict[str, Any]:
    """Rows of one cell each way, then of all single faults by size. Draws the growth."""
    if not shutil.which("ngspice"):
        raise SystemExit("ngspice is not installed; install it with: apt-get install ngspice")
    rows = [_against_ngspice(30), _against_ngspice(80)]
    lines: dict[str, list[tuple[float, float]]] = {"updates": [], "direct": []}
    for count in SIZES:
        circuit = harness(count)
        cells = single_faults(circuit, "open", 1)
        (update, fast), (direct, slow) = _timed(
            partial(table, circuit, cells), partial(table, circuit, cells, "direct")
        )
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
        "claim": "A predicted reading costs at most a fiftieth of an ngspice process, and a fifth "
        "of its share where one ngspice process solves them all; an 80-element harness with each "
        "element open in turn, read with one meter, takes under 25 ms. "
        "![growth](pictures/circuit-growth.svg)",
        "rows": rows,
        "notes": f"Median of {TIMES}. Columns `times`: how many times longer ngspice takes for a "
        "reading, started for each, or once for all with `alter` and `op` for each. In its rows "
        f"the fault is a contact of {BAD_OHMS:g} ohm and the difference is that to ngspice; in the "
        "others the fault is an open and the difference is that of updates to direct solves.",
        "command": "python -m benchmarks circuit",
    }


def _timed(*works: Callable[[], Any]) -> list[tuple[float, Any]]:
    """(median seconds, result) of each, taken in turn so that a busy moment strikes all alike."""
    results = [work() for work in works]
    seconds: list[list[float]] = [[] for _ in works]
    for _ in range(TIMES):
        for work, times in zip(works, seconds, strict=True):
            started = time.perf_counter()
            work()
            times.append(time.perf_counter() - started)
    return [(statistics.median(t), r) for t, r in zip(seconds, results, strict=True)]


def _against_ngspice(count: int) -> dict[str, Any]:
    circuit = harness(count)
    cells = single_faults(circuit, "high resistance", METERS)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "one.cir").write_text(_deck(circuit, cells[:1]), encoding="utf-8")
        (folder / "all.cir").write_text(_deck(circuit, cells), encoding="utf-8")
        (ours, shown), (direct, _), (one, _), (every, theirs) = _timed(
            partial(table, circuit, cells),
            partial(table, circuit, cells, "direct"),
            partial(_ngspice, folder, "one.cir"),
            partial(_ngspice, folder, "all.cir"),
        )
    gap = float(np.abs(shown.values - np.array(theirs)).max())
    each = ours / len(cells)
    return {
        "what": f"a 10 ohm contact anywhere in {count} elements, {METERS} meters",
        "readings": len(cells),
        "ms": 1e3 * ours,
        "ms direct": 1e3 * direct,
        "largest difference V": gap,
        "a process each, times": one / each,
        "one process, times": every / ours,
    }


def _deck(circuit: Circuit, cells: list[Cell]) -> str:
    """The harness for ngspice, and for each cell: fault and meter in, operating point, both out."""
    lines = [f"* {circuit.name}", OPTIONS]
    lines += [f"RM{p.red} {p.red} 0 {AWAY!r}" for p in points(circuit, METERS)]
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
    for cell in cells:
        ref, red = cell.faults[0].on, cell.probe.red if cell.probe else ""
        lines += [f"alter R{ref} = {BAD_OHMS!r}", f"alter RM{red} = 1e7", "op", f"print v({red})"]
        lines += [f"alter R{ref} = {ohms[ref]!r}", f"alter RM{red} = {AWAY!r}"]
    return "\n".join([*lines, "quit", ".endc", ".end", ""])


def _ngspice(folder: Path, file: str) -> list[float]:
    command = ["ngspice", "-b", file]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    lines = done.stdout.splitlines()
    return [float(line.split(" = ")[1]) for line in lines if line.startswith("v(n")]
