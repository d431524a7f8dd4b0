"""What each answer about an unknown machine changes in its file."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, Final

from ruamel.yaml.comments import CommentedMap

from knowngood.machines.above_limit import written
from knowngood.machines.brushed import brushed, has_phases
from knowngood.machines.edits import drop, entry, keep, listed, take_out, with_cells, write
from knowngood.machines.label_volts import (
    MOST_CELLS,
    Meant,
    cells_exactly,
    meanings,
    volts_typed,
)
from knowngood.machines.nearest import did_you_mean
from knowngood.machines.rescale import CELL_FULL, live_open, rescaled, too_high
from knowngood.machines.sold_as_one import apart, groups_of, together

Base = Mapping[str, Any]

SEEN: Final = "as seen on this machine"
SOLDER_MINUTES: Final = 6.0  # more than to unplug it, each way; common practice
SOLDER_TRAP: Final = "soldered here: mark the colours, unsolder at the board"
SOLDER_CAUTION: Final = "Pack out and capacitor measured; eye protection at the iron"
BRAKES: Final = ("none", "electric", "mechanical")
MOST_CONTROLS: Final = 8


_NUMBER: Final = re.compile(r"[0-9]+(?:\.[0-9]+)?")


class AnswerError(ValueError):
    """An answer that cannot be used; the text says what to write."""


def step_of(base: Base, role: str) -> str:
    """The family's step of this role, else the one that takes the source out."""
    steps = base.get("teardown") or {}
    for wanted in (role, "source out"):
        for id, step in steps.items():
            if wanted and step.get("role") == wanted:
                return str(id)
    return ""


def traps_of(file: CommentedMap, base: Base, step: str) -> list[Any]:
    """The traps of a step as the file has them, those of the family to begin with."""
    found = entry(file, "teardown", step)
    if "traps" not in found:
        found["traps"] = listed(base["teardown"][step].get("traps"))
    traps: list[Any] = found["traps"]
    return traps


def _maker(file: CommentedMap, base: Base, answer: str) -> None:
    file["makers"] = [answer]


def _model(file: CommentedMap, base: Base, answer: str) -> None:
    file["models"] = [answer]


class CellsAsked(AnswerError):
    """Volts off a label: `options` are what they may mean, one of which a person has to choose."""

    def __init__(self, options: tuple[Meant, ...]) -> None:
        self.options = options
        meant = " or ".join(f"{one.words} (write {one.cells} cells)" for one in options)
        super().__init__(f"{options[0].label} on the label: {meant}?")


def cells_of(answer: str) -> int:
    """Cells in series as a person wrote them. Raises CellsAsked for the volts of a label that may
    mean one thing or another, AnswerError for what says nothing."""
    match = re.fullmatch(r"([0-9]{1,3})\s*(?:S|cells?)?", answer.strip(), re.IGNORECASE)
    volts = volts_typed(answer)
    cells = int(match[1]) if match else cells_exactly(*volts) if volts else None
    if cells is None and volts and not volts[1]:
        if options := meanings(volts[0]):
            raise CellsAsked(options)
        raise AnswerError(f"cells: {answer[:40]!r} is no whole number of cells at 3.6 or 4.0 V; "
                          "count the cells, or write the volts of the full pack, as 58.8 V full")
    if cells is None or not 1 <= cells <= MOST_CELLS:
        raise AnswerError(f"cells: {answer[:40]!r}; write 10, or the volts on the label: 40 V")
    return cells


def _cells(file: CommentedMap, base: Base, answer: str) -> None:
    cells = cells_of(answer)
    if base.get("full_volts") is None:
        raise AnswerError("cells: this family has no pack")
    for section, ids in too_high(base):  # of an earlier answer
        keep(file, section, ids)
    if "parts" in file:  # an earlier answer wrote them all, with the count of then
        then = _NUMBER.match(str(file.get("full_volts") or base["full_volts"]))
        if then:
            file["parts"] = CommentedMap(
                with_cells(file["parts"], cells * CELL_FULL / float(then[0])))
    for path in written(base, live_open(base)):
        take_out(file, path)
    for path, value in rescaled(base, cells, again="full_volts" in file):
        if path[0] == "drop":  # what an earlier answer wrote about them
            for id in value:
                take_out(file, (path[1], id))
        write(file, path, value)


def _hall(file: CommentedMap, base: Base, answer: str) -> None:
    if answer.casefold() not in ("yes", "no"):
        raise AnswerError(f"hall: {answer[:40]!r}; write yes or no")
    for section, id in (("faults", "motor_hall"), ("tests", "motor_halls")):
        if id in (base.get(section) or {}):
            if answer.casefold() == "no":
                drop(file, section, [id])
            elif not _is_brushed(file):
                keep(file, section, [id])


