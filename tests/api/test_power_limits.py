"""The power limit: what the library says of an antenna and cable."""

from __future__ import annotations

import pytest

from strategist import Radio, power_limit
from tests.api.given import Client

QUERY = "region=etsi-865-868&antenna_gain_dbi=8.5&polarisation=circular&cable_loss_db=1"
RADIO = Radio(
    region="etsi-865-868", antenna_gain_dbi=8.5, polarisation="circular", cable_loss_db=1.0
)


def test_limit_is_that_of_the_command(client: Client) -> None:
    found = client.get(f"/v1/lawful?{QUERY}")
    assert found.status_code == 200, found.text
    assert found.json == power_limit(RADIO).to_json()
    assert found.json["lawful"]["highest_dbm"] is not None
    assert client.get(f"/v1/lawful?{QUERY}&level_dbm=20").json == power_limit(RADIO, 20.0).to_json()


@pytest.mark.parametrize(
    ("more", "column"),
    [
        ("region=nowhere&antenna_gain_dbi=8", "region"),
        ("region=etsi-865-868", "antenna_gain_dbi"),
        ("region=etsi-865-868&antenna_gain_dbi=31", "antenna_gain_dbi"),
        ("region=etsi-865-868&antenna_gain_dbi=8&level_dbm=41", "level_dbm"),
        ("region=etsi-865-868&antenna_gain_dbi=8&gain=1", "gain"),
    ],
)
def test_faults_name_the_parameter(client: Client, more: str, column: str) -> None:
    refused = client.get(f"/v1/lawful?{more}")
    assert refused.status_code == 422
    (fault,) = refused.json["faults"]
    assert (fault["source"], fault["column"]) == ("query", column)
