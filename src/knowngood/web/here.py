"""What every page needs: the record, its templates, the time, and one bench at a time."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from fastapi import Request, Response
from fastapi.templating import Jinja2Templates

from knowngood import __version__
from knowngood.job.shop_sheet import SHOP
from knowngood.places.premises import in_shop_time
from knowngood.places.record import Record, Refused

FOLDER = Path(__file__).parent
STATIC = FOLDER / "static"


def shop_time() -> datetime:
    """Now, with the offset of the shop's zone."""
    return datetime.now().astimezone()


@dataclass(frozen=True, slots=True)
class Place:
    """A place of the shop: a large key on the first page, and in the bar where there is room.

    `words`: what is done there, in a line.
    """

    name: str
    address: str
    words: str = ""


@dataclass(frozen=True, slots=True)
class Here:
    """The running shop. `bench` is held while a job is worked out: one at a time, in order."""

    record: Record
    templates: Jinja2Templates
    places: tuple[Place, ...]
    clock: Callable[[], datetime] = shop_time
    bench: threading.RLock = field(default_factory=threading.RLock)

    def now(self) -> datetime:
        """Now, in the shop's zone."""
        return in_shop_time(self.record, self.clock())

    def page(self, name: str, request: Request, status: int = 200, **values: Any) -> Response:
        """A page made from a template."""
        values |= {"places": self.places, "version": __version__}
        return self.templates.TemplateResponse(request, name, values, status_code=status)

    def job_id(self, name: str) -> str:
        """The id of the job with this id or number. Raises Refused."""
        log = self.record.log
        if name != SHOP and log.last_seq(name):
            return name
        return log.find(name)


def here_of(request: Request) -> Here:
    """The running shop of this request."""
    here = request.app.state.here
    assert isinstance(here, Here)
    return here


__all__ = ["FOLDER", "STATIC", "Here", "Place", "Refused", "here_of", "shop_time"]
