"""Browsers that have signed in to a service."""

from __future__ import annotations

import pytest
from flask import Flask

from api.app import create_app
from api.service import Service
from api.store.tokens import add_token
from api.worker import Worker
from tests.api.live import HANG_S
from tests.api.pages.browsing import Browser


@pytest.fixture
def app(service: Service) -> Flask:
    return create_app(service)


@pytest.fixture
def browser(
    app: Flask, service: Service, worker: Worker, monkeypatch: pytest.MonkeyPatch
) -> Browser:
    """A planner's, with a worker to solve what it asks; what is asked for is there at once,
    however slow the machine is."""
    monkeypatch.setattr("api.pages.later._PATIENCE_S", HANG_S)
    return Browser(app).signed_in(add_token(service.database, "planner"))


@pytest.fixture
def stranger(app: Flask, service: Service) -> Browser:
    """Another client's."""
    return Browser(app).signed_in(add_token(service.database, "other"))
