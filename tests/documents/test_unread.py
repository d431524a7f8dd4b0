"""What was typed and could not be read: kept in the record, and no evidence on a paper."""

from __future__ import annotations

import json

from knowngood.job import events as ev
from tests.documents.mower import STORY, taken
from tests.documents.test_claim import claim, rows, words


def test_what_could_not_be_read_is_no_evidence_on_paper() -> None:
    """A slip at the keys, and what the program said to it, are not for the programme."""
    slip = taken("r6", "fuse_drop", "Volts across the main fuse", "12 ohm", "bail_held")
    assert slip.reading["kind"] == "none" and slip.reading["note"]
    told_so = ev.ReadingJudged("r6", "no evidence", str(slip.reading["note"]))
    skip = taken("r7", "fuse_drop", "Fuse holder", "can't tell", "bail_held")
    passed = ev.ReadingJudged("r7", "no evidence", str(skip.reading["note"]))
    paper = claim(*STORY, slip, told_so, skip, passed)
    assert "12 ohm" not in words(paper) and "type it like" not in words(paper)
    answers = {row[1] for row in rows(paper, "Question, and state of the machine")}
    assert "“can't tell”" in answers and "Shown at the bench: could not tell" not in words(paper)
    assert "reading: Fuse holder" not in {row[0] for row in rows(paper, "Step")}
    asked = json.loads(paper.attached[0].data)["readings"]
    assert "12 ohm" not in {one["text"] for one in asked}
