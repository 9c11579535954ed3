"""How a strategy stands in a survey beyond its loss: rates, guards, margins, what was predicted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from strategist.optimise.strategy import Strategy
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
class Standing:
    """What every answer carries of its own weakness."""

    rates: Rates
    guarded: GuardedOutcome
    worst: WorstCase
    margins: Margins
    foreseen: Foreseen | None = None

    @property
    def warnings(self) -> tuple[str, ...]:
        """What must be done before the settings are handed over."""
        return () if self.foreseen is None else self.foreseen.warnings

    def to_json(self) -> dict[str, Any]:
        """The keys that it adds to a result or an evaluation."""
        return {
            "guarded_loss": self.guarded.loss,
            "guarded": self.guarded.to_json(),
            "worst_case_loss": self.worst.loss,
            "worst_case": self.worst.to_json(),
            "rates": self.rates.to_json(),
            "margins": self.margins.to_json(),
            "predicted": None if self.foreseen is None else self.foreseen.to_json(),
        }


def standing_of(survey: Survey, policy: Policy, strategy: Strategy, outcome: Outcome) -> Standing:
    """The standing of a strategy whose outcome in a completely surveyed read point is known."""
    return Standing(
        rates_of(outcome, dependence_of(survey, outcome)),
        guarded_outcome(survey, policy, strategy),
        worst_case(survey, policy, strategy),
        margins_of(survey, policy, strategy, outcome),
        foreseen_of(survey, strategy),
    )
