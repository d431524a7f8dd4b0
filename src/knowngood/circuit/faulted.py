"""What a fault does to an element: other laws for some of its branches, or a new path."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from knowngood.circuit.device import Module, Relay
from knowngood.circuit.element import Element, Law
from knowngood.circuit.laws import Filament, Junction, Ohm, Open


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that is wrong with the wiring.

    on    an element, or one of its branches or pins: "S1", "K1.coil", "M1.u"
    mode  open, short, high resistance, stuck open, stuck closed, leak
    ohms  replaces the element's own; must be given for high resistance and leak
    to    the node that a leak goes to; it starts at the pin named, else at the first pin
    """

    on: str
    mode: str
    ohms: float | None = None
    to: str | None = None


@dataclass(frozen=True, slots=True)
class Changed:
    """`laws`: branch name to its (law, law when on). `forced`: how a self-switching element is
    held. `leak`: (node, node, ohms)."""

    laws: Mapping[str, tuple[Law, Law | None]] = field(default_factory=dict)
    forced: bool | None = None
    leak: tuple[str, str, float] | None = None


def near_word(word: str, known: Iterable[str], alike: float = 0.5) -> str | None:
    """The known word that is nearest, if it is that much alike (0 to 1, ratio of difflib)."""
    near = difflib.get_close_matches(word[:80], list(known), n=1, cutoff=alike)
    return near[0] if near else None


def nearest(word: str, known: Iterable[str], what: str = "Known") -> str:
    """Names the known word that is nearest, or a few of them."""
    names = [name for name in known if "\n" not in name][:2000]
    near = near_word(word, names)
    if near:
        return f"Did you mean {near!r}?"
    more = ", ..." if len(names) > 12 else ""
    return f"{what}: {', '.join(names[:12])}{more}" if names else "There is none"


def find(on: str, elements: Mapping[str, Element]) -> tuple[Element, str] | None:
    """(element, branch or pin) of "REF" or "REF.part"; None if there is no such element."""
    if on in elements:
        return elements[on], ""
    ref, _, part = on.rpartition(".")
    return (elements[ref], part) if ref in elements else None


def wrong_fault(
    fault: Fault, elements: Mapping[str, Element], nodes: Iterable[str]
) -> tuple[str, str] | None:
    """(message, fix) if this fault cannot be put on this circuit."""
    found = find(fault.on, elements)
    if found is None:
        return f"no element {fault.on[:60]!r}", nearest(fault.on, elements)
    element, part = found
    if fault.mode not in element.MODES:
        kinds = ", ".join(element.MODES)
        return f"a {element.KIND} cannot be {fault.mode[:40]!r}", f"It can be: {kinds}"
    if fault.mode in ("high resistance", "leak") and fault.ohms is None:
        return f"a fault {fault.mode!r} needs ohms", "Add ohms, such as 10 ohm"
    if fault.mode == "leak":
        if fault.to not in set(nodes):
            shown = "none" if fault.to is None else repr(fault.to[:60])
            return f"a leak needs a node to go to, got {shown}", nearest(fault.to or "", nodes)
    elif fault.to is not None:
        return f"a fault {fault.mode!r} goes to no node", "Leave out to, or write mode: leak"
    names = [b.name for b in element.branches()]
    if part:
        places = [*element.pins, *names] if fault.mode == "leak" else names
        whole = isinstance(element, Module) or fault.mode.startswith("stuck")
        if whole and fault.mode != "leak":
            return f"{fault.mode!r} is a fault of the whole {element.ref}", f"on: {element.ref}"
        if part not in places:
            return f"{element.ref} has no {part[:40]!r}", nearest(part, places)
    elif len(names) > 1 and fault.mode != "leak" and not isinstance(element, Relay | Module):
        choice = " or ".join(f"{element.ref}.{n}" for n in names)
        return f"which part of {element.ref} is {fault.mode}?", f"Write on: {choice}"
    return None


def changed(element: Element, part: str, fault: Fault) -> Changed:
    """What the fault changes; it must have passed `wrong_fault`."""
    mode, ohms = fault.mode, fault.ohms
    branches = {b.name: b for b in element.branches()}
    if mode == "leak":
        start = element.pins.get(part) or (branches[part].a if part in branches else "")
        start = start or next(iter(element.pins.values()))
        return Changed(leak=(start, str(fault.to), float(ohms or 0.0)))
    if isinstance(element, Module):
        return _module(element, mode, ohms)
    if isinstance(element, Relay) and not part:
        return _relay(element, mode, ohms)
    branch = branches[part or next(iter(branches))]
    off = failed(branch.law, mode, ohms, getattr(element, "ohms", 0.0))
    on = None if branch.on is None else failed(branch.on, mode, ohms, 0.0)
    coil_shorted = isinstance(element, Relay) and part == "coil" and mode == "short"
    return Changed({branch.name: (off, on)}, False if coil_shorted else None)


def failed(law: Law, mode: str, ohms: float | None, own: float) -> Law:
    """The law that takes this one's place. `own`: ohms of a contact that is stuck closed."""
    if mode in ("open", "stuck open"):
        return Open()
    if mode == "short":
        return Ohm(ohms or 0.0)
    if mode == "stuck closed":
        return Ohm(own if ohms is None else ohms)
    if isinstance(law, Open) and not law.farads:
        return law  # a bad contact that is open anyway
    volts = law.volts if isinstance(law, Ohm) else 0.0
    return Ohm(float(ohms or 0.0), volts)


def _relay(relay: Relay, mode: str, ohms: float | None) -> Changed:
    contact = Ohm(relay.ohms if ohms is None else ohms)
    if mode == "open":
        return Changed({"coil": (Open(), None)})
    if mode == "short":
        return Changed({"coil": (Ohm(ohms or 0.0), None)}, forced=False)
    if mode == "stuck open":
        return Changed(forced=False)
    if mode == "stuck closed":
        return Changed({"no": (contact, contact), "nc": (Open(), Open())})
    return Changed({"no": (Open(), contact), "nc": (contact, Open())})


def _module(module: Module, mode: str, ohms: float | None) -> Changed:
    if mode == "short":
        return Changed({"supply": (Ohm(ohms or 0.0), None)}, forced=False)
    if mode == "high resistance":
        out = next(b for b in module.branches() if b.name == "out")
        volts = out.on.volts if isinstance(out.on, Ohm) else 0.0
        return Changed({"out": (Open(), Ohm(float(ohms or 0.0), volts))})
    return Changed(forced=mode == "stuck closed")


def is_curved(law: Law) -> bool:
    return isinstance(law, Junction | Filament)
