"""Machines, meters and prices by name, by file, and by the digest a job has pinned."""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Generic, TypeVar

from knowngood.diagnosis.assess import Setup, set_up
from knowngood.isolate.prices import Prices
from knowngood.learn.applied import with_lessons
from knowngood.learn.lessons import Lessons, from_text
from knowngood.machines.machine import Complaint, Machine, PartNumber, ServicePart, Test
from knowngood.machines.nearest import did_you_mean, nearest
from knowngood.machines.serial import fits_serial
from knowngood.machines.wire import wire
from knowngood.measure.meter import MeterSheet, parse_meter, shipped_meters
from knowngood.places.record import Record, Refused
from knowngood.places.text_file import text_of
from knowngood.store.worked import worked_out

if TYPE_CHECKING:
    from knowngood.machines.variant import Bases

MOST_BYTES = 2_000_000
NEW_MACHINE = ("Another machine is described on top of the family it is most like: "
               "knowngood machine new FILE.yaml --family FAMILY")  # fmt: skip
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Known(Generic[T]):
    """Something read from text, and that text, which a job keeps by digest."""

    it: T
    text: str


def shipped_machines() -> tuple[str, ...]:
    """Names of the machine files that come with the program."""
    folder = resources.files("knowngood.machines") / "shipped"
    if not folder.is_dir():
        return ()
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(n.removesuffix(".yaml") for n in names if n.endswith(".yaml")))


class Several(Refused):
    """A part of a name that these machines have."""

    def __init__(self, names: Sequence[str]) -> None:
        super().__init__(f"which one? {', '.join(names)}")
        self.names = tuple(names)


def pick_machine(text: str, listed: Sequence[str] = ()) -> str:
    """The name of a shipped machine by its number in the list (`listed`, else all), by a part of
    its name, or by Enter when there is one; any other text is left as it is, for a file. Raises
    Refused, Several."""
    names, wanted = shipped_machines(), plain_name(text)
    if not wanted and len(names) == 1:
        return names[0]
    if wanted.isascii() and wanted.isdigit() and len(wanted) < 6:
        shown = listed or names
        if not 1 <= int(wanted) <= len(shown):
            raise Refused(f"there are machines 1 to {len(shown)}; or type a part of the name")
        return shown[int(wanted) - 1]
    close = [n for n in names if all(w in plain_name(n) for w in wanted.split())]
    if not wanted or (len(close) > 1 and text not in names):
        raise Several(close or names)
    return text if text in names or not close else close[0]


def plain_name(name: str) -> str:
    """A name as people say it: small letters, blanks for _ and -."""
    return " ".join(name.casefold().replace("_", " ").replace("-", " ").split())


def find_machine(name: str) -> Known[Machine]:
    """A shipped machine by name, or a machine file. Raises Refused with every problem."""
    text = _text_of(name, "knowngood.machines", "shipped", shipped_machines(), "machine")
    return sound_machine(text, name, bases_beside(name))


def sound_machine(text: str, name: str, bases: Bases) -> Known[Machine]:
    """The machine of a text that may be used as it stands, and that text; a variant written out,
    since a job keeps the whole and its family may change. Raises Refused with every problem."""
    from knowngood.machines.check import read_machine
    from knowngood.machines.variant import is_variant, written_out

    machine, problems = read_machine(text, name, bases)
    if machine is None:
        raise Refused("\n".join(str(p) for p in problems) or f"{name} is no machine file")
    if is_variant(text):
        text = written_out(text, name, bases)
        machine = machine_from(text, name)
    return Known(machine, text)


def bases_beside(file: str) -> Bases:
    """What a variant in this file may stand on: a shipped family, or a file NAME.yaml beside it."""
    from knowngood.machines.variant import BASE_NAME, shipped_base

    def base(name: str) -> str | None:
        shipped = shipped_base(name)
        if shipped is not None or not BASE_NAME.fullmatch(name):
            return shipped
        beside = Path(file).parent / f"{name}.yaml"
        try:
            return text_of(beside, MOST_BYTES, "machine file")
        except Refused:
            return None

    return base


def machine_from(text: str, name: str) -> Machine:
    """The machine written in this text. Raises Refused with every problem."""
    from knowngood.machines.parse import parse_machine

    machine, problems = parse_machine(text, name)
    if machine is None:
        raise Refused("\n".join(str(p) for p in problems) or f"{name} is no machine file")
    return machine


def find_meter(name: str) -> Known[MeterSheet]:
    """A shipped meter by name, or a meter sheet. Raises Refused with every problem."""
    text = _text_of(name, "knowngood.measure", "meters", shipped_meters(), "meter")
    return Known(_meter_from(text, name), text)


