"""What a person types for a test, as a reading: one of the meter, or several to be compared."""

from __future__ import annotations

from knowngood.machines.machine import Test
from knowngood.measure.compared import read_compared
from knowngood.measure.meter import MeterSheet
from knowngood.measure.reading import Reading
from knowngood.measure.typed import read_text


def read_for(
    test: Test, text: str, meter: MeterSheet | None, last: Reading | None = None
) -> Reading:
    """The reading that ``text`` states for this test. ``last``: the one before it, which "same"
    repeats and to which the next of several to be compared is added. Total."""
    if test.compare:
        return read_compared(text, test.quantity, meter, test.compare, last)
    return read_text(text, test.quantity, meter, last, test.frequency)
