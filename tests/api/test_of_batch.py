"""Templates and cross-reads of a batch: those that the command line finds for the same survey."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from strategist import Options, run_batch, site_templates
from tests.api.given import Client, case_document
from tests.api.live import wait_until
from tests.batch.sites import write_site


def done(client: Client, items: list[dict[str, Any]]) -> str:
    batch = client.post("/v1/batches", {"items": items, "options": {"unseen": False}}).json["id"]
    wait_until(lambda: client.get(f"/v1/batches/{batch}").json["state"] == "done")
    return str(batch)


def upload(client: Client, folder: Path) -> str:
    parts = {name: (folder / name).open("rb") for name in ("reads.csv", "roster.csv", "site.json")}
    made = client.flask.post("/v1/surveys", data=parts, headers=client.headers())
    assert made.status_code == 201, made.text
    return str(made.json["id"])


@pytest.mark.usefixtures("worker")
def test_same_as_the_command_line(client: Client, tmp_path: Path) -> None:
    """A site of four read points in a circle, each hearing the tags of the one before."""
    site = write_site(tmp_path / "site", 4, seed=3)
    run_batch([site], tmp_path / "out", Options(unseen=False, sturdier=False))
    survey = upload(client, site)
    batch = done(client, [{"survey": survey}, {"survey": survey, "read_points": ["d00"]}])

    def with_survey(document: dict[str, Any]) -> Any:
        return json.loads(json.dumps(document).replace(json.dumps(str(site)), f'"{survey}"'))

    body = {"batch": batch, "at_most": 2, "label": "two"}
    templates = client.post("/v1/templates", body)
    assert templates.status_code == 201, templates.text
    assert templates.json["batch"] == batch
    expected = site_templates(tmp_path / "out", 2).to_json()
    assert len(expected["templates"]) == 2
    assert templates.json["result"] == with_survey(expected)
    cross_reads = client.post("/v1/cross-reads", {"batch": batch})
    assert cross_reads.status_code == 201, cross_reads.text
    pairs = json.loads((tmp_path / "out/cross_reads.json").read_text())
    assert len(pairs["pairs"]) == 4
    assert cross_reads.json["result"] == with_survey(pairs)
    for made, resource in ((templates, "templates"), (cross_reads, "cross-reads")):
        assert client.get(made.headers["Location"]).json == made.json
        assert client.get(f"/v1/{resource}").json["items"] == [made.json]
        assert client.delete(made.headers["Location"]).status_code == 204
    dear = client.post("/v1/templates", {"batch": batch, "at_most": 1, "max_extra_loss": 0}).json
    assert dear["result"] == with_survey(
        site_templates(tmp_path / "out", 1, max_extra_loss=0).to_json()
    )


@pytest.mark.parametrize("resource", ["templates", "cross-reads"])
def test_a_batch_that_is_not_done(client: Client, survey: str, resource: str) -> None:
    batch = client.post("/v1/batches", {"items": [{"survey": survey}]}).json["id"]
    refused = client.post(f"/v1/{resource}", {"batch": batch})
    assert refused.status_code == 409
    assert refused.json["type"] == "/docs#problem-not-done"
    assert int(refused.headers["Retry-After"]) > 0


@pytest.mark.usefixtures("worker")
def test_faults_name_the_batch(client: Client, survey: str) -> None:
    """An unknown one, one whose survey was deleted, one that was cancelled before any result."""
    batch = done(client, [{"survey": survey}])
    assert client.delete(f"/v1/surveys/{survey}").status_code == 204
    for resource in ("templates", "cross-reads"):
        for named, found in (("ba_" + 32 * "0", "ba_"), (batch, "deleted")):
            refused = client.post(f"/v1/{resource}", {"batch": named})
            assert refused.status_code == 422
            (fault,) = refused.json["faults"]
            assert fault["pointer"] == "/batch"
            assert found in f"{fault}"
    for more in ({"at_most": 0}, {"at_most": 1001}, {"max_extra_loss": -1}, {"k": 2}):
        assert client.post("/v1/templates", {"batch": batch, **more}).status_code == 422


@pytest.mark.usefixtures("worker")
def test_a_batch_without_any_result(client: Client) -> None:
    """What was not surveyed cannot be solved: no templates, and nobody is known to hear."""
    document = case_document()
    document["tried"] = [
        {"read_point": "gate-1", "pass_id": f"p{n}", "power_dbm": level}
        for n, level in ((1, 15), (1, 16), (2, 15), (2, 16), (3, 16))
    ]
    document["reads"] = [
        row for row in document["reads"] if (row["pass_id"], row["power_dbm"]) != ("p3", 15)
    ]
    batch = done(client, [{"survey": client.post("/v1/surveys", document).json["id"]}])
    refused = client.post("/v1/templates", {"batch": batch})
    assert refused.status_code == 422
    assert refused.json["faults"][0]["pointer"] == "/batch"
    assert client.post("/v1/cross-reads", {"batch": batch}).json["result"] == {"pairs": []}
