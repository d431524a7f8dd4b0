"""A job as a folder that another record, or a person with a text editor, can read.

events.jsonl    first what it is, then one event a line, in order
pictures/       what was photographed, named by digest
files/          the machine, meter and prices the job was worked with, named by digest
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from knowngood import __version__
from knowngood.job import events as ev
from knowngood.job.apart import VideoAdded
from knowngood.job.events import Envelope
from knowngood.job.learning import LessonsPinned
from knowngood.store.codec import from_line, to_line
from knowngood.store.files import Files
from knowngood.store.log import Log
from knowngood.store.problem import NewerStore, StoreProblem, not_read, not_written

FORMAT = 1
EVENTS = "events.jsonl"


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written; `missing` are digests that this record does not hold."""

    events: int
    pictures: int
    files: int
    missing: tuple[str, ...]


def lines(events: Sequence[Envelope]) -> list[str]:
    """The lines of events.jsonl, without line ends."""
    head = {"record": "knowngood job", "format": FORMAT, "written_by": __version__}
    return [json.dumps(head), *(to_line(envelope) for envelope in events)]


def events_in(text: str, where: str) -> list[Envelope]:
    """The events of such lines. Raises StoreProblem naming every line that is off."""
    first, *rest = [*enumerate(text.split("\n"), start=1)] or [(1, "")]
    try:
        head = json.loads(first[1])
        form = head["format"] if head["record"] == "knowngood job" else None
    except (ValueError, TypeError, KeyError):
        form = None
    if not isinstance(form, int):
        raise StoreProblem(f"{where}, line 1: this is not an exported job.")
    if form > FORMAT:
        raise NewerStore(
            f"{where} was written by knowngood {head.get('written_by', '?')} in format {form}; "
            f"this is knowngood {__version__}, which reads formats up to {FORMAT}. Update it."
        )
    events: list[Envelope] = []
    wrong: list[str] = []
    for number, line in rest:
        if line.strip():
            try:
                events.append(from_line(line))
            except NewerStore:
                raise
            except StoreProblem as problem:
                wrong.append(f"{where}, line {number}: {problem}")
    if wrong:
        raise StoreProblem("\n".join([*wrong, "Nothing was stored."]))
    if not events:
        raise StoreProblem(f"{where} has no events. Nothing was stored.")
    return events


def write_export(events: Sequence[Envelope], files: Files, folder: Path) -> Exported:
    """Write the folder; events.jsonl comes last, so a folder that has it is whole.

    Raises StoreProblem if it holds an export already, or cannot be written.
    """
    if (folder / EVENTS).exists():
        raise StoreProblem(f"{folder} holds an exported job already. Name another folder.")
    pictures, texts = _referred(events)
    missing: list[str] = []
    done = {"pictures": 0, "files": 0}
    try:
        for kind, digests in (("pictures", pictures), ("files", texts)):
            (folder / kind).mkdir(parents=True, exist_ok=True)
            for digest in digests:
                if not files.has(digest):
                    missing.append(digest)
                    continue
                (folder / kind / files.path_of(digest).name).write_bytes(files.data_of(digest))
                done[kind] += 1
        part = folder / f".{EVENTS}.part"
        part.write_text("\n".join([*lines(events), ""]), encoding="utf-8")
        os.replace(part, folder / EVENTS)
    except OSError as error:
        raise StoreProblem(not_written(folder, error)) from error
    return Exported(len(events), done["pictures"], done["files"], tuple(missing))


def read_export(folder: Path, log: Log, files: Files) -> list[Envelope]:
    """Take over an exported job; harmless to repeat. Raises StoreProblem, nothing stored."""
    source = folder / EVENTS if folder.is_dir() else folder
    try:
        text = source.read_text(encoding="utf-8")
        found = sorted(
            path
            for kind in ("pictures", "files")
            for path in (source.parent / kind).glob("*")
            if path.is_file() and not path.name.startswith(".")
        )
        contents = {path: path.read_bytes() for path in found}
    except UnicodeDecodeError as error:
        raise StoreProblem(f"{source} is not an exported job: it is no UTF-8 text.") from error
    except OSError as error:
        raise StoreProblem(not_read(source, error)) from error
    events = events_in(text, str(source))
    pictures, texts = _referred(events)
    for path, data in contents.items():
        if hashlib.sha256(data).hexdigest() != path.stem:
            raise StoreProblem(
                f"{path} is damaged: its content does not match its name. Nothing was stored; "
                f"export the job again."
            )
    for path, data in contents.items():
        if path.stem in pictures:
            files.keep_picture(data, path.name)
        elif path.stem in texts:
            files.keep_text(data.decode("utf-8"))
    return log.import_events(events)


def _referred(events: Sequence[Envelope]) -> tuple[list[str], list[str]]:
    """(digests of pictures, digests of texts) that these events name, each once."""
    pictures: dict[str, None] = {}
    texts: dict[str, None] = {}
    for envelope in events:
        match envelope.event:
            case ev.PictureAdded(digest=digest) | VideoAdded(digest=digest):
                pictures[digest] = None
            case ev.JobOpened() as opened:
                texts[opened.machine_digest] = None
                texts[opened.meter_digest] = None
                texts[opened.prices_digest] = None
            case (
                ev.MachineAdopted(digest=digest)
                | ev.MeterChosen(digest=digest)
                | LessonsPinned(digest=digest)
            ):
                texts[digest] = None
    texts.pop("", None)
    return list(pictures), list(texts)
