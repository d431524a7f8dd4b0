"""What can go wrong with the shop's record, each said to the person with the way out."""

from __future__ import annotations

import errno
from pathlib import Path


class StoreProblem(Exception):
    """The record could not be read or written. The message is for the person at the bench."""


class BadFile(StoreProblem):
    """A file handed over is not what it should be; the record itself is sound."""


class NewerStore(StoreProblem):
    """Written by a newer version than this one."""


class ResendConflict(StoreProblem):
    """A device sent its number again with something else under it."""


def not_written(path: Path | str, error: OSError) -> str:
    """A file of a person's choice could not be written: why, and the way out."""
    match error.errno:
        case errno.ENOSPC | errno.EDQUOT:
            way = "make room there, or name another place"
        case errno.EISDIR | errno.EINVAL:
            way = "name a file in a folder of yours"
        case _:
            way = "name a file in a folder that is there and yours to write in"
    return f"{path} cannot be written: {error.strerror or error}; {way}"


def not_read(path: Path | str, error: OSError | ValueError) -> str:
    """A file that a person named could not be read: why, and the way out."""
    reason = (error.strerror if isinstance(error, OSError) else "") or error
    return f"{path} cannot be read: {reason}; check the name, and name the folder with it"
