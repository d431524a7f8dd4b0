"""What a claim lacks, what it should bring, and how it went."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from knowngood.shop.claim_check import (
    WANTED,
    Paid,
    Replied,
    Sent,
    asked_for,
    course,
    keep_until,
    lacks,
    proof_id,
    worth,
)
from knowngood.shop.money import Money
from knowngood.shop.programme import Programme
from knowngood.shop.programme_file import parse_programme
from tests.shop.test_cover import FILE

TODAY = date(2026, 5, 4)


def usd(text: str) -> Money:
    return Money(Decimal(text), "USD")


@pytest.fixture(name="programme")
def _programme() -> Programme:
    programme, problems = parse_programme(FILE, "brackwater.yaml")
    assert programme is not None, problems
    return programme


def test_what_is_missing_and_what_it_puts_at_risk(programme: Programme) -> None:
    having = {"model", "serial", "part_number", "reading", "meter_picture"}
    found = lacks(programme, having, usd("118.50"))
    assert [lack.id for lack in found] == ["cause", "plate_picture", "proof", "proof_of_purchase"]
    assert {lack.at_risk for lack in found} == {usd("118.50")}
    assert all(lack.fix for lack in found)
    assert lacks(programme, having | {lack.id for lack in found}, usd("1")) == ()


@pytest.mark.parametrize(
    ("minutes", "code", "found_in", "labour", "diagnosis", "note"),
    [
        ("30", "", "10", "30.00", "10.00", ""),
        ("60", "", "20", "45.00", "15.00", "15 min above the cap of 45 min are not paid"),
        ("42", "L20", "0", "30.00", "0.00", "12 min more than the flat rate are not paid"),
        ("10", "L20", "0", "30.00", "0.00", ""),
    ],
)
def test_what_it_should_bring(
    programme: Programme,
    minutes: str,
    code: str,
    found_in: str,
    labour: str,
    diagnosis: str,
    note: str,
) -> None:
    found = worth(
        programme, Decimal(90), Decimal(minutes), [Decimal("48.00"), Decimal("2.10")], code,
        Decimal(found_in),
    )  # fmt: skip
    assert (found.labour, found.diagnosis) == (usd(labour), usd(diagnosis))
    assert found.parts == usd("57.62")  # 50.10 x 1.15 = 57.615, half up
    assert found.total == usd(labour) + usd(diagnosis) + usd("57.62")
    assert "at 60.00 USD an hour" in found.rules[0]
    assert found.rules[2] == "48.00 + 2.10 + 15 % handling"
    assert note in "; ".join(found.notes) if note else found.notes == ()


def test_the_shops_own_rate_where_the_programme_names_none(programme: Programme) -> None:
    own = replace(programme, labour=replace(programme.labour, rate=None))
    assert worth(own, Decimal(90), Decimal(30), []).labour == usd("45.00")
    unpaid = replace(programme, labour=replace(programme.labour, rate=Decimal(0)))
    found = worth(unpaid, Decimal(90), Decimal(30), [])
    assert (found.labour, found.unrated) == (usd("0.00"), False)  # 0 is a rate: none is paid


def test_each_of_several_proofs_is_asked_for(programme: Programme) -> None:
    two = replace(programme, proof=("receipt with a date", "registration card"))
    having = {*asked_for(programme)} - {"proof_of_purchase"}
    found = lacks(two, having | {proof_id("receipt with a date")}, usd("10"))
    assert [lack.words for lack in found] == ["the proof of purchase, registration card"]


@pytest.mark.parametrize(
    ("measured", "said"),
    [("17", "17 min of 17 measured, at"), ("0", "17 min of 17 estimated, at"),
     ("4", "17 min of 17 (4 measured, 13 estimated), at")],
)  # fmt: skip
def test_minutes_are_called_measured_only_where_a_clock_did(
    programme: Programme, measured: str, said: str
) -> None:
    found = worth(programme, Decimal(90), Decimal(17), [], measured=Decimal(measured))
    assert found.rules[0].startswith(said)


def test_labour_has_no_money_while_nobody_set_a_rate(programme: Programme) -> None:
    free = replace(programme, labour=replace(programme.labour, rate=None))
    found = worth(free, None, Decimal(30), [Decimal("48.00")])
    assert found.unrated and found.words[0] == found.words[1] == "not set: the shop's rate"
    assert found.words[3] == "55.20 USD and labour (not set: the shop's rate)"  # 48 x 1.15
    assert [lack.id for lack in lacks(free, WANTED, found.total, found)] == ["shop_rate"]
    assert not worth(programme, None, Decimal(30), []).unrated  # the programme's own rate
    assert worth(free, Decimal(84), Decimal(30), []).labour == usd("42.00")


def test_a_code_that_the_programme_lacks(programme: Programme) -> None:
    with pytest.raises(ValueError, match="has no labour code 'L21'; it has: L20"):
        worth(programme, Decimal(90), Decimal(1), [], "L21")


def test_the_course_of_a_claim() -> None:
    moves: list[Sent | Replied | Paid] = []

    def words(claim_by: date | None = None) -> tuple[str, str]:
        found = course(moves, claim_by, TODAY, "USD")
        return found.words, str(found.owed)

    assert words() == ("not sent yet", "0.00 USD")
    assert words(date(2026, 5, 9)) == ("not sent yet, due in 5 days", "0.00 USD")
    assert words(date(2026, 5, 1)) == ("not sent yet, its last day was 3 days ago", "0.00 USD")
    moves.append(Sent(date(2026, 4, 24), usd("118.50")))
    assert words() == ("sent 10 days ago, no answer yet", "118.50 USD")
    moves.append(Replied(date(2026, 4, 30), "denied", usd("0.00"), "no reading"))
    assert words() == ("denied: no reading", "0.00 USD")
    moves.append(Sent(date(2026, 5, 2), usd("118.50")))
    assert words() == ("sent again 2 days ago, no answer yet", "118.50 USD")
    moves.append(Replied(date(2026, 5, 3), "short-paid", usd("100.00"), "cap"))
    assert words() == ("100.00 USD of 118.50 USD granted: cap, 100.00 USD not here yet",
                       "100.00 USD")  # fmt: skip
    moves.append(Paid(date(2026, 5, 4), usd("60.00")))
    assert words()[1] == "40.00 USD"
    moves.append(Paid(date(2026, 5, 4), usd("40.00")))
    assert words() == ("100.00 USD of 118.50 USD granted: cap, paid", "0.00 USD")


def test_money_does_not_start_the_waiting_again() -> None:
    moves: list[Sent | Replied | Paid] = [Sent(date(2026, 4, 4), usd("80.00"))]
    moves.append(Paid(date(2026, 5, 4), usd("30.00")))
    assert course(moves, None, TODAY, "USD").words == "sent 30 days ago, no answer yet"
    moves.insert(1, Replied(date(2026, 4, 9), "short-paid", usd("40.00"), "cap"))
    moves.insert(2, Sent(date(2026, 4, 14), usd("80.00")))
    found = course(moves, None, TODAY, "USD")
    assert found.words == (
        "sent again 20 days ago, no answer yet; 10.00 USD granted before is not here yet"
    )
    assert found.owed == usd("50.00")


def test_what_was_granted_before_stands_when_the_rest_is_denied() -> None:
    moves: list[Sent | Replied | Paid] = [
        Sent(date(2026, 4, 4), usd("80.00")),
        Replied(date(2026, 4, 9), "short-paid", usd("40.00"), "cap"),
        Paid(date(2026, 4, 12), usd("40.00")),
        Sent(date(2026, 4, 14), usd("80.00")),
        Replied(date(2026, 4, 20), "denied", usd("0.00"), "the cap stands"),
    ]
    found = course(moves, None, TODAY, "USD")
    assert (found.granted, found.owed) == (usd("40.00"), usd("0.00"))
    said = "40.00 USD of 80.00 USD granted, the rest denied: the cap stands, paid"
    assert (found.words, found.answer) == (said, "short-paid")
    unpaid = course([*moves[:2], *moves[3:]], None, TODAY, "USD")
    assert unpaid.owed == usd("40.00")
    right = [*moves[:2], Replied(date(2026, 4, 10), "denied", usd("0.00"), "worn")]
    assert course(right, None, TODAY, "USD").owed == usd("0.00")  # no new sending: put right


def test_how_long_the_failed_part_is_kept(programme: Programme) -> None:
    assert keep_until(programme, date(2026, 5, 4)) == date(2026, 7, 3)
