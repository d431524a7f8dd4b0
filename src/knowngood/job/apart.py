"""Taking apart and putting together: notes on steps, the job's own steps, the part in hand, ticks.

That a step came off or went back is told by `StepOpened` and `StepClosed` of the bench; here is
what was noted beside it. Counts are pieces, minutes are minutes of work.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from knowngood.job.chapter import Chapter
from knowngood.job.plain import Plain, Stamp, Words

Tick = Literal["done", "good", "not good"]
Verdict = Literal["right", "wrong"]


@dataclass(frozen=True, slots=True)
class OwnStepMade:
    """A step that the machine's file does not have. `needs`: steps that were off before it."""

    step: str
    words: str
    needs: Words = ()
    caution: str = ""


@dataclass(frozen=True, slots=True)
class StepNoted:
    """What was noted on a step; an empty field leaves what stands, `cleared` names fields emptied.

    `fasteners`: {"kinds": [{"count", "drive", "length", "where"}]}; `plugs`: connectors and wire
    colours by position; `small`: springs, bushings, washers; `where` all of it lies. `leads`: leads
    that set the direction of rotation were moved.
    """

    step: str
    fasteners: Plain = field(default_factory=dict)
    plugs: Words = ()
    small: Words = ()
    routing: str = ""
    where: str = ""
    leads: bool = False
    cleared: Words = ()


@dataclass(frozen=True, slots=True)
class FastenersBack:
    """Pieces that went in at a step, and those that were left over then."""

    step: str
    back: float
    over: float = 0
    words: str = ""


@dataclass(frozen=True, slots=True)
class LineTicked:
    """A line of the rebuild is done. `text`: what was read or seen; `words`: the line as shown."""

    line: str
    words: str
    result: Tick = "done"
    text: str = ""


@dataclass(frozen=True, slots=True)
class LineUnticked:
    line: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PartInHand:
    """The new part looked at before it goes in. `number` as printed on it, `chain` how it replaces
    the number that was ordered; plugs counted on the old and the new one, -1 not counted."""

    part: str
    words: str
    verdict: Verdict
    number: str = ""
    chain: str = ""
    beside: bool = False
    old_plugs: float = -1
    new_plugs: float = -1
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PartTagged:
    """The removed part: what its tag says, where it is kept, how it tested on the bench."""

    part: str
    tag: str
    where: str = ""
    tested: str = ""


@dataclass(frozen=True, slots=True)
class MinutesMended:
    """The minutes of a step or task, put right by a person."""

    what: str
    minutes: float
    reason: str = ""


@dataclass(frozen=True, slots=True)
class StepTaught:
    """A step of this job went into a machine file of the shop as ``file_step``: a step that the
    file did not have, or of one that it has the ``minutes`` (-1 for none), fasteners counted and
    pictures."""

    step: str
    machine_id: str
    file_step: str
    minutes: float = -1


@dataclass(frozen=True, slots=True)
class VideoAdded:
    """A video of the work, kept whole; its stills are pictures of their own. ``about`` as with a
    picture; ``seconds`` it lasts, 0 not known."""

    digest: str
    caption: str = ""
    about: str = ""
    seconds: float = 0


ApartEvent = (
    OwnStepMade
    | StepNoted
    | FastenersBack
    | LineTicked
    | LineUnticked
    | PartInHand
    | PartTagged
    | MinutesMended
    | StepTaught
    | VideoAdded
)


@dataclass(frozen=True, slots=True)
class Ticked:
    """A ticked line with who did it."""

    line: str
    words: str
    result: Tick
    text: str
    at: Stamp


@dataclass(frozen=True, slots=True)
class Mended:
    minutes: float
    reason: str
    at: Stamp


@dataclass(frozen=True, slots=True)
class AtTeaching:
    """When a step last went into a file, and the fasteners noted on it by then."""

    seq: int
    fasteners: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Apart:
    """Taking apart and putting together of a job. Mappings are by step, by line, by part, by
    what the minutes are for and by digest."""

    own: Mapping[str, OwnStepMade] = field(default_factory=dict)
    noted: Mapping[str, StepNoted] = field(default_factory=dict)
    back: Mapping[str, tuple[FastenersBack, Stamp]] = field(default_factory=dict)
    ticks: Mapping[str, Ticked] = field(default_factory=dict)
    in_hand: Mapping[str, tuple[PartInHand, Stamp]] = field(default_factory=dict)
    tagged: Mapping[str, PartTagged] = field(default_factory=dict)
    mended: Mapping[str, Mended] = field(default_factory=dict)
    taught: Mapping[str, StepTaught] = field(default_factory=dict)
    at_teaching: Mapping[str, AtTeaching] = field(default_factory=dict)
    videos: Mapping[str, VideoAdded] = field(default_factory=dict)


