"""The first pages of two warranty claims of the demo, as a person at a warranty desk gets them.

    python docs/pictures/make_claims.py

The demo's jobs are played into a temporary folder; the papers are drawn by poppler (pdftoppm).
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

from PIL import Image
from screenshot import FOLDER

from knowngood.cli.demo import run

CLAIMS = {"mower": "claim-dead.pdf", "rider": "claim-rider.pdf"}
DOTS = 110  # to the inch


def main() -> None:
    """Play, draw page one of each claim, keep it as a picture of 16 greys."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "demo"
        if run(["--out", str(out), "--no-serve"]):
            raise SystemExit("the demo did not end well")
        for name, paper in CLAIMS.items():
            drawn = Path(folder) / name
            command = ["pdftoppm", "-r", str(DOTS), "-png", "-singlefile", "-f", "1", out / paper,
                       drawn]  # fmt: skip
            subprocess.run(command, check=True)
            picture = Image.open(drawn.with_suffix(".png")).convert("L").quantize(16)
            picture.save(FOLDER / f"paper-claim-{name}.png", optimize=True)


if __name__ == "__main__":
    main()
