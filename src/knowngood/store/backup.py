"""A copy of everything in a new folder, made while the shop goes on working."""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass
from pathlib import Path

from knowngood.store.files import Files
from knowngood.store.log import Log
from knowngood.store.problem import StoreProblem
from knowngood.store.where import files_folder


@dataclass(frozen=True, slots=True)
class Backup:
    """What was copied, and the files that are damaged or could not be read."""

    store: Path
    events: int
    files: int
    damaged: tuple[str, ...]


def back_up(store: Path, folder: Path) -> Backup:
    """Copy a record with its pictures and files; the copy is opened and read to prove it.

    Raises StoreProblem when the folder holds a record already or cannot be written.
    """
    target = folder / store.name
    if target.exists():
        raise StoreProblem(f"{folder} holds a copy already. Name another folder.")
    part = folder / f".{store.name}.part"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        with Log.open(store, make=False) as log:
            log.copy_to(part)
        # After the record: a file is there before the event that names it.
        count, damaged = _copy_files(Files(files_folder(store)), files_folder(target))
        with Log.open(part, make=False) as copy:
            events = len(copy.all_events())
        os.replace(part, target)
    except OSError as error:
        raise StoreProblem(
            f"The copy in {folder} could not be made: {error.strerror or error}. The record "
            f"itself is as it was."
        ) from error
    return Backup(target, events, count, tuple(damaged))


def _copy_files(files: Files, folder: Path) -> tuple[int, list[str]]:
    count = 0
    damaged: list[str] = []
    for path in sorted(files.folder.glob("[0-9a-f][0-9a-f]/*")):
        if path.name.startswith(".") or ".preview-" in path.name:
            continue
        try:
            files.data_of(path.stem)
        except (StoreProblem, ValueError):
            damaged.append(path.name)
            continue
        place = folder / path.parent.name
        place.mkdir(parents=True, exist_ok=True)
        shutil.copy2(path, place / path.name)
        count += 1
    return count, damaged
