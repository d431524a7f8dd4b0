"""The money of a claim by a programme's own rules, as a table."""

from __future__ import annotations

from knowngood.documents.document import Box, Bullets, Cell, Column, Paragraph, Row, Table
from knowngood.documents.wording import minutes, money, sentence
from knowngood.shop.claim_check import Worth
from knowngood.shop.money import Money


def programme_money(worth: Worth, worked: float) -> Box:
    """Labour, diagnosis and parts as the programme pays them, and what it does not pay.

    `worked`: minutes measured on the whole job.
    """
    rows = [
        _line("Labour", worth.labour),
        _line("Diagnosis", worth.diagnosis),
        _line("Parts, with handling", worth.parts),
        _line("Claimed", worth.total),
    ]
    said = [sentence(note) for note in worth.notes]
    measured = minutes(worked)
    said.append(f"By the programme's rules; {measured} measured, step by step in the record.")
    table = Table((Column("For", 3), Column("Amount", 1.6, right=True)), tuple(rows), total=True)
    notes = Bullets(tuple(said)) if len(said) > 1 else Paragraph(said[0], "small")
    return Box("Money", (table, notes))


def _line(what: str, sum_: Money) -> Row:
    return Row((Cell(what), Cell(money(sum_.amount, sum_.currency))))