_NOTES = ("fasteners", "plugs", "small", "routing", "where", "leads")


def _own(it: Apart, event: OwnStepMade, at: Stamp) -> Apart:
    return replace(it, own={**it.own, event.step: event})


def _noted(it: Apart, event: StepNoted, at: Stamp) -> Apart:
    before = it.noted.get(event.step, StepNoted(event.step))
    kept = {n: getattr(before, n) for n in _NOTES if n not in event.cleared}
    said = {n: getattr(event, n) for n in _NOTES if getattr(event, n)}
    return replace(it, noted={**it.noted, event.step: StepNoted(event.step, **{**kept, **said})})


def _back(it: Apart, event: FastenersBack, at: Stamp) -> Apart:
    return replace(it, back={**it.back, event.step: (event, at)})


def _ticked(it: Apart, event: LineTicked, at: Stamp) -> Apart:
    tick = Ticked(event.line, event.words, event.result, event.text, at)
    rest = {line: one for line, one in it.ticks.items() if line != event.line}
    return replace(it, ticks={**rest, event.line: tick})


def _unticked(it: Apart, event: LineUnticked, at: Stamp) -> Apart:
    return replace(it, ticks={k: v for k, v in it.ticks.items() if k != event.line})


def _in_hand(it: Apart, event: PartInHand, at: Stamp) -> Apart:
    return replace(it, in_hand={**it.in_hand, event.part: (event, at)})


def _tagged(it: Apart, event: PartTagged, at: Stamp) -> Apart:
    return replace(it, tagged={**it.tagged, event.part: event})


def _mended(it: Apart, event: MinutesMended, at: Stamp) -> Apart:
    mended = Mended(event.minutes, event.reason, at)
    return replace(it, mended={**it.mended, event.what: mended})


def _taught(it: Apart, event: StepTaught, at: Stamp) -> Apart:
    noted = it.noted.get(event.step, StepNoted(event.step)).fasteners
    when = AtTeaching(at.seq, noted)
    return replace(it, taught={**it.taught, event.step: event},
                   at_teaching={**it.at_teaching, event.step: when})  # fmt: skip


def _video(it: Apart, event: VideoAdded, at: Stamp) -> Apart:
    return replace(it, videos={**it.videos, event.digest: event})


_FOLD: Mapping[type[Any], Callable[[Apart, Any, Stamp], Apart]] = {
    OwnStepMade: _own,
    StepNoted: _noted,
    FastenersBack: _back,
    LineTicked: _ticked,
    LineUnticked: _unticked,
    PartInHand: _in_hand,
    PartTagged: _tagged,
    MinutesMended: _mended,
    StepTaught: _taught,
    VideoAdded: _video,
}


def _with(words: str, more: str) -> str:
    return f"{words} ({more})" if more else words


def _note_words(event: StepNoted) -> str:
    kinds = event.fasteners.get("kinds", [])
    counted = f"{sum(int(k.get('count', 0)) for k in kinds)} fasteners" if kinds else ""
    said = (counted, *event.plugs, *event.small, event.routing, event.where)
    own = event.step.startswith("own-")
    step = "a step of this shop's own" if own else event.step
    return _with(f"noted on {step}", "; ".join(filter(None, said)))


def _back_words(event: FastenersBack) -> str:
    over = f", {event.over:g} LEFT OVER" if event.over else ""
    return _with(f"{event.back:g} fasteners back in {event.step}{over}", event.words)


def _hand_words(event: PartInHand) -> str:
    said = f"the part in hand is {event.verdict}: {event.words} {event.number}".strip()
    return _with(said, event.reason)


_WORDS: Mapping[type[Any], Callable[[Any], str]] = {
    OwnStepMade: lambda e: f"a step of this job: {e.words}",
    StepNoted: _note_words,
    FastenersBack: _back_words,
    LineTicked: lambda e: _with(f"{e.words}: {e.result}", e.text),
    LineUnticked: lambda e: _with(f"not done after all: {e.line}", e.reason),
    PartInHand: _hand_words,
    PartTagged: lambda e: _with(f"removed part tagged {e.tag}", e.where or e.tested),
    VideoAdded: lambda e: _with("a video", e.caption or e.about),
    StepTaught: lambda e: f"kept in the machine file {e.machine_id}: {e.file_step}",
    MinutesMended: lambda e: _with(f"{e.minutes:g} min for {e.what}, put right", e.reason),
}

CHAPTER: Chapter[Apart] = Chapter(Apart(), _FOLD, _WORDS)