def _meter_from(text: str, name: str) -> MeterSheet:
    sheet, problems = parse_meter(text, name)
    if sheet is None:
        raise Refused("\n".join(str(p) for p in problems))
    return sheet


def _text_of(name: str, package: str, folder: str, shipped: tuple[str, ...], what: str) -> str:
    if name in shipped:
        file = resources.files(package) / folder / f"{name}.yaml"
        return file.read_text(encoding="utf-8")
    path, hint = Path(name), did_you_mean(name, shipped)
    if not (path.suffix or path.exists()):
        more = f"\n{NEW_MACHINE}" if what == "machine" else ""
        raise Refused(f"there is no {what} {name!r}, nor a file of that name. {hint}{more}")
    try:
        return text_of(path, MOST_BYTES, f"{what} file")
    except Refused as refused:
        raise Refused(f"{refused}. {hint}".rstrip()) from refused


def prices_text(prices: Prices) -> str:
    """The shop's prices as the text that a job pins."""
    return json.dumps(asdict(prices), sort_keys=True)


def prices_from(text: str) -> Prices:
    """The prices in such a text. Raises Refused."""
    try:
        data = json.loads(text)
        known = {f.name for f in fields(Prices)}
        return Prices(**{k: v for k, v in data.items() if k in known})
    except (ValueError, TypeError, AttributeError) as error:
        raise Refused(f"the prices of this job cannot be read: {error}") from error


def prices_with(rates: Mapping[str, object]) -> Prices:
    """The usual prices, with the shop's own rates where they are given. Raises Refused."""
    own: dict[str, object] = {}
    for f in fields(Prices):
        value = rates.get(f.name)
        if isinstance(value, str) or (isinstance(value, int | float) and f.name != "currency"):
            own[f.name] = value if f.name == "currency" else float(value)
    try:
        return replace(Prices(), **own)  # type: ignore[arg-type]
    except ValueError as error:
        raise Refused(str(error)) from error


def find_complaint(machine: Machine, id: str) -> Complaint:
    """A complaint of the machine's file. Raises Refused naming the nearest."""
    for complaint in machine.complaints:
        if complaint.id == id:
            return complaint
    hint = did_you_mean(id, (c.id for c in machine.complaints))
    raise Refused(f"{machine.id} has no complaint {id!r}. {hint}")


def find_test(machine: Machine, id: str) -> Test:
    """A test of the machine's file. Raises Refused naming the nearest."""
    for test in machine.tests:
        if test.id == id:
            return test
    wanted = plain_name(id)
    close = [t for t in machine.tests if wanted in (plain_name(t.id), plain_name(t.question))]
    if len(close) == 1:
        return close[0]
    hint = did_you_mean(id, (t.id for t in machine.tests))
    part = nearest(id, (p.id for p in machine.parts))
    if part is not None and nearest(id, (t.id for t in machine.tests)) is None:
        hint = f"{part} is a part; here a test is wanted. {hint}"
    raise Refused(f"{machine.id} has no test {id!r}. {hint}")


def find_part(machine: Machine, name: str) -> ServicePart:
    """A service part by id or by its words. Raises Refused naming the nearest."""
    wanted = plain_name(name)
    for part in machine.parts:
        if wanted in (plain_name(part.id), plain_name(part.words)):
            return part
    close = [p for p in machine.parts if wanted and wanted in plain_name(p.words)]
    if len(close) == 1:
        return close[0]
    hint = did_you_mean(name, (p.id for p in machine.parts))
    raise Refused(f"{machine.id} has no part {name!r}. {hint}")


def part_number(part: ServicePart, model: str | None = None, serial: str = "") -> str:
    """The number to order for this model and serial, "" where the file has none for that model or
    `number_wants` names what is still to be known. ``model`` None: a plan without a machine."""
    found = number_for(part, model, serial)
    return found.number if found else ""


def read_at(part: ServicePart, model: str | None = None, serial: str = "") -> str:
    """Where the number to order was read; "" when nobody noted it."""
    found = number_for(part, model, serial)
    return found.read_at if found else ""


def number_for(part: ServicePart, model: str | None, serial: str = "") -> PartNumber | None:
    """The entry of the file whose number fits this model and serial, the newest where several do.
    What a family lists for its own models is an example for any other machine, and is not given
    for one."""
    sure, unsure = _fitting(part, model, serial)
    return None if unsure or not sure else sure[0]


