"""A textbook sum as a person asks for it: inputs as text with units, the answer with its doubt.

A number may carry "± half-width" (or +-, +/-), in its own unit or in %. That is taken as limits,
one rectangle, u = half-width / sqrt(3); results carry ± 2 u, first order (JCGM 100:2008, 5.1.2),
the inputs independent of each other.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

import numpy as np

from knowngood.calculate import bounds
from knowngood.calculate.result_text import shown_like
from knowngood.measure.propagate import propagate
from knowngood.measure.unit_table import BASE_UNIT, EXAMPLE, NAME, Dimension
from knowngood.measure.units import parse_measured, plain

Given = Mapping[str, Any]
Kind = Dimension | Literal["word", "words", "gauge", "any"]

NEEDS_UNIT: Final = {"pressure", "temperature", "capacitance", "torque", "length", "time"}
"""Dimensions where a bare number is asked again, since two units are in use at a bench."""
_PLUS_MINUS: Final = re.compile(r"\s*(?:±|\+\s*/\s*-|\+-)\s*")
_NUMBER: Final = re.compile(r"\s*([+-]?[0-9.,]+(?:[eE][+-]?[0-9]{1,3})?)\s*(.*)", re.DOTALL)
_OPEN: Final = {"ol", "open", "inf", "infinite", "o.l", "0l"}
_LONGEST: Final = 4000


@dataclass(frozen=True, slots=True)
class Input:
    """One input. `kind`: a dimension, "any" dimension, a "gauge", one of `choices` ("word"), free
    "words". `default` is text, None if it must be given, "" if it may be left out. `many` takes a
    list. `units` are further units with their worth in `unit`; `open` accepts OL; `width` is a
    difference, so that 9 degF is 5 K; `shown` puts it in the example though it may be left out;
    `least` and `most` are its limits where `bounds.BENCH` is too wide."""

    name: str
    kind: Kind
    what: str
    example: str
    default: str | None = None
    many: bool = False
    choices: tuple[str, ...] = ()
    unit: str = ""
    units: Mapping[str, float] = field(default_factory=dict)
    open: bool = False
    width: bool = False
    shown: bool = False
    least: float | None = None
    most: float | None = None


@dataclass(frozen=True, slots=True)
class Output:
    """One result. `unit`: a dimension, any other unit as text, or "=NAME" for that of an input.
    `like`: the input in whose unit, as it was typed, the text shows it."""

    name: str
    unit: str
    like: str = ""


@dataclass(frozen=True, slots=True)
class Sum:
    """A sum. `compute` takes numbers in base units by input name (None where left out; `NAME_u` is
    the standard uncertainty given) and returns the outputs in order, nan for one that does not
    apply. `say` turns inputs and results into sentences. `doubt`: a ± is carried to the results,
    used by `compute` itself, or refused because the result moves in steps. `spread` are the
    half-widths, in the results' units, by which the sum's own law is off from one machine to the
    next; they go into the ± and `spread_says` tells from what."""

    name: str
    title: str
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    compute: Callable[[Given], Sequence[float]]
    formula: str
    source: str
    stops: str
    say: Callable[[Given, Sequence[float]], Sequence[str]] | None = None
    caution: str = ""
    doubt: Literal["carried", "used", "refused"] = "carried"
    spread: Callable[[Given, Sequence[float]], Sequence[float]] | None = None
    spread_says: str = ""

    @property
    def example(self) -> str:
        """Its inputs as typed after the name, the examples filled in."""
        shown = [i for i in self.inputs if i.default is None or i.shown]
        return " ".join(_typed(i.name, i.example) for i in shown)


@dataclass(frozen=True, slots=True)
class Result:
    """A result: `value` and standard uncertainty `u` in `unit`, and as shown."""

    name: str
    value: float
    u: float
    unit: str
    text: str


@dataclass(frozen=True, slots=True)
class Worked:
    """A sum done. `given` are the inputs as taken, defaults included, with their text."""

    sum: Sum
    given: tuple[tuple[str, str], ...]
    results: tuple[Result, ...]
    says: tuple[str, ...]


def work(done: Sum, texts: Mapping[str, str]) -> Worked | list[str]:
    """The sum with inputs as text, or every problem in a sentence with an example that works."""
    problems: list[str] = []
    names = [i.name for i in done.inputs]
    for name in texts:
        if name not in names:
            problems.append(f"{name}: {done.name} has no such input. {nearest(name, names)}")
    given: dict[str, Any] = {}
    dimensions: dict[str, str] = {}
    shown: list[tuple[str, str]] = []
    for wanted in done.inputs:
        text = texts.get(wanted.name, wanted.default)
        if text is None:
            example = _typed(wanted.name, wanted.example)
            problems.append(f"{wanted.name} is missing: {wanted.what}, such as {example}")
            continue
        if not text.strip() and wanted.default == "":
            given[wanted.name], given[f"{wanted.name}_u"] = None, 0.0
            continue
        try:
            value, u, dimension = _read(wanted, text)
            _bounded(wanted, text.strip(), value, dimension)
        except ValueError as error:
            problems.append(_told(wanted, error))
            continue
        if u and done.doubt == "refused":
            problems.append(
                f"{wanted.name}: the result moves in steps and takes no ±; try both ends"
            )
        given[wanted.name], given[f"{wanted.name}_u"] = value, u
        dimensions[wanted.name] = dimension
        shown.append((wanted.name, _with_unit(wanted, text.strip())))
    free = {
        dimensions[i.name]: i.name for i in done.inputs if i.kind == "any" and i.name in dimensions
    }
    if len(free) > 1:
        shown_kinds = " but ".join(f"{name} is {NAME[d]}" for d, name in free.items())  # type: ignore[index]
        problems.append(f"{shown_kinds}: give all in one unit, each with it")
    if problems:
        return problems
    try:
        return Worked(done, tuple(shown), *_computed(done, given, dimensions, texts))
    except ValueError as error:
        return [f"{done.name}: {error}"]
    except ArithmeticError:
        return [f"{done.name}: a number is far outside what a bench has; check the units"]


def doubt_words(worked: Worked) -> str:
    """What the ± of the results is and is not; "" where none carries one."""
    if not any(r.u for r in worked.results):
        return ""
    said = "± is twice the standard uncertainty, about 95 %, from the ± of the inputs"
    if worked.sum.spread and worked.sum.spread_says:
        return f"{said} and from {worked.sum.spread_says}"
    return f'{said} alone: what stands under "Not true" is left out'


def nearest(word: str, known: Sequence[str]) -> str:
    """ "Did you mean length?", or what there is."""
    close = difflib.get_close_matches(word[:80].casefold(), known, n=1, cutoff=0.6)
    return f"Did you mean {close[0]}?" if close else f"There are: {', '.join(known)}"


def sentence(words: str) -> str:
    """The words with a full stop and a capital, unless they begin with a phase."""
    first = words if words[1:2] == " " else words[:1].upper() + words[1:]
    return f"{first}."


def _computed(
    done: Sum, given: dict[str, Any], dimensions: Mapping[str, str], texts: Mapping[str, str]
) -> tuple[tuple[Result, ...], tuple[str, ...]]:
    values = [float(v) for v in done.compute(given)]
    doubtful = [n for n in dimensions if given[f"{n}_u"] > 0 and done.doubt == "carried"]
    us = [0.0] * len(values)
    finite = [i for i, v in enumerate(values) if math.isfinite(v)]
    if doubtful and finite:

        def moved(x: np.ndarray) -> list[float]:
            here = {**given, **{n: float(v) for n, v in zip(doubtful, x, strict=True)}}
            found = done.compute(here)
            return [float(found[i]) for i in finite]

        at = [given[name] for name in doubtful]
        try:
            _, covariance = propagate(moved, at, [given[f"{name}_u"] for name in doubtful])
        except ValueError as error:
            raise ValueError(f"with the ± it cannot be worked out: {error}") from error
        for place, i in enumerate(finite):
            us[i] = math.sqrt(max(float(covariance[place, place]), 0.0))
    if done.spread is not None:
        wide = done.spread(given, values)
        us = [math.hypot(u, half / math.sqrt(3)) for u, half in zip(us, wide, strict=True)]
    results = []
    for output, value, u in zip(done.outputs, values, us, strict=True):
        if math.isnan(value):
            continue
        unit = output.unit
        if unit.startswith("="):
            unit = dimensions[unit[1:]]
        typed = _NUMBER.fullmatch(plain(_PLUS_MINUS.split(texts.get(output.like, ""))[0]))
        text = shown_like(value, u, unit, typed[2].strip() if typed else "")
        results.append(Result(output.name, value, u, _unit_name(unit), text))
    return tuple(results), tuple(done.say(given, values)) if done.say else ()


def _unit_name(unit: str) -> str:
    return BASE_UNIT.get(unit, unit)  # type: ignore[call-overload, no-any-return]


def _read(wanted: Input, text: str) -> tuple[Any, float, str]:
    """(value, standard uncertainty, dimension) of the text of one input. Raises ValueError."""
    if len(text) > _LONGEST:
        raise ValueError(f"too long, {len(text)} signs")
    if wanted.kind == "word":
        word = plain(text).casefold()
        if word not in wanted.choices:
            raise ValueError(f"{text!r} is not one of {', '.join(wanted.choices)}")
        return word, 0.0, ""
    if wanted.kind == "words":
        return tuple(t for t in re.split(r"[\s,;]+", plain(text)) if t), 0.0, ""
    if wanted.kind == "gauge":
        from knowngood.calculate.wire import awg_number

        return awg_number(text), 0.0, ""
    if wanted.many:
        return _list(wanted, text)
    parts = _PLUS_MINUS.split(text.strip())
    if len(parts) > 2 or not parts[0]:
        raise ValueError(f"{text!r}: one number and one ±, such as {wanted.example} ± 2 %")
    value, dimension = _number(wanted, parts[0])
    if wanted.width:
        value = _half_width(wanted, parts[0], parts[0], value)
    if len(parts) == 1:
        return value, 0.0, dimension
    return value, _half_width(wanted, parts[0], parts[1], value) / math.sqrt(3), dimension


def _bounded(wanted: Input, text: str, value: Any, dimension: str) -> None:
    """Raises ValueError with the limits when a number is outside what a bench has."""
    if not dimension or wanted.kind in ("word", "words", "gauge"):
        return
    low, high = bounds.limits(dimension, wanted.least, wanted.most, wanted.kind == "any")
    values = value if wanted.many else (value,)
    bounds.check(text, values, low, high, wanted.unit if wanted.units else dimension)


def _list(wanted: Input, text: str) -> tuple[tuple[float, ...], float, str]:
    if _PLUS_MINUS.search(text):
        raise ValueError("a list takes no ±")
    parts = [p for p in re.split(r"\s*;\s*|,\s+|\s+/\s+", text.strip()) if p]
    if len(parts) == 1:
        parts = text.split()
        if len(parts) > 1 and not (_is_number(parts[-1]) or _is_open(wanted, parts[-1])):
            tail = parts.pop()
            parts[-1] = f"{parts[-1]} {tail}"
    matches = [m for p in parts if (m := _NUMBER.fullmatch(plain(p))) and not _is_open(wanted, p)]
    unit = matches[-1].group(2) if matches else ""
    values = [_number(wanted, f"{p} {unit}" if _is_number(p) else p) for p in parts]
    kinds = {dimension for _, dimension in values} - {"any"} or {"number"}
    if len(kinds) > 1:
        raise ValueError(f"{text!r} mixes {' and '.join(sorted(kinds))}")
    return tuple(v for v, _ in values), 0.0, kinds.pop()


def _number(wanted: Input, text: str) -> tuple[float, str]:
    """(value, dimension) in base units, or in the input's own unit."""
    tidy = plain(text)
    if _is_open(wanted, tidy):
        return math.inf, str(wanted.kind)
    if ":1" in wanted.units and (turned := re.fullmatch(r"1\s*:\s*([0-9.,]+)", tidy)):
        tidy = f"{turned[1]}:1"  # oil to fuel, as bottles have it
    match = _NUMBER.fullmatch(tidy)
    if match and wanted.units:
        own = {u.casefold().replace(" ", ""): worth for u, worth in wanted.units.items()}
        worth = own.get(match.group(2).casefold().replace(" ", ""))
        if worth is not None:
            return parse_measured(match.group(1)).value * worth, str(wanted.kind)
        if match.group(2):
            raise ValueError(
                f"{text!r}: the unit is one of {', '.join(u for u in wanted.units if u)}"
            )
    default: Dimension | None = None if wanted.kind == "any" else wanted.kind  # type: ignore[assignment]
    found = parse_measured(tidy, default)
    if default is not None and found.dimension != default:
        raise ValueError(f"{text!r} is {NAME[found.dimension]}; wanted: {NAME[default]}")
    bare = match is not None and not match.group(2)
    if bare and (found.dimension in NEEDS_UNIT or (wanted.units and "" not in wanted.units)):
        raise ValueError(f"{text!r} in which unit?")
    return found.value, found.dimension


