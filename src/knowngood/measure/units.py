"""Units of the bench: text with a unit to a number, and back.

Base units, in which every number inside the program is kept: V, A, ohm, Hz, rpm, Pa, degC, F, s,
N m, %, J, W, Ah, m, mm2. Shaft speed stays in rpm, charge in Ah and wire area in mm2, since
that is what people read off the machine. A plain number has the dimension "number".

Conversions: 1 psi = 6894.757 Pa, 1 inHg = 3386.389 Pa, 1 lbf ft = 1.355818 N m,
1 lbf in = 0.1129848 N m (NIST SP 811, appendix B.8, from memory).
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

from knowngood.measure.unit_table import (
    BASE_UNIT,
    DIMENSION_OF,
    EXAMPLE,
    NAME,
    PREFIX,
    SPELLINGS,
    Dimension,
    Quantity,
)

__all__ = [
    "BASE_UNIT",
    "DIMENSION_OF",
    "EXAMPLE",
    "NAME",
    "Dimension",
    "Measured",
    "Quantity",
    "UnitError",
    "format_value",
    "parse_as",
    "parse_measured",
    "parse_quantity",
    "plain",
]

_EXACT: Final[dict[str, tuple[Dimension, str]]] = {
    spelling: (dimension, factor)
    for dimension, rows in SPELLINGS.items()
    for spellings, factor in rows
    for spelling in spellings.split()
}
_FOLDED: Final[dict[str, set[tuple[Dimension, str]]]] = {}
for _spelling, _meaning in _EXACT.items():
    _FOLDED.setdefault(_spelling.casefold(), set()).add(_meaning)
_UNLIKELY: Final = {"MV": "mV", "MA": "mA", "MF": "mF or uF", "MS": "ms", "MW": "mW", "MAH": "mAh"}

_STEPS: Final[dict[Dimension, tuple[int, ...]]] = {
    "voltage": (-6, -3, 0, 3),
    "current": (-9, -6, -3, 0, 3),
    "resistance": (0, 3, 6),  # never mohm: it is read as Mohm
    "frequency": (0, 3, 6),
    "pressure": (0, 3, 6),
    "capacitance": (-12, -9, -6, -3, 0),
    "time": (-6, -3, 0),
    "energy": (-3, 0, 3),
    "power": (-3, 0, 3),
    "charge": (-3, 0),
    "length": (-3, 0),
}
_LETTER: Final = {-12: "p", -9: "n", -6: "u", -3: "m", 0: "", 3: "k", 6: "M"}

_NUMBER: Final = r"(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_NUMBER_UNIT: Final = re.compile(rf"([+-]?)\s*({_NUMBER})(?![0-9.,])\s*(.*)", re.DOTALL)
_INFIX: Final = re.compile(r"([+-]?)\s*([0-9]{1,6})([RrkKMmuVvnp])([0-9]{1,6})\s*(.*)")
_LONGEST: Final = 80


class UnitError(ValueError):
    """Text that is not a number with a known unit; the message says what was understood."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A number as it was written: `value` and `resolution` (worth of the last digit) in base units.

    `coupling` is "ac" or "dc" when the unit said so. `as_shown` is True when the digits end in a
    zero after the point, so that they were copied from a display rather than shortened.
    """

    value: float
    dimension: Dimension
    resolution: float
    coupling: Literal["", "ac", "dc"] = ""
    as_shown: bool = False


def plain(text: str) -> str:
    """The text in plain signs: full-width and other digits to 0-9, the micro sign to u,
    the typographic minus to -, no leading or trailing blanks."""
    text = unicodedata.normalize("NFKC", text.replace("º", "°"))
    text = text.translate(_PLAIN)
    text = "".join(str(unicodedata.decimal(c)) if c.isdecimal() else c for c in text)
    return " ".join(text.split())


_PLAIN: Final = str.maketrans(
    {"μ": "u", "−": "-", "–": "-", "—": "-", "‐": "-", "‑": "-", "⋅": "·", "’": "'", "‘": "'"}
)


def parse_measured(text: str, default: Dimension | None = None) -> Measured:
    """Read "12.4 V", "4R7", "1k2", "12,4", "35 °C". A bare number, or one with only a prefix
    ("20M"), takes the base unit of `default`.

    Raises UnitError naming what was understood and an example that works.
    """
    shown = text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."
    if len(text) > 4 * _LONGEST:
        raise UnitError(f"{shown!r} is too long for one number")
    tidy = plain(text)
    infix = _INFIX.fullmatch(tidy)
    if infix:
        return _infix(shown, infix, default)
    match = _NUMBER_UNIT.fullmatch(tidy)
    if re.fullmatch(r"[+-]?[0-9.,]*[.,][0-9]*[.,][0-9]*.*", tidy):
        raise UnitError(f"{shown!r} has more than one point or comma; write it like 1234.5")
    if not match:
        raise UnitError(f"no number found in {shown!r}; {_example(default)}")
    sign, digits, unit = match.groups()
    number = _decimal(shown, sign, digits)
    dimension, factor, coupling = _unit(shown, digits, unit, default)
    last_digit = Decimal(1).scaleb(int(number.as_tuple().exponent))
    mantissa = re.split("[eE]", digits)[0]
    as_shown = bool(re.search(r"[.,][0-9]*0$", mantissa))
    if factor == "F":
        value = float((number - 32) / Decimal("1.8"))
        resolution = float(last_digit / Decimal("1.8"))
    else:
        value = float(number * Decimal(factor))
        resolution = float(last_digit * Decimal(factor))
    if not math.isfinite(value):
        raise UnitError(f"{shown!r} is too large")
    return Measured(value, dimension, resolution, coupling, as_shown)


def parse_quantity(text: str) -> tuple[float, Dimension]:
    """(value in base units, dimension) of a text such as "5 mohm"; "0.5" is a "number".

    Raises UnitError.
    """
    found = parse_measured(text)
    return found.value, found.dimension


def parse_as(text: str, dimension: Dimension) -> float:
    """Value in base units of a text that must be of one dimension and carry its unit.

    Raises UnitError naming what the text is and what is wanted.
    """
    value, found = parse_quantity(text)
    if found != dimension:
        raise UnitError(
            f"{text!r} is {NAME[found]}; wanted: {NAME[dimension]}, such as {EXAMPLE[dimension]}"
        )
    return value


def format_value(value: float, dimension: Dimension, digits: int | None = None) -> str:
    """ "12.4 V", "0.2 ohm": engineering prefix, base unit inside. `digits` rounds to that many
    significant digits; None keeps all, so that parse_quantity gives back the same float.

    Raises ValueError for a value that is not finite.
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} is not a finite number of {BASE_UNIT[dimension] or 'anything'}")
    number = Decimal(repr(float(value)))
    if digits is not None and number:
        number = Decimal(f"{number:.{digits - 1}e}")
    step = 0
    if number:
        fits = [s for s in _STEPS.get(dimension, (0,)) if s <= number.adjusted()]
        step = max(fits) if fits else min(_STEPS.get(dimension, (0,)))
    scaled = number.scaleb(-step)
    far = scaled and not -7 < scaled.adjusted() < 16
    written = f"{scaled.normalize():e}" if far else f"{scaled:f}"
    if "." in written and "e" not in written:
        written = written.rstrip("0").rstrip(".")
    return f"{written} {_LETTER[step]}{BASE_UNIT[dimension]}".rstrip()


