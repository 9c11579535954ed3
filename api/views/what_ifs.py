"""What-ifs: the answer again with something changed, as `strategist what-if` gives it."""

from __future__ import annotations

from api.answers import WhatIf, page_of
from api.at_point import at_point
from api.endpoints import Answer, Ask, endpoint
from api.models import PageQuery, WhatIfRequest
from api.prompt import dropped, kept_one, kept_page, made, wait_for
from api.store.jobs import Job


@endpoint(
    "POST",
    "/v1/what-ifs",
    gives={201: WhatIf},
    body=WhatIfRequest,
    problems=("queue-full", "no-time"),
)
def ask_again(ask: Ask) -> Answer:
    """The answer with another policy or cable; with nothing changed: what planners ask most."""
    body: WhatIfRequest = ask.body
    survey, options = at_point(ask, body), body.options
    request = body.model_dump(include={"set", "cable_db", "options"})
    new = ask.new_id("wi")
    job = Job(new, "what_if", survey, body.read_point, request, label=body.label)
    return made(ask, "what-ifs", wait_for(ask, job, options.time_limit_s))


@endpoint("GET", "/v1/what-ifs", gives={200: page_of(WhatIf)}, query=PageQuery)
def list_all(ask: Ask) -> Answer:
    """Your what-ifs, newest first."""
    return kept_page(ask, "what_if")


@endpoint("GET", "/v1/what-ifs/{what_if_id}", gives={200: WhatIf})
def read(ask: Ask) -> Answer:
    """A what-if."""
    return kept_one(ask, "what_if")


@endpoint("DELETE", "/v1/what-ifs/{what_if_id}", gives={204: None})
def remove(ask: Ask) -> Answer:
    """Delete a what-if."""
    return dropped(ask, "what_if")
