"""How a strategy stands in a survey beyond its loss: rates, guards, margins, what was predicted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared, told
from strategist.survey.policy import Policy
from strategist.survey.records import Survey
from strategist.trust.dependence import dependence_of
from strategist.trust.evaluate import Outcome
from strategist.trust.foreseen import Foreseen, foreseen_of
from strategist.trust.guarded import GuardedOutcome, guarded_outcome
from strategist.trust.margins import Margins, margins_of
from strategist.trust.rates import Rates, rates_of
from strategist.trust.worst_case import WorstCase, worst_case

__all__ = ["Standing", "standing_of"]


@dataclass(frozen=True)
class Standing(Declared):
    """What every answer carries of its own weakness."""

    guarded: GuardedOutcome
    worst_case: WorstCase
    rates: Rates
    margins: Margins
    predicted: Annotated[
        Foreseen | None,
        Field(description="Levels that were predicted, and their 95 % errors in dB"),
    ]

    @told()
    def guarded_loss(self) -> float:
        """If every tag drifts the whole guard the wrong way."""
        return self.guarded.loss

    @told(after="guarded")
    def worst_case_loss(self) -> float:
        """The most that drift can cost if each tag drifts its own way within the guards."""
        return self.worst_case.loss

    @property
    def warnings(self) -> tuple[str, ...]:
        """What must be done before the settings are handed over."""
        return () if self.predicted is None else self.predicted.warnings


def standing_of(
    survey: Survey,
    policy: Policy,
    strategy: Strategy,
    outcome: Outcome,
    guarded: GuardedOutcome | None = None,
) -> Standing:
    """The standing of a strategy whose outcome in a completely surveyed read point is known, and
    perhaps that under the guards."""
    return Standing(
        guarded or guarded_outcome(survey, policy, strategy),
        worst_case(survey, policy, strategy),
        rates_of(outcome, dependence_of(survey, outcome)),
        margins_of(survey, policy, strategy, outcome),
        foreseen_of(survey, strategy),
    )
