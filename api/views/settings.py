"""Settings: a strategy in the terms of open standards, as `strategist export` gives it."""

from __future__ import annotations

from strategist.errors import InputError

from ..answers import answer
from ..at_point import at_point, strategy_of
from ..endpoints import Answer, Ask, endpoint
from ..interactive import answer_of
from ..limits import INTERACTIVE_TIME_S
from ..models import SettingsRequest
from ..store.jobs import Job


@endpoint(
    "POST",
    "/v1/settings",
    gives={200: answer("Settings")},
    body=SettingsRequest,
    problems=("queue-full", "no-time"),
)
def settings(ask: Ask) -> Answer:
    """A strategy as Gen2 Select commands or LLRP parameters; nothing is stored."""
    body: SettingsRequest = ask.body
    table = None
    if body.power_table is not None:
        if body.format != "llrp":
            path = ("power_table",)
            wrong, todo = "is of no use here", "Send it with format llrp, or leave it out."
            raise InputError.one("body", "a table", todo, path=path, wrong=wrong)
        table = [(entry.index, entry.power_dbm) for entry in body.power_table]
    survey, strategy = at_point(ask, body), strategy_of(ask, body)
    request = {"strategy": strategy.to_json(), "format": body.format, "power_table": table}
    job = Job(ask.new_id("se"), "settings", survey, body.read_point, request)
    return Answer(answer_of(ask, job, INTERACTIVE_TIME_S))
