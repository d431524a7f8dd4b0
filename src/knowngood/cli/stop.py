"""What is said, once and large, of a part that must be left alone."""

from __future__ import annotations

from collections.abc import Iterator

from knowngood.cli import show
from knowngood.diagnosis.hazard import STOP, Hazard


def stop(found: Hazard) -> Iterator[str]:
    """What to do with a part that must be left alone, large."""
    yield ""
    yield "!" * show.WIDTH
    yield from show.wrapped(f"{STOP.upper()} {found.why}.", "!! ")
    for line in found.to_do:
        yield from show.wrapped(line, "!! - ", "!!   ")
    yield from show.wrapped(
        "Every test that uses it is held back; a known-good pack of the shop may take its place"
        " in the machine. A wrong answer is taken back with withdraw N or undo.", "!! ", "!! ",
    )  # fmt: skip
    yield "!" * show.WIDTH
