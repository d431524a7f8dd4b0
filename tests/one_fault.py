"""What a machine with one fault in it shows at each test: as its own file expects."""

from __future__ import annotations

from dataclasses import dataclass

from knowngood.diagnosis.assess import Setup
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.machines.machine import Test

UNITS = {
    "ohms": ((1e6, "MΩ"), (1e3, "kΩ"), (1.0, "")),
    "volts": ((1.0, ""),),
    "capacitance": ((1e-6, "uF"),),
}


@dataclass(frozen=True)
class OneFault:
    """A machine with this fault (the id of a hypothesis) in it."""

    setup: Setup
    fault: str

    @property
    def tests(self) -> dict[str, Test]:
        """By question, as the job's set-up has them."""
        return {t.question: t for t in self.setup.machine.tests}

    def shows(self, test: Test) -> str:
        """What is seen at a test: "" as on a good machine, Yes, No, OL, a number."""
        forecast, good = self._forecasts(test)
        as_good = forecast.yes is not None and (forecast.yes >= 0.5) == (
            good.yes is None or good.yes >= 0.5
        )
        return "" if forecast is good or as_good else _seen(test, forecast)

    def typed(self, test: Test) -> str:
        """The same as it is typed on one line, what reads good written out, too."""
        seen = _seen(test, self._forecasts(test)[0])
        if not test.compare or seen == "jumps":
            return seen
        if seen == "OL":
            return "0.3 OL OL"
        return f"6 6 {6 + float(seen):.2f}"  # that far apart; where they lie is not judged

    def _forecasts(self, test: Test) -> tuple[Forecast, Forecast]:
        """(with the fault, without)"""
        table = self.setup.bench.table
        row = table.rows[test.id]
        at = next(n for n, h in enumerate(table.hypotheses) if h.id == self.fault)
        return row.forecasts[int(row.index[at])], row.forecasts[int(row.good)]


def _seen(test: Test, forecast: Forecast) -> str:
    if forecast.yes is not None:
        return "Yes" if forecast.yes >= 0.5 else "No"
    piece = max(forecast.pieces, key=lambda p: p.share)
    if piece.kind in ("over", "unsteady"):
        return "OL" if piece.kind == "over" else "jumps"
    return _number(test, piece)


def _number(test: Test, piece: Piece) -> str:
    middle = piece.low if piece.kind == "around" else (piece.low + piece.high) / 2
    for worth, sign in UNITS.get(test.quantity, ((1.0, ""),)):
        if abs(middle) >= worth:
            return f"{float(f'{middle / worth:.2g}'):g} {sign}".strip()
    return f"{middle:.1g}"
