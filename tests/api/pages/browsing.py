"""A browser of tests: it keeps cookies, sends what forms hold, and runs no script."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from flask import Flask
from werkzeug.test import TestResponse

from tests.api.live import wait_until

HOST = "localhost"
OWN = {"Origin": f"http://{HOST}", "Sec-Fetch-Site": "same-origin"}
HTML = {"Accept": "text/html,application/xhtml+xml;q=0.9,*/*;q=0.8"}
_FORM = re.compile(r'name="form" value="([0-9a-f]{64})"')


@dataclass
class Browser:
    """One session; `form` is what its forms carry once it has signed in."""

    app: Flask
    form: str = ""

    def __post_init__(self) -> None:
        self.flask = self.app.test_client()

    def get(self, path: str) -> TestResponse:
        return self.flask.get(path, headers=HTML)

    def post(self, path: str, headers: dict[str, str] | None = None, **fields: Any) -> TestResponse:
        given = {"form": self.form} | fields
        return self.flask.post(
            path, data=given, headers=HTML | (OWN if headers is None else headers)
        )

    def shown(self, path: str) -> str:
        """The page of what was asked for, once it is worked out."""
        wait_until(lambda: "looks again by itself" not in self.get(path).text)
        return self.get(path).text

    def signed_in(self, token: str) -> Browser:
        taken = self.post("/sign-in", token=token)
        assert taken.status_code == 303, taken.text
        found = _FORM.search(self.get("/").text)
        assert found is not None
        self.form = found[1]
        return self
