"""An assessment, a table of expected readings and a plan as plain values for scripts.

The names and what they hold are documented in docs/scripts.md; numbers are in base units
(V, A, ohm, Hz, ...), minutes, and the shop's money. What is not a finite number is null.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from knowngood.diagnosis.assess import Setup
from knowngood.diagnosis.evidence import Evidence
from knowngood.diagnosis.sentences import held_to_limits, reads
from knowngood.diagnosis.views import Assessment, StepView
from knowngood.isolate.belief import Belief, Weighed
from knowngood.isolate.forecast import Forecast
from knowngood.isolate.hypotheses import Hypothesis
from knowngood.isolate.proof import shown_out
from knowngood.isolate.table import LOOKED, Row, chance_to_show
from knowngood.machines.forecast_text import forecast_words
from knowngood.machines.machine import RootCause, ServicePart
from knowngood.measure.reading import Reading
from knowngood.measure.units import BASE_UNIT, DIMENSION_OF
from knowngood.places.library import number_wants, part_number
from knowngood.places.readings import Entry
from knowngood.places.sentence import proof_sentence

Json = dict[str, Any]
CIRCUMSTANCES = ("rest", "wiggled", "warm", "loaded", LOOKED)


def assessment_json(
    setup: Setup, evidence: Evidence, assessment: Assessment, entries: Sequence[Entry]
) -> Json:
    """Everything that `assess` says, and all that is needed to work the belief out again."""
    belief = assessment.belief
    return {
        "machine": {"id": setup.machine.id, "words": setup.machine.words,
                    "digest": setup.machine.digest},
        "meter": setup.bench.meter.name if setup.bench.meter else None,
        "currency": setup.bench.prices.currency,
        "suspects": _suspects(belief),
        "parts": _parts(setup, assessment),
        "nodes": [
            {"weight": n.weight, "gain": n.gain, "scale": n.scale, "level": n.level,
             "beyond": n.beyond} for n in belief.nodes
        ],
        "finer": None if belief.finer is None else {
            h.id: [round(float(x), 9) for x in log]
            for h, log in zip(belief.hypotheses, belief.finer, strict=True)
        },
        "accounts": [
            {"id": a.id, "words": a.words, "grade": a.grade, "part": a.part,
             "likelihood": _by_suspect(belief, a.given)}
            for a in belief.accounts
        ],
        "readings": [_reading(setup, assessment, e) for e in entries],
        "groups": _groups(belief),
        "next": [step_json(s) for s in assessment.steps],
        "held_back": dict(assessment.held_back),
        "expected_price": _finite(assessment.expected_price),
        "bounds": {"lower": _finite(assessment.lower), "upper": _finite(assessment.upper)},
        "seconds": round(assessment.seconds, 4),
        "opened": sorted(evidence.opened),
        "called": evidence.called,
        **_proof(setup, assessment),
        "causes": [cause_json(c) for c in assessment.causes],
    }  # fmt: skip


def _suspects(belief: Belief) -> list[Json]:
    out = shown_out(belief)
    order = np.argsort(-belief.p, kind="stable")
    return [
        {
            "id": h.id, "words": h.words, "kind": h.kind, "parts": sorted(h.parts),
            "prior": h.weight, "belief": float(belief.p[i]), "shows": _shows(h),
            "shown_out_by": out[h.id][0] if h.id in out else None,
        }
        for i, h in ((int(i), belief.hypotheses[int(i)]) for i in order)
    ]  # fmt: skip


def _shows(h: Hypothesis) -> dict[str, float]:
    """Chance that it shows in each circumstance; 1 when it is always there."""
    return {c: chance_to_show(h.shows, c) for c in CIRCUMSTANCES}


def _parts(setup: Setup, assessment: Assessment) -> list[Json]:
    prior: dict[str, float] = {}
    for h in assessment.belief.hypotheses:
        for part in h.parts:
            prior[part] = prior.get(part, 0.0) + h.weight
    parts = {p.id: p for p in setup.machine.parts}
    return [
        {
            "id": v.id, "words": v.words, "prior": prior.get(v.id, 0.0), "belief": v.belief,
            "standing": v.standing, "evidence": v.evidence, "number": part_number(parts[v.id]),
            "number_wants": _wants(parts[v.id]), "price": parts[v.id].price,
        }
        for v in assessment.parts
    ]  # fmt: skip


def _by_suspect(belief: Belief, values: Sequence[Any] | np.ndarray) -> Json:
    return {h.id: np.asarray(v).tolist() for h, v in zip(belief.hypotheses, values, strict=True)}


def _group_id(group: tuple[int, str]) -> str:
    return f"{group[0]}/{group[1]}"


def _groups(belief: Belief) -> list[Json]:
    found: dict[tuple[int, str], list[int]] = {}
    for w in belief.weighed:
        found.setdefault(w.group, []).append(int(w.items[0]))
    return [
        {"id": _group_id(g), "visit": g[0], "circumstance": g[1], "readings": indices}
        for g, indices in found.items()
    ]


def _reading(setup: Setup, assessment: Assessment, entry: Entry) -> Json:
    """One reading of the file. Repeats of one visit are averaged: the first of them counts."""
    reading, belief = entry.reading, assessment.belief
    weighed = next((w for w in belief.weighed if entry.id in w.items), None)
    judged = next((j for j in assessment.readings if entry.id in j.items), None)
    answer: Json = {
        "index": entry.index, "test": entry.test, "text": entry.text, "at": entry.at or None,
        "withdrawn": entry.withdrawn, "note": reading.note, **reading_json(reading),
        "counts": False, "group": None, "averaged": [], "verdict": "no evidence",
        "sentence": reading.note, "limits": "", "clears": [], "slip": None, "likely_slip": "",
        "p_good": None, "guard": None, "log_likelihood": None, "healthy": None, "prediction": None,
    }  # fmt: skip
    if entry.withdrawn:
        return answer | {"verdict": "withdrawn", "sentence": "withdrawn: does not count"}
    if weighed is None or judged is None:
        return answer
    answer |= {
        "verdict": judged.verdict, "limits": judged.limits,
        "sentence": judged.sentence_of(entry.id, reads(reading)),
        "clears": list(judged.clears), "slip": judged.slip_chance, "likely_slip": judged.slip,
        "group": _group_id(weighed.group), "averaged": [int(i) for i in weighed.items],
    }  # fmt: skip
    test = next((t for t in setup.machine.tests if t.id == entry.test), None)
    held = held_to_limits(test, reading) if test and reading.kind == "value" else None
    if held is not None:
        answer |= {"p_good": held.p_good, "guard": held.guard}
    if entry.id != weighed.items[0]:
        return answer
    return answer | {
        "counts": True,
        "log_likelihood": _by_suspect(belief, weighed.faulty),
        "healthy": weighed.healthy.tolist(),
        "prediction": _predictions(weighed.row, belief, weighed),
    }


def reading_json(reading: Reading) -> Json:
    """A reading in base units with its standard uncertainties and the range it was taken on."""
    return {
        "kind": reading.kind, "quantity": reading.quantity, "unit": reading.unit,
        "value": reading.low if reading.kind == "value" else None,
        "low": reading.low, "high": reading.high, "uncertainty": reading.u,
        "u_random": reading.u_random, "u_shared": reading.u_shared,
        "resolution": reading.resolution, "meter": reading.meter, "range": reading.range_name,
    }  # fmt: skip


def _predictions(row: Row, belief: Belief, weighed: Weighed) -> Json:
    """What each suspect lets one expect: as text, its standard uncertainty with the meter's, and
    the probability of a reading at least this extreme."""
    found: Json = {}
    for i, h in enumerate(belief.hypotheses):
        forecast = row.forecasts[int(row.index[i])]
        listed = h.kind != "other"
        found[h.id] = {
            "text": forecast_words(forecast, row.quantity) if listed else "anything",
            "uncertainty": _spread(forecast, row, weighed.reading.u) if listed else None,
            "extreme": float(weighed.extreme[i]),
        }
    return found


def _spread(forecast: Forecast, row: Row, u: float) -> float | None:
    """Standard deviation of what shows as a number, the meter's doubt and the spread of the
    machine with it; None where no number shows."""
    moments = [_moments(p.kind, p.low, p.high, p.share) for p in forecast.pieces]
    shares = [m for m in moments if m is not None]
    whole = sum(m[0] for m in shares)
    if whole <= 0:
        return None
    mean = sum(s * a for s, a, _ in shares) / whole
    variance = sum(s * (v + (a - mean) ** 2) for s, a, v in shares) / whole
    return math.sqrt(variance + u**2 + (row.spread * mean) ** 2)


def _moments(kind: str, low: float, high: float, share: float) -> tuple[float, float, float] | None:
    """(share, mean, variance) of one piece; None for over range and unsteady."""
    if kind == "around":
        return share, low, high**2
    if kind == "between":
        return share, (low + high) / 2, (high - low) ** 2 / 12
    if kind == "log":
        ratio = math.log(high / low)
        mean = (high - low) / ratio
        return share, mean, (high**2 - low**2) / (2 * ratio) - mean**2
    return None


def step_json(step: StepView) -> Json:
    """A next step with all that is said at the bench."""
    return {
        "kind": step.kind, "id": step.id, "words": step.words, "question": step.question,
        "price": _finite(step.price), "lower": _finite(step.lower), "upper": _finite(step.upper),
        "costs_more": _finite(step.costs_more), "minutes": step.minutes,
        "opens": list(step.opens), "minding": list(step.minding),
        "closes": list(step.closes), "condition": step.condition,
        "held": list(step.held), "energised": step.energised,
        "red": step.points[0], "black": step.points[1], "expect": step.expect,
        "cautions": list(step.cautions),
    }  # fmt: skip


def _wants(part: ServicePart) -> str:
    """What decides the part's number and a file of readings does not say; "" where it is known."""
    wants = number_wants(part, None)
    return wants.why if wants else ""