def _half_width(wanted: Input, number: str, text: str, value: float) -> float:
    """Half-width of "± text" after `number`. A bare one has the unit of the number."""
    percent = re.fullmatch(r"([0-9.,]+)\s*(?:%|percent)", plain(text))
    if percent and wanted.kind != "percent":
        return abs(value) * parse_measured(percent.group(1)).value / 100
    match = _NUMBER.fullmatch(plain(number))
    unit = match.group(2) if match else ""
    written = f"{text} {unit}" if _is_number(text) else text
    found = _NUMBER.fullmatch(plain(written))
    if not found:
        raise ValueError(f"± {text!r}: write it like ± 0.2 {unit} or ± 2 %")
    # As a difference, so that degF counts as a width and not as a temperature.
    nothing = _number(wanted, f"0 {found.group(2)}")[0]
    half = _number(wanted, written)[0] - nothing
    if not 0 <= half < math.inf:
        raise ValueError(f"± {text!r} must be zero or more")
    return half


def _is_free(wanted: Input, dimensions: Mapping[str, str]) -> bool:
    """Whether it was given and could have been of any dimension."""
    return wanted.kind == "any" and wanted.name in dimensions


def _is_open(wanted: Input, text: str) -> bool:
    return wanted.open and plain(text).casefold() in _OPEN


def _is_number(text: str) -> bool:
    match = _NUMBER.fullmatch(plain(text))
    return match is not None and not match.group(2)


def _with_unit(wanted: Input, text: str) -> str:
    """The text, a bare number with the unit it was taken in."""
    unit = _unit_name(wanted.kind) if wanted.kind in BASE_UNIT else ""
    return f"{text} {unit}" if unit and _is_number(text) else text


def _told(wanted: Input, error: ValueError) -> str:
    said = str(error)
    example = _typed(wanted.name, wanted.example)
    if re.search("such as|write it", said):
        return f"{wanted.name}: {said}"
    return f"{wanted.name}: {said}{'' if said.endswith('?') else ';'} such as {example}"


def _typed(name: str, value: str) -> str:
    """As typed in a shell, quoted where needed."""
    quoted = f'"{value}"' if re.search(r"[\s;&|<>()*?]", value) else value
    return f"{name}={quoted}"


def unit_words(wanted: Input) -> str:
    """What an input takes, for a list: "amps, such as 1.8 A"."""
    if wanted.kind in EXAMPLE:
        return wanted.unit or BASE_UNIT[wanted.kind]
    return " | ".join(wanted.choices)
