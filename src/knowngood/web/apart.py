"""Taking apart, putting together, handing back: what a phone sends of it, and the wiring."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, cast

from fastapi import APIRouter, Request

from knowngood.job import apart as ap
from knowngood.job import events as ev
from knowngood.job.events import Event
from knowngood.job.plain import Words
from knowngood.job.things import ANYWAY, LEFT
from knowngood.machines.bare import Kind
from knowngood.places import apart, bare, bench, decision, teach
from knowngood.places.ends import end_of, unrepaired
from knowngood.places.gather import View, load_job, look, setup_of
from knowngood.places.record import At, Record, Refused
from knowngood.places.wiring import wiring_picture
from knowngood.shop.release import release_of_job
from knowngood.web.here import here_of
from knowngood.web.takers import TAKERS, Taker, one_of, text_in

Body = Mapping[str, Any]

router = APIRouter()


@router.get("/api/jobs/{job}/wiring", summary="The picture of the wiring", tags=["jobs"])
def job_wiring(request: Request, job: str, test: str = "") -> dict[str, Any]:
    """The wiring as SVG text, with each point's number, words, place and the place beside it that
    is kept free for the mark of a lead; empty where the machine's file has no wiring. Lengths in
    the units of the picture's viewBox (mm on paper). ``test``: of the shop's own gear only what
    this test uses."""
    here = here_of(request)
    it = load_job(here.record, here.job_id(job))
    picture = wiring_picture(setup_of(here.record, it).machine, test[:200])
    if picture is None:
        return {"svg": "", "points": []}
    points = [{"node": p.node, "number": p.number, "words": p.words, "at": p.at, "mark": p.mark}
              for p in picture.points]  # fmt: skip
    return {"svg": picture.svg, "points": points, "width": picture.width, "height": picture.height}


def _opt(body: Body, name: str) -> str:
    return text_in(body, name, needed=False)


def _since(body: Body) -> datetime | None:
    """When the person began, by the phone's clock; None when it is not told."""
    text = _opt(body, "since")
    if not text:
        return None
    try:
        found = datetime.fromisoformat(text)
    except ValueError as error:
        raise Refused(f"since is {text[:40]!r}, which is no time") from error
    if found.tzinfo is None:
        raise Refused("since needs its offset: 2026-03-14T09:26:53+01:00")
    return found


def _count(body: Body, name: str) -> int | None:
    value = body.get(name)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int):
        raise Refused(f"{name} should be a whole number")
    return value


def _words(body: Body, name: str) -> Words:
    value = body.get(name, [])
    if not isinstance(value, list) or len(value) > 40 or any(
        not isinstance(one, str) or len(one) > 300 for one in value
    ):
        raise Refused(f"{name} should be a list of at most 40 short texts")
    return tuple(one.strip() for one in value if one.strip())


def _off(record: Record, job: str, body: Body, at: At) -> View:
    step, where = text_in(body, "step"), _opt(body, "where")
    if (there := apart.off_already(record, job, step)) is not None:
        said: list[Event] = [ev.StepOpened(step, there.words, 0.0, where)]
        said += [ap.StepNoted(step, where=where)] if where.strip() and not there.where else []
        record.append(job, said, at)  # another phone said so as well; both stay on the record
        return look(record, job)
    if wait := apart.charged_before(record, job, step):
        raise Refused(f"{wait}. Type the volts that it reads before anything further comes off")
    return apart.take_off(
        record, job, text_in(body, "step"), at, words=_opt(body, "words"),
        where=_opt(body, "where"), since=_since(body),
    )  # fmt: skip


def _back(record: Record, job: str, body: Body, at: At) -> View:
    step = text_in(body, "step")
    if body.get("back") is None and not body.get("over") and apart.back_already(record, job, step):
        record.append(job, [ev.StepClosed(step)], at)
        return look(record, job)
    return apart.put_step_back(
        record, job, text_in(body, "step"), at, back=_count(body, "back"),
        over=_count(body, "over") or 0, words=_opt(body, "words"), since=_since(body),
        anyway=_opt(body, "anyway"),
    )  # fmt: skip


def _note(record: Record, job: str, body: Body, at: At) -> View:
    fasteners = apart.fasteners_noted(body["fasteners"]) if "fasteners" in body else {}
    noted = ap.StepNoted(
        text_in(body, "step"), fasteners, _words(body, "plugs"), _words(body, "small"),
        _opt(body, "routing"), _opt(body, "where"), body.get("leads") is True,
        _words(body, "cleared"),
    )  # fmt: skip
    return apart.note_step(record, job, noted, at)


def _tick(record: Record, job: str, body: Body, at: At) -> View:
    result = cast(ap.Tick, one_of(body, "result", ap.Tick))
    line, words = text_in(body, "line"), text_in(body, "words")
    return apart.tick(record, job, line, words, result, at, _opt(body, "text"), _since(body))


