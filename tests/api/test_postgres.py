"""The same store on PostgreSQL: the tests of jobs, keys and clients once more, and its own ones.

`STRATEGIST_TEST_POSTGRES` names a server that may be written to; `.ci/run` starts one.
"""

from __future__ import annotations

import os
import threading
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.service import Service
from api.store.database import open_database
from api.store.keys import begin
from api.store.leases import claim, finish
from api.store.tables import metadata
from tests.api.given import Client, case_document
from tests.api.live import Live, wait_until
from tests.api.test_batches import (
    test_a_job_that_ends_its_workers_is_given_up,
    test_a_lease_that_ran_out_goes_to_another,
    test_batch_is_solved,
    test_cancel,
    test_full_queue,
    test_results_as_csv_hold_no_formula,
    test_results_as_lines_while_they_come,
    test_who_waits_goes_first,
)
from tests.api.test_of_batch import (
    test_a_batch_that_is_not_done,
    test_faults_name_the_batch,
    test_same_as_the_command_line,
)
from tests.api.test_requests import (
    test_a_key_in_progress_is_busy,
    test_a_key_makes_one_thing,
    test_a_refused_request_gives_its_key_back,
    test_metrics_and_health,
    test_wrong_method_and_unknown_thing,
)
from tests.api.test_surveys import test_deletion, test_document_is_stored_and_checked, test_pages
from tests.api.test_tokens import test_one_client_never_reads_anothers_data, things

__all__ = [
    "test_a_batch_that_is_not_done",
    "test_a_job_that_ends_its_workers_is_given_up",
    "test_a_key_in_progress_is_busy",
    "test_a_key_makes_one_thing",
    "test_a_lease_that_ran_out_goes_to_another",
    "test_a_refused_request_gives_its_key_back",
    "test_batch_is_solved",
    "test_cancel",
    "test_deletion",
    "test_document_is_stored_and_checked",
    "test_faults_name_the_batch",
    "test_full_queue",
    "test_metrics_and_health",
    "test_one_client_never_reads_anothers_data",
    "test_pages",
    "test_results_as_csv_hold_no_formula",
    "test_results_as_lines_while_they_come",
    "test_same_as_the_command_line",
    "test_who_waits_goes_first",
    "test_wrong_method_and_unknown_thing",
    "things",
]

URL = os.environ.get("STRATEGIST_TEST_POSTGRES", "")
pytestmark = pytest.mark.skipif(not URL, reason="STRATEGIST_TEST_POSTGRES names no server")


@pytest.fixture
def service() -> Iterator[Service]:
    """A service over an empty store on the server."""
    database = open_database(URL)
    metadata.drop_all(database.engine)
    metadata.create_all(database.engine)
    yield Service(database)
    metadata.drop_all(database.engine)
    database.close()


def test_workers_never_take_the_same_job(client: Client, service: Service) -> None:
    """Eight at once: each read point is taken once and finished once."""
    survey = client.post("/v1/surveys", case_document(60)).json["id"]
    client.post("/v1/batches", {"items": [{"survey": survey}]})
    taken: list[str] = []

    def work(name: str) -> None:
        while row := claim(service.database, name):
            assert finish(service.database, row["id"], name, result={"by": name})
            taken.append(row["id"])

    threads = [threading.Thread(target=work, args=(f"w{n}",)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(taken) == 60
    assert Counter(taken).most_common(1)[0][1] == 1


def test_one_of_two_that_take_a_key_at_once(service: Service) -> None:
    states: list[str] = []

    def take() -> None:
        states.append(begin(service.database, "c", "k", path="/v1/surveys", digest="d").state)

    threads = [threading.Thread(target=take) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(states) == ["busy"] * 7 + ["new"]


def test_server_by_url(service: Service, client: Client, tmp_path: Path) -> None:
    """`--database URL` serves and solves there."""
    (tmp_path / "data").mkdir()
    options = ("--workers", "1", "--database", URL)
    live = Live(tmp_path / "data", *options, token=client.token, folder=False)
    with live:
        survey = live.ask("POST", "/v1/surveys", case_document(2)).json["id"]
        batch = live.ask("POST", "/v1/batches", {"items": [{"survey": survey}]}).json["id"]
        wait_until(lambda: client.get(f"/v1/batches/{batch}").json["state"] == "done")
        assert live.stop() == 0
