"""Settings: a strategy in the terms of open standards, as `strategist export` gives it."""

from __future__ import annotations

from api.at_point import faults_of_body, point_of, strategy_of
from api.endpoints import Answer, Ask, endpoint
from api.library import SettingsJson
from api.models import SettingsRequest
from strategist import PowerTable, settings_document
from strategist.errors import InputError


@endpoint("POST", "/v1/settings", gives={200: SettingsJson}, body=SettingsRequest)
def settings(ask: Ask) -> Answer:
    """A strategy as Gen2 Select commands or LLRP parameters; nothing is stored."""
    body: SettingsRequest = ask.body
    table = None
    if body.power_table is not None:
        if body.form != "llrp":
            path = ("power_table",)
            raise InputError.one("body", "a table", "only with form llrp", path=path)
        table = PowerTable(tuple((entry.index, entry.power_dbm) for entry in body.power_table))
    point, strategy = point_of(ask, body), strategy_of(ask, body)
    with faults_of_body():
        return Answer(settings_document(point, strategy, body.form, table))
