"""What a person types or says at the bench, as a Reading. Never raises, whatever the text.

Anything that cannot be read becomes a reading of kind "none" (no evidence) whose note says what
was understood and shows an example that works.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Final

from knowngood.measure.reading import Kind, Reading
from knowngood.measure.sheet import MeterSheet, rough_budget
from knowngood.measure.spoken import digits_from_words
from knowngood.measure.unit_table import (
    BASE_UNIT,
    DIMENSION_OF,
    EXAMPLE,
    NAME,
    Quantity,
)
from knowngood.measure.units import Measured, UnitError, format_value, parse_measured, plain

OHMS_WITHOUT_SHEET: Final = 2e6
"""What OL on ohms exceeds without a sheet: a cheap meter's top range, common practice."""
DIODE_WITHOUT_SHEET: Final = 1.5
BEEP_BELOW: Final = 50.0
"""Ohms under which a continuity beeper sounds, common practice; meters differ."""

SAME: Final = frozenset({"same", "same again", "the same", "no change", "ditto"})
"""Words that repeat an earlier reading."""

_LONGEST: Final = 200
_YES: Final = {"y", "yes", "yep", "yeah", "true", "it does", "yes it does", "yes it is"}
_NO: Final = {
    "n", "no", "nope", "false", "it does not", "it doesn't", "no it does not", "no it doesn't",
    "no it is not", "no it isn't",
}  # fmt: skip
_NOTHING: Final = {
    "skip": "skipped",
    "skipped": "skipped",
    "pass on this": "skipped",
    "can't tell": "could not tell",
    "cant tell": "could not tell",
    "cannot tell": "could not tell",
    "can not tell": "could not tell",
    "not sure": "could not tell",
    "unsure": "could not tell",
    "don't know": "could not tell",
    "dont know": "could not tell",
    "?": "could not tell",
    "could not reach": "could not reach",
    "couldn't reach": "could not reach",
    "can't reach": "could not reach",
    "cant reach": "could not reach",
    "cannot reach": "could not reach",
    "no access": "could not reach",
}
_OPEN: Final = {"open", "open line", "open circuit", "open loop", "no continuity", "no beep"}
_NEVER_BARE: Final = {"volts", "ac_volts", "diode", "amps"}
_BARE_OHMS: Final = re.compile(r"[+-]?[0-9.,]+\s*[kKM]\s*[0-9]*")
"""20M and 4k7 are resistances in the trade; nobody reads kilovolts at this bench."""
_NONE_OPEN: Final = {"none open", "none is open", "not open", "no open", "nothing open"}
_NEEDS_UNIT: Final = {"pressure", "temperature", "capacitance", "torque"}
_OVER: Final = {
    "over limit", "overlimit", "over range",
    "overrange", "over load", "overload", "out of range", "out of limits", "infinite", "infinity",
    "inf", "∞", "oh ell", "oh el",
}  # fmt: skip
_OL: Final = re.compile(
    r"[+-]?\s*(?:0?[.,])?\s*[o0]\s*[.,]?\s*l\.?(?:\s*(?:[kmu]?\s*(?:v|a|hz|f|ohms?|ω)|[km]))?", re.I
)
_ABOUT: Final = re.compile(
    r"(?:about|approximately|approx\.?|around|roughly|circa|ca\.?|~|≈)\s*", re.I
)
_MORE: Final = re.compile(
    r"(?:>=?|≥|more than|greater than|over|above|at least|higher than)\s*", re.I
)
_LESS: Final = re.compile(r"(?:<=?|≤|less than|under|below|at most|lower than)\s*", re.I)
_UNSTEADY: Final = re.compile(
    r"\b(?:jump(?:s|ing|y)?|flicker(?:s|ing)?|bounc(?:es?|ing|y)|unsteady|unstable|erratic|"
    r"intermittent|wander(?:s|ing)?|drift(?:s|ing)?|climb(?:s|ing)?|rising|falling|dropping|"
    r"fluctuat(?:es?|ing)|swing(?:s|ing)?|all over(?: the place)?|cuts? (?:in and )?out)\b",
    re.I,
)
_FILLER: Final = re.compile(
    r"\b(?:it|is|the|meter|reads?|reading|shows?|says?|from|between|got|i)\b", re.I
)
_DIGITS: Final = r"(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_RANGE: Final = re.compile(
    rf"([+-]?\s*{_DIGITS}\s*[^0-9,.\s-]*?(?:\s*[^0-9,.\s-]+)??)\s*"
    rf"(?:-|\.\.\.?|…|\bto\b|\band\b|/|\buntil\b)\s*([+-]?\s*{_DIGITS}.*)",
    re.I | re.S,
)


