"""A supplier's price list as text: which columns, which decimals, and every line that is not one.

Text of any common encoding and separator is read; how decimals are written is told from the whole
column, since "1.250" alone may be either. A line that cannot be meant is a problem with its number.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal, InvalidOperation
from typing import Final

from knowngood.measure.problem import Problem
from knowngood.shop.list_text import LOST, SEPARATORS, decoded, notes_on, table_of
from knowngood.shop.money import Money
from knowngood.shop.supersession import circles, same_number

MOST_PROBLEMS: Final = 200
_DATE: Final = re.compile(
    r"\d{4}-\d{2}-\d{2}(T.*| 00:00.*)?|\d{1,2}[-. ]{0,2}[A-Z][a-zä]{2}([-. ]{0,2}\d{2,4})?|"
    r"[A-Z][a-zä]{2}[-. ]{0,2}\d{2,4}|\d{1,2}([./])\d{1,2}\3(19|20)\d{2}"
)
_COMMA: Final = re.compile(r",\d{1,2}$|\.\d{3},")
_POINT: Final = re.compile(r"\.\d{1,2}$|,\d{3}\.")
_EITHER: Final = re.compile(r"\d{1,3}[.,]\d{3}")
_BY_COMMA: Final = re.compile(r"(\d+|\d{1,3}(\.\d{3})+)(,\d*)?|,\d+")
_BY_POINT: Final = re.compile(r"(\d+|\d{1,3}(,\d{3})+)(\.\d*)?|\.\d+")
_GUESS: Final[Mapping[str, tuple[str, ...]]] = {
    "number": ("part number", "part no", "number", "item", "sku", "artikel", "nummer", "no"),
    "words": ("description", "words", "name", "bezeichnung", "text", "title"),
    "price": ("price", "list", "retail", "preis", "msrp", "cost", "net"),
    "became": ("supersed", "replaced by", "new number", "became", "ersetzt"),
}


@dataclass(frozen=True, slots=True)
class Columns:
    """Names of the columns as they stand in the first line; `became` "" when there is none."""

    number: str
    words: str
    price: str
    became: str = ""


@dataclass(frozen=True, slots=True)
class PriceLine:
    """`became`: the number that replaces this one, "" while it is itself."""

    number: str
    words: str
    price: Decimal
    became: str = ""


@dataclass(frozen=True, slots=True)
class PriceList:
    """`lines` by `same_number`, in the list's order, none of them with a problem; `problems` with
    the line they stand in."""

    lines: Mapping[str, PriceLine]
    problems: tuple[Problem, ...]
    columns: Columns
    encoding: str
    decimals: str
    repeated: int
    notes: tuple[str, ...] = ()
    """What was read all the same and should be looked at."""
    told: bool = True
    """Whether the prices, or a person, told how decimals are written."""


@dataclass(frozen=True, slots=True)
class Difference:
    """Against what is there: counts, and the first few numbers of each kind."""

    added: tuple[str, ...]
    gone: tuple[str, ...]
    dearer: tuple[str, ...]
    cheaper: tuple[str, ...]
    renamed: tuple[str, ...]
    superseded: tuple[str, ...]
    same: int

    @property
    def lines(self) -> tuple[str, ...]:
        """ "12 dearer: BW-210 (42.00 -> 44.50), ..."."""
        kinds = {k: v for k, v in asdict(self).items() if k != "same" and v}
        said = [f"{len(v)} {k}: {', '.join(v[:3])}{', ...' if len(v) > 3 else ''}"
                for k, v in kinds.items()]  # fmt: skip
        return (*said, f"{self.same} as they were")


def guess(names: Sequence[str]) -> Columns | None:
    """The columns that their names give away, or None when number, words or price is not clear."""
    found: dict[str, str] = {}
    for wanted, hints in _GUESS.items():
        for hint in hints:
            near = [n for n in names if hint in n.casefold() and n not in found.values()]
            if near:
                found[wanted] = near[0]
                break
    if not {"number", "words", "price"} <= found.keys():
        return None
    return Columns(found["number"], found["words"], found["price"], found.get("became", ""))


def read_prices(
    data: bytes, name: str, columns: Columns | None = None, decimals: str = "", usual: str = ""
) -> PriceList:
    """The list of a file's bytes; `columns` None takes those that their names give away.
    `decimals`: "comma" or "point" where a person says it, "" tells it from the column; `usual`
    counts where the column does not tell.

    Raises ValueError when there is no table, its columns cannot be told or are not there, or a
    price may be meant in two ways and nothing tells which.
    """
    if {decimals, usual} - {"", "comma", "point"}:
        raise ValueError(f"decimals are {decimals or usual!r}; say comma or point")
    text, encoding = decoded(data)
    names, rows = table_of(text)
    chosen = columns or guess(names)
    there = ", ".join(n for n in names if n)
    if chosen is None:
        raise ValueError(
            f"which columns are number, words and price? The list has: {there}. Name all three (on "
            "a terminal --number, --words and --price, and --became where it has one)"
        )
    for wanted in (chosen.number, chosen.words, chosen.price, chosen.became):
        if wanted and wanted not in names:
            raise ValueError(f"the list has no column {wanted!r}; it has: {there}")
    at = [names.index(n) if n else -1
          for n in (chosen.number, chosen.words, chosen.price, chosen.became)]  # fmt: skip
    reader = _Reader(name, chosen, encoding, decimals, usual)
    return reader.read(rows, at, len(names), notes_on(data, text, encoding))


class _Reader:
    """One pass over the lines, then the decimals of the whole column."""

    def __init__(
        self, name: str, columns: Columns, encoding: str, decimals: str, usual: str
    ) -> None:
        self.name, self.columns, self.encoding = name, columns, encoding
        self.said, self.usual, self.told = decimals, usual, True
        self.problems: list[Problem] = []
        self.more = 0

    def say(self, line: int, message: str, fix: str) -> None:
        if len(self.problems) < MOST_PROBLEMS:
            self.problems.append(Problem(self.name, line, message, fix))
        else:
            self.more += 1

    def read(
        self, rows: Iterable[tuple[int, list[str]]], at: list[int], width: int,
        notes: tuple[str, ...],
    ) -> PriceList:  # fmt: skip
        number_at, words_at, price_at, became_at = at
        raw: list[tuple[int, str, str, str, str]] = []
        for line, row in rows:
            if len(row) == width:
                if self.encoding != "workbook" and _swallowed(row, at, width):
                    self.say(line, "a quote in this line takes the lines after it for one text",
                             'Write " twice inside a text, or take it out')  # fmt: skip
                    continue
                became = row[became_at].strip() if became_at >= 0 else ""
                raw.append((line, row[number_at].strip(), row[words_at].strip(),
                            row[price_at].strip(), became))  # fmt: skip
            elif any(cell.strip() for cell in row):
                self.say(line, f"{len(row)} cells instead of {width}",
                         "Look for a separator inside a text, and put the text in quotes")
        comma, other_way = self._decimals(raw)
        lines, repeated = self._lines([r for r in raw if r[0] not in other_way], comma)
        replaced = {key: one.became for key, one in lines.items() if one.became}
        for ring in circles(replaced):
            self.say(0, f"these numbers replace each other in a circle: {' -> '.join(ring)}",
                     "Take the replacement of one of them out")
            for key in ring:
                del lines[key]  # which of them is to be ordered nobody can say
        if self.more:
            self.problems.append(Problem(self.name, 0, f"and {self.more} problems more",
                                         "Mend these first"))  # fmt: skip
        return PriceList(lines, tuple(self.problems), self.columns, self.encoding,
                         "comma" if comma else "point", repeated, notes, self.told)  # fmt: skip

    def _decimals(self, raw: Sequence[tuple[int, str, str, str, str]]) -> tuple[bool, set[int]]:
        """(whether by comma, the lines that are written in the other way)."""
        other_way: set[int] = set()
        commas = [r for r in raw if _COMMA.search(r[3])]
        points = [r for r in raw if _POINT.search(r[3])]
        if self.said:
            by_comma = self.said == "comma"
            for line, _, _, price, _ in points if by_comma else commas:
                other_way.add(line)
                self.say(line, f"{price!r} is not written with a {self.said} for decimals",
                         "Write all prices with the same sign for decimals")
            return by_comma, other_way
        if not commas and not points and self.encoding != "workbook":
            either = next((r for r in raw if _EITHER.fullmatch(_bare(r[3]))), None)
            if either is not None and not self.usual:
                raise ValueError(
                    f"the price {either[3]!r} in line {either[0]} may be thousands or decimals, "
                    "and no other price tells which: say whether decimals have a comma or a point "
                    "(on a terminal --decimals)"
                )
            self.told = bool(self.usual)
            return self.usual == "comma", other_way
        if commas and points:
            few, other = sorted((commas, points), key=len)
            other_way = {line for line, *_ in few}
            for line, _, _, price, _ in few:
                self.say(line, f"{price!r} is written in another way than {other[0][3]!r}",
                         "Write all prices with the same sign for decimals")
        return len(commas) > len(points), other_way

    def _lines(
        self, raw: Sequence[tuple[int, str, str, str, str]], comma: bool
    ) -> tuple[dict[str, PriceLine], int]:
        lines: dict[str, PriceLine] = {}
        where: dict[str, int] = {}
        repeated = 0
        for line, number, words, price, became in raw:
            key = same_number(number)
            if not key:
                self.say(line, "a line without a part number", "Add it, or take the line out")
                continue
            if LOST in number:
                self.say(line, f"the part number {number!r} has a sign that could not be read",
                         "Save the list as UTF-8")
                continue
            if _DATE.fullmatch(number):
                self.say(line, f"the part number {number!r} looks like a day",
                         "A table program may have made a day of it: open the list as text")
                continue
            amount = _amount(price, comma)
            if amount is None:
                self.say(line, f"the price of {number} is {price[:40]!r}", "Write it like 12.50")
                continue
            one = PriceLine(number, words, amount, became if same_number(became) != key else "")
            if key in lines:
                if lines[key] == one:
                    repeated += 1
                else:
                    was = lines[key]
                    said = f"first in line {where[key]}, {was.words!r} at {was.price}"
                    self.say(line, f"{number} stands twice ({said}) and differs",
                             f"Keep the right one; as it is, line {where[key]} counts")
                continue
            lines[key], where[key] = one, line
        return lines, repeated


def _swallowed(row: Sequence[str], at: Sequence[int], width: int) -> bool:
    """Whether a cell holds lines of the list: a line break in a number or price, or prices in the
    lines of the words."""
    number, words, price, became = (row[n] if n >= 0 else "" for n in at)
    if any("\n" in one.strip() for one in (number, price, became)):
        return True
    if "\n" not in words.strip():
        return False
    first, *rest = words.split("\n")
    for separator in SEPARATORS:
        if any(_is_price(cells, at[2], width) for cells in (r.split(separator) for r in rest)):
            return True
        cells = first.split(separator)
        if at[2] > at[1] and _is_price(cells, at[2] - at[1], width - at[1]):
            return True
    return False


def _is_price(cells: Sequence[str], at: int, width: int) -> bool:
    cell = cells[at].strip() if len(cells) == width > at else ""
    return bool(cell) and (_amount(cell, True) is not None or _amount(cell, False) is not None)


def _bare(text: str) -> str:
    return text.strip("$€£ \N{NO-BREAK SPACE}").replace(" ", "").replace("'", "")


def _amount(text: str, comma: bool) -> Decimal | None:
    bare = _bare(text)
    if not (_BY_COMMA if comma else _BY_POINT).fullmatch(bare):
        return None
    bare = bare.replace(".", "").replace(",", ".") if comma else bare.replace(",", "")
    try:
        amount = Decimal(bare)
    except InvalidOperation:
        return None
    return amount if amount.is_finite() and 0 <= amount < 10**7 else None


def difference(
    old: Mapping[str, PriceLine], new: Mapping[str, PriceLine], currency: str = "USD"
) -> Difference:
    """What a new list would change; `currency` of both."""
    added = tuple(one.number for key, one in new.items() if key not in old)
    gone = tuple(one.number for key, one in old.items() if key not in new)
    dearer, cheaper, renamed, superseded, same = [], [], [], [], 0
    for key, one in new.items():
        was = old.get(key)
        if was is None:
            continue
        before, now = (
            str(Money(price, currency)).rpartition(" ")[0] for price in (was.price, one.price)
        )
        moved = f"{one.number} ({before} -> {now})"
        if one.price > was.price:
            dearer.append(moved)
        elif one.price < was.price:
            cheaper.append(moved)
        if one.words != was.words:
            renamed.append(one.number)
        if one.became != was.became:
            superseded.append(f"{one.number} -> {one.became or 'itself again'}")
        same += one == was
    return Difference(
        added, gone, tuple(dearer), tuple(cheaper), tuple(renamed), tuple(superseded), same
    )
