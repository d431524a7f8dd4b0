"""Where the shop's record lies on this computer."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

from knowngood.store.problem import StoreProblem


def store_path(given: Path | None = None, environment: Mapping[str, str] = os.environ) -> Path:
    """`given` (--store), else KNOWNGOOD_STORE, else shop.db in the user's own data folder.

    The data folder is XDG_DATA_HOME or ~/.local/share, on Windows LOCALAPPDATA, on a Mac
    ~/Library/Application Support. Raises StoreProblem when the user has no home folder.
    """
    if given is not None:
        return given
    if named := environment.get("KNOWNGOOD_STORE"):
        return Path(named).expanduser()
    return _data_folder(environment) / "knowngood" / "shop.db"


def files_folder(store: Path) -> Path:
    """Where the pictures and files of a record lie: beside it."""
    return store.with_name(store.name + ".files")


def mail_folder(files: Path) -> Path:
    """Where messages lie while no mail server is set: beside the record's files."""
    return files.with_name(files.name.removesuffix(".files") + ".mail")


def keys_folder(store: Path) -> Path:
    """Where the keys for HTTPS lie: beside the record, and in no backup of it."""
    return store.with_name(store.name + ".keys")


def _data_folder(environment: Mapping[str, str]) -> Path:
    # XDG Base Directory Specification 0.8: a relative XDG_DATA_HOME is to be ignored.
    named = environment.get("LOCALAPPDATA" if sys.platform == "win32" else "XDG_DATA_HOME", "")
    if named and Path(named).is_absolute():
        return Path(named)
    try:
        home = Path.home()
    except RuntimeError as error:
        raise StoreProblem(
            "There is no home folder to keep the record in. Name a place with --store or "
            "KNOWNGOOD_STORE."
        ) from error
    if sys.platform == "win32":
        return home / "AppData" / "Local"
    if sys.platform == "darwin":
        return home / "Library" / "Application Support"
    return home / ".local" / "share"
