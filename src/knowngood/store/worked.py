"""Readings once worked out, kept in the user's own cache folder; nothing depends on it.

Each text is one file with its digest in the first line. What is damaged, of another user, or
cannot be written counts as not there: it is worked out again. The folder may be deleted any time.
"""

from __future__ import annotations

import hashlib
import os
import re
import sys
import uuid
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Final

MOST_FILES: Final = 200
MOST_BYTES: Final = 8_000_000
OFF: Final = "off"
_NAME: Final = re.compile(r"[a-z]+-[0-9a-f]{64}")


class WorkedOut:
    """A folder of texts by name. Neither `read` nor `write` ever fails."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def read(self, name: str) -> str | None:
        """The text of this name, whole; None when there is none."""
        try:
            with open(self._place(name), "rb") as file:
                data = file.read(MOST_BYTES + 1)
        except (OSError, ValueError):
            return None
        digest, _, body = data.partition(b"\n")
        if len(data) > MOST_BYTES or hashlib.sha256(body).hexdigest().encode() != digest:
            return None
        with suppress(UnicodeDecodeError):
            return body.decode("utf-8")
        return None

    def write(self, name: str, text: str) -> None:
        """Keep the text, if that can be done. Whoever reads meanwhile sees all of it or nothing."""
        body = text.encode("utf-8")
        data = hashlib.sha256(body).hexdigest().encode() + b"\n" + body
        if len(data) > MOST_BYTES:
            return
        part: Path | None = None
        try:
            place = self._place(name)
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            part = self.folder / f".part-{uuid.uuid4().hex}"
            with open(part, "xb") as file:
                file.write(data)
            os.replace(part, place)
            self._prune()
        except (OSError, ValueError):
            if part is not None:
                with suppress(OSError):
                    part.unlink(missing_ok=True)

    def _place(self, name: str) -> Path:
        if not _NAME.fullmatch(name):
            raise ValueError(f"{name!r} is no name of a text kept here")
        return self.folder / f"{name}.txt"

    def _prune(self) -> None:
        """The oldest files go, and what an interrupted write has left."""
        files = [f for f in self.folder.iterdir() if f.name.endswith(".txt") or ".part-" in f.name]
        if len(files) <= MOST_FILES:
            return
        aged = []
        for file in files:
            with suppress(OSError):
                aged.append((file.stat().st_mtime, file))
        for _, file in sorted(aged)[: max(0, len(aged) - MOST_FILES // 2)]:
            with suppress(OSError):
                file.unlink()


def worked_out(environment: Mapping[str, str] = os.environ) -> WorkedOut | None:
    """The folder KNOWNGOOD_CACHE, else one in the user's cache folder; None when it says "off" or
    the user has no home folder.

    The cache folder is XDG_CACHE_HOME or ~/.cache (XDG Base Directory Specification 0.8, a relative
    one is to be ignored), on Windows LOCALAPPDATA, on a Mac ~/Library/Caches.
    """
    named = environment.get("KNOWNGOOD_CACHE", "")
    if named.strip().casefold() == OFF:
        return None
    if named:
        return WorkedOut(Path(named))
    own = environment.get("LOCALAPPDATA" if sys.platform == "win32" else "XDG_CACHE_HOME", "")
    if own and Path(own).is_absolute():
        return WorkedOut(Path(own) / "knowngood" / "worked-out")
    try:
        home = Path.home()
    except RuntimeError:
        return None
    if sys.platform == "win32":
        folder = home / "AppData" / "Local"
    else:
        folder = home / ("Library/Caches" if sys.platform == "darwin" else ".cache")
    return WorkedOut(folder / "knowngood" / "worked-out")
