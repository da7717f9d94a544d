"""What the OpenAPI document says of ``/api/`` is so: random requests made from it are answered as it says.

The document is asked as a program that has logged in, and with the token for writing. ``/api/events`` never ends, so it
is left out.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from typing import Any, Final

import pytest
import schemathesis
from a_mill_lane import MillLaneOnDisk
from a_page import PASSWORD, PASSWORD_HASH, Asker
from fastapi import FastAPI
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from alerts import operator_requests
from alerts.page.app import make_app
from alerts.page.doors.tokens import TOKEN_HEADER

_ENDLESS: Final = "/api/events"
_EXAMPLES: Final = 15
_CHECKS: Final = [status_code_conformance, content_type_conformance, response_schema_conformance]


@pytest.fixture(scope="module")
def lane(tmp_path_factory: pytest.TempPathFactory) -> Iterator[MillLaneOnDisk]:
    made = MillLaneOnDisk(tmp_path_factory.mktemp("lane"), days=1)
    yield made
    made.store.close()


@pytest.fixture(scope="module")
def app(lane: MillLaneOnDisk) -> FastAPI:
    return make_app(lane.cellar, lambda: lane.now_ms, password_hash=PASSWORD_HASH)


@pytest.fixture(scope="module")
def schema(app: FastAPI) -> Any:
    return schemathesis.openapi.from_asgi("/api/openapi.json", app, headers=_of_a_program(app))


def _of_a_program(app: FastAPI) -> dict[str, str]:
    """Log in, and give the fields of a request that may read and write."""
    with Asker(app) as program:
        assert program.log_in(PASSWORD).status_code == 200
        cookies = "; ".join(f"{name}={value}" for name, value in program.cookies.items())
        return {"Cookie": cookies, TOKEN_HEADER: program.token(), "Host": "127.0.0.1"}


def _try(operation: Any, headers: dict[str, str]) -> set[int]:
    """Make random requests of one kind, check their answers, and give the codes."""
    codes: set[int] = set()

    @settings(
        max_examples=_EXAMPLES,
        derandomize=True,
        deadline=None,
        database=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy())
    def trial(case: Any) -> None:
        answer = case.call(headers=headers)
        # 500 is described nowhere; 503 is, for a leeside that does not run.
        assert answer.status_code != 500
        case.validate_response(answer, checks=_CHECKS)
        codes.add(answer.status_code)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the libraries that make the requests
        trial()
    return codes


def test_random_requests_are_answered_as_described(schema: Any, app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(operator_requests, "WAIT_S", 0.0)
    operations = [result.ok() for result in schema.get_all_operations()]
    asked = {
        f"{operation.method.upper()} {operation.path}": _try(operation, _of_a_program(app))
        for operation in operations
        if operation.path != _ENDLESS
    }
    assert len(asked) >= 12, asked
    sent_away = [name for name, codes in asked.items() if codes <= {401, 403} and name != "POST /api/session"]
    assert sent_away == []


def test_every_address_under_api_is_described(schema: Any) -> None:
    for path, methods in schema.raw_schema["paths"].items():
        assert path.startswith("/api/")
        for method, operation in methods.items():
            answers = operation["responses"]
            good = answers.get("200") or answers["201"]
            assert good["content"], (method, path)
            assert "4XX" in answers, (method, path)
            assert operation.get("summary"), (method, path)
