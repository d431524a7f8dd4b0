"""Machine files that come with the program."""

from __future__ import annotations

from importlib.resources import files

_ENDING = ".yaml"


def shipped_names() -> tuple[str, ...]:
    """Names of the machines that come with the program, sorted."""
    found = (entry.name for entry in files(__name__).iterdir())
    return tuple(sorted(n.removesuffix(_ENDING) for n in found if n.endswith(_ENDING)))


def load_shipped(name: str) -> str:
    """The text of a shipped machine file. Raises KeyError for an unknown name."""
    if name not in shipped_names():
        raise KeyError(name)
    return (files(__name__) / f"{name}{_ENDING}").read_text(encoding="utf-8")
