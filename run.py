#!/usr/bin/env python3
"""Everything from a fresh checkout, with nothing but Python 3.11 or newer.

    python3 run.py demo [--no-serve] [...]     plays three jobs on the demo shop
    python3 run.py test [--all] [...]          every check; what follows goes to pytest

Both make the folder .venv beside this file on their first run and install there the versions that
requirements/*.lock names, each checked against its digest. A later run starts at once. Deleting
.venv is always safe. This file uses the standard library only.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ElementTree
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
OLDEST = (3, 11)
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
STAMPS = VENV / "knowngood-installed"
UNFINISHED = STAMPS / "unfinished"  # there while packages are being installed

NO_NETWORK = (
    "Temporary failure in name resolution",
    "Name or service not known",
    "nodename nor servname",
    "getaddrinfo failed",
    "NewConnectionError",
    "ConnectTimeoutError",
    "ReadTimeoutError",
    "NameResolutionError",
    "ProxyError",
    "Network is unreachable",
)


class Trouble(Exception):
    """Something a person can put right; the message says how."""


def digest_of(lock: Path) -> str:
    """What the installed state rests on: the lock, the project's own file, where it all lies."""
    parts = [lock.read_bytes(), (ROOT / "pyproject.toml").read_bytes(), str(ROOT).encode()]
    return hashlib.sha256(b"\0".join(parts)).hexdigest()


def works(code: str) -> bool:
    """Whether the Python in .venv is there and runs this."""
    try:
        return subprocess.run([str(PYTHON), "-c", code], capture_output=True).returncode == 0
    except OSError:
        return False


def make_venv() -> None:
    """Make .venv, or make it anew where an earlier run was cut short or Python has moved."""
    whole = "import sys, pip; sys.exit(sys.version_info < (3, 11))"
    if not UNFINISHED.exists() and works(whole):
        return
    if importlib.util.find_spec("ensurepip") is None or importlib.util.find_spec("venv") is None:
        raise Trouble(
            "This Python lacks its venv module. On Debian and Ubuntu: sudo apt-get install "
            "python3-venv; then run this again."
        )
    try:
        if VENV.exists():
            shutil.rmtree(VENV)
        with tempfile.TemporaryFile(dir=str(ROOT)):
            pass
    except OSError as error:
        raise Trouble(
            f"{ROOT} cannot be written ({error.strerror}), and .venv has to go there: copy the "
            "project to a folder of your own and run it from there."
        ) from None
    say("Making .venv (once)")
    done = subprocess.run(
        [sys.executable, "-m", "venv", str(VENV)], capture_output=True, text=True, errors="replace"
    )
    if done.returncode:
        raise Trouble(f"Making .venv failed:\n{tail(done.stdout + done.stderr)}")


def install(name: str) -> None:
    """Bring .venv to the state of requirements/NAME.lock; nothing is done when it has it."""
    lock = ROOT / "requirements" / f"{name}.lock"
    stamp, wanted = STAMPS / name, digest_of(lock)
    done = PYTHON.exists() and stamp.exists() and not UNFINISHED.exists()
    if done and stamp.read_text() == wanted:
        return
    make_venv()
    try:
        STAMPS.mkdir(exist_ok=True)
        UNFINISHED.touch()
    except OSError as error:
        raise Trouble(f"{VENV} cannot be written ({error.strerror}).") from None
    started = time.monotonic()
    count = sum("==" in line for line in lock.read_text().splitlines())
    say(f"Installing {count} packages from requirements/{lock.name} (once)")
    pip("--require-hashes", "--no-deps", "--only-binary", ":all:", "-r", str(lock))
    pip("--no-deps", "--no-build-isolation", "--editable", str(ROOT))
    stamp.write_text(wanted)
    if name == "test":  # the larger lock contains the smaller one
        (STAMPS / "run").write_text(digest_of(ROOT / "requirements" / "run.lock"))
    UNFINISHED.unlink()
    say(f"Installed in {time.monotonic() - started:.0f} s")


def pip(*arguments: str) -> None:
    """Run pip in .venv quietly; its last lines are shown only when it fails."""
    command = [str(PYTHON), "-m", "pip", "install", "--quiet", "--retries", "2", "--no-input"]
    command += ["--no-compile"]  # most of what is installed is never loaded
    command += ["--disable-pip-version-check", "--root-user-action", "ignore", *arguments]
    done = subprocess.run(command, capture_output=True, text=True, errors="replace", cwd=str(ROOT))
    if done.returncode == 0:
        return
    output = done.stdout + done.stderr
    if any(sign in output for sign in NO_NETWORK):
        raise Trouble(
            "The packages could not be fetched: there is no network. Connect once and run this "
            "again; afterwards it works without."
        )
    if "Could not find a version" in output or "No matching distribution" in output:
        version = ".".join(str(part) for part in sys.version_info[:2])
        raise Trouble(
            f"A package in the lock has no ready-made file for this machine and Python {version} "
            f"(Python 3.11 to 3.13 are known to work):\n{tail(output)}"
        )
    if "No space left" in output:
        raise Trouble("The disk is full: .venv needs up to 1.5 GB. Make room and run this again.")
    raise Trouble(f"Installing failed:\n{tail(output)}")


