"""`plan-acceptance` and `accept`: how many passes show a rate, and what a run of them has shown."""

from __future__ import annotations

import argparse

import strategist
from strategist.commands.arguments import (
    OK,
    UNUSABLE,
    Commands,
    add_case,
    add_command,
    add_out,
    give,
    given,
    number,
    refuse_out,
    whole,
)

__all__ = ["add"]

_CONFIDENCE = 0.95
_share = number("a share above 0 and below 1", lambda found: 0 < found < 1)


def add(commands: Commands) -> None:
    what = "say how many passes show that a rate of misses is low enough"
    plan = add_command(commands, "plan-acceptance", _plan, what)
    plan.add_argument(
        "--rate",
        type=_share,
        required=True,
        metavar="R",
        help="share of passes with a miss, as 0.05",
    )
    _add_confidence(plan)
    plan.add_argument(
        "--errors",
        type=whole(0, 1000),
        default=0,
        metavar="N",
        help="failed passes that are allowed (0)",
    )
    add_out(plan)
    what = "judge a new survey under the strategy installed: pass, fail or not enough"
    run = add_command(commands, "accept", _accept, what)
    add_case(run, strategy=True)
    run.add_argument(
        "--rate", type=_share, metavar="R", help="share of passes with a miss to show (0.05)"
    )
    _add_confidence(run)
    run.add_argument(
        "--against", metavar="CASE", help="the survey that the strategy came from: what has moved?"
    )


def _add_confidence(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--confidence", type=_share, default=_CONFIDENCE, metavar="C", help="of the verdict (0.95)"
    )


def _plan(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    plan = strategist.plan_acceptance(arguments.rate, arguments.confidence, arguments.errors)
    give(arguments.out, plan.to_json(), strategist.plan_text(plan))
    return OK


def _accept(arguments: argparse.Namespace) -> int:
    """Exit status 0 for a pass, 1 for a fail or not enough."""
    point, strategy = given(arguments)
    against = None
    if arguments.against is not None:
        against = strategist.read_case(arguments.against, point.name).read_points[0]
    limit = {} if arguments.rate is None else {"rate_limit": arguments.rate}
    run = strategist.accept(
        point, strategy, confidence=arguments.confidence, against=against, **limit
    )
    give(arguments.out, run.to_json(), strategist.acceptance_text(run))
    return OK if run.passed else UNUSABLE
