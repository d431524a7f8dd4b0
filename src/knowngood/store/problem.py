"""What can go wrong with the shop's record, each said to the person with the way out."""

from __future__ import annotations


class StoreProblem(Exception):
    """The record could not be read or written. The message is for the person at the bench."""


class BadFile(StoreProblem):
    """A file handed over is not what it should be; the record itself is sound."""


class NewerStore(StoreProblem):
    """Written by a newer version than this one."""


class ResendConflict(StoreProblem):
    """A device sent its number again with something else under it."""
