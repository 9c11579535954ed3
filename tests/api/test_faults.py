"""Requests that are refused, one by one: what is said of each, and where."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.api.given import Client
from tests.faults.asked import ALL, Asked


def answered(client: Client, survey: str, asked: Asked) -> Any:
    """The problem that a request is answered with."""
    body = asked.body
    if not (body is None or isinstance(body, bytes)):
        body = json.dumps(body).replace("SURVEY", survey).encode()
    headers = client.headers() | {"Content-Type": "application/json"} | asked.headers
    return client.flask.open(
        asked.path.replace("SURVEY", survey), method=asked.method, data=body, headers=headers
    )


def told(problem: Any) -> tuple[str, str]:
    """The words of a problem and the place of its first fault: each fault, or else the detail."""
    faults = problem.get("faults", [])
    if not faults:
        return problem["detail"], ""
    return "\n".join(fault["detail"] for fault in faults), faults[0]["pointer"]


@pytest.mark.parametrize("asked", ALL, ids=lambda one: one.name)
def test_a_request_is_refused_in_words(client: Client, survey: str, asked: Asked) -> None:
    answer = answered(client, survey, asked)
    assert answer.status_code == asked.status
    assert told(answer.json) == (asked.detail.replace("SURVEY", survey), asked.pointer)