@dataclass(frozen=True, slots=True)
class NumberWants:
    """What decides a part's number and is not known: ``field`` is "model" or "serial", ``why`` says
    it in words."""

    field: str
    why: str


def number_wants(part: ServicePart, model: str | None, serial: str = "") -> NumberWants | None:
    """What is needed before the number can be named; None where it can, or where the file has none
    for this model."""
    words = f"{part.words[:1].lower()}{part.words[1:]}"
    if model is not None and not same_model(model):
        models = list(dict.fromkeys(m for n in part.numbers for m in n.models))
        if not models or number_for(part, model, serial) is not None:
            return None
        known = ", ".join(models[:4]) + (", ..." if len(models) > 4 else "")
        return NumberWants("model", f"the number of {words} goes by the model ({known})")
    _, unsure = _fitting(part, model, serial)
    if not unsure:
        return None
    at = next(s for n in unsure for s in (n.serial_from, n.serial_to) if s)
    why = f"the number of {words} goes by the serial"
    if serial.strip():
        why += f", and {serial.strip()} is not written like {at}"
    return NumberWants("serial", why)


def _fitting(
    part: ServicePart, model: str | None, serial: str
) -> tuple[list[PartNumber], list[PartNumber]]:
    """Numbers that fit, and those that the serial might still choose; without what another that
    fits replaces."""
    said = None if model is None else same_model(model)
    for_model = [n for n in part.numbers
                 if not n.models or said is None or said in map(same_model, n.models)]  # fmt: skip
    sure = [n for n in for_model if fits_serial(n, serial)]
    gone = {old for n in sure for old in n.supersedes}
    unsure = [n for n in for_model if fits_serial(n, serial) is None]
    return [n for n in sure if n.number not in gone], [n for n in unsure if n.number not in gone]


def same_model(model: str) -> str:
    """A model as it is compared: small letters and digits alone."""
    return "".join(sign for sign in model.casefold() if sign.isalnum())


_SETUPS: OrderedDict[tuple[str, ...], Setup] = OrderedDict()
_MOST_SETUPS = 8


def setup_for(
    record: Record, machine_digest: str, complaint: str, meter_digest: str, prices_digest: str,
    lessons_digest: str = "", model: str = "",
) -> Setup:  # fmt: skip
    """The setup that these digests name; the last few are kept. ``model``: maker and model, of
    which the shop's own readings count first. Raises Refused, StoreProblem."""
    key = (machine_digest, complaint, meter_digest, prices_digest, lessons_digest, model)
    if key in _SETUPS:
        _SETUPS.move_to_end(key)
        return _SETUPS[key]
    files = record.files
    machine = pinned_machine(files.text_of(machine_digest))
    meter = _meter_from(files.text_of(meter_digest), "the job's meter") if meter_digest else None
    prices = prices_from(files.text_of(prices_digest)) if prices_digest else Prices()
    lessons = read_lessons(files.text_of(lessons_digest)) if lessons_digest else None
    setup = make_setup(machine, complaint, meter, prices, lessons, model)
    _SETUPS[key] = setup
    while len(_SETUPS) > _MOST_SETUPS:
        _SETUPS.popitem(last=False)
    return setup


def wired(machine: Machine, meter: MeterSheet | None) -> Machine:
    """The machine with the readings of its wiring, those worked out before taken as they are."""
    return wire(machine, meter, worked_out())


@lru_cache(maxsize=8)
def pinned_machine(text: str) -> Machine:
    """A job's machine file, read once: each job that teaches something makes another setup."""
    return machine_from(text, "the job's machine file")


def read_lessons(text: str, name: str = "what the shop had learned") -> Lessons:
    """The lessons in a text that `learn save` or a job has kept. Raises Refused."""
    try:
        return from_text(text)
    except ValueError as error:
        raise Refused(f"{name} cannot be read: {error}") from None


def make_setup(
    machine: Machine, complaint: str | None, meter: MeterSheet | None, prices: Prices,
    lessons: Lessons | None = None, model: str = "",
) -> Setup:  # fmt: skip
    """`set_up`, with an unknown complaint refused in words and every test's bands made, so that
    no step waits for them; with what the shop has learned about the machine. Raises Refused."""
    if complaint:
        find_complaint(machine, complaint)
    try:
        whole = wired(machine, meter)
        known = whole if lessons is None else with_lessons(whole, lessons, model)
        setup = set_up(known, complaint, meter, prices)
    except ValueError as error:
        raise Refused(f"{machine.id}: {error}") from error
    for row in setup.bench.table.rows.values():
        if setup.bench.readable(row):
            setup.bench.bands(row.id)
    return setup
