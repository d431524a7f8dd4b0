"""A text file that a person names, read no further than it may be long."""

from __future__ import annotations

from pathlib import Path

from knowngood.places.record import Refused
from knowngood.store.problem import not_read


def text_of(path: str | Path, most: int, what: str) -> str:
    """The text of a file of at most ``most`` bytes, which is to be a ``what`` ("session file").

    Raises Refused, naming the file and the reason: not there, no text, too large (also where it
    has no end, such as a device).
    """
    try:
        with open(path, "rb") as file:
            raw = file.read(most + 1)
    except (OSError, ValueError) as error:
        raise Refused(not_read(path, error)) from error
    if len(raw) > most:
        raise Refused(f"{path} is larger than {most:,} bytes: no {what}")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refused(f"{path} is not UTF-8 at byte {error.start}; save it as UTF-8") from error
