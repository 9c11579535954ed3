"""An acceptance run: a new survey, taken after installation, held against a limit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from strategist.answers.expected import Foretold, foretold_of
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.answer import Declared, Flat
from strategist.survey.records import ReadPoint
from strategist.trust.acceptance import RunVerdict, judge_run
from strategist.trust.dependence import dependence_of
from strategist.trust.drift import Drift, drift_between
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.evaluation import silence_warnings
from strategist.trust.miss_rate_max import MISS_RATE_MAX
from strategist.trust.on_air import on_air_of
from strategist.trust.rates import Rates, rates_of


@dataclass(frozen=True)
class AcceptanceRun(Declared):
    """A run of new passes under a strategy, judged by the passes in which a wanted tag was missed.

    Strays are reported with their interval and do not decide. `drift` is None without an earlier
    survey, `foretold` also where that does not aim at passes to come.
    """

    read_point: str
    judged: Flat[RunVerdict]
    strategy: Strategy
    outcome: Outcome
    rates: Rates
    drift: Annotated[Drift | None, Field(description="null without an older survey")]
    foretold: Annotated[
        Foretold | None,
        Field(description="null without an older survey that aims at expected loss"),
    ]
    warnings: tuple[str, ...]

    @property
    def accepted(self) -> bool:
        return self.judged.verdict == "accepted"


def accept(
    read_point: ReadPoint,
    strategy: Strategy,
    miss_rate_max: float = MISS_RATE_MAX,
    confidence: float = 0.95,
    against: ReadPoint | None = None,
) -> AcceptanceRun:
    """Hold a new survey of a read point against a limit: accepted, rejected, or inconclusive.

    A failure is a pass with a wanted tag that the strategy missed; passes without a wanted tag
    are no trials. A step above the one where a pass stopped need not have been tried there.
    `against` is the survey that the strategy came from. Raises InputError where a pass was not
    tried at a step that it walks up to, or for a limit or confidence out of range.
    """
    outcome = evaluate(read_point.survey, read_point.policy, strategy)
    trials = [p for p in outcome.by_pass if p.wanted]
    failures = sum(bool(p.missed) for p in trials)
    dependence = dependence_of(read_point.survey, outcome)
    verdict = judge_run(miss_rate_max, failures, len(trials), confidence, dependence.part)
    drift = None if against is None else drift_between(against, read_point)
    on_air = on_air_of(read_point.survey, read_point.policy, strategy, outcome)
    return AcceptanceRun(
        read_point.name,
        verdict,
        strategy,
        outcome,
        rates_of(outcome, dependence),
        drift,
        _foretold(against, strategy, outcome),
        (
            *(silence_warnings(read_point.policy, outcome) if trials else ()),
            *on_air.warnings,
            *dependence.warnings,
            *read_point.warnings,
        ),
    )


def _foretold(against: ReadPoint | None, strategy: Strategy, outcome: Outcome) -> Foretold | None:
    if against is None:
        return None
    return foretold_of(complete(against), strategy, outcome.passes, outcome.loss / outcome.passes)
