"""Teardown, rebuild, release and clock of one job as plain data for the screen."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from urllib.parse import quote

from knowngood.diagnosis.steps import opening_order, taking_off
from knowngood.job.job import Job
from knowngood.machines.back import back_words
from knowngood.machines.machine import STAGES, Stage, TeardownStep
from knowngood.machines.template import asked_by
from knowngood.places.apart import fastener_tally
from knowngood.places.decision import left_to_close
from knowngood.places.gather import View
from knowngood.places.rebuild import LineView, not_off, parts_to_fit, rebuild_of, wrong_lines
from knowngood.places.teach import lessons
from knowngood.shop.off import Off, fasteners_words, off_steps
from knowngood.shop.release import RUNS, Standing, release_of_job, runs_stopped
from knowngood.web.capacitor_view import volts_of

Json = dict[str, Any]

STAGE_WORDS: dict[Stage, str] = {
    "source out": "With the source out", "still": "Source in; it must not run yet",
    "run": "First runs, slow or without load", "full": "At full speed or under load",
    "after": "At the end, source out again",
}  # fmt: skip

LAST = 3
"""Steps that a person who comes back sees again. FAA guidance on human factors in maintenance:
after an interruption go back three steps (second-hand)."""


def apart_view(view: View) -> Json:
    """What came off and how it goes back. `steps` has what can come off, `off` what did."""
    job, machine = view.job, view.machine
    off = off_steps(machine, job)
    lines = rebuild_of(view)
    count = fastener_tally(view)
    earlier = {t.id: list(t.pictures) for t in machine.teardown if t.pictures}
    release = release_of_job(machine, job)
    return {
        "off": [_off(view, one) for one in off],
        "steps": _can_come_off(view, {one.id for one in off}),
        "lines": [{**_line(one), "pictures": earlier.get(one.line.about, [])} for one in lines],
        "count": {"words": count.words, "even": count.even, "waiting": count.waiting,
                  "said": list(count.said)},
        "wrong": list(wrong_lines(lines)), "not_off": [t.words for t in not_off(machine, job)],
        "parts": [_part(job, p.id, p.words, p.number) for p in parts_to_fit(machine, job)],
        "last": _last(view),
        "release": {
            "checks": [_check(c, lines) for c in release.checks], "held": release.held,
            "words": release.words, "stopped": [c.check for c in runs_stopped(release)],
            "holding": [f"{c.words}: {c.result}" for c in release.holding],
            "left": [*left_to_close(view), *count.said] if job.closed is None else [],
        },
        "minutes": _minutes(view),
        "videos": [{"digest": x.digest, "caption": x.caption, "about": x.about,
                    "seconds": x.seconds} for x in job.apart.videos.values()],
        "lessons": [{"step": x.step, "words": x.words, "new": x.new, "said": x.said,
                     "opens": bool(x.opens), "taught": x.taught,
                     "time_alone": not (x.new or x.fasteners or x.pictures)}
                    for x in lessons(machine, job)],
    }  # fmt: skip


def _off(view: View, one: Off) -> Json:
    job = view.job
    measured = [t for t in view.machine.teardown if t.id == one.id]
    done = next(s for s in reversed(job.steps) if s.step == one.id)
    noted = job.apart.noted.get(one.id)
    return {
        "id": one.id, "words": one.words, "traps": list(one.traps), "caution": one.caution,
        "notes": list(one.notes), "where": one.where, "leads": one.leads,
        "fasteners": fasteners_words(one.fasteners), "count": one.count, "counted": one.counted,
        "waiting": one.nothing_to_shut, "source": one.role == "source out",
        "needs": list(one.needs), "volts": volts_of(view, measured),
        "kinds": [{"count": f.count, "drive": f.drive, "length": f.length, "where": f.where}
                  for f in one.fasteners],
        "plugs": list(noted.plugs) if noted else [], "small": list(noted.small) if noted else [],
        "routing": noted.routing if noted else "",
        "by": done.opened.by, "at": done.opened.device_time.isoformat(),
    }  # fmt: skip


def _can_come_off(view: View, off: set[str]) -> list[Json]:
    """Steps of the file that are on, those on the way to the part first, each with what comes off
    before it."""
    machine = view.machine
    parts = parts_to_fit(machine, view.job)
    needs = [n for part in parts for n in part.needs]
    needs += [t.id for part in parts for t in machine.teardown if _takes_out(t, part.words)]
    way = opening_order(machine, needs, frozenset(off))
    on = [t for t in machine.teardown if t.id not in off]
    on.sort(key=lambda t: (way.index(t.id) if t.id in way else len(way)))
    return [_step(view, t, t.id in way, off) for t in on]


def _takes_out(step: TeardownStep, part: str) -> bool:
    """Whether the step takes out the part itself: "Controller out and on the bench"."""
    return step.words.casefold().startswith(tuple(f"{part.casefold()} {w}" for w in ("out", "off")))


def _step(view: View, step: TeardownStep, on_the_way: bool, off: set[str]) -> Json:
    by_id = {t.id: t for t in view.machine.teardown}
    order = taking_off(view.machine, [step.id], frozenset(off))
    first = [o for o in order if o != step.id]
    waits = {t.id for t in view.machine.teardown if t.role == "discharge"}
    charged = taking_off(view.machine, [step.id], frozenset(off - waits))
    source = [t for t in view.machine.teardown if t.role == "source out"]
    live = [t.id for t in source if t.id not in off and t.id not in order]
    bares = bool(step.needs or step.fasteners) or step.role == "shell"
    open_source = live if bares and not any(t.id == step.id for t in source) else []
    cautions = dict.fromkeys(by_id[o].caution for o in reversed(order) if by_id[o].caution)
    return {
        "id": step.id, "words": step.words, "back": step.goes_back,
        "minutes": f"{step.minutes:g} min",
        "traps": list(step.known_traps), "unseen": unseen_of(view, [step]),
        "caution": step.caution, "cautions": list(cautions),
        "way": on_the_way, "live": [{"id": o, "words": by_id[o].words} for o in open_source],
        "fasteners": fasteners_words(step.fasteners), "count": sum(f.count for f in step.fasteners),
        "kinds": [{"count": f.count, "drive": f.drive, "length": f.length, "where": f.where}
                  for f in step.fasteners],
        "first": [by_id[o].words for o in first], "first_ids": first,
        "waiting": step.role == "discharge", "source": step.role == "source out",
        "needs": list(step.needs),
        "charged": volts_of(view, [by_id[o] for o in charged]),
        "volts": volts_of(view, [by_id[o] for o in order]), "pictures": list(step.pictures),
    }  # fmt: skip


def unseen_of(view: View, steps: Iterable[TeardownStep]) -> list[Json]:
    """What these steps let one see of a machine that is not fully described, and the page where
    each is answered, which leads back to the job."""
    page = f"/library/machine/{quote(view.machine.id)}?job={quote(view.job.id)}"
    return [{"id": q.id, "words": q.ask, "page": f"{page}#a-{q.id}"}
            for q in asked_by(t for s in steps for t in s.traps)]


def _line(one: LineView) -> Json:
    line = one.line
    return {
        "id": line.id, "kind": line.kind, "about": line.about, "words": line.words,
        "hints": list(line.hints), "caution": line.caution, "fasteners": line.fasteners,
        "count": line.count, "where": line.where, "inside": list(line.inside),
        "reads": line.reads, "source": line.source, "closes": line.closes,
        "done": one.done, "wrong": one.wrong, "said": one.said, "by": one.by,
        "at": one.at.device_time.isoformat() if one.at else "",
    }  # fmt: skip


def _part(job: Job, id: str, words: str, number: str) -> Json:
    seen, tag = job.apart.in_hand.get(id), job.apart.tagged.get(id)
    return {
        "id": id, "words": words, "number": number,
        "seen": None if seen is None else {
            "verdict": seen[0].verdict, "number": seen[0].number, "chain": seen[0].chain,
            "reason": seen[0].reason, "by": seen[1].by,
        },
        "tag": None if tag is None else {"tag": tag.tag, "where": tag.where, "tested": tag.tested},
        "tag_words": f"{job.name} {words}, removed",
    }  # fmt: skip


def _check(check: Standing, lines: tuple[LineView, ...]) -> Json:
    """A check, or a proof of the rebuild that was not good: then ``line`` names it."""
    return {
        "line": next((one.line.id for one in lines if one.line.id == check.check), ""),
        "id": check.check, "words": check.words, "safety": check.safety, "result": check.result,
        "reason": check.reason, "by": check.by, "caution": check.caution, "source": check.source,
        "stale": check.stale, "holds": check.holds,
        "runs": check.stage in RUNS,
        "order": STAGES.index(check.stage), "stage_words": STAGE_WORDS[check.stage],
        "override": f"{check.override.by}: {check.override.reason}" if check.override else "",
    }  # fmt: skip


def _went_back(view: View) -> dict[str, str]:
    """What going back is called, by step of the file."""
    return {t.id: f"done: {t.back}" for t in view.machine.teardown if t.back}


def _last(view: View) -> list[Json]:
    """What was done last on the machine, the latest at the end."""
    job, back = view.job, _went_back(view)
    found = [(s.opened, f"off: {s.words}", s.step) for s in job.steps]
    found += [
        (s.closed, back.get(s.step, f"done: {back_words(s.words)}"), s.step)
        for s in job.steps if s.closed
    ]
    found += [(t.at, t.words, t.line.partition(":")[2]) for t in job.apart.ticks.values()]
    found.sort(key=lambda item: item[0].seq)
    return [
        {"words": words, "about": about, "by": at.by, "at": at.device_time.isoformat()}
        for at, words, about in found[-LAST:]
    ]


def _minutes(view: View) -> list[Json]:
    """Minutes of each step and task, who worked them, and how they are known."""
    job, machine = view.job, view.machine
    words = {t.id: t.words for t in machine.teardown}
    words |= {s.step: s.words for s in job.steps if s.words}
    back = _went_back(view)
    words |= {f"back {id}": back.get(id, f"done: {back_words(said)}") for id, said in words.items()}
    words |= {f"test {t.id}": t.question for t in machine.tests}
    found = []
    for what, minutes in job.minutes_by_step().items():
        people = dict.fromkeys(m.at.by for m in job.minutes if m.what == what)
        mended = job.apart.mended.get(what)
        by_clock = any(m.measured for m in job.minutes if m.what == what)
        how = "by the clock" if by_clock else "reckoned"
        how = f"put right by {mended.at.by}" if mended else how
        found.append({"what": what, "words": words.get(what, what), "minutes": round(minutes, 1),
                      "how": how, "by": ", ".join(people)})  # fmt: skip
    return found
