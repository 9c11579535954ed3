"""The sheet of one answer, as the command `report` would make it."""

from __future__ import annotations

import re

import pytest

import strategist
from api.worker import Worker
from tests.api.given import Client


@pytest.mark.usefixtures("worker")
def test_a_sheet_has_plots_while_its_survey_is_there(client: Client, survey: str) -> None:
    """And then the trade-offs of its read point, once they were asked for."""
    asked = {"survey": survey, "read_point": "gate-1"}
    made = client.post("/v1/strategies", asked)
    place = f"{made.headers['Location']}/sheet"
    first = client.get(place, Accept="text/html")
    assert (first.status_code, first.mimetype) == (200, "text/html")
    assert first.headers["Content-Security-Policy"].startswith(strategist.page_policy(first.text))
    plots = first.text.count("<svg")
    assert plots >= 2 and re.search("Site: <[^>]*>Test<", first.text)
    assert client.post("/v1/trade-offs", asked).status_code == 201
    assert client.get(place).text.count("<svg") == plots + 1
    assert client.delete(f"/v1/surveys/{survey}").status_code == 204
    bare = client.get(place).text
    assert "<h3>To set</h3>" in bare and "<svg" not in bare


def test_an_answer_that_is_not_there_has_none(client: Client, survey: str) -> None:
    batch = client.post("/v1/batches", {"items": [{"survey": survey}]})
    (row,) = client.get(f"{batch.headers['Location']}/results").json["items"]
    assert client.get(f"/v1/strategies/{row['strategy']}/sheet").status_code == 404


def test_the_worker_keeps_no_sheet(client: Client, survey: str, worker: Worker) -> None:
    """It can be had again at any time."""
    made = client.post("/v1/strategies", {"survey": survey, "read_point": "gate-1"})
    client.get(f"{made.headers['Location']}/sheet")
    with worker.database.read() as connection:
        kinds = connection.exec_driver_sql("SELECT DISTINCT kind FROM jobs").scalars().all()
    assert kinds == ["strategy"]
