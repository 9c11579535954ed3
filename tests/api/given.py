"""What tests of the API send: small surveys, strategies, and a client that carries its token."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from typing import Any

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from tests.survey.cases import READS, ROSTER, SITE

STRATEGY = {"levels_dbm": [15], "stop_after": 1, "cutoff_dbm": None, "masks": []}


def case_document(points: int = 1, passes: int = 3, shift: int = 0) -> dict[str, Any]:
    """A survey as one JSON document: gates at which a near wanted tag and a far stray are read."""
    reads, roster, names = [], [], [f"gate-{number}" for number in range(1, points + 1)]
    for name in names:
        for number in range(1, passes + 1):
            at = {"read_point": name, "pass_id": f"p{number}"}
            wanted, stray = f"30{number:02X}", f"31{number:02X}"
            roster += [at | {"epc": wanted, "role": "wanted"}, at | {"epc": stray, "role": "stray"}]
            for level in (15, 16):
                reads.append(at | {"power_dbm": level, "epc": wanted, "rssi_dbm": -50 - shift})
            reads.append(at | {"power_dbm": 16, "epc": stray, "rssi_dbm": -60.5})
    policy = {"levels_dbm": [15, 16], "aim": "survey"}
    site = {"site": "Test", "read_points": dict.fromkeys(names, policy)}
    return {"site": site, "reads": reads, "roster": roster}


def form(**parts: str) -> dict[str, Any]:
    """The files of a small case as the parts of a form; names with _ for the dot."""
    given = {"reads_csv": READS, "roster_csv": ROSTER, "site_json": SITE} | parts
    return {
        name.replace("_", "."): (io.BytesIO(text.encode()), "x") for name, text in given.items()
    }


@dataclass(frozen=True)
class Client:
    """Requests with a token and JSON bodies."""

    flask: FlaskClient
    token: str

    def headers(self, **more: str) -> dict[str, str]:
        named = {name.replace("_", "-"): value for name, value in more.items()}
        return {"Authorization": f"Bearer {self.token}"} | named

    def get(self, path: str, **headers: str) -> TestResponse:
        return self.flask.get(path, headers=self.headers(**headers))

    def delete(self, path: str) -> TestResponse:
        return self.flask.delete(path, headers=self.headers())

    def post(self, path: str, document: Any, **headers: str) -> TestResponse:
        data = document if isinstance(document, bytes) else json.dumps(document).encode()
        kind = {"Content-Type": "application/json"}
        return self.flask.post(path, data=data, headers=kind | self.headers(**headers))
