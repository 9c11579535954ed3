"""What the command line has is in the API, too: a new command needs its resource, or a reason."""

from __future__ import annotations

import argparse

from flask.testing import FlaskClient

from api.app import ENDPOINTS
from strategist.__main__ import command_parser

# Command to the endpoint that gives the JSON of its `--out`.
RESOURCES = {
    "masks": "GET /v1/surveys/{survey_id}/masks",
    "lawful": "GET /v1/lawful",
    "keys": "GET /v1/site-keys",
    "solve": "POST /v1/strategies",
    "assess": "POST /v1/assessments",
    "trade-offs": "POST /v1/trade-offs",
    "compare": "POST /v1/comparisons",
    "export": "POST /v1/settings",
    "batch": "POST /v1/batches",
    "templates": "POST /v1/templates",
    "plan": "POST /v1/plans",  # of a site.json alone: POST /v1/first-plans
    "site": "POST /v1/site-plans",
    "accept": "POST /v1/acceptances",  # its plan, without a case: GET /v1/acceptance-plan
}
# Command without a resource of its own to the endpoint that it is a part of, and why.
PARTS = {
    "import": ("POST /v1/surveys", "raw files are one of the forms of an upload"),
    "check": ("POST /v1/surveys", "each survey is checked as it comes; its findings stay with it"),
    "new": ("GET /v1/site-keys", "it writes a file beside others, which a client has itself"),
    "report": ("GET /v1/batches/{batch_id}/results", "a page is one of the forms of results"),
}


def commands() -> set[str]:
    return {
        name
        for action in command_parser()._actions
        if isinstance(action, argparse._SubParsersAction)
        for name in action.choices
    }


def test_each_command_has_a_resource_or_a_reason() -> None:
    assert commands() == set(RESOURCES) | set(PARTS)
    assert not set(RESOURCES) & set(PARTS)
    assert all(reason for _, reason in PARTS.values())


def test_the_resources_are_there() -> None:
    known = {f"{one.method} {one.path}" for one in ENDPOINTS}
    assert {*RESOURCES.values(), *(endpoint for endpoint, _ in PARTS.values())} <= known
    assert len(set(RESOURCES.values())) == len(RESOURCES), "each its own"


def test_the_index_lists_every_resource(flask_client: FlaskClient) -> None:
    listed = set(flask_client.get("/v1").json["resources"].values()) - {"/docs"}
    parts = (one.path.split("/") for one in ENDPOINTS if one.path.startswith("/v1/"))
    assert listed == {f"/v1/{part[2]}" for part in parts}