def _decimal(shown: str, sign: str, digits: str) -> Decimal:
    if re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", digits):
        whole = digits.replace(",", "")
        raise UnitError(
            f"{shown!r} can be {whole} or {digits.replace(',', '.')}; type it without the comma"
        )
    return Decimal(sign + digits.replace(",", "."))


def _infix(shown: str, match: re.Match[str], default: Dimension | None) -> Measured:
    sign, whole, letter, part, unit = match.groups()
    if letter in "Rr":
        dimension, exponent = "resistance", 0
    elif letter in "Vv":
        dimension, exponent = "voltage", 0
    else:
        exponent = PREFIX[letter]
        dimension = default or ("capacitance" if letter in "unp" else "resistance")
    if unit:
        dimension, factor, _ = _unit(shown, f"{whole}{letter}{part}", unit, default)
        if factor != "1":
            raise UnitError(f"{shown!r} has two prefixes; {_example(dimension)}")
    scale = Decimal(1).scaleb(exponent)
    return Measured(
        float(Decimal(f"{sign}{whole}.{part}") * scale),
        dimension,  # type: ignore[arg-type]
        float(Decimal(1).scaleb(exponent - len(part))),
        as_shown=part.endswith("0"),
    )


def _unit(
    shown: str, digits: str, unit: str, default: Dimension | None
) -> tuple[Dimension, str, Literal["", "ac", "dc"]]:
    key = re.sub(r"[\s·*.\-]", "", unit)
    if not key:
        return default or "number", "1", ""
    if default == "temperature" and key in "CcFf":
        key = "deg" + key.upper()
    elif key in ("C", "c"):
        key = "degC"
    if default is not None and key in PREFIX and default in _STEPS:
        if default == "time":
            raise UnitError(f"{shown!r}: minutes or ms? Type 5 min or 5 ms")
        if default not in ("length", "area"):
            return default, f"1e{PREFIX[key]}", ""
    if default is None and key in ("k", "K", "M"):
        raise UnitError(f"{shown!r}: {key} of what? {_example(None)}")
    if key in _UNLIKELY:
        raise UnitError(f"{shown!r}: {key} would be mega; type {_UNLIKELY[key]}")
    meanings = {_EXACT[key]} if key in _EXACT else _FOLDED.get(key.casefold(), set())
    if len(meanings) > 1:
        raise UnitError(f"{shown!r}: m for milli or M for mega? {_example(default)}")
    if not meanings:
        raise UnitError(
            f"{shown!r}: understood the number {digits}, not the unit {unit[:20]!r};"
            f" {_example(default)}"
        )
    ((dimension, factor),) = meanings
    ending = key.casefold()[-2:]
    electric = dimension in ("voltage", "current") and ending in ("ac", "dc")
    return dimension, factor, ending if electric else ""  # type: ignore[return-value]


def _example(default: Dimension | None) -> str:
    if default is None:
        return "write a number and a unit, such as 12.4 V, 5 mohm, 470 uF"
    return f"write it like {EXAMPLE[default]}"
