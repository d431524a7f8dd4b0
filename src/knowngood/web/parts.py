"""Parts: found in the price lists, counted, ordered, received; lists taken with a look first."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import uuid4

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.datastructures import FormData, UploadFile

from knowngood.places import parts, receiving, stockroom
from knowngood.places.list_history import drop_list, take_back_list
from knowngood.places.order_terms import against_terms, for_its_jobs, terms_told
from knowngood.places.parts import Trial
from knowngood.places.premises import the_shop
from knowngood.places.record import At, Record, Refused
from knowngood.places.reorder import Advice, advice, buy_last
from knowngood.places.stockroom import Want
from knowngood.places.wanted import all_wanted, wanted, wanted_of
from knowngood.shop.list_text import decoded
from knowngood.shop.money import MoneyProblem, read_amount
from knowngood.shop.pricelist import Columns
from knowngood.store.problem import StoreProblem
from knowngood.web.here import Here, here_of

MOST_QUERY = 80
MOST_FILE = 60_000_000
LONGEST = 400
MOST_MONTHS = 60
USUAL = {"lead": "0.5", "varies": "0", "service": "0.95"}

router = APIRouter(include_in_schema=False)

Fields = Mapping[str, str]


@router.get("/parts", response_class=HTMLResponse)
def parts_page(
    request: Request, q: str = "", lead: str = "", varies: str = "", service: str = ""
) -> Response:
    """What is found, what lies there, what is on order, what jobs want, what to order again for a
    lead time in months, how it varies, and a service."""
    given = {"lead": lead[:8], "varies": varies[:8], "service": service[:8]}
    return _page(request, q[:MOST_QUERY], given, "")


@router.get("/api/parts", include_in_schema=True, tags=["parts"], summary="Find parts")
def found_parts(request: Request, q: str = "") -> list[dict[str, str]]:
    """At most 20: numbers that begin so first, then parts with all these words."""
    found = here_of(request).record.log.prices.search(q[:MOST_QUERY])
    return [
        {"maker": p.maker, "number": p.number, "words": p.words,
         "price": str(p.money).rpartition(" ")[0], "currency": p.currency,
         "became": p.chain[-1] if len(p.chain) > 1 else ""}
        for p in found
    ]  # fmt: skip


@router.post("/parts", response_class=HTMLResponse)
async def enter(request: Request) -> Response:
    """One form of the page."""
    fields, data, name = await _typed(await request.form(max_files=1, max_fields=30))
    return await run_in_threadpool(_entered, request, fields, data, name)


async def _typed(form: FormData) -> tuple[dict[str, str], bytes, str]:
    fields: dict[str, str] = {}
    data, name = b"", ""
    for key, value in form.multi_items():
        if isinstance(value, UploadFile):
            data, name = await value.read(MOST_FILE + 1), (value.filename or "the file")[:80]
            if len(data) > MOST_FILE:
                raise Refused(f"the file is larger than {MOST_FILE:,} bytes; take it at the desk")
        elif len(value) > LONGEST:
            raise Refused(f"{key[:40]} has {len(value)} characters; at most {LONGEST} are taken")
        else:
            fields[key] = value.strip()
    return fields, data, name


def _entered(request: Request, fields: Fields, data: bytes, name: str) -> Response:
    here = here_of(request)
    at = At(here.now(), fields.get("by") or "somebody")
    action = fields.get("action", "")
    try:
        with here.bench:
            if action == "list":
                return _listed(request, here, fields, data, name, at)
            work = _ACTIONS.get(action)
            if work is None:
                raise Refused(f"there is no form {action!r}; reload the page")
            said = work(here.record, fields, at)
    except (Refused, MoneyProblem, StoreProblem) as problem:
        text = str(problem)
        return _page(request, "", fields, text[:1].upper() + text[1:], 409)
    if said:
        return _page(request, "", {}, "", said=said)
    return RedirectResponse(f"/parts#{action}", 303)


def _listed(
    request: Request, here: Here, fields: Fields, data: bytes, name: str, at: At
) -> Response:
    """A list looked at; taken when it was said so."""
    if not data:
        raise Refused("choose the file of the list")
    maker, currency = fields.get("maker", ""), fields.get("currency", "").upper()
    trial = parts.try_list(
        here.record, maker, currency, data, name, _columns(fields), fields.get("decimals", "")
    )
    if fields.get("what") != "take":
        return _page(request, "", fields, "", trial=trial)
    without = fields.get("without_bad") == "yes"
    try:
        count = parts.take_list(here.record, trial, decoded(data)[0], at, without)
    except Refused as problem:
        return _page(request, "", fields, str(problem), 409, trial=trial)
    return _page(request, "", {}, "", said=f"Taken: {count} parts of {maker}.")


def _columns(fields: Fields) -> Columns | None:
    """The names of the columns where a person gave them; None tells them by the list."""
    given = [fields.get(f"column_{name}", "") for name in ("number", "words", "price", "became")]
    if not any(given):
        return None
    if not all(given[:3]):
        raise Refused("name the columns of number, words and price, or none of them")
    return Columns(*given)


def _page(
    request: Request, q: str, typed: Fields, problem: str, status: int = 200,
    trial: Trial | None = None, said: str = "",
) -> Response:  # fmt: skip
    here = here_of(request)
    record, today = here.record, here.now().date()
    room = stockroom.room_of(record)
    advised, problem = _advised(record, today, typed, problem)
    currency, last = the_shop(record).currency or "USD", stockroom.last_entry(record)
    return here.page(
        "parts.html", request, status, q=q, found=_followed(record, q), typed=typed,
        problem=problem, said=said, trial=trial, lists=record.log.prices.lists(),
        kept=sorted(room.kept.values(), key=lambda k: k.number),
        orders=[o for o in room.orders.values() if o.open], currency=currency,
        wanted=all_wanted(record, {}, currency), entry=uuid4().hex,
        advice=advised, last=last, last_words=stockroom.entry_words(record, last),
        waits={k.key: stockroom.kept_for(record, k) for k in room.kept.values()},
        all_orders=list(room.orders.values())[-20:], terms=terms_told(room),
    )  # fmt: skip


def _advised(
    record: Record, today: date, typed: Fields, problem: str
) -> tuple[tuple[Advice, ...], str]:
    """What to order again, and what is wrong with the figures it was asked for."""
    try:
        lead, varies, service = (
            _number(typed.get(name) or usual) for name, usual in USUAL.items()
        )
        if not (0 < service < 1 and 0 <= lead <= MOST_MONTHS and 0 <= varies <= MOST_MONTHS):
            raise Refused(f"the service lies between 0 and 1, months between 0 and {MOST_MONTHS}")
        return advice(record, today, lead, varies, service), problem
    except Refused as refused:
        return (), problem or str(refused)


def _number(text: str) -> float:
    try:
        found = float(text.replace(",", "."))
    except ValueError:
        found = math.nan
    if not math.isfinite(found):
        raise Refused(f"{text[:20]!r} is no number; write it like 0.5")
    return found


def _last_buy(record: Record, fields: Fields, at: At) -> str:
    """Nothing is stored: the count for the last buy of a number."""
    names = ("months", "too_few", "too_many")
    months, few, many = (_number(fields.get(name, "")) for name in names)
    if not 0 < months <= 10 * MOST_MONTHS:
        raise Refused(f"for how many months? Give 1 to {10 * MOST_MONTHS}")
    found = buy_last(record, fields.get("number", ""), at.now.date(), months, few, many)
    return (f"Buy {found.count} of {fields.get('number', '')}: they suffice in "
            f"{100 * found.ratio:.0f} of 100 such times; {found.cost:.2f} are lost on the "
            "average.")  # fmt: skip


def _followed(record: Record, q: str) -> list[Any]:
    if not q.strip():
        return []
    found = []
    for one in record.log.prices.search(q):
        ends = record.log.prices.find(one.number, one.maker)
        found.append((one, ends[0] if ends and len(ends[0].chain) > 1 else None))
    return found


def _whole(fields: Fields, name: str) -> int:
    text = fields.get(name, "")
    if not text.isdecimal() or len(text) > 6:
        raise Refused(f"how many? {text[:20]!r} is no count")
    return int(text)


def _count(record: Record, fields: Fields, at: At) -> str:
    kept = stockroom.count(
        record, fields.get("number", ""), _whole(fields, "many"), at, fields.get("words", ""),
        fields.get("bin", ""),
    )  # fmt: skip
    return f"{kept.number}: {kept.count} counted."


def _order(record: Record, fields: Fields, at: At) -> str:
    supplier, currency = fields.get("supplier", ""), fields.get("currency", "").upper()
    baskets = wanted(record, {}, currency)
    number = fields.get("number", "")
    wants = list(wanted_of(baskets, supplier, needed=bool(baskets) and not number))
    if number:
        price = fields.get("price", "")
        amount = read_amount(price, currency).amount if price else Decimal(0)
        wants.append(Want(number, _whole(fields, "many"), amount))
    noted = stockroom.room_of(record).suppliers.get(supplier)
    freight = noted.freight if noted and noted.currency == currency else "0"
    placed = stockroom.place_order(
        record, fields.get("order", ""), supplier, wants, at, currency, freight,
        fields.get("expected", ""), bool(fields.get("old_numbers")),
    )  # fmt: skip
    room = stockroom.room_of(record)
    said = (*against_terms(room, placed), *for_its_jobs(record, room, placed))
    told = "".join(f" {w[:1].upper()}{w[1:]}." for w in said)
    return f"Order {placed.order} at {placed.supplier} is written down.{told}"


def _came(record: Record, fields: Fields, at: At) -> str:
    order, number = fields.get("order", ""), fields.get("number", "")
    if fields.get("entry", "") in stockroom.room_of(record).entries:
        return "That was entered already."
    counts = {number: _whole(fields, "many")} if number else None
    found = receiving.receive(record, order, counts, at, fields.get("entry", ""))
    jobs = ", ".join(job.name for job in found.ready)
    told = "".join(f" {one}." for one in found.told)
    on = f" These jobs can go on now: {jobs}." if jobs else ""
    return f"Order {order}: kept.{told}{on}"


def _list_undo(record: Record, fields: Fields, at: At) -> str:
    done = drop_list if fields.get("what") == "drop" else take_back_list
    said = done(record, fields.get("maker", ""), fields.get("reason", ""), at)
    return f"{said[:1].upper()}{said[1:]}."


def _keep(record: Record, fields: Fields, at: At) -> str:
    job = fields.get("job", "")
    if not job:
        raise Refused("for which job is it kept? Give the job's number")
    number, many = fields.get("number", ""), _whole(fields, "many")
    kept = stockroom.reserve(record, number, many, record.log.find(job), at)
    return f"{kept.number}: {kept.free} of {kept.count} free."


def _use(record: Record, fields: Fields, at: At) -> str:
    job = fields.get("job", "")
    kept = stockroom.use(
        record, fields.get("number", ""), _whole(fields, "many"), at,
        record.log.find(job) if job else "",
    )  # fmt: skip
    return f"{kept.number}: {kept.count} left."


def _back(record: Record, fields: Fields, at: At) -> str:
    gone = receiving.send_back(
        record, fields.get("order", ""), fields.get("number", ""), _whole(fields, "many"),
        fields.get("reason", ""), at,
    )  # fmt: skip
    jobs = ", ".join(job.name for job in gone.waits)
    again = f" Its part is wanted again by: {jobs}." if jobs else ""
    return f"{gone.kept.number}: sent back, {gone.kept.count} left.{again}"


def _supplier(record: Record, fields: Fields, at: At) -> str:
    told = stockroom.note_supplier(
        record, fields.get("supplier", ""), fields.get("currency", "").upper(),
        fields.get("minimum", ""), fields.get("freight", ""), at,
    )  # fmt: skip
    return f"Terms are kept, {told}."


def _undo(record: Record, fields: Fields, at: At) -> str:
    last = stockroom.last_entry(record)
    if not last or last != fields.get("last", ""):
        raise Refused("something else was entered since; look again before taking it back")
    words = stockroom.entry_words(record, last)
    receiving.take_back(record, last, fields.get("reason", ""), at)
    return f"Taken back: {words}."


_ACTIONS: Mapping[str, Callable[[Record, Fields, At], str]] = {
    "count": _count, "order": _order, "came": _came, "use": _use, "back": _back,
    "keep": _keep, "list-undo": _list_undo, "last": _last_buy, "supplier": _supplier, "undo": _undo,
}  # fmt: skip
