"""A service over a store of its own, with a worker in a thread; and clients with tokens."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from api.service import Service
from api.store.database import open_database, sqlite_url
from api.store.tokens import add_token
from api.worker import Worker
from tests.api.given import Client, case_document
from tests.api.live import HANG_S
from tests.api.reading import read_surveys


@pytest.fixture(scope="session")
def new_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a store that nobody has used yet: to make its tables takes a while."""
    folder = tmp_path_factory.mktemp("store")
    open_database(sqlite_url(folder)).close()
    return folder


@pytest.fixture
def service(tmp_path: Path, new_store: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Service]:
    """A service whose jobs nobody does, and whose clients have as long as it takes."""
    monkeypatch.setattr("api.interactive.INTERACTIVE_GRACE_S", HANG_S)
    shutil.copytree(new_store, tmp_path, dirs_exist_ok=True)
    database = open_database(sqlite_url(tmp_path))
    yield Service(database)
    database.close()


@pytest.fixture
def worker(service: Service) -> Iterator[Worker]:
    """A worker that does the jobs of the service, in a thread of the test's process."""
    worker, stop = Worker(service.database, "in-thread"), threading.Event()
    thread = threading.Thread(target=worker.run, args=(stop,))
    thread.start()
    yield worker
    stop.set()
    thread.join()


@pytest.fixture
def flask_client(service: Service) -> Iterator[FlaskClient]:
    """Of the service, where surveys are checked and read, and nothing is solved."""
    stop = threading.Event()
    thread = threading.Thread(target=read_surveys, args=(service.database, stop))
    thread.start()
    yield create_app(service).test_client()
    stop.set()
    thread.join()


@pytest.fixture
def client(service: Service, flask_client: FlaskClient) -> Client:
    """A client with a token."""
    return Client(flask_client, add_token(service.database, "planner"))


@pytest.fixture
def other(service: Service, flask_client: FlaskClient) -> Client:
    """Another client of the same server."""
    return Client(flask_client, add_token(service.database, "other"))


@pytest.fixture
def survey(client: Client) -> str:
    """The id of a small survey of the first client."""
    return str(client.post("/v1/surveys", case_document()).json["id"])
