"""What needs no survey: what is lawful, how many passes show a rate, the keys of site.json.

The library's names load when the first such figure is asked for.
"""

from __future__ import annotations

from dataclasses import replace

import strategist
from strategist.errors import Fault, InputError

from ..answers import answer
from ..endpoints import Answer, Ask, endpoint
from ..models import FirstPlanRequest, PlanQuery, PowerLimitQuery


@endpoint("GET", "/v1/lawful", gives={200: answer("PowerLimit")}, query=PowerLimitQuery)
def lawful(ask: Ask) -> Answer:
    """The highest lawful level for an antenna and cable, and the distance to keep."""
    asked = ask.query.model_dump()
    level = asked.pop("level_dbm")
    try:
        strategist.region_named(asked["region"])
        return Answer(strategist.power_limit(strategist.Radio(**asked), level).to_json())
    except InputError as error:
        raise InputError(
            replace(one, source="query", column=one.column or one.source) for one in error.faults
        ) from None


@endpoint("GET", "/v1/acceptance-plan", gives={200: answer("AcceptancePlan")}, query=PlanQuery)
def plan(ask: Ask) -> Answer:
    """How many passes show that a rate of misses is low enough; nothing is stored."""
    asked: PlanQuery = ask.query
    found = strategist.plan_acceptance(
        asked.miss_rate_max, asked.confidence, asked.allowed_failures
    )
    return Answer(found.to_json())


@endpoint("POST", "/v1/first-plans", gives={200: answer("SurveyPlan")}, body=FirstPlanRequest)
def first_plan(ask: Ask) -> Answer:
    """What to measure first at a read point of which the policy alone is known; nothing is stored.
    What to measure next is asked of its survey, at /v1/plans."""
    asked: FirstPlanRequest = ask.body
    effort = strategist.Effort(asked.minutes_a_pass, asked.seconds_a_level)
    limit = asked.miss_rate_max
    try:
        plan = strategist.plan_first_survey(
            asked.policy, asked.read_point, miss_rate_max=limit, effort=effort
        )
    except InputError as error:
        raise InputError(map(_of_policy, error.faults)) from None
    return Answer(plan.to_json())


def _of_policy(fault: Fault) -> Fault:
    """A fault of a site.json, placed in the body."""
    path = ("policy", *fault.path[2:])
    return replace(fault, source="body", path=path, column=".".join(map(str, path)))


@endpoint("GET", "/v1/site-keys", gives={200: answer("SiteKeys")}, needs_token=False)
def site_keys(ask: Ask) -> Answer:
    """The keys of site.json: meaning, unit, default, what is allowed, when to set them."""
    return Answer(strategist.site_keys().to_json())
