"""Write requirements/run.lock and requirements/test.lock from the lists in pyproject.toml.

    .venv/bin/pip install uv
    .venv/bin/python tools/lock.py [--upgrade]

Without --upgrade a version stays as long as pyproject.toml allows it. Each lock is complete by
itself (installed with --no-deps), holds the digests of the files for every platform and Python from
3.11 on, and names no host. test.lock takes the versions of run.lock, so it contains it.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "requirements"


def compiled(requirements: list[str], output: Path, *options: str) -> None:
    """Let uv resolve `requirements` into `output`, for all platforms, with digests."""
    command = [sys.executable, "-m", "uv", "pip", "compile", "-", "--output-file", str(output)]
    command += ["--universal", "--python-version", "3.11", "--generate-hashes", "--quiet"]
    command += ["--no-header", "--no-annotate", "--no-emit-index-url", "--no-config", *options]
    # pip's own settings of this machine (mirrors, folders of wheels) must not leak into the lock.
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PIP_")}
    text = "\n".join(requirements) + "\n"
    done = subprocess.run(command, input=text, text=True, env=kept, cwd=ROOT, check=False)
    if done.returncode:
        raise SystemExit(f"{output.name} was not written; is uv there? ({sys.executable} -m uv)")


def main(arguments: list[str]) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    groups: dict[str, list[str]] = project["dependency-groups"]
    upgrade = ["--upgrade"] if "--upgrade" in arguments else []
    FOLDER.mkdir(exist_ok=True)

    run = project["project"]["dependencies"] + groups["build"]
    run_lock, test_lock, data_lock = (FOLDER / f"{name}.lock" for name in ("run", "test", "data"))
    compiled(run, run_lock, *upgrade)
    if test_lock.exists():
        shutil.copyfile(test_lock, data_lock)  # uv keeps the versions it finds in its output file
    compiled(run + groups["test"], test_lock, "--constraint", str(run_lock), *upgrade)
    compiled(groups["data"], data_lock, "--no-deps", *upgrade)
    with test_lock.open("a", encoding="utf-8") as lock:
        lock.write(data_lock.read_text(encoding="utf-8"))
    data_lock.unlink()


if __name__ == "__main__":
    main(sys.argv[1:])
