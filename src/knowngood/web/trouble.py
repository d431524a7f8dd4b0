"""A fault of the program: a line for the person, the details in a file for who mends it."""

from __future__ import annotations

import os
import platform
import sys
import tempfile
import traceback

from knowngood import __version__


def note_fault(error: BaseException) -> str:
    """Write the details of a fault to a file; the sentence for the person names it."""
    try:
        handle, path = tempfile.mkstemp(prefix="knowngood-crash-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8") as note:
            note.write(f"knowngood {__version__}, Python {platform.python_version()}, ")
            note.write(f"{platform.platform()}\n\n")
            note.writelines(traceback.format_exception(error))
        where = f"The details are in {path} on the shop's computer."
    except OSError as full:
        where = f"The details could not be written ({full.strerror})."
    said = f"The program failed here, and this is its fault, not yours. {where}"
    print(f"{said} ({type(error).__name__})", file=sys.stderr)
    return f"{said} Nothing entered before is lost."
