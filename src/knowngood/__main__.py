"""The door: the command `knowngood`, and `python -m knowngood`.

All else is loaded behind it, so that a stop by the person while the program still loads ends like
any other: one line, exit code 130. While Python loads a module it may swallow a stop, show it as an
error of its own, or end by the signal; so here such a stop ends the process on the spot. Nothing is
half done then, and what was entered is on the disk.
"""

import os
import sys

STOPPED = 130


def main() -> int:
    """Run the command that the process was started with; its exit code."""
    try:
        import signal

        stoppable = signal.getsignal(signal.SIGINT) is signal.default_int_handler
        if stoppable:  # not in the background, where a shell has stops ignored
            signal.signal(signal.SIGINT, _end)
        from knowngood.cli import main as command

        if stoppable:
            signal.signal(signal.SIGINT, _stop)
        code = command()
        if stoppable:  # all is done: a stop from here on just ends the process
            signal.signal(signal.SIGINT, signal.SIG_DFL)
    except KeyboardInterrupt:
        _end()
    if code == STOPPED:
        _leave()
    return code


def _stop(_: int, frame: object) -> None:
    """A stop is an exception, but not in the middle of loading a module."""
    code = getattr(frame, "f_code", None)
    if code is not None and code.co_filename.startswith("<frozen importlib"):
        _end()
    raise KeyboardInterrupt


def _end(*_: object) -> None:
    os.write(2, b"stopped; everything entered so far is kept\n")
    _leave()


def _leave() -> None:
    os._exit(STOPPED)


if __name__ == "__main__":
    sys.exit(main())