def tail(text: str, lines: int = 12) -> str:
    return "\n".join(text.strip().splitlines()[-lines:])


def say(text: str) -> None:
    print(text, flush=True)


def surroundings() -> dict[str, str]:
    """The environment for what runs in .venv: one thread a process, nothing of another Python."""
    env = {key: value for key, value in os.environ.items() if key != "PYTHONHOME"}
    env["PATH"] = os.pathsep.join([str(PYTHON.parent), env.get("PATH", "")])
    env["VIRTUAL_ENV"] = str(VENV)
    env.pop("PYTHONDONTWRITEBYTECODE", None)  # else each of hundreds of processes compiles anew
    env.setdefault("OMP_NUM_THREADS", "1")
    env.setdefault("OPENBLAS_NUM_THREADS", "1")
    return env


def demo(arguments: list[str]) -> int:
    install("run")
    command = [str(PYTHON), "-m", "knowngood", "demo", *arguments]
    return subprocess.run(command, env=surroundings()).returncode


def test(arguments: list[str]) -> int:
    """Lint, types, layers, tests: all of them run, and one line at the end counts them."""
    install("test")
    passed = failed = 0
    lines = []
    for name, command in (
        ("lint", ["ruff", "check", "--quiet", "."]),
        ("types", ["mypy", "--no-error-summary"]),
        ("layers", ["lint-imports", "--no-logo"]),
    ):
        code, seconds = run_tool(command)
        passed, failed = passed + (code == 0), failed + (code != 0)
        lines.append(f"{name:<8}{'failed' if code else 'passed'} ({seconds:.0f} s)")
        say(lines[-1])

    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.xml"
        workers = str(min(2, os.cpu_count() or 1))
        # Neighbours go to one process: what a file works out once is worked out once.
        options = ["-q", "-n", workers, "--dist", "worksteal", f"--junitxml={report}", *arguments]
        code, seconds = run_tool(["pytest", *options])
        good, bad, skipped = counts(report)
    if code and not bad:
        bad = 1  # no test was found, or pytest itself stopped
    lines.append(f"tests   {good} passed, {bad} failed, {skipped} skipped ({seconds:.0f} s)")
    say("\n" + "\n".join(lines))
    closing = f"{passed + good} passed, {failed + bad} failed"
    say(closing + (f", {skipped} skipped" if skipped else ""))
    return 1 if failed or bad else 0


def run_tool(command: list[str]) -> tuple[int, float]:
    """Exit code and seconds of a program that .venv holds, run at the root of the project."""
    started = time.monotonic()
    program = [str(PYTHON.parent / command[0]), *command[1:]]
    code = subprocess.run(program, cwd=str(ROOT), env=surroundings()).returncode
    return code, time.monotonic() - started


def counts(report: Path) -> tuple[int, int, int]:
    """Passed, failed and skipped tests of a junit report; nothing when there is none."""
    if not report.exists():
        return 0, 0, 0
    suites = ElementTree.parse(str(report)).getroot().iter("testsuite")
    total = bad = skipped = 0
    for suite in suites:
        total += int(suite.get("tests", 0))
        bad += int(suite.get("failures", 0)) + int(suite.get("errors", 0))
        skipped += int(suite.get("skipped", 0))
    return total - bad - skipped, bad, skipped


def main(arguments: list[str]) -> int:
    if sys.version_info < OLDEST:
        have = ".".join(str(part) for part in sys.version_info[:3])
        say(f"knowngood needs Python 3.11 or newer; this is {have}. Try: python3.11 run.py demo")
        return 2
    places = {"demo": demo, "test": test}
    if not arguments or arguments[0] not in places:
        say((__doc__ or "").strip())
        return 0 if arguments[:1] in (["-h"], ["--help"]) else 2
    try:
        return places[arguments[0]](arguments[1:])
    except Trouble as trouble:
        say(str(trouble))
        return 2
    except KeyboardInterrupt:
        say("\nStopped. Run the same command again; a half-made .venv is repaired then.")
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
