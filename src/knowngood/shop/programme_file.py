"""The text of a programme file to a Programme, with every problem, its line and its fix."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator, Mapping
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Final

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    TypeAdapter,
    ValidationError,
)

from knowngood.machines.nearest import did_you_mean
from knowngood.machines.parse import line_of, tidy
from knowngood.machines.tree import read_tree
from knowngood.measure.problem import Problem
from knowngood.shop.claim_check import WANTED
from knowngood.shop.days import LONGEST
from knowngood.shop.form_words import form_problems
from knowngood.shop.programme import (
    REST,
    USES,
    CoverLine,
    Exclusion,
    From,
    Labour,
    Notice,
    Programme,
    Use,
    plate_of,
)


def _exact(value: Any) -> Any:
    """Numbers of the file exactly as written: 0.1 is a tenth."""
    return Decimal(str(value)) if isinstance(value, int | float) and value is not True else value


def _plain(value: Any) -> Any:
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


Words = Annotated[str, BeforeValidator(_plain), StringConstraints(min_length=1, max_length=600)]
Id = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,59}$")]
Amount = Annotated[Decimal, BeforeValidator(_exact), Field(ge=0, le=10**7, allow_inf_nan=False)]
Days = Annotated[int, Field(ge=0, le=3650, strict=True)]
Months = Annotated[int, Field(ge=0, le=LONGEST, strict=True)]


class Form(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class CoverSpec(Form):
    group: Words = REST
    use: Use
    months: Months
    counted_from: From = Field(default="purchase", alias="from")


class ExclusionSpec(Form):
    ask: Words
    words: Words
    evidence: str = ""
    except_for: list[Words] = Field(default_factory=list)


class CodeSpec(Form):
    words: Words
    minutes: Amount


class LabourSpec(Form):
    rate: Amount | None = None
    by_minutes: bool = True
    cap_minutes: Amount | None = None
    flat: dict[Words, CodeSpec] = Field(default_factory=dict)
    diagnosis_minutes: Amount = Decimal(0)


class NoticeSpec(Form):
    words: Words
    models: list[Words] = Field(default_factory=list)
    serials: Annotated[list[Words], Field(min_length=2, max_length=2)]
    stop_use: bool = False


class SoldSpec(Form):
    begin: date | None = Field(default=None, alias="from")
    until: date | None = None


class KeepSpec(Form):
    days: Days
    how: Words


class ProgrammeSpec(Form):
    programme: Id
    words: Words
    maker: Words
    currency: Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]
    source: Words
    cover: Annotated[list[CoverSpec], Field(min_length=1, max_length=200)]
    groups: dict[Words, list[Id]] = Field(default_factory=dict)
    proof: list[Words] = Field(default_factory=list)
    exclusions: dict[Id, ExclusionSpec] = Field(default_factory=dict)
    approval_above: Amount | None = None
    labour: LabourSpec = LabourSpec()
    parts_markup_percent: Amount = Decimal(0)
    claim_days: Days
    keep: KeepSpec
    wants: list[Id] = Field(default_factory=list)
    notices: dict[Words, NoticeSpec] = Field(default_factory=dict)
    sold: SoldSpec = SoldSpec()


_EXAMPLE: Final = "See docs/programme-files.md for a worked one"


def parse_programme(
    text: str, name: str, parts: Collection[str] | None = None, kept: bool = False
) -> tuple[Programme | None, list[Problem]]:
    """The programme of a file, or None and all that is wrong with the file. `parts`: ids of all
    service parts that machine files have, None where that is not asked (a file kept long ago).
    `kept`: it was taken once, so that its ranges of serials stand as they were taken."""
    if not text.strip():
        return None, [Problem(name, 1, "the file is empty", _EXAMPLE)]
    tree = read_tree(text, name)
    problems = list(tree.problems)
    if not isinstance(tree.data, dict):
        if not problems:
            problems.append(Problem(name, 1, "the file is no list of entries with names", _EXAMPLE))
        return None, problems
    try:
        spec = ProgrammeSpec.model_validate(tree.data)
    except ValidationError as error:
        problems += form_problems(error, tree.lines, name, _keys(), _EXAMPLE)
        problems += _sense_so_far(tree.data, tree.lines, name, parts)
        return None, tidy(problems, name)
    problems += _sense(spec, tree.lines, name, parts)
    if not kept:
        problems += range_problems(spec.notices, tree.lines, name)
    if problems:
        return None, tidy(problems, name)
    return _build(spec, hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()), []


def _keys() -> set[str]:
    forms = (ProgrammeSpec, CoverSpec, ExclusionSpec, LabourSpec, NoticeSpec, KeepSpec, CodeSpec,
             SoldSpec)  # fmt: skip
    return {field.alias or key for form in forms for key, field in form.model_fields.items()}


def _sense_so_far(
    data: dict[str, Any], lines: Mapping[str, int], name: str, parts: Collection[str] | None
) -> Iterator[Problem]:
    """What cannot be meant of the sections that are well formed, while others are not."""
    read: dict[str, Any] = {"cover": []}
    for key in ("cover", "groups", "exclusions", "wants", "sold", "notices"):
        field = ProgrammeSpec.model_fields[key]
        try:
            whole: Any = TypeAdapter(field.rebuild_annotation()).validate_python(data[key])
        except (KeyError, ValidationError):
            continue
        read[key] = whole
    whole_cover = bool(read["cover"]) and ("groups" in read or "groups" not in data)
    yield from range_problems(read.get("notices", {}), lines, name)
    for problem in _sense(ProgrammeSpec.model_construct(**read), lines, name, parts):
        gap = problem.message.startswith(("a gap:", "no group"))
        if whole_cover or not gap:
            yield problem


def _sense(
    spec: ProgrammeSpec, lines: Mapping[str, int], name: str, known: Collection[str] | None
) -> Iterator[Problem]:
    """What is well formed and still cannot be meant."""
    groups = {REST, *spec.groups}
    seen: dict[tuple[str, str], int] = {}
    for n, line in enumerate(spec.cover):
        at, key = line_of(lines, ("cover", n)), (line.group, line.use)
        if line.group not in groups:
            yield Problem(name, at, f"no group {line.group!r}", did_you_mean(line.group, groups))
        if key in seen:
            yield Problem(
                name, at, f"{line.group}, {line.use} use: twice (first in line {seen[key]})",
                "Keep one of them",
            )  # fmt: skip
        seen.setdefault(key, at)
    for group in sorted(groups):
        for use in USES:
            if (group, use) not in seen:
                yield Problem(
                    name, line_of(lines, ("cover",)), f"a gap: {group} in {use} use has no line",
                    f"Add {{group: {group}, use: {use}, months: 0}} if it is not covered",
                )  # fmt: skip
    owner: dict[str, str] = {}
    for group, parts in spec.groups.items():
        for n, part in enumerate(parts):
            if known is not None and part not in known:
                hint = did_you_mean(part, known, 20)
                yield Problem(
                    name, line_of(lines, ("groups", group, n)),
                    f"{group} names {part}, which is a part of no machine file",
                    f"{hint}{'' if hint.endswith('?') else '.'} Groups go by the ids under parts: "
                    "of the machine files; keep a machine file of your own first",
                )  # fmt: skip
            if part in owner:
                yield Problem(
                    name, line_of(lines, ("groups", group)),
                    f"{part} is in {owner[part]} and in {group}", "Keep it in one group",
                )  # fmt: skip
            owner.setdefault(part, group)
    for id_, one in spec.exclusions.items():
        for group in one.except_for:
            if group not in groups:
                yield Problem(
                    name, line_of(lines, ("exclusions", id_)), f"no group {group!r}",
                    did_you_mean(group, groups),
                )  # fmt: skip
    for wanted in spec.wants:
        if wanted not in WANTED:
            yield Problem(
                name, line_of(lines, ("wants",)), f"{wanted} is nothing a claim can show",
                did_you_mean(wanted, WANTED, 20),
            )  # fmt: skip
    if spec.sold.begin and spec.sold.until and spec.sold.until < spec.sold.begin:
        yield Problem(
            name, line_of(lines, ("sold",)), f"sold until {spec.sold.until}, before it began",
            "Write the first and the last day of purchase it is for",
        )  # fmt: skip


def range_problems(
    notices: Mapping[str, NoticeSpec], lines: Mapping[str, int], name: str
) -> Iterator[Problem]:
    """Serials of notices that are no range."""
    for code, notice in notices.items():
        first, last = notice.serials
        low, high = plate_of(first), plate_of(last)  # as they are compared with a plate
        if not low or len(low) != len(high) or low > high:
            yield Problem(
                name, line_of(lines, ("notices", code)), f"serials {first} to {last} are no range",
                "Write the lowest and the highest serial, in the same form",
            )  # fmt: skip


def _build(spec: ProgrammeSpec, digest: str) -> Programme:
    flat = {code: (c.words, c.minutes) for code, c in spec.labour.flat.items()}
    labour = Labour(
        spec.labour.rate, spec.labour.by_minutes, spec.labour.cap_minutes, flat or None,
        spec.labour.diagnosis_minutes,
    )  # fmt: skip
    return Programme(
        spec.programme, spec.words, spec.maker, spec.currency,
        tuple(CoverLine(c.group, c.use, c.months, c.counted_from) for c in spec.cover),
        {group: tuple(parts) for group, parts in spec.groups.items()},
        tuple(spec.proof),
        tuple(
            Exclusion(i, e.ask, e.words, e.evidence, tuple(e.except_for))
            for i, e in spec.exclusions.items()
        ),
        spec.approval_above, labour, spec.parts_markup_percent, spec.claim_days, spec.keep.days,
        spec.keep.how, tuple(spec.wants),
        tuple(
            Notice(i, n.words, tuple(n.models), n.serials[0], n.serials[1], n.stop_use)
            for i, n in spec.notices.items()
        ),
        spec.source, digest, spec.sold.begin, spec.sold.until,
    )  # fmt: skip
