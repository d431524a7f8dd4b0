"""A programme as a person writes it, and what it says of a machine."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from knowngood.shop.cover import judge_cover
from knowngood.shop.programme import Facts, Programme
from knowngood.shop.programme_file import parse_programme

FILE = """\
programme: brackwater_outdoor
words: Brackwater outdoor cover
maker: Brackwater
currency: USD
source: invented for the demo
cover:
  - {group: everything else, use: household, months: 36}
  - {group: everything else, use: commercial, months: 12}
  - {group: everything else, use: rental, months: 0}
  - {group: battery, use: household, months: 24, from: manufacture}
  - {group: battery, use: commercial, months: 12}
  - {group: battery, use: rental, months: 0}
groups:
  battery: [pack, charger]
proof: [receipt with a date]
exclusions:
  water: {ask: Has it stood in water?, words: it has stood in water, evidence: picture}
  opened: {ask: Has anybody else opened it?, words: opened by others, except_for: [battery]}
approval_above: 200
labour: {rate: 60, cap_minutes: 45, diagnosis_minutes: 15, flat: {L20: {words: board, minutes: 30}}}
parts_markup_percent: 15
claim_days: 30
keep: {days: 60, how: dry and tagged; a damaged lithium pack outdoors}
wants: [plate_picture, meter_picture, proof]
notices:
  N-7: {words: bail cable frays, models: [BM-561], serials: [2304A00001, 2304A02000]}
