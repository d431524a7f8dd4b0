"""Which price lists a maker had, one after the other; the last one taken back, or all gone.

The tables of prices hold the list that stands; each list that was ever taken is an entry of the
stockroom with the digest of its text among the files.
"""

from __future__ import annotations

from dataclasses import asdict

from knowngood.job.events import Event
from knowngood.job.stockroom import STOCKROOM, PriceListTaken, PriceListWithdrawn
from knowngood.places.record import At, Record, Refused
from knowngood.shop.pricelist import Columns, PriceList, read_prices
from knowngood.store.prices import Taken, dropping, taking


def lists_taken(record: Record, maker: str) -> tuple[PriceListTaken, ...]:
    """The lists of a maker that were taken and not taken back, the one that stands last."""
    found: list[PriceListTaken] = []
    for event in (e.event for e in record.log.events(STOCKROOM)):
        if isinstance(event, PriceListTaken) and event.maker == maker:
            found.append(event)
        elif isinstance(event, PriceListWithdrawn) and event.maker == maker:
            at = [n for n, one in enumerate(found) if one.digest == event.digest]
            found = found[: at[-1]] if at else found if event.digest else []
    return tuple(found)


def history_after(
    record: Record, maker: str, currency: str, listed: PriceList, digest: str
) -> list[Event]:
    """The entries for a list that is taken now: its own, after that of the list that stands where
    it was taken before lists had entries. None for the same file once more, unless its
    decimals were put right."""
    found: list[Event] = []
    stands = _stands(record, maker)
    known = lists_taken(record, maker)
    if stands is not None and (not known or known[-1].digest != stands.digest):
        columns = asdict(stands.columns)
        found.append(
            PriceListTaken(maker, stands.currency, stands.digest, columns, "", float(stands.parts))
        )
    told = listed.decimals if listed.told else ""
    same = stands is not None and stands.digest == digest and stands.columns == listed.columns
    if not same or told not in ("", known[-1].decimals if known else ""):
        found.append(PriceListTaken(
            maker, currency, digest, asdict(listed.columns), told,
            float(len(listed.lines)),
        ))  # fmt: skip
    return found


def take_back_list(record: Record, maker: str, reason: str, at: At) -> str:
    """The list that was taken last goes, and the one before it stands again, read from its file;
    what that leaves, in words. Raises Refused, StoreProblem."""
    stands = _named(record, maker)
    known = list(lists_taken(record, maker))
    here = [n for n, one in enumerate(known) if one.digest == stands.digest]
    before = known[here[-1] - 1] if here and here[-1] > 0 else None
    gone = PriceListWithdrawn(maker, stands.digest, reason.strip())
    if before is None:
        record.append(STOCKROOM, [gone], at, dropping(maker))
        return f"the list of {maker} is taken back; there was none before it"
    text = record.files.text_of(before.digest)
    columns = Columns(**{name: str(value) for name, value in before.columns.items()})
    try:
        listed = read_prices(text.encode(), f"the list of {maker}", columns, before.decimals)
    except ValueError as problem:
        raise Refused(f"the list before cannot be read again: {problem}; take its file once more, "
                      "and say whether its decimals are comma or point") from problem  # fmt: skip
    table = taking(maker, before.currency, listed, before.digest, at.now, at.by)
    record.append(STOCKROOM, [gone], at, table)
    return (f"the list of {maker} is taken back; the one before it stands again: "
            f"{len(listed.lines)} parts in {before.currency}")  # fmt: skip


def drop_list(record: Record, maker: str, reason: str, at: At) -> str:
    """All lists of a maker go, as of one whose name was mistyped; their files stay. Raises Refused
    without a reason."""
    stands = _named(record, maker)
    if not reason.strip():
        raise Refused(f"why does the list of {maker} go? Say it, as: the name was mistyped")
    gone = PriceListWithdrawn(maker, "", reason.strip())
    record.append(STOCKROOM, [gone], at, dropping(maker))
    return f"no price list of {maker} is left: {stands.parts} parts are gone from the search"


def _stands(record: Record, maker: str) -> Taken | None:
    return next((one for one in record.log.prices.lists() if one.maker == maker), None)


def _named(record: Record, maker: str) -> Taken:
    found = _stands(record, maker)
    if found is None:
        known = ", ".join(one.maker for one in record.log.prices.lists()) or "none"
        raise Refused(f"there is no price list of {maker!r}; there are: {known}")
    return found
