"""Draw the three example wirings of this folder: an SVG of each, and with --png a picture as well.

    python docs/pictures/make_drawings.py [--png] [FOLDER]

The PNG is what the paper renderer makes of the SVG: what is looked at is what is printed.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import typst

from knowngood.circuit.netlist import parse_circuit
from knowngood.drawing.svg import draw

HERE = Path(__file__).resolve().parent
# file: title, red lead, black lead, what the step is about
PICTURES = {
    "rider-start": ("Riding mower, 12 V start circuit", "S3.in", "B-", ["S3"]),
    "mower-56v": ("Walk-behind mower, 56 V: input and hand controls", "J4.1", "J4.4", ["S2"]),
    "hedge-36v": ("Hedge trimmer, 36 V", "S2.in", "B-", ["S1"]),
}
NODES = {
    "B+": "plus post of the battery",
    "K1.bat": "large stud of the solenoid, battery side",
    "K1.m": "large stud of the solenoid, starter side",
    "K1.s": "small terminal of the solenoid",
    "C1.5": "kill wire",
    "A1.in": "controller input",
    "u": "phase lead U",
    "v": "phase lead V",
    "w": "phase lead W",
}


def picture(name: str, width_mm: float = 180.0) -> str:
    """One of the pictures, as SVG text."""
    title, red, black, about = PICTURES[name]
    circuit, problems = parse_circuit((HERE / f"{name}.yaml").read_text(encoding="utf-8"), name)
    if circuit is None:
        raise SystemExit("\n".join(str(problem) for problem in problems))
    named = replace(circuit, name=title)
    reached = {node for node in circuit.nodes if "." in node or node in NODES} | {red, black}
    return draw(named, red=red, black=black, highlight=about, words=NODES, width_mm=width_mm,
                reached=reached)  # fmt: skip


def png(svg: str, width_mm: float = 180.0) -> bytes:
    """The picture at 180 dots an inch, drawn by the renderer of the papers."""
    source = (
        f"#set page(width: {width_mm}mm, height: auto, margin: 0mm)\n"
        '#image(bytes(sys.inputs.svg), format: "svg", width: 100%)'
    )
    data = typst.compile(
        source.encode(), format="png", ppi=180, sys_inputs={"svg": svg}, ignore_system_fonts=True
    )
    assert isinstance(data, bytes)
    return data


def main(arguments: list[str]) -> None:
    folders = [one for one in arguments if not one.startswith("--")]
    folder = Path(folders[0]) if folders else HERE
    for name in PICTURES:
        svg = picture(name)
        (folder / f"{name}.svg").write_text(svg, encoding="utf-8")
        if "--png" in arguments:
            (folder / f"{name}.png").write_bytes(png(svg))


if __name__ == "__main__":
    main(sys.argv[1:])