def _untick(record: Record, job: str, body: Body, at: At) -> View:
    return apart.untick(record, job, text_in(body, "line"), at, _opt(body, "reason"))


def _in_hand(record: Record, job: str, body: Body, at: At) -> View:
    old, new = _count(body, "old_plugs"), _count(body, "new_plugs")
    seen = ap.PartInHand(
        text_in(body, "part"), "", cast(ap.Verdict, one_of(body, "verdict", ap.Verdict)),
        _opt(body, "number"), _opt(body, "chain"), body.get("beside") is True,
        -1 if old is None else old, -1 if new is None else new, _opt(body, "reason"),
    )  # fmt: skip
    return apart.part_in_hand(record, job, seen, at)


def _tag(record: Record, job: str, body: Body, at: At) -> View:
    tag = ap.PartTagged(
        text_in(body, "part"), text_in(body, "tag"), _opt(body, "where"), _opt(body, "tested")
    )
    return apart.tag_part(record, job, tag, at)


def _fitted(record: Record, job: str, body: Body, at: At) -> View:
    """The part that was decided on, or one that it took along."""
    part = text_in(body, "part")
    decided = load_job(record, job).decision
    if decided is None:
        raise Refused("no part is decided on yet; decide on the Bench what is fitted")
    if part != decided.part:
        return apart.tick(record, job, f"fit:{part}", f"Fit {part}", "done", at)
    return decision.fit(record, job, at, _opt(body, "words"))


def _minutes(record: Record, job: str, body: Body, at: At) -> View:
    minutes = body.get("minutes")
    if isinstance(minutes, bool) or not isinstance(minutes, int | float):
        raise Refused("minutes should be a number")
    return apart.mend_minutes(
        record, job, text_in(body, "what"), float(minutes), at, _opt(body, "reason")
    )


def _taught(record: Record, job: str, body: Body, at: At) -> View:
    """A step of this job into the machine's file of the shop."""
    return teach.teach(record, job, text_in(body, "step"), at, body.get("alone") is True)


def _without_file(record: Record, job: str, body: Body, at: At) -> View:
    return bare.without_file(record, job, cast(Kind, one_of(body, "kind", Kind)), at)


def _video(record: Record, job: str, body: Body, at: At) -> None:
    digest, seconds = text_in(body, "digest"), body.get("seconds", 0)
    if isinstance(seconds, bool) or not isinstance(seconds, int | float) or not 0 <= seconds < 1e6:
        raise Refused("seconds should be a number")
    if not record.files.has(digest):
        raise Refused("the video itself is not here; send it to /api/videos first")
    load_job(record, job)
    added = ap.VideoAdded(digest, _opt(body, "caption"), _opt(body, "about"), round(seconds, 1))
    record.append(job, [added], at)


def _details(record: Record, job: str, body: Body, at: At) -> View:
    names = ("serial", "customer", "model", "maker")
    said = {name: _opt(body, name) for name in names}
    if not any(one.strip() for one in said.values()):
        raise Refused("nothing to note: give the serial, the customer, the model or the maker")
    return bench.note_details(record, job, at, **said)


def _close_job(record: Record, job: str, body: Body, at: At) -> View:
    """As at the terminal: what goes out mended goes with nothing blank, or with a reason."""
    outcome, words, anyway = text_in(body, "outcome"), _opt(body, "words"), _opt(body, "anyway")
    outcome = end_of(outcome)
    view = look(record, job)
    stays = unrepaired(outcome)
    release = release_of_job(view.machine, view.job)
    if not stays and release.held:
        held = "; ".join(f"{c.words} ({c.result})" for c in release.holding)
        raise Refused(f"it may not leave: {held}. Make the checks, or let somebody override them "
                      "with a reason")  # fmt: skip
    left = () if stays else (*decision.left_to_close(view), *apart.fastener_tally(view).said)
    if left and not anyway.strip():
        raise Refused(f"{'. '.join(left)}. Do it, or close it with a reason, which is printed on "
                      "the papers")  # fmt: skip
    if left:
        words = f"{words} {ANYWAY}{anyway.strip()}{LEFT}{'. '.join(left)}".strip()
        outcome = "closed with blanks"
    return decision.close_job(record, job, outcome, at, words)


MINE: dict[str, Taker] = {
    "StepOpened": _off,
    "StepClosed": _back,
    "StepNoted": _note,
    "LineTicked": _tick,
    "LineUnticked": _untick,
    "PartInHand": _in_hand,
    "PartTagged": _tag,
    "PartFitted": _fitted,
    "MinutesMended": _minutes,
    "StepTaught": _taught,
    "WithoutFile": _without_file,
    "VideoAdded": _video,
    "DetailsNoted": _details,
    "JobClosed": _close_job,
}
TAKERS.update(MINE)
