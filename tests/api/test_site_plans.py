"""The plan of a site by the API: that of the library, with the surveys of options by their ids."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from strategist import plan_site, read_case, read_options
from tests.api.given import Client
from tests.api.test_of_batch import upload
from tests.batch.sites import write_site


def small_site(folder: Path) -> Path:
    """Two read points on one reader, and an option of the first."""
    write_site(folder, 2, seed=3)
    write_site(folder / "screened", 1, seed=4)
    site = json.loads((folder / "site.json").read_text())
    site["readers"] = {"one": {"read_points": ["d00", "d01"]}}
    site["cost"] = {"visit": 10, "setting": 1}
    first = site["read_points"]["d00"] | {"options": {"screen": {"case": "screened", "price": 5}}}
    site["read_points"]["d00"] = first
    (folder / "site.json").write_text(json.dumps(site))
    return folder


@pytest.mark.usefixtures("worker")
def test_same_as_the_library(client: Client, tmp_path: Path) -> None:
    folder = small_site(tmp_path / "site")
    site, screen = upload(client, folder), upload(client, folder / "screened")
    body = {"survey": site, "at_most": 2, "option_surveys": {"screened": screen}}
    made = client.post("/v1/site-plans", body | {"options": {"time_limit_s": 30}})
    assert made.status_code == 201, made.text
    case = read_case(folder)
    expected = plan_site(case, 2, options=read_options(folder, case)).to_json()
    expected = json.loads(json.dumps(expected))
    assert expected["proven"] and expected["buys"]
    assert {**made.json["result"], "seconds": 0} == {**expected, "seconds": 0}
    assert client.get(made.headers["Location"]).json == made.json
    assert client.get("/v1/site-plans").json["items"] == [made.json]
    assert client.delete(made.headers["Location"]).status_code == 204
    other = client.post("/v1/site-plans", body | {"option_surveys": {"screened": "su_0"}})
    assert other.status_code == 422, other.text
    assert other.json["faults"][0]["pointer"] == "/option_surveys/screened"
    assert client.post("/v1/site-plans", body | {"at_most": 0}).status_code == 422