def _motor_wires(file: CommentedMap, base: Base, answer: str) -> None:
    words = answer.casefold().replace(",", " ").split()
    counts = {w for w in words if w in ("2", "3", "two", "three")}
    two = bool(counts & {"2", "two"}) or (not counts and "brushed" in words)
    three = bool(counts & {"3", "three"}) or (not counts and "brushless" in words)
    if two == three or (two and "brushless" in words) or (three and "brushed" in words):
        raise AnswerError(f"motor_wires: {answer[:40]!r}; write 3 (brushless) or 2 (brushed)")
    if not has_phases(base):
        raise AnswerError("motor_wires: this family has no electric motor in its wiring")
    changes = brushed(base, _motor_part(file, base))
    if two:
        for section, ids in changes.drops.items():
            drop(file, section, ids)
        for path, value in changes.writes:
            write(file, path, value)
    elif _is_brushed(file):
        for section, ids in changes.drops.items():
            keep(file, section, ids)
        for path, _ in changes.writes:
            take_out(file, path)


def _motor_part(file: CommentedMap, base: Base) -> list[str]:
    named = (file.get("faults") or {}).get("motor_open") or {}
    return listed(named.get("parts") or base["faults"]["motor_open"]["parts"])


def _is_brushed(file: CommentedMap) -> bool:
    return "motor_brushes" in (file.get("faults") or {})


def _brake(file: CommentedMap, base: Base, answer: str) -> None:
    """none, electric or mechanical, with the seconds where the maker's sheet says them."""
    match = re.fullmatch(r"(\w+)(?:[ ,]+(?:within )?([0-9.]{1,5}) ?s)?", answer.casefold())
    if not match or match[1] not in BRAKES or (match[2] or "1").count(".") > 1:
        raise AnswerError(f"brake: {answer[:40]!r}; write none, electric or mechanical, with the"
                          " seconds of the maker's sheet where it has them: electric, 3 s")
    kind, within = match[1], f" within {match[2]} s" if match[2] else ""
    for id in ("own_brake_stops", "own_brake_holds", "own_runs_down"):
        take_out(file, ("release", id))
    checks = entry(file, "release")
    if kind == "none":
        checks["own_runs_down"] = _check("Runs down freely when let go, no brake fitted; hands off"
                                         " until it stands", "full")
    else:
        checks["own_brake_stops"] = _check(f"Let go at full speed, it is seen to stop{within}",
                                           "full")
    if kind == "mechanical":
        checks["own_brake_holds"] = _check("Brake set by hand holds the shaft, and lets it go again"
                                           " when released", "source out", "Pack and key out.")


def _check(
    words: str, stage: str, caution: str = "Outdoors, nobody near; hands clear of what turns."
) -> CommentedMap:
    return CommentedMap(words=words, stage=stage, caution=caution, source=SEEN)


def _controls(file: CommentedMap, base: Base, answer: str) -> None:
    """ "name: what it does", parted by ; or ,: each is tried before the machine goes back."""
    named = [c.strip() for c in re.split(r"[;,]", answer) if c.strip()]
    if not named or len(named) > MOST_CONTROLS:
        raise AnswerError(f"controls: {answer[:40]!r}; write each with what it does, at most"
                          f" {MOST_CONTROLS}: lock-off: blocks the trigger; trigger: speed")
    checks = file.get("release") or {}
    for id in [c for c in checks if str(c).startswith("own_control_")]:
        take_out(file, ("release", str(id)))
    for number, one in enumerate(named, start=1):
        name, _, does = (p.strip() for p in one.partition(":"))
        what = f"does what it should ({does})" if does else "works"
        entry(file, "release")[f"own_control_{number}"] = _check(
            f"{name[:1].upper()}{name[1:]} {what}, and goes back when let go", "run")
    _noted(file, base, "controls", answer)


