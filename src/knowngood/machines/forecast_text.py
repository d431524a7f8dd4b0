"""The text of a forecast: ``57 V .. 58.8 V``, ``12.4 V +- 0.2 V``, ``OL``, ``yes 0.995``.

A forecast says what a test is expected to show, in the units of the bench:

- ``54 V .. 58.8 V``     anywhere between, all alike
- ``1 ohm .. 1 Mohm log`` the same on a logarithmic scale (both above zero)
- ``12.4 V +- 0.2 V``    normal; the +- (or ±) is two standard deviations
- ``0 V``                one value; the meter adds its own spread
- ``OL``                 over every range: an open
- ``unsteady``           does not settle, jumps
- ``yes 0.95``, ``no``   a yes/no test: the chance of that answer (0.98 where none is given)
- a list of ``30 % OL``, ``70 % 0.1 ohm .. 0.9 ohm``: a mixture, its shares make 100 %
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from knowngood.isolate.forecast import Forecast, Piece
from knowngood.measure.display import shown_span
from knowngood.measure.sheet import MeterSheet
from knowngood.measure.units import (
    DIMENSION_OF,
    EXAMPLE,
    NAME,
    Dimension,
    Quantity,
    UnitError,
    format_value,
    parse_quantity,
)

PLAIN_YES: Final = 0.98
SHARE_SLACK: Final = 0.1  # per cent by which the shares of a mixture may miss 100
_LONGEST: Final = 200

_YES: Final = re.compile(r"(yes|no)(?:\s+([0-9]*\.?[0-9]+))?", re.IGNORECASE)
_SHARE: Final = re.compile(r"([0-9]*\.?[0-9]+)\s*%\s+(.+)", re.DOTALL)
_BETWEEN: Final = re.compile(r"(.+?)\s*\.\.\s*(.+?)(\s+log)?", re.DOTALL)
_AROUND: Final = re.compile(r"(.+?)\s*(?:\+/?-|±)\s*(.+)", re.DOTALL)


class ForecastError(ValueError):
    """Text that is not a forecast of the wanted kind. ``fix`` says what to write."""

    def __init__(self, message: str, fix: str) -> None:
        super().__init__(message)
        self.fix = fix


def parse_forecast(text: str | Sequence[str], quantity: Quantity) -> Forecast:
    """The forecast of a test that measures ``quantity``; numbers in base units.

    Raises ForecastError, whose ``fix`` is a sentence for the person.
    """
    if not isinstance(text, str):
        return _mixture([str(t) for t in text], quantity)
    text = " ".join(text.split())
    if len(text) > _LONGEST:
        raise ForecastError(f"a forecast of {len(text)} signs", f"Write {_example(quantity)}")
    if quantity == "yes_no":
        return _yes_no(text)
    return Forecast(pieces=(_piece(text, quantity, 1.0),))


def forecast_words(forecast: Forecast, quantity: Quantity) -> str:
    """The forecast as text again, 4 digits; a mixture is joined by " or "."""
    if forecast.yes is not None:
        share = max(forecast.yes, 1 - forecast.yes)
        return f"{'yes' if forecast.yes >= 0.5 else 'no'} {share:.4g}"
    dimension = DIMENSION_OF[quantity]
    words = [_piece_words(piece, dimension) for piece in forecast.pieces]
    if len(words) == 1:
        return words[0]
    return " or ".join(
        f"{100 * piece.share:.4g} % {word}"
        for piece, word in zip(forecast.pieces, words, strict=True)
    )


def expected_words(
    forecast: Forecast, quantity: Quantity, meter: MeterSheet | None = None
) -> str:
    """What to expect, for a person with this meter, in the steps that it shows: "0.2 to 0.3 ohm",
    "about 476.5 ohm", "OL", "70 % OL or 30 % 1 ohm"."""
    if forecast.yes is not None:
        return forecast_words(forecast, quantity)
    shares: dict[str, float] = {}
    for piece in forecast.pieces:
        words = _expected(piece, quantity, meter)
        shares[words] = shares.get(words, 0.0) + piece.share
    if len(shares) == 1:
        return next(iter(shares))
    return " or ".join(f"{100 * share:.3g} % {words}" for words, share in shares.items())


def _expected(piece: Piece, quantity: Quantity, meter: MeterSheet | None) -> str:
    if piece.kind in ("over", "unsteady"):
        return "OL" if piece.kind == "over" else "jumps"
    if piece.kind == "around":
        low, high = piece.low - 2 * piece.high, piece.low + 2 * piece.high
    else:
        low, high = piece.low, piece.high
    words = shown_span(meter, quantity, low, high)
    return words if " to " in words or words.startswith("0 ") else f"about {words}"


def _piece_words(piece: Piece, dimension: Dimension) -> str:
    if piece.kind == "over":
        return "OL"
    if piece.kind == "unsteady":
        return "unsteady"
    low = format_value(piece.low, dimension, 4)
    if piece.kind == "around":
        if piece.high == 0:
            return low
        return f"{low} +- {format_value(2 * piece.high, dimension, 4)}"
    return f"{low} .. {format_value(piece.high, dimension, 4)}" + (
        " log" if piece.kind == "log" else ""
    )


def _yes_no(text: str) -> Forecast:
    match = _YES.fullmatch(text)
    if not match:
        raise ForecastError(f"{text[:60]!r} for a yes/no test", "Write yes, no, yes 0.95 or no 0.9")
    share = float(match[2]) if match[2] else PLAIN_YES
    if not 0 <= share <= 1:
        raise ForecastError(f"a chance of {match[2]}", "Write a chance between 0 and 1: yes 0.95")
    return Forecast(yes=share if match[1].lower() == "yes" else 1 - share)


def _mixture(texts: list[str], quantity: Quantity) -> Forecast:
    if not texts:
        raise ForecastError("an empty list of forecasts", f"Write {_example(quantity)}")
    if quantity == "yes_no":
        raise ForecastError("a list for a yes/no test", "Write one chance: yes 0.7")
    if len(texts) == 1 and not _SHARE.fullmatch(texts[0]):
        return parse_forecast(texts[0], quantity)
    pieces, total = [], 0.0
    for text in texts:
        match = _SHARE.fullmatch(" ".join(text.split()))
        if not match or len(text) > _LONGEST:
            raise ForecastError(f"{text[:60]!r} has no share",
                                f"Write its share in front: 30 % {_example(quantity)}")
        share = float(match[1])
        total += share
        pieces.append(_piece(match[2], quantity, share))
    if abs(total - 100) > SHARE_SLACK or min(p.share for p in pieces) <= 0:
        raise ForecastError(f"the shares make {total:g} %", "Let the shares make 100 %, none 0")
    return Forecast(tuple(Piece(p.kind, p.low, p.high, p.share / total) for p in pieces))


def _piece(text: str, quantity: Quantity, share: float) -> Piece:
    folded = text.casefold()
    if folded in ("ol", "over", "over range"):
        return Piece("over", share=share)
    if folded == "unsteady":
        return Piece("unsteady", share=share)
    between = _BETWEEN.fullmatch(text)
    if between:
        low, high = _pair(between[1], between[2], quantity)
        if high < low:
            raise ForecastError(f"{text!r} runs downwards", "Put the lower value first")
        if between[3]:
            if low <= 0:
                raise ForecastError(f"{text!r} starts at zero or below on a log scale",
                                    "Start above zero, or leave out log")
            return Piece("log", low, high, share) if high > low else Piece("around", low, 0, share)
        return Piece("between", low, high, share) if high > low else Piece("around", low, 0, share)
    around = _AROUND.fullmatch(text)
    if around:
        middle, spread = _pair(around[1], around[2], quantity)
        if quantity == "temperature":
            spread -= _number("0 " + _unit_of(around[2]), quantity)  # a difference, not a level
        if spread < 0:
            raise ForecastError(f"{text!r} has a negative spread", "Write it as 12.4 V +- 0.2 V")
        return Piece("around", middle, spread / 2, share)
    return Piece("around", _number(text, quantity), 0.0, share)


def _pair(first: str, second: str, quantity: Quantity) -> tuple[float, float]:
    """Two numbers; the first may borrow the unit of the second."""
    if re.fullmatch(r"[+-]?[0-9]*\.?[0-9]+", first.strip()):
        first = f"{first.strip()} {_unit_of(second)}"
    return _number(first, quantity), _number(second, quantity)


def _unit_of(text: str) -> str:
    return re.sub(r"^\s*[+-]?[0-9.,]+(?:[eE][+-]?[0-9]+)?\s*", "", text)


def _number(text: str, quantity: Quantity) -> float:
    wanted = DIMENSION_OF[quantity]
    try:
        value, found = parse_quantity(text)
    except UnitError as error:
        raise ForecastError(f"cannot read {text[:60]!r}: {error}",
                            f"Write {_example(quantity)}") from None
    if found != wanted:
        raise ForecastError(
            f"{text!r} is {NAME[found]}, the test measures {NAME[wanted]}",
            f"Write {_example(quantity)}")
    return value


def _example(quantity: Quantity) -> str:
    if quantity == "yes_no":
        return "yes 0.95"
    example = EXAMPLE[DIMENSION_OF[quantity]]
    return f"{example}, or a range such as {float(example.split()[0]) / 2:g} .. {example}"