def _proof(setup: Setup, assessment: Assessment) -> Json:
    proof = assessment.proof
    if not proof.proven:
        return {"proven": None, "not_proven": proof.missing, "standing": list(proof.open)}
    numbers = {p.id: part_number(p) for p in setup.machine.parts}
    return {
        "proven": {
            "parts": sorted(proof.parts), "numbers": [numbers[p] for p in sorted(proof.parts)],
            "belief": proof.belief, "readings": [int(i) for i in proof.items],
            "tests": list(proof.tests), "sentence": proof_sentence(setup, assessment),
        },
        "not_proven": None, "standing": [],
    }  # fmt: skip


def cause_json(cause: RootCause) -> Json:
    """A root cause to clear before the new part goes in."""
    return {
        "id": cause.id, "words": cause.words, "ask": cause.ask, "mend": cause.mend,
        "caution": cause.caution,
    }  # fmt: skip


def table_json(setup: Setup) -> Json:
    """Suspect by test: the expected reading as text and numbers."""
    table = setup.bench.table
    tests: list[Json] = []
    listed = [(i, h) for i, h in enumerate(table.hypotheses) if h.kind != "other"]
    for test in setup.machine.tests:
        row = table.rows[test.id]
        at = {h.id: row.forecasts[int(row.index[i])] for i, h in listed}
        tests.append(
            {
                "id": test.id, "question": test.question, "quantity": test.quantity,
                "unit": BASE_UNIT[DIMENSION_OF[test.quantity]], "condition": test.condition,
                "circumstance": row.circumstance, "minutes": test.minutes, "slip": row.slip,
                "good": forecast_words(test.good, test.quantity),
                "expected": {h: forecast_words(f, row.quantity) for h, f in at.items()},
                "numbers": {h: forecast_json(f) for h, f in at.items()},
            }
        )  # fmt: skip
    return {
        "machine": {"id": setup.machine.id, "words": setup.machine.words,
                    "digest": setup.machine.digest},
        "suspects": [
            {"id": h.id, "words": h.words, "kind": h.kind, "parts": sorted(h.parts),
             "prior": h.weight, "shows": _shows(h)}
            for h in table.hypotheses
        ],
        "tests": tests,
    }  # fmt: skip


def forecast_json(forecast: Forecast) -> Json:
    """A forecast in base units: the chance of a yes, or pieces with their shares. ``around``
    has its mean and standard deviation, the others their two ends."""
    if forecast.yes is not None:
        return {"yes": forecast.yes}
    pieces: list[Json] = []
    for p in forecast.pieces:
        piece: Json = {"kind": p.kind, "share": p.share}
        if p.kind == "around":
            piece |= {"mean": p.low, "sd": p.high}
        elif p.kind in ("between", "log"):
            piece |= {"low": p.low, "high": p.high}
        pieces.append(piece)
    return {"pieces": pieces}


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
