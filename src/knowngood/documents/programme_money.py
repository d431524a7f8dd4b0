"""The money of a claim by a programme's own rules, as a table."""

from __future__ import annotations

from knowngood.documents.document import Box, Bullets, Cell, Column, Paragraph, Row, Table
from knowngood.documents.wording import minutes, money, sentence
from knowngood.shop.claim_check import Worth
from knowngood.shop.money import Money


def programme_money(worth: Worth, worked: float) -> Box:
    """Labour, diagnosis and parts as the programme pays them, by which rule, and what it does not.

    `worked`: minutes measured on the whole job.
    """
    labour, diagnosis, parts = worth.rules
    rows = [
        _line("Labour", labour, worth.labour),
        _line("Diagnosis", diagnosis, worth.diagnosis),
        _line("Parts", parts, worth.parts),
        _line("Claimed", "before tax", worth.total),
    ]
    said = [sentence(note) for note in worth.notes]
    measured = minutes(worked)
    said.append(f"By the programme's rules; {measured} measured, step by step in the record.")
    columns = (Column("For", 2), Column("By the programme's rule", 5),
               Column("Amount", 1.6, right=True))  # fmt: skip
    table = Table(columns, tuple(rows), total=True)
    notes = Bullets(tuple(said)) if len(said) > 1 else Paragraph(said[0], "small")
    return Box("Money", (table, notes))


def _line(what: str, rule: str, sum_: Money) -> Row:
    return Row((Cell(what), Cell(rule), Cell(money(sum_.amount, sum_.currency))))
