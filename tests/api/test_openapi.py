"""The description: valid OpenAPI 3.1, complete, readable without a network, and true."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

from flask.testing import FlaskClient
from openapi_spec_validator import OpenAPIV31SpecValidator

from api.app import ENDPOINTS, description
from api.pages.routes import PAGES
from api.problems import KINDS
from tests.api.given import STRATEGY, case_document
from tests.api.live import HANG_S, ROOT, Live, client_token, wait_until

EXAMPLES = os.environ.get("STRATEGIST_EXAMPLES", "3")  # of schemathesis, for each endpoint
# Coverage sends each edge of each field, some 4,500 requests: where more examples are asked for.
ALL_PHASES = "examples,fuzzing,stateful" + (",coverage" if int(EXAMPLES) > 3 else "")


def test_description_is_valid_and_complete(flask_client: FlaskClient) -> None:
    document = flask_client.get("/openapi.json").json
    assert document == description()
    OpenAPIV31SpecValidator(document).validate()
    policy = document["components"]["schemas"]["Policy"]["properties"]
    assert policy["predict_levels"]["default"] is False
    described = {(method.upper(), path) for path, of in document["paths"].items() for method in of}
    assert described == {(one.method, one.path) for one in ENDPOINTS}
    rules = create_app_rules(flask_client)
    pages = {re.sub(r"<(\w+)>", r"{\1}", page.rule) for page in PAGES}
    pages |= {"/docs", "/docs/reference", "/sign-in", "/pages/{name}"}
    assert rules == {path for _, path in described} | pages | {"/openapi.json"}


def create_app_rules(flask_client: FlaskClient) -> set[str]:
    rules = flask_client.application.url_map.iter_rules()
    return {re.sub(r"<(\w+)>", r"{\1}", rule.rule) for rule in rules}


def test_reference_needs_no_network(flask_client: FlaskClient) -> None:
    page = flask_client.get("/docs/reference")
    assert page.mimetype == "text/html"
    assert "script" not in page.text.lower().replace("description", "")
    assert re.findall(r'(?:src|href)="(?!#|/)[^"]*"', page.text) == []
    assert "default-src 'none'" in page.headers["Content-Security-Policy"]
    for one in ENDPOINTS:
        assert f'id="{one.name}"' in page.text
    for kind in KINDS:
        assert f'id="problem-{kind}"' in page.text
    targets = set(re.findall(r'href="#([^"]*)"', page.text))
    assert targets <= set(re.findall(r'id="([^"]*)"', page.text))


def test_the_server_does_what_the_description_says(tmp_path: Path) -> None:
    """schemathesis over all endpoints: no 5xx, no undocumented status, no schema violation.

    What is right by the schema may still be refused (two tables may contradict each other), so
    that check is left out; that what is wrong by the schema is refused stays in.
    """
    token = client_token(tmp_path / "data")
    with Live(tmp_path / "data", "--workers", "1", token=token) as live:
        environment = os.environ | {
            "STRATEGIST_IDS": json.dumps(ids(live)),
            "SCHEMATHESIS_HOOKS": "tests.api.schema_hooks",
            "PYTHONPATH": str(ROOT),
        }
        expected = {one.name for one in ENDPOINTS} | {"openapi"}
        # a busy worker may leave an endpoint's few examples unanswered: then others are sent
        for seed, phases in ("1", ALL_PHASES), ("2", "fuzzing"), ("3", "fuzzing"):
            command = [
                *(sys.executable, "-m", "schemathesis.cli", "run", f"{live.url}/openapi.json"),
                *("-H", f"Authorization: Bearer {token}", "--seed", seed, "--no-shrink"),
                *("--phases", phases),
                *("--exclude-checks", "positive_data_acceptance", "--warnings", "off"),
                *("--max-examples", EXAMPLES, "--continue-on-failure", "--workers", "2"),
                *("--request-timeout", str(HANG_S)),
            ]
            done = subprocess.run(
                command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
            )
            assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]
            log = live.log.read_text()
            reached = set(re.findall(r'"endpoint": "([^"]+)", "status": 20[0124]', log))
            if reached == expected:
                break
    assert reached == expected, "each was answered, too"


def ids(live: Live) -> dict[str, list[str]]:
    """Things for requests to name; the loops that answers need are compiled when all are made."""
    surveys = [live.made("/v1/surveys", case_document())["id"] for _ in range(8)]
    at = {"survey": surveys[0], "read_point": "gate-1"}
    entries = [{"name": name, "strategy": STRATEGY} for name in "ab"]
    bodies = {
        "strategy_id": ("/v1/strategies", at),
        "comparison_id": ("/v1/comparisons", at | {"entries": entries}),
        "batch_id": ("/v1/batches", {"items": [{"survey": surveys[0]}]}),
    }
    made = {"survey_id": surveys, "name": ["survey.json"]} | {
        name: [live.made(path, body)["id"] for _ in range(4)]
        for name, (path, body) in bodies.items()
    }
    path = f"/v1/batches/{made['batch_id'][-1]}"
    wait_until(lambda: live.ask("GET", path).json["state"] == "done")
    of_batch = {"batch": made["batch_id"][0]}
    more = {
        "assessment_id": ("/v1/assessments", at),
        "trade_offs_id": ("/v1/trade-offs", at),
        "acceptance_id": ("/v1/acceptances", at | {"strategy": STRATEGY}),
        "templates_id": ("/v1/templates", of_batch),
        "cross_reads_id": ("/v1/cross-reads", of_batch),
        "site_plan_id": ("/v1/site-plans", {"survey": surveys[0]}),
    }
    return made | {
        name: [live.made(path, body)["id"] for _ in range(3)] for name, (path, body) in more.items()
    }