def _connectors(file: CommentedMap, base: Base, answer: str) -> None:
    """Which plugs are soldered: those steps take longer, with an iron."""
    plugs = {str(id): id.removesuffix("_plug").replace("_", " ")
             for id in (base.get("teardown") or {}) if str(id).endswith("_plug")}  # fmt: skip
    words = answer.casefold()
    if not re.search(r"plug|solder", words):
        raise AnswerError(f"connectors: {answer[:40]!r}; write all plugs, all soldered, or which"
                          f" are soldered: {', '.join(plugs.values()) or 'motor'} soldered")
    soldered = [part for part in re.split(r"[;,]", words) if "solder" in part]
    names = {id for id, name in plugs.items() if any(name in part for part in soldered)}
    if soldered and not names:
        names = set(plugs)
    for id in plugs:
        step = base["teardown"][id]
        for field in ("minutes", "back_minutes", "caution"):
            take_out(file, ("teardown", id, field))
        if "teardown" in file and id in file["teardown"]:
            traps = traps_of(file, base, id)
            traps[:] = [t for t in traps if t != SOLDER_TRAP]
        if id in names:
            found = entry(file, "teardown", id)
            for field in ("minutes", "back_minutes"):
                found[field] = float(step[field]) + SOLDER_MINUTES
            old = str(step.get("caution") or "").rstrip(". ")
            found["caution"] = f"{old}. {SOLDER_CAUTION}." if old else f"{SOLDER_CAUTION}."
            traps_of(file, base, id).append(SOLDER_TRAP)
    _noted(file, base, "connectors", answer)


def _noted(file: CommentedMap, base: Base, key: str, answer: str) -> None:
    """Kept in words at the shell too."""
    step = step_of(base, "shell")
    if step:
        traps = traps_of(file, base, step)
        traps[:] = [t for t in traps if not str(t).startswith(f"{key}: ")]
        traps.append(f"{key}: {answer}")


def _screws(file: CommentedMap, base: Base, answer: str) -> None:
    match = re.fullmatch(r"([0-9]{1,3})\s+(\S+)(?:\s+(.+))?", answer)
    if not match or int(match[1]) < 1:
        raise AnswerError(f"screws: {answer[:40]!r}; write count, drive and length: 9 T20 18 mm")
    step = step_of(base, "shell")
    if not step:
        raise AnswerError("screws: this family is not opened")
    one = CommentedMap(count=int(match[1]), drive=match[2])
    if match[3]:
        one["length"] = match[3]
    entry(file, "teardown", step)["fasteners"] = [one]


def _parts_here(file: CommentedMap, base: Base) -> dict[str, Any]:
    """The family's parts, a pack with the cells that this machine has."""
    full, own = (_NUMBER.match(str(at.get("full_volts"))) for at in (base, file))
    return with_cells(base["parts"], float(own[0]) / float(full[0]) if full and own else 1.0)


def _one_part(file: CommentedMap, base: Base, answer: str) -> None:
    """Each group of parts sold as one, groups parted by ;, in place of what was answered before."""
    whole = _parts_here(file, base)
    words = {str(p.get("words", "")).casefold(): id for id, p in whole.items()}
    none = answer.casefold() in ("none", "no", "nothing")
    groups = [] if none else [_group(one, whole, words) for one in answer.split(";") if one.strip()]
    twice = [id for n, one in enumerate(groups) for id in one if any(id in o for o in groups[:n])]
    if twice or not (none or groups):
        raise AnswerError(f"one_part: {twice[0]} stands in two groups" if twice else
                          f"one_part: {answer[:40]!r}; name two or more parts, or none")
    had = groups_of(file.get("parts") or {}, whole)
    if {k: set(v) for k, v in had.items()} == {one[0]: set(one[1:]) for one in groups}:
        return  # as it is, with what was written by hand since
    for id in {*had, *(i for one in groups for i in one)}:
        take_out(file, ("numbers", id))  # of the pieces, or of what they were joined to
    apart(file, base, whole)
    if _is_brushed(file):  # its brushes are cured as the motor is
        file["faults"]["motor_brushes"]["parts"] = _motor_part(file, base)
    for one in groups:
        together(file, base, file.get("parts") or whole, one)


def _group(said: str, whole: Mapping[str, Any], words: Mapping[str, str]) -> list[str]:
    """The parts named, by id or in words. AnswerError."""
    names = [i.strip().casefold() for i in said.split(",") if i.strip()]
    ids = list(dict.fromkeys(words.get(i, i.replace(" ", "_")) for i in names))
    unknown = [i for i in ids if i not in whole]
    if len(ids) < 2 or unknown:
        raise AnswerError(f"one_part: {', '.join(unknown) or said[:40]} - name two or more of"
                          f" {', '.join(whole)}, or none"
                          + (f". {did_you_mean(unknown[0], whole)}" if unknown else ""))
    return ids


ANSWERS: Final[Mapping[str, Callable[[CommentedMap, Base, str], None]]] = {
    "maker": _maker, "model": _model, "cells": _cells, "hall": _hall, "screws": _screws,
    "one_part": _one_part, "controls": _controls, "connectors": _connectors, "brake": _brake,
    "motor_wires": _motor_wires,
}  # fmt: skip
