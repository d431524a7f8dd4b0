"""What takes the place of live work that a pack above the limit for open live work forbids.

A good motor of the shop runs as well from its bench supply, as long as nothing is measured on the
pack there. Volts lost at the contacts of the pack under load become ohms: a dummy pack of the shop,
plus and minus joined and without cells, is put in dead and rocked, and both contacts are read in
one loop. All of it is common practice for packs of 72 V and more.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from knowngood.machines.edits import listed

SUPPLY: Final = "56 V"
PACK_CONTACTS, DUMMY_CONTACTS = "pack contacts", "dummy contacts"
DUMMY, ROCKED = "DUMMY", "dummy_rocked"
GOOD_OHMS, MOST_OHMS = "0.3 ohm", 0.4
"""What a hand meter tells for sure from its leads, and above it; common practice."""
CAUTION: Final = "The dummy has no cells; the real pack stays out of reach."

Base = Mapping[str, Any]
Path = tuple[str, ...]


def on_supply(base: Base, condition: str) -> bool:
    """Whether nothing is measured in this condition, and a motor of the shop runs in it."""
    found = (base.get("conditions") or {}).get(condition) or {}
    tests = [t for t in (base.get("tests") or {}).values() if t.get("condition") == condition]
    seen = bool(tests) and all("probe" not in t for t in tests)
    return seen and "motor of the shop" in str(found.get("words"))


def replacements(base: Base, gone: Mapping[str, list[str]]) -> Iterator[tuple[Path, Any]]:
    """(path, value) of what is written in place of the conditions and tests ``gone``."""
    for id in gone.get("conditions", ()):
        if on_supply(base, id):
            yield from _supplied(base, id)
    for id in _steps(base, "discharge"):  # (84 V)^2 / 1 kohm = 7 W
        caution = str(base["teardown"][id].get("caution") or "")
        if "5 W" in caution:
            yield ("teardown", id, "caution"), caution.replace("5 W", "10 W")
    tests = base.get("tests") or {}
    contacts = _contacts(base)
    for id in gone.get("tests", ()):
        pairs = (tests[id].get("probe") or {}).get("pairs")
        if len(contacts) == 2 and pairs and _across(base, contacts, pairs):
            yield from _rocked(base, id, contacts, pairs)
            return


def _supplied(base: Base, id: str) -> Iterator[tuple[Path, Any]]:
    """The condition on the bench supply, the pack out and the capacitor measured first."""
    condition = base["conditions"][id]
    first = _steps(base, "source out", "discharge")
    words = str(condition["words"]).replace("pack in", f"a supply of {SUPPLY}, 5 A, on its input")
    at = ("conditions", id)
    yield (*at, "words"), words
    yield (*at, "open"), list(dict.fromkeys(
        [*_steps(base, "source out"), *listed(condition.get("open")), *first]))
    yield (*at, "closed"), [s for s in listed(condition.get("closed")) if s not in first]
    yield (*at, "volts"), SUPPLY
    yield (*at, "caution"), (
        "Motor clamped, nobody near its shaft. Plus and minus checked twice; supply off before"
        " leads come off, capacitor bled and measured again.")


def _rocked(
    base: Base, live: str, contacts: list[Base], pairs: list[list[str]]
) -> Iterator[tuple[Path, Any]]:
    """A dummy pack in the contacts, and the ohms of the loop through both."""
    circuit, pack = base["circuit"], _pack_nodes(base)
    loaded = base["conditions"][base["tests"][live]["condition"]]
    beside = _steps(base, "source out", "discharge")
    closed = [s for s in listed(loaded.get("closed")) if s not in beside
              and (not s.endswith("_plug") or s == "power_plug")]
    refs = {str(c["ref"]): f"{c['ref']}D" for c in contacts}
    yield ("elements", DUMMY), {
        "kind": "wire", "pins": {"a": "dummy+", "b": "dummy-"}, "ohms": "2 mohm",
        "words": "dummy pack of the shop, plus and minus joined"}
    for c in contacts:
        pins = {k: "dummy" + pack[v] if v in pack else v for k, v in c["pins"].items()}
        yield ("elements", refs[str(c["ref"])]), {
            **{k: v for k, v in c.items() if k != "ref"}, "pins": pins, "through": DUMMY_CONTACTS,
            "words": str(c["words"]).replace("pack", "dummy pack")}
    yield ("circuit", "states", DUMMY_CONTACTS), "out"
    for key, text in (circuit.get("spreads") or {}).items():
        names = [k.strip() for k in key.split(",")]
        if names and all(k.split(".")[0] in refs for k in names):
            new = ", ".join(f"{refs[k.split('.')[0]]}.{k.split('.')[1]}" for k in names)
            yield ("circuit", "spreads", new), text
    yield ("conditions", ROCKED), {
        "words": "pack out, shell open, capacitor measured, dummy pack of the shop in and rocked",
        "open": _dead_shell(base), "closed": closed, "circumstance": "loaded",
        "generate": False, "states": {DUMMY_CONTACTS: "in"}, "caution": CAUTION}
    for id, fault in (base.get("faults") or {}).items():
        changes = fault.get("circuit")
        listed_ = [changes] if isinstance(changes, dict) else list(changes or ())
        burnt = [c for c in listed_ if c.get("on") in refs and c.get("ohms")]
        if burnt:  # one of the two, and the loop goes through both
            felt = [{**c, "ohms": _felt(str(c["ohms"]))} if c in burnt else c for c in listed_]
            more = {k: v for k, v in felt[listed_.index(burnt[0])].items() if k != "share"}
            yield ("faults", id, "circuit"), [*felt, {**more, "on": refs[str(more["on"])]}]
    red, black = pairs[0][1], pairs[1][0]
    yield ("tests", dead_name(base, live)), {
        "words": f"Touch the leads together first; dummy pack in and rocked, ohms from"
                 f" {_said(base, red)} to {_said(base, black)}.",
        "question": "loop through both contacts of the pack, rocked", "condition": ROCKED,
        "minutes": 3, "slip": 0.005, "probe": {"read": "ohms", "red": red, "black": black},
        "good_reads": f"steady below {GOOD_OHMS}",
        "limits": {"low": "0 ohm", "high": f"{MOST_OHMS:g} ohm", "source": "common practice"},
        "caution": CAUTION, "source": "common practice"}  # fmt: skip


def _said(base: Base, node: str) -> str:
    """A node as a person finds it."""
    point = (base["circuit"].get("points") or {}).get(node) or {}
    return str(point.get("words") or node)


def dead_name(base: Base, live: str) -> str:
    """The dead test in place of a live one."""
    name = f"{live.removesuffix('_drop')}_ohms"
    return f"{name}_dummy" if name in base["tests"] else name


def written(base: Base, gone: Mapping[str, list[str]]) -> Iterator[Path]:
    """Every path that `replacements` writes, to take it out again."""
    yield from (path for path, _ in replacements(base, gone))


def _felt(ohms: str) -> str:
    """The span from where a dead reading tells it: what is lower is not felt in use either."""
    low, dots, rest = ohms.partition("..")
    value = float(low.split()[0])
    return f"{MOST_OHMS:g} ohm {dots}{rest}" if dots and value < MOST_OHMS else ohms


def _contacts(base: Base) -> list[Base]:
    elements = (base.get("circuit") or {}).get("elements") or ()
    return [e for e in elements if e.get("through") == PACK_CONTACTS]


def _pack_nodes(base: Base) -> dict[str, str]:
    """The pack's own poles: node -> + or -."""
    elements = (base.get("circuit") or {}).get("elements") or ()
    pins: Mapping[str, str] = next((e["pins"] for e in elements if e.get("ref") == "BT1"), {})
    return {pins[k]: sign for k, sign in (("plus", "+"), ("minus", "-")) if k in pins}


def _across(base: Base, contacts: list[Base], pairs: list[list[str]]) -> bool:
    """Whether the two pairs go from the poles of the pack, the one at the plus, the other back to
    the minus, over both contacts."""
    pack = _pack_nodes(base)
    poles = [pack.get(pairs[0][0]), pack.get(pairs[-1][1])] if len(pairs) == 2 else []
    return poles == ["+", "-"] and all(set(c["pins"].values()) & set(pack) for c in contacts)


def _steps(base: Base, *roles: str) -> list[str]:
    return [str(id) for id, s in (base.get("teardown") or {}).items() if s.get("role") in roles]


def _dead_shell(base: Base) -> list[str]:
    """What is open in the dead condition with the shell open that opens least."""
    shell, out = set(_steps(base, "shell")), set(_steps(base, "source out"))
    dead = [listed(c.get("open")) for c in (base.get("conditions") or {}).values()
            if not c.get("energised")]
    return min((o for o in dead if shell & set(o) and out & set(o)), key=len)
