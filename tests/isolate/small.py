"""A small machine for the tests of this room: a pack, a switch, a joint that comes and goes."""

from __future__ import annotations

from dataclasses import dataclass, field

from knowngood.isolate.forecast import Forecast, Piece
from knowngood.isolate.hypotheses import Hypothesis, list_hypotheses
from knowngood.isolate.table import Row, Table, make_row, make_table

OL = Forecast((Piece("over"),))
CLOSED = Forecast((Piece("between", 0.0, 0.5),))
CORRODED = Forecast((Piece("log", 5.0, 5e4, 0.8), Piece("over", share=0.2)))
PACK = Forecast((Piece("between", 52.0, 58.8),))
FLAT = Forecast((Piece("between", 30.0, 46.0),))
DEAD = Forecast((Piece("around", 0.0, 0.02),))
YES, NO = Forecast(yes=0.995), Forecast(yes=0.005)


@dataclass(frozen=True)
class Left:
    fault: str
    chance: float


@dataclass(frozen=True)
class F:
    id: str
    parts: tuple[str, ...]
    weight: float
    leaves: tuple[Left, ...] = ()
    shows: dict[str, float] | None = None
    causes: tuple[str, ...] = ()
    words: str = field(default="")


FAULTS = (
    F("pack_flat", ("pack",), 20),
    F("pack_latched", ("pack",), 8),
    F("switch_open", ("switch",), 15),
    F("switch_corroded", ("switch",), 6),
    F("harness_open", ("harness",), 7),
    F("joint_loose", ("harness",), 9, shows={"rest": 0.2, "wiggled": 0.8, "loaded": 0.5}),
    F("bridge_short", ("controller",), 12, leaves=(Left("fuse_open", 0.6),)),
    F("fuse_open", ("fuse",), 3),
)

EXPECT = {
    "pack_volts": ("volts", PACK, {"pack_flat": FLAT, "pack_latched": DEAD}, 2.0, "rest"),
    "switch_ohms": (
        "ohms", CLOSED, {"switch_open": OL, "switch_corroded": CORRODED}, 3.0, "rest"
    ),
    "chain_ohms": (
        "ohms", CLOSED,
        {"switch_open": OL, "harness_open": OL, "joint_loose": OL, "switch_corroded": CORRODED},
        3.0, "rest",
    ),
    "chain_wiggled": (
        "ohms", CLOSED,
        {"switch_open": OL, "harness_open": OL, "joint_loose": OL, "switch_corroded": CORRODED},
        4.0, "wiggled",
    ),
    "harness_ohms": (
        "ohms", CLOSED, {"harness_open": OL, "joint_loose": OL}, 3.0, "wiggled"
    ),
    "bridge_diode": (
        "diode", Forecast((Piece("between", 0.38, 0.68),)),
        {"bridge_short": Forecast((Piece("between", 0.0, 0.08),))}, 6.0, "rest",
    ),
    "fuse_ohms": ("ohms", CLOSED, {"fuse_open": OL}, 2.0, "rest"),
    "drag": ("yes_no", NO, {"bridge_short": Forecast(yes=0.9)}, 1.0, "rest"),
}  # fmt: skip


def small_hypotheses() -> tuple[Hypothesis, ...]:
    likelihood = {f.id: 0.9 for f in FAULTS} | {"joint_loose": 0.3}
    return list_hypotheses(FAULTS, [], likelihood, 0.2, 0.05, 0.08)


def small_table() -> Table:
    hypotheses = small_hypotheses()
    rows: list[Row] = []
    for id, (quantity, good, expect, minutes, circumstance) in EXPECT.items():

        def of(h: Hypothesis, good: Forecast = good, expect: dict = expect) -> Forecast:  # type: ignore[type-arg]
            return next((f for k, f in expect.items() if k in h.marks), good)

        rows.append(
            make_row(
                id, quantity, good, tuple(of(h) for h in hypotheses),  # type: ignore[arg-type]
                minutes=minutes, circumstance=circumstance,
                spread=0.02 if id == "pack_volts" else 0.0,
            )
        )  # fmt: skip
    return make_table(hypotheses, tuple(rows))
