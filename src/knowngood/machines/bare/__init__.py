"""Files for a machine that has none: taken apart in the order it is done, handed back by checks
that suit any machine of its kind. Nothing about its faults is in them."""

from __future__ import annotations

from importlib.resources import files
from typing import Final, Literal, get_args

Kind = Literal["battery", "engine"]
KINDS: Final[tuple[Kind, ...]] = get_args(Kind)
IDS: Final = tuple(f"any-{kind}-machine" for kind in KINDS)


def load_bare(kind: Kind) -> str:
    """The text of the file for a machine of this kind."""
    return (files(__name__) / f"{kind}.yaml").read_text(encoding="utf-8")
