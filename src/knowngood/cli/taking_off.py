"""What comes off at the terminal, a capacitor on the way measured before anything further."""

from __future__ import annotations

from functools import partial

from knowngood.cli import not_seen, show
from knowngood.cli.session import Session
from knowngood.places import apart, bench
from knowngood.places.gather import look


def came_off(session: Session, rest: str) -> None:
    """`open STEP [in WHERE]`: the step came off, and those it needs; a capacitor among them has
    its volts asked first. Raises Refused."""
    named, _, where = rest.partition(" in ")
    _open(session, bench.find_step(session.opened.machine, named).id, where.strip())
    session._show()


def _open(session: Session, step: str, where: str) -> None:
    """The step, now or once the capacitor before it is shown discharged."""
    machine = session.opened.machine
    charged = apart.charged_before(session.record, session.job_id, step)
    wait = next((t for t in machine.teardown
                 if t.role == "discharge" and t.words == charged), None)  # fmt: skip
    if wait is not None:
        session.wait_for(wait, f"open {step}", partial(_open_rest, session, step, where))
        session.tell(show.wrapped(wait.words, "first: "))
        return
    view = bench.open_step(session.record, session.job_id, step, session.at(), where)
    session.tell(show.wrapped(view.job.open_steps[-1].words, "kept, open now: "))
    session.tell(not_seen.of_step(bench.find_step(machine, view.job.open_steps[-1].step)))
    session.moved(look(session.record, view.job.id))


def _open_rest(session: Session, step: str, where: str) -> None:
    """The same once the volts showed it empty, which is all when it was the measuring itself."""
    if any(s.step == step for s in session.opened.job.open_steps):
        session.moved(session.opened)
    else:
        _open(session, step, where)
