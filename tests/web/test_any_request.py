"""Any request that the description allows, and many that it does not: never a fault of the server.

The requests are drawn by schemathesis from the server's own OpenAPI description.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis.checks import not_a_server_error

from knowngood.places.bench import CheckIn, open_job
from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import At, Record
from knowngood.web.app import create_app

SMALL = Path(__file__).parent.parent / "places" / "small.yaml"
CASES = 5000
EACH = 390  # for each operation; one that takes nothing has few that differ

FOLDER = tempfile.TemporaryDirectory(prefix="knowngood-test-")
STORE = Path(FOLDER.name) / "shop.db"
APP = create_app(STORE)
schema = schemathesis.openapi.from_asgi("/api/openapi.json", APP)


@schemathesis.serializer("video/*")
def as_drawn(_: schemathesis.SerializationContext, value: object) -> bytes:
    return value if isinstance(value, bytes) else str(value).encode()


@pytest.fixture(scope="module", autouse=True)
def one_job() -> Iterator[None]:
    """A job with the id "j", so that some of the drawn addresses lead somewhere."""
    with Record.open(STORE) as record:
        check_in = CheckIn(find_machine(str(SMALL)), "dead", meter=find_meter("generic-6000"))
        open_job(record, check_in, At(datetime.now(UTC), "Sam"), "j")
    yield
    FOLDER.cleanup()


@pytest.mark.slow
def test_no_request_makes_the_server_fail() -> None:
    """One test for all operations, so that one process counts what was sent."""
    sent, asked = 0, set[str]()
    for found in schema.get_all_operations():
        operation = found.ok()
        assert operation is not None, found.err()

        @given(case=operation.as_strategy())
        @settings(
            max_examples=EACH, deadline=None, derandomize=True,
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        def send(case: schemathesis.Case) -> None:
            nonlocal sent
            if sent % 10 == 0 and "job" in case.path_parameters:
                there = {**case.path_parameters, "job": "j"}
                same = repr((case.operation.label, there, case.query, case.body))
                if same not in asked:  # sent once more it would be worked out again, no more
                    case.path_parameters["job"] = "j"
                asked.add(same)
            sent += 1
            case.call_and_validate(checks=[not_a_server_error])

        send()
    assert sent >= CASES, sent