def read_text(
    text: str,
    quantity: Quantity,
    meter: MeterSheet | None,
    last: Reading | None = None,
    frequency: float | None = None,
) -> Reading:
    """The reading that `text` states for a test of `quantity`, taken with `meter`; `frequency` of
    AC volts (Hz) where it is known.

    A bare number is in the base unit of the quantity. `last` is what "same" repeats.
    Total: any string gives a Reading.
    """
    kept = text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."
    reader = _Typed(kept, quantity, meter, frequency)
    if len(text) > _LONGEST:
        return reader.none(f"too long; {reader.example}")
    tidy = plain(text)
    if len(tidy) > 1:
        tidy = tidy.rstrip(" .!;,?") or tidy[:1]
    return reader.read(tidy, last)


class _Typed:
    def __init__(
        self, text: str, quantity: Quantity, meter: MeterSheet | None, frequency: float | None
    ) -> None:
        self.text = text
        self.frequency = frequency
        self.quantity: Quantity = quantity
        self.meter = meter
        self.dimension = DIMENSION_OF[quantity]
        self.unit = BASE_UNIT[self.dimension]
        self.wants = _wants(quantity)
        self.example = f"type it like {EXAMPLE[self.dimension]}"
        if quantity == "yes_no":
            self.example = "type yes, no or can't tell"

    def read(self, tidy: str, last: Reading | None) -> Reading:
        words = tidy.casefold()
        if not words:
            return self.none(f"nothing typed; {self.example}, or skip")
        if words in _NOTHING:
            return self.none(_NOTHING[words])
        if words in SAME:
            return self._same(last)
        plain_words = words.replace(",", "")
        if self.quantity == "yes_no" or plain_words in _YES or plain_words in _NO:
            return self._yes_no(plain_words)
        if words in _OVER or _OL.fullmatch(words):
            return self._over_limit()
        if words in _OPEN and self.quantity in ("ohms", "diode"):
            return self._over_limit()
        if self.quantity in ("ohms", "diode") and words in _NONE_OPEN:
            known = {"ohms": OHMS_WITHOUT_SHEET, "diode": DIODE_WITHOUT_SHEET}
            end = (self.meter.limit(self.quantity) if self.meter else None) or known[self.quantity]
            return self._between(0.0, end, 1.0, "only that it is not OL; the number says more")
        if self.quantity == "ohms" and words in ("beep", "beeps", "it beeps", "continuity"):
            note = f"a beep says below about {BEEP_BELOW:g} ohm; the number says more"
            return self._between(0.0, BEEP_BELOW, 1.0, note)
        if words in ("short", "shorted", "dead short", "dead"):
            return self.none(f"{words!r} is a conclusion; {self.example}")
        spoken = digits_from_words(tidy)
        if _UNSTEADY.search(spoken):
            return self._unsteady(spoken)
        return self._number(" ".join(_FILLER.sub(" ", spoken).split()))

    def none(self, note: str) -> Reading:
        return Reading("none", self.quantity, None, None, self.unit, self.text, note=note)

    def _same(self, last: Reading | None) -> Reading:
        if last is None or not last.is_evidence:
            return self.none(f"no earlier reading to repeat; {self.example}")
        if last.quantity != self.quantity or last.unit != self.unit:
            return self.none(f"the earlier reading was {last.quantity}; {self.example}")
        return replace(last, text=self.text, note=f"same as {last.text!r}")

    def _yes_no(self, words: str) -> Reading:
        if self.quantity != "yes_no":
            return self.none(f"this test wants {self.wants}; {self.example}")
        if words in _YES or words in _NO:
            kind: Kind = "yes" if words in _YES else "no"
            return Reading(kind, self.quantity, None, None, self.unit, self.text)
        return self.none(f"{self.text!r} is not yes or no; {self.example}")

    def _over_limit(self) -> Reading:
        limit = self.meter.limit(self.quantity) if self.meter else None
        note = ""
        if limit is None:
            known = {"ohms": OHMS_WITHOUT_SHEET, "diode": DIODE_WITHOUT_SHEET}
            limit = known.get(self.quantity)
            if limit is None:
                return self.none(f"over which range? Type it like >{EXAMPLE[self.dimension]}")
            note = f"no meter sheet: taken as over {format_value(limit, self.dimension)}"
        elif self.meter and not self.meter.auto_range and len(self.meter.ranges(self.quantity)) > 1:
            shown = format_value(limit, self.dimension)
            note = f"taken as over {shown}, the lowest range; if set higher, type > and the range"
        if self.quantity in ("volts", "ac_volts"):
            note = f"OL on volts is over {format_value(limit, self.dimension)}: check the dial"
        return self._over(limit, note)

    def _over(self, limit: float, note: str = "") -> Reading:
        return self._make("over", limit, None, limit, 0.0, note)

    def _unsteady(self, spoken: str) -> Reading:
        rest = _FILLER.sub(" ", _UNSTEADY.sub(" ", spoken))
        rest = re.sub(r"^[\s,]*(?:to|and|up|down|by)\b", " ", rest, flags=re.I)
        rest = " ".join(rest.split()).strip(" ,")
        if not re.search("[0-9]", rest):
            return self._make("unsteady", None, None, 0.0, 0.0, "no numbers given")
        about = _ABOUT.match(rest)  # what jumps is about there anyway
        inner = self._number(rest[about.end() :] if about else rest)
        if inner.kind == "none":
            return self.none(inner.note)
        return replace(inner, kind="unsteady", note="")

    def _number(self, words: str) -> Reading:
        if not words:
            return self.none(f"no number in {self.text!r}; {self.example}")
        for pattern, build in ((_ABOUT, self._about), (_MORE, self._more), (_LESS, self._less)):
            match = pattern.match(words)
            if match:
                found = self._measured(words[match.end() :])
                return found if isinstance(found, Reading) else build(found)
        split = _RANGE.fullmatch(words)
        if split and not _is_one_number(words):
            return self._range(*split.groups())
        to_over = re.fullmatch(
            rf"(.*[0-9].*?)\s*(?:-|\bto\b|\band\b)\s*({_OL.pattern}|open)", words, re.I
        )
        if to_over:
            found = self._measured(to_over.group(1))
            if isinstance(found, Reading):
                return found
            return self._make("unsteady", found.value, None, found.value, found.resolution)
        found = self._measured(words)
        return found if isinstance(found, Reading) else self._value(found)

    def _measured(self, words: str) -> Measured | Reading:
        """The number, or a reading of kind none that says what was understood instead."""
        try:
            found = parse_measured(words, self.dimension)
        except UnitError as error:
            return self.none(str(error))
        shown = repr(words.strip())
        if self.quantity in _NEEDS_UNIT and re.fullmatch(r"[0-9.,\s+-]*", words):
            return self.none(f"{shown} in which unit? {self.example[0].upper()}{self.example[1:]}")
        if self.quantity in _NEVER_BARE and _BARE_OHMS.fullmatch(words.strip()):
            return self.none(
                f"{shown} without a unit is read as ohms; this test wants {self.wants}; "
                f"{self.example}"
            )
        if found.dimension != self.dimension:
            what = NAME[found.dimension]
            return self.none(f"{shown} is {what}; this test wants {self.wants}; {self.example}")
        wanted = {"ac_volts": "ac", "volts": "dc", "diode": "dc"}.get(self.quantity, "")
        if found.coupling and wanted and found.coupling != wanted:
            what = f"{found.coupling.upper()} volts"
            return self.none(f"{shown} is {what}; this test wants {self.wants}; {self.example}")
        return found

    def _value(self, found: Measured) -> Reading:
        value, resolution, note = found.value, found.resolution, ""
        if self.quantity == "diode" and value > 20 and resolution >= 1:
            value, resolution, note = value / 1000, resolution / 1000, "taken as mV"
        refused = self._refuse(value)
        if refused:
            return self.none(refused)
        return self._make("value", value, value, value, resolution, note, found.as_shown)

    def _about(self, found: Measured) -> Reading:
        spread = max(0.1 * abs(found.value), found.resolution)
        note = "about: taken as ±10 %" if spread > found.resolution else "about: ± the last digit"
        return self._between(found.value - spread, found.value + spread, found.resolution, note)

    def _more(self, found: Measured) -> Reading:
        refused = self._refuse(found.value)
        return self.none(refused) if refused else self._over(found.value)

    def _less(self, found: Measured) -> Reading:
        if found.value <= 0 or self.quantity == "temperature":
            return self.none(f"less than says too little here; {self.example}")
        return self._between(0.0, found.value, found.resolution, "")

    def _range(self, first: str, second: str) -> Reading:
        high = self._measured(second)
        if isinstance(high, Reading):
            return high
        unit = re.sub(rf"^[+-]?\s*{_DIGITS}", "", second.strip())
        bare = not re.search(r"[^0-9.,\s+-]", re.sub(r"[eE][+-]?[0-9]+\s*$", "", first))
        low = self._measured(f"{first.strip()} {unit}" if bare else first)
        if isinstance(low, Reading):
            return low
        ends = sorted((low.value, high.value))
        return self._between(ends[0], ends[1], max(low.resolution, high.resolution), "")

    def _between(self, low: float, high: float, resolution: float, note: str) -> Reading:
        refused = self._refuse(high) or self._refuse(max(low, 0.0))
        if refused:
            return self.none(refused)
        return self._make("interval", low, high, (low + high) / 2, resolution, note)

    def _refuse(self, value: float) -> str:
        """Why this meter cannot have shown this value; empty if it can."""
        if value < 0 and self.quantity in ("hertz", "rpm", "capacitance", "seconds"):
            return f"{self.text!r} is below zero; {self.example}"
        if value < -1 and self.quantity == "ohms":
            return "ohms below zero: something is live; take the pack out, empty the capacitor"
        ranges = self.meter.ranges(self.quantity) if self.meter else ()
        if ranges and abs(value) > 1.1 * ranges[-1].full_scale and self.meter:
            return (
                f"{self.meter.name} ends at {ranges[-1].name}; {self.text!r} cannot be its reading"
            )
        return ""

    def _make(
        self,
        kind: Kind,
        low: float | None,
        high: float | None,
        at: float,
        resolution: float,
        note: str = "",
        as_shown: bool = False,
    ) -> Reading:
        """A reading with the doubt that the meter has at the value `at`."""
        sheet = self.meter if self.meter and self.meter.ranges(self.quantity) else None
        if sheet is None:
            budget = rough_budget(self.quantity, at, resolution)
            shown = resolution
        else:
            ranges = sheet.ranges(self.quantity)
            chosen = sheet.range_for(self.quantity, at, resolution if as_shown else None)
            chosen = chosen or ranges[-1]
            within = max(min(at, chosen.full_scale), -chosen.full_scale)
            budget = sheet.budget(
                self.quantity, within, chosen.name, typed_resolution=resolution,
                frequency=self.frequency,
            )  # fmt: skip
            shown = max(resolution, chosen.resolution)
        return Reading(
            kind,
            self.quantity,
            low,
            high,
            self.unit,
            self.text,
            u_random=budget.u_random,
            u_shared=budget.u_shared,
            resolution=shown,
            meter=sheet.name if sheet else None,
            range_name=budget.range_name,
            full_scale=budget.full_scale,
            note=note,
            correction=budget.correction if kind in ("value", "interval") else 0.0,
        )


def _wants(quantity: Quantity) -> str:
    special = {"volts": "DC volts", "ac_volts": "AC volts", "diode": "a diode-test voltage"}
    if quantity == "yes_no":
        return "yes or no"
    return special.get(quantity, NAME[DIMENSION_OF[quantity]])


def _is_one_number(words: str) -> bool:
    return re.fullmatch(rf"[+-]?\s*{_DIGITS}", words) is not None
