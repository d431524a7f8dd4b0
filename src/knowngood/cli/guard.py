"""What stands between a command and the person: stops, closed pipes and faults of the program."""

from __future__ import annotations

import errno
import os
import sys
import tempfile
from collections.abc import Callable

from typer import Abort, TyperException

STOPPED = 130
CLOSED_PIPE = 1
NO_ROOM = 2
FULL = (errno.ENOSPC, errno.EDQUOT)
PROGRAM_FAULT = 70


class Stopped(KeyboardInterrupt):
    """A stop by the person, with what is kept and how to go on."""


def guarded(command: Callable[[], int | None]) -> int:
    """Run a command and return its exit code, whatever happens in it.

    A stop by the person, a wrong option, a reader that went away (`| head`), a full disk and a
    fault of the program each end in a code and at most two lines; the details of a fault go to a
    file.
    """
    try:
        code = command() or 0
        sys.stdout.flush()
    except Stopped as stopped:
        _tell(f"\nstopped; {stopped}")
        return STOPPED
    except (KeyboardInterrupt, Abort):
        code = STOPPED
    except TyperException as wrong:
        if show := getattr(wrong, "show", None):
            show()
        else:
            _tell(str(wrong))
        return wrong.exit_code
    except OSError as error:
        if error.errno not in (errno.EPIPE, *FULL):
            return _crashed(error)
        _silence_stdout()
        if error.errno == errno.EPIPE:
            return CLOSED_PIPE
        _tell("there is no room left where this writes: make room, or write elsewhere; nothing "
              "entered before is lost")  # fmt: skip
        return NO_ROOM
    except Exception as error:
        if not _by_a_stop(error):
            return _crashed(error)
        code = STOPPED
    if code == STOPPED:
        _tell("stopped; everything entered so far is kept")
    return code


def _by_a_stop(error: BaseException) -> bool:
    """Whether a stop is behind this error: what is loaded when it comes may fail in its own way."""
    behind = error.__cause__ or error.__context__
    return behind is not None and (isinstance(behind, KeyboardInterrupt) or _by_a_stop(behind))


def _tell(line: str) -> None:
    print(line, file=sys.stderr)


def _silence_stdout() -> None:
    """Let the flush at the end of the process go nowhere, for its reader has gone."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _crashed(error: Exception) -> int:
    what = f"{type(error).__name__}: {error}".splitlines()[0]
    _tell(f"knowngood failed, and this is its fault, not yours: {what}")
    try:
        note = _write_note(error)
    except OSError as full:
        _tell(f"the details could not be written ({full.strerror})")
    else:
        _tell(f"the details are in {note}; nothing entered before is lost")
    return PROGRAM_FAULT


def _write_note(error: Exception) -> str:
    """Write what a developer needs to find the fault; returns the path."""
    import platform
    import traceback

    from knowngood import __version__

    handle, path = tempfile.mkstemp(prefix="knowngood-crash-", suffix=".txt")
    with os.fdopen(handle, "w", encoding="utf-8") as note:
        note.write(f"knowngood {__version__}, Python {platform.python_version()}, ")
        note.write(f"{platform.platform()}\ncommand: {sys.argv[1:]}\n\n")
        note.writelines(traceback.format_exception(error))
    return path
