"""What is still off, and which check before the handing back is next, as the bench shows it."""

from __future__ import annotations

from collections.abc import Iterator

from knowngood.cli import show
from knowngood.places.gather import View
from knowngood.shop.off import Off, all_needs, off_steps
from knowngood.shop.rebuild import rebuild_order
from knowngood.shop.release import RUNS, Standing, release_of_job, runs_stopped, wrong_proofs


def goes_back(view: View) -> tuple[Off, ...]:
    """What is off, in the order in which it goes back."""
    order = rebuild_order(off_steps(view.machine, view.job))
    return tuple(one for one in order if not one.nothing_to_shut)


def in_the_way(view: View) -> list[Off]:
    """What is off before the checks begin. A source of energy that is out, and what closes after
    it, wait: the first checks are made with it out."""
    order = goes_back(view)
    under = all_needs({o.id: o.needs for o in order},
                      [o.id for o in order if o.role == "source out"])  # fmt: skip
    return [one for one in order if one.id not in under]


def release_left(view: View, again: set[str]) -> Standing | None:
    """The next check to make: those that failed and are to be made again first, then blank ones
    (never made, or opened again since). While one stands failed, none is next that runs the
    machine. None when there is none."""
    known = {c.id for c in view.machine.release}
    release = release_of_job(view.machine, view.job)
    checks = [c for c in release.checks if c.check in known]
    blank = [c for c in checks if c.result == "blank"]
    if runs_stopped(release):
        blank = [c for c in blank if c.stage not in RUNS]
    failed = [c for c in checks if c.result == "fail" and c.check in again]
    return next(iter([*failed, *blank]), None)


def still_off(view: View, check: Standing) -> tuple[Off, ...]:
    """What is off while this check needs the machine together."""
    return goes_back(view) if check.stage not in ("source out", "after") else ()


def half_done(view: View) -> str:
    """ "5 of 13 release checks are made", where somebody left in their midst and they can go on;
    "" before the first, after the last, while one stands failed, and with anything off that goes
    back before them."""
    release = release_of_job(view.machine, view.job)
    made = [c for c in release.checks if c.result != "blank"]
    stopped = any(c.result == "fail" for c in made) or bool(wrong_proofs(view.job))
    if view.job.closed is not None or not made or stopped or in_the_way(view):
        return ""
    if release_left(view, set()) is None:
        return ""
    return f"{len(made)} of {len(release.checks)} release checks are made"


def release_lines(view: View, check: Standing) -> Iterator[str]:
    """A check before the machine is handed back, with what went wrong there before."""
    yield ""
    yield from show.wrapped(check.words, "? ")
    if check.result == "fail":
        yield from show.wrapped(f"failed before: {check.reason}; now that it is mended? "
                                "pass WHAT WAS DONE, or fail REASON", "  ")  # fmt: skip
    if check.stale:
        yield from show.wrapped(f"made before, but {check.stale}", "  ")
    if off := still_off(view, check):
        yield from show.wrapped("; ".join(f"{o.words} (back {o.id})" for o in off), "  still off: ")
    if check.caution:
        yield from show.wrapped(check.caution, "  ! ")
