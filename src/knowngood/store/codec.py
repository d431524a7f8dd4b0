"""Events as JSON and back: kind, version and body, with one upcaster a step of version.

A changed shape gets a new version here, an upcaster from the one before, and a line in
tests/old_records. Old lines are never rewritten in the store.
"""

from __future__ import annotations

import json
import math
import sys
import types
from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields
from datetime import datetime
from typing import Any, get_args

from knowngood.job import events
from knowngood.job.events import Envelope, Event, Unknown
from knowngood.store.problem import NewerStore, StoreProblem

Body = dict[str, Any]

KINDS: Mapping[str, type[Event]] = {
    cls.__name__: cls for cls in get_args(events.Event) if cls is not Unknown
}

VERSIONS: Mapping[str, int] = {"JobOpened": 2}
"""The version that is written, for kinds that have changed; 1 for all others."""


def _job_opened_1_to_2(body: Body) -> Body:
    # Version 1 did not record what the customer was promised.
    return {**body, "promised": ""}


UPCASTERS: Mapping[tuple[str, int], Callable[[Body], Body]] = {
    ("JobOpened", 1): _job_opened_1_to_2,
}
"""From (kind, version) to the body of the next version."""

_NOT_FINITE = {"inf": math.inf, "-inf": -math.inf, "nan": math.nan}


def version_of(kind: str) -> int:
    """The version in which this program writes `kind`."""
    return VERSIONS.get(kind, 1)


def encode(event: Event) -> tuple[str, int, str]:
    """(kind, version, body as JSON text). Mappings keep their order, as they were shown.

    Raises TypeError naming the field that is not plain data.
    """
    if isinstance(event, Unknown):
        version = int(event.body.get("version", 1))
        return event.name, version, _dumps(_plain(event.body.get("body", {}), event.name))
    kind = type(event).__name__
    if kind not in KINDS:
        raise TypeError(f"{kind} is not a kind of event; see knowngood.job.events")
    body = {f.name: _plain(getattr(event, f.name), f"{kind}.{f.name}") for f in fields(event)}
    return kind, version_of(kind), _dumps(body)


def decode(kind: str, version: int, text: str) -> Event:
    """The event that `encode` wrote, by this version or an older one.

    A kind from later than this version becomes `Unknown`, kept whole. Raises NewerStore when a
    known kind has a newer version, StoreProblem when the body does not fit.
    """
    try:
        body = _restore(json.loads(text))
    except ValueError as error:
        raise StoreProblem(f"A {kind} in the record is not readable JSON: {error}.") from error
    cls = KINDS.get(kind)
    if cls is None:
        return Unknown(kind, {"version": version, "body": body})
    if version > version_of(kind):
        raise NewerStore(
            f"A {kind} in the record has version {version}; this program knows versions up to "
            f"{version_of(kind)}. Open the record with the newer knowngood that wrote it, "
            f"or update this one."
        )
    while version < version_of(kind):
        body = UPCASTERS[kind, version](body)
        version += 1
    return _build(cls, kind, body)


def same(one: Event, other: Event) -> bool:
    """Whether two events say the same, whatever the order of their mappings."""
    first, second = encode(one), encode(other)
    return first[:2] == second[:2] and _sorted(first[2]) == _sorted(second[2])


def to_line(envelope: Envelope) -> str:
    """One event as one line of JSON, without the line end."""
    kind, version, body = encode(envelope.event)
    return _dumps(
        {
            "seq": envelope.seq,
            "job": envelope.job,
            "kind": kind,
            "version": version,
            "device": envelope.device,
            "device_seq": envelope.device_seq,
            "based_on": envelope.based_on,
            "device_time": envelope.device_time.isoformat(),
            "server_time": envelope.server_time.isoformat(),
            "zone": envelope.zone,
            "by": envelope.by,
            "body": json.loads(body),
        }
    )


def from_line(line: str) -> Envelope:
    """The event that `to_line` wrote. Raises StoreProblem saying what is off."""
    try:
        data = json.loads(line)
        head = (str(data["kind"]), int(data["version"]), _dumps(data["body"]))
        numbers = [int(data[name]) for name in ("seq", "device_seq", "based_on")]
        times = [datetime.fromisoformat(data[name]) for name in ("device_time", "server_time")]
        words = [str(data[name]) for name in ("job", "device", "zone", "by")]
    except (ValueError, TypeError, KeyError) as error:
        reason = f"{error.args[0]!r} is missing" if isinstance(error, KeyError) else str(error)
        raise StoreProblem(f"This is not a line of a job's record: {reason}.") from error
    if any(time.tzinfo is None for time in times):
        raise StoreProblem("This is not a line of a job's record: a time has no zone.")
    return Envelope(
        seq=numbers[0],
        job=words[0],
        kind=head[0],
        version=head[1],
        device=words[1],
        device_seq=numbers[1],
        based_on=numbers[2],
        device_time=times[0],
        server_time=times[1],
        zone=words[2],
        by=words[3],
        event=decode(*head),
    )


def _build(cls: type[Event], kind: str, body: object) -> Event:
    if not isinstance(body, dict):
        raise StoreProblem(f"A {kind} in the record has no body.")
    known = {f.name: f for f in fields(cls)}
    unknown = sorted(set(body) - set(known))
    if unknown:
        raise StoreProblem(f"A {kind} in the record has a field {unknown[0]!r} it should not have.")
    for name, f in known.items():
        needed = f.default is MISSING and f.default_factory is MISSING
        if needed and name not in body:
            raise StoreProblem(f"A {kind} in the record lacks its field {name!r}.")
    for name, value in body.items():
        wanted = known[name].type
        if not _fits(value, str(wanted), cls):
            raise StoreProblem(
                f"A {kind} in the record has {value!r} as its {name!r}, which should be {wanted}."
            )
    lists = {name: tuple(body[name]) for name, f in known.items()
             if f.type == "Words" and name in body}  # fmt: skip
    return cls(**{**body, **lists})


def _fits(value: object, wanted: str, cls: type[Event]) -> bool:
    match wanted:
        case "str":
            return isinstance(value, str)
        case "float":
            return isinstance(value, int | float) and not isinstance(value, bool)
        case "bool":
            return isinstance(value, bool)
        case "Plain":
            return isinstance(value, dict)
        case "Words":
            return isinstance(value, list) and all(isinstance(one, str) for one in value)
        case _:  # one of a few words
            alias = getattr(sys.modules[cls.__module__], wanted, None)
            return alias is None or value in get_args(alias)


def _plain(value: object, where: str) -> Any:
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):  # half a surrogate pair is no text and cannot be stored
        return value.encode("utf-8", "replace").decode("utf-8")
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        number = float(value)
        return number if math.isfinite(number) else {"not finite": str(number)}
    if isinstance(value, Mapping | types.MappingProxyType):
        for key in value:
            if not isinstance(key, str):
                raise TypeError(f"{where} has the key {key!r}; keys are text")
        return {key: _plain(item, f"{where}[{key!r}]") for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item, f"{where}[{at}]") for at, item in enumerate(value)]
    raise TypeError(
        f"{where} is a {type(value).__name__}; an event holds text, numbers, yes/no, and "
        f"mappings or lists of those"
    )


def _restore(value: Any) -> Any:
    if isinstance(value, dict):
        if value.keys() == {"not finite"}:
            return _NOT_FINITE.get(value["not finite"], value)
        return {key: _restore(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_restore(item) for item in value]
    return value


def _sorted(text: str) -> str:
    return json.dumps(json.loads(text), sort_keys=True)


def _dumps(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
