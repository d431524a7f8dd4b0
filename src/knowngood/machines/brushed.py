"""A family with a three-phase motor as one with two thick motor wires and brushes: what changes.

What needs three phases goes (their pairs, their differences, Hall lines); the motor is one winding
between two leads; brushes come as a fault of the motor. All of it is common practice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

Path = tuple[str, ...]

SOURCE: Final = "common practice"
THREE_PHASES: Final = frozenset({"motor_pairs", "motor_spun_volts", "motor_spun",
                                 "motor_spun_level", "motor_halls", "drag_three_leads",
                                 "motor_braked_all"})  # fmt: skip
GONE: Final = frozenset({"motor_hall", "motor_magnets"})
JOINED: Final = ("drag_two_leads", "motor_braked")


@dataclass(frozen=True, slots=True)
class Changes:
    """``drops``: ids by section. ``writes``: values by path; ("elements", ref) is a whole element
    of the circuit, ("tests", id) and ("faults", id) one that the family has not."""

    drops: Mapping[str, tuple[str, ...]]
    writes: tuple[tuple[Path, Any], ...]


def has_phases(base: Mapping[str, Any]) -> bool:
    """Whether the family has a three-phase motor in its wiring."""
    return _only(base, "winding3") is not None and _only(base, "bridge") is not None


def brushed(base: Mapping[str, Any], part: list[str]) -> Changes:
    """What the family becomes with a brushed motor; ``part``: what cures the motor. The family
    `has_phases`."""
    motor, bridge = _only(base, "winding3"), _only(base, "bridge")
    assert motor is not None and bridge is not None
    third = motor["pins"]["w"]
    leads = tuple(e["ref"] for e in base["circuit"]["elements"]
                  if e["kind"] == "wire" and third in e["pins"].values())  # fmt: skip
    tests, faults = base["tests"], base["faults"]
    drops = {
        "elements": (motor["ref"], *leads),
        "points": tuple(p for p in (base["circuit"].get("points") or {}) if p == third),
        "tests": tuple(t for t in tests if t in THREE_PHASES),
        "faults": tuple(f for f in faults if f in GONE),
    }
    return Changes({k: v for k, v in drops.items() if v},
                   tuple(_writes(base, motor, bridge, part)))  # fmt: skip


def _writes(
    base: Mapping[str, Any], motor: Mapping[str, Any], bridge: Mapping[str, Any], part: list[str]
) -> Iterator[tuple[Path, Any]]:
    tests, pins = base["tests"], motor["pins"]
    yield ("elements", motor["ref"]), {
        "ref": motor["ref"], "kind": "resistor", "pins": {"a": pins["u"], "b": pins["v"]},
        "ohms": motor["ohms"], "words": "motor with two brushes",
    }  # fmt: skip
    for id, fault in base["faults"].items():
        changes = fault.get("circuit")
        listed = [changes] if isinstance(changes, dict) else list(changes or ())
        new = _two_leads(listed, motor["ref"], bridge["ref"])
        if new != listed and id not in GONE:
            yield ("faults", id, "circuit"), new
    yield ("faults", "motor_open", "words"), "winding or commutator of the motor open"
    yield ("faults", "ctrl_driver", "words"), "output of the controller dead"
    yield ("faults", "motor_brushes"), {
        "words": "brushes of the motor worn or stuck", "mode": "worn", "parts": part, "weight": 4,
        "shows": {"rest": 0.6, "wiggled": 0.7, "warm": 0.7, "loaded": 0.85}, "source": SOURCE,
        "circuit": {"on": motor["ref"], "mode": "high resistance", "ohms": "8 ohm .. 5 kohm log"},
    }  # fmt: skip
    for id, complaint in base["complaints"].items():
        given = complaint.get("given") or {}
        chance = [v for k, v in given.items() if "motor_open" in _ids(k)]
        if chance:
            left = {", ".join(i for i in _ids(k) if i not in GONE): v for k, v in given.items()}
            left.pop("", None)
            yield ("complaints", id, "given"), {**left, "motor_brushes": chance[0]}
    pairs = [p for p in tests["bridge_diode"]["probe"]["pairs"] if bridge["pins"]["w"] not in p]
    yield ("tests", "bridge_diode", "probe"), {**tests["bridge_diode"]["probe"], "pairs": pairs}
    yield ("tests", "motor_ohms"), {
        "words": "Touch the leads together first; ohms across the two motor leads, shaft still.",
        "question": "ohms of the motor", "condition": tests["motor_pairs"]["condition"],
        "minutes": 2, "slip": 0.005, "good_reads": "below 2 ohm, as the brushes lie",
        "probe": {"read": "ohms", "red": pins["u"], "black": pins["v"]},
        "limits": {"low": "0 ohm", "high": "2 ohm", "source": SOURCE}, "source": SOURCE,
    }  # fmt: skip
    yield from _over("motor_turned_ohms", {
        "words": "Ohms across the two motor leads while the shaft is turned slowly by hand.",
        "question": "does it flicker all round, with no dead and no low spot?", "good": "yes 0.99",
        "good_reads": "flickers with each bar of the commutator",
        "expect": {"motor_open": "no 0.985", "motor_brushes": "no 0.95", "motor_turns": "no 0.75",
                   "motor_seized": "no 0.3"}})  # fmt: skip
    for id in (t for t in JOINED if t in tests):
        yield from _over(id, {
            "words": "Join the two motor leads and turn the shaft by hand, then with them apart.",
            "question": "much stiffer with the leads joined?", "good": "yes 0.99",
            "good_reads": "much stiffer, even all round",
            "expect": {"motor_open": "no 0.97", "motor_brushes": "no 0.9", "motor_turns": "no 0.5",
                       "motor_seized": "no 0.4"}})  # fmt: skip


def _over(test: str, fields: Mapping[str, Any]) -> Iterator[tuple[Path, Any]]:
    for name, value in fields.items():
        yield ("tests", test, name), value


def _two_leads(listed: list[dict[str, Any]], motor: str, bridge: str) -> list[dict[str, Any]]:
    """Changes of a fault where the motor is one winding and the bridge has no third leg."""
    if any(str(c.get("on", "")).startswith(f"{motor}.") for c in listed):
        return [{"on": motor, "mode": "open"}]
    kept = [c for c in listed if not str(c.get("on", "")).startswith(f"{bridge}.w")]
    if len(kept) == len(listed) or not all("share" in c for c in kept):
        return kept
    whole = sum(_percent(c["share"]) for c in kept)
    return [{**c, "share": f"{100 * _percent(c['share']) / whole:.4g} %"} for c in kept]


def _percent(text: Any) -> float:
    return float(str(text).rstrip("% "))


def _ids(key: str) -> list[str]:
    return [part.strip() for part in key.split(",")]


def _only(base: Mapping[str, Any], kind: str) -> dict[str, Any] | None:
    elements = (base.get("circuit") or {}).get("elements") or ()
    return next((e for e in elements if isinstance(e, dict) and e.get("kind") == kind), None)