"""
TODAY = date(2026, 5, 4)
KNOWN = Facts(
    model="BM-561", serial="2311A00001", use="household", purchased=date(2024, 4, 19),
    failed=date(2026, 4, 28), proof=("receipt with a date",),
    answers={"water": False, "opened": False}, part="controller", price=Decimal("120"),
)  # fmt: skip


@pytest.fixture(name="programme")
def _programme() -> Programme:
    programme, problems = parse_programme(FILE, "brackwater.yaml")
    assert programme is not None, problems
    return programme


def test_covered(programme: Programme) -> None:
    found = judge_cover(programme, KNOWN, TODAY)
    assert found.answer == "covered"
    assert (found.ends, found.claim_by) == (date(2027, 4, 19), date(2026, 5, 28))
    assert found.sentence == (
        "Covered: until 2027-04-19 (in 350 days); send the claim by 2026-05-28 (in 24 days)"
    )


@pytest.mark.parametrize(
    ("change", "answer", "said"),
    [
        ({"use": "commercial"}, "not covered", "cover ended on 2025-04-19"),
        ({"use": "rental"}, "not covered", "does not cover everything else in rental use"),
        ({"use": None}, "can't say", "what it is used for"),
        ({"purchased": None}, "can't say", "the day of purchase, from which 36 months run"),
        ({"proof": ()}, "can't say", "proof: receipt with a date"),
        ({"answers": {"water": True, "opened": False}}, "not covered", "it has stood in water"),
        ({"answers": {"water": False}}, "can't say", "Has anybody else opened it?"),
        ({"price": Decimal("200.01")}, "needs approval", "200.01 USD is above 200"),
        ({"price": Decimal("200")}, "covered", "until"),
        ({"price": Decimal("300"), "approved_up_to": Decimal("300")}, "covered", "approved up to"),
        ({"purchased": date(2026, 4, 29)}, "can't say",
         "which day is right: it failed on 2026-04-28, before it was bought on 2026-04-29"),
        ({"made": date(2024, 4, 20)}, "can't say", "it was bought on 2024-04-19, before it was"),
        ({"made": date(2024, 4, 19), "delivered": date(2024, 4, 1)}, "can't say",
         "it was handed over on 2024-04-01, before it was made on 2024-04-19"),
        ({"delivered": date(2024, 4, 1)}, "covered", "until"),  # handed over, then paid for
        ({"failed": date(2026, 4, 3)}, "not covered", "had to be sent by 2026-05-03 (1 day ago)"),
        ({"failed": date(2026, 4, 4)}, "covered", "send the claim by 2026-05-04 (today)"),
        ({"part": "pack"}, "can't say", "the day of manufacture, from which 24 months run"),
        ({"part": "pack", "made": date(2024, 4, 28), "purchased": date(2024, 5, 1),
          "answers": {"water": False}}, "covered",
         "battery: until 2026-04-28"),
        ({"part": "pack", "made": date(2024, 4, 27), "answers": {"water": False}}, "not covered",
         "battery: cover ended on 2026-04-27"),
        ({"part": ""}, "covered", "until"),
    ],
)  # fmt: skip
def test_one_thing_changed(
    programme: Programme, change: dict[str, object], answer: str, said: str
) -> None:
    found = judge_cover(programme, replace(KNOWN, **change), TODAY)  # type: ignore[arg-type]
    assert found.answer == answer
    assert said in found.sentence


def test_a_notice_means_serials_between_and_no_others(programme: Programme) -> None:
    def ids(serial: str, model: str = "bm-561") -> list[str]:
        facts = replace(KNOWN, serial=serial, model=model)
        return [n.id for n in judge_cover(programme, facts, TODAY).notices]

    assert ids("2304A00001") == ids("2304a 02000") == ids("2304-A01175") == ["N-7"]
    assert ids("2304A02001") == ids("2304A0200") == ids("") == ids("2304A00001", "BM-400") == []


@pytest.mark.parametrize(
    ("old", "new", "line", "message"),
    [
        ("  - {group: everything else, use: rental, months: 0}\n", "", 7,
         "a gap: everything else in rental use has no line"),
        ("months: 36", "months: -1", 8, "cover, entry 1: months is -1"),
        ("months: 36", "months: three", 8,
         "cover, entry 1: months is 'three', wanted: a whole number"),
        ("household, months: 24", "houshold, months: 24", 11, "cover, entry 4: use is 'houshold'"),
        ("{group: battery, use: commercial", "{group: baterry, use: commercial", 12,
         "no group 'baterry'"),
        ("currency: USD", "currency: dollars", 4, "currency is 'dollars'"),
        ("claim_days: 30\n", "claim_days: 30\nsold: {from: 2022-13-01}\n", 23,
         "sold: from is '2022-13-01', wanted: a day"),
        ("claim_days: 30\n", "", 1, "claim_days is missing"),
        ("claim_days", "claim_day", 22, "claim_day is not known"),
        ("wants: [plate_picture", "wants: [plate_foto", 24, "plate_foto is nothing a claim can"),
        ("[2304A00001, 2304A02000]", "[2304A02000, 2304A00001]", 26, "are no range"),
        ("[2304A00001, 2304A02000]", "[A-100, A1000]", 26, "serials A-100 to A1000 are no range"),
        ("battery: [pack, charger]", "battery: [pack]\n  cells: [pack]", 16, "a gap: cells"),
        ("except_for: [battery]", "except_for: [batery]", 18, "no group 'batery'"),
    ],
)  # fmt: skip
def test_each_mistake_is_named_with_its_line(old: str, new: str, line: int, message: str) -> None:
    assert old in FILE
    programme, problems = parse_programme(FILE.replace(old, new), "p.yaml")
    assert programme is None
    found = [p for p in problems if message in p.message]
    assert found, problems
    assert all(p.fix for p in problems)
    said = "; ".join(str(p) for p in problems)
    assert "should" not in said and "pattern" not in said  # no words of a form's schema
    if "gap: cells" not in message:
        assert abs(found[0].line - line) <= 1, found


@pytest.mark.parametrize("text", ["", "- a\n- b\n", "programme: [", "&a {x: *a}", "\x00"])
def test_what_is_no_programme_at_all(text: str) -> None:
    programme, problems = parse_programme(text, "p.yaml")
    assert programme is None
    assert problems


def test_a_recall_is_no_reason_of_cover(programme: Programme) -> None:
    found = judge_cover(programme, replace(KNOWN, serial="2304A00001"), TODAY)
    assert [n.id for n in found.notices] == ["N-7"]
    assert "N-7" not in found.sentence and found.sentence.startswith("Covered: until")


def test_a_claim_that_went_out_is_not_asked_for(programme: Programme) -> None:
    late = date(2026, 7, 1)  # its last day was 2026-05-28
    sent = judge_cover(programme, replace(KNOWN, claimed=date(2026, 5, 28)), late)
    assert sent.sentence == "Covered: until 2027-04-19 (in 292 days)"
    after = judge_cover(programme, replace(KNOWN, claimed=date(2026, 5, 29)), late)
    assert after.answer == "not covered"
    assert after.reasons == (
        "the claim had to be sent by 2026-05-28, and went out on 2026-05-29",
    )


def test_a_cause_against_an_answer_is_asked_about(programme: Programme) -> None:
    """The same question by its id leaves the answer open; a cause of the same matter is said."""
    same = judge_cover(programme, replace(KNOWN, causes=(("water", "water in it"),)), TODAY)
    assert same.answer == "can't say"
    assert "'Has it stood in water?' was answered no, but the cause found is 'water in it'" in (
        same.sentence
    )
    code = replace(KNOWN, causes=(("C04", "water or corrosion"),))
    near = judge_cover(programme, code, TODAY)
    assert near.answer == "covered"
    assert "ask again: 'Has it stood in water?' was answered no" in near.sentence
    other = judge_cover(programme, replace(KNOWN, causes=(("C03", "normal wear"),)), TODAY)
    assert other == judge_cover(programme, KNOWN, TODAY)


def problems_of(text: str) -> list[str]:
    programme, problems = parse_programme(text, "p.yaml")
    assert programme is None
    return [f"{p.line}: {p.message}. {p.fix}" for p in problems]


def test_an_empty_file_is_told_what_a_programme_looks_like() -> None:
    assert problems_of(" \n") == [
        "1: the file is empty. See docs/programme-files.md for a worked one"
    ]


def test_a_decimal_comma_is_named() -> None:
    (block,) = problems_of(FILE.replace("parts_markup_percent: 15", "parts_markup_percent: 12,5"))
    assert block.endswith("Write it with a decimal point: 12.5")
    (flow,) = problems_of(FILE.replace("{rate: 60,", "{rate: 60,5,"))
    assert "labour: 5 is not known. A comma parts entries: write decimals with a point" in flow


def test_gaps_are_named_together_with_what_is_badly_formed() -> None:
    gap = "  - {group: battery, use: rental, months: 0}\n"
    found = problems_of(FILE.replace(gap, "").replace("claim_days: 30", "claim_days: soon"))
    assert any("a gap: battery in rental use has no line" in line for line in found)
    assert any("claim_days is 'soon'" in line for line in found)
    badly = problems_of(FILE.replace("use: rental, months: 0}\ngroups", "months: 0}\ngroups"))
    assert not any("a gap" in line for line in badly)  # the line itself is to be mended first


def test_a_group_of_a_part_that_no_machine_file_has_is_named_with_its_line() -> None:
    """`battery: [pack, chargr]` would leave the charger among everything else, unsaid."""
    known = {"pack", "charger", "controller"}
    assert parse_programme(FILE, "p.yaml", known)[1] == []
    typed = FILE.replace("[pack, charger]", "[pack, chargr]")
    programme, problems = parse_programme(typed, "p.yaml", known)
    assert programme is None
    (found,) = problems
    assert (found.line, found.message) == (
        14, "battery names chargr, which is a part of no machine file"
    )
    assert found.fix.startswith("Did you mean charger?")
    assert parse_programme(typed, "p.yaml")[1] == []  # one kept long ago is not asked again
    both = typed.replace("claim_days: 30", "claim_days: soon")
    said = [p.message for p in parse_programme(both, "p.yaml", known)[1]]
    assert any("chargr" in one for one in said) and any("soon" in one for one in said)


EMISSION = FILE.replace(
    "  - {group: battery, use: household, months: 24, from: manufacture}\n",
    "  - {group: engine emission parts, use: household, months: 24, from: delivery}\n"
    "  - {group: engine emission parts, use: commercial, months: 24, from: delivery}\n"
    "  - {group: engine emission parts, use: rental, months: 24, from: delivery}\n"
    "  - {group: battery, use: household, months: 24, from: manufacture}\n",
).replace("groups:\n", "groups:\n  engine emission parts: [carburettor, catalyst]\n")


@pytest.mark.parametrize(
    ("part", "use", "answer", "ends"),
    [
        ("carburettor", "rental", "covered", date(2026, 5, 10)),
        ("carburettor", "household", "covered", date(2026, 5, 10)),
        ("controller", "rental", "not covered", None),
        ("controller", "household", "covered", date(2027, 4, 19)),
    ],
)
def test_engine_emission_parts_have_a_cover_of_their_own(
    part: str, use: str, answer: str, ends: date | None
) -> None:
    """By part group, whatever the use, from the day it was handed over (invented months)."""
    programme, problems = parse_programme(EMISSION, "p.yaml")
    assert programme is not None, problems
    facts = replace(KNOWN, part=part, use=use, delivered=date(2024, 5, 10))  # type: ignore[arg-type]
    found = judge_cover(programme, facts, TODAY)
    assert (found.answer, found.ends) == (answer, ends)
