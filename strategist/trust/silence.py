"""Silence: what a read point loses that reports nothing, and strategies that are no better."""

from __future__ import annotations

from strategist.survey.order import figure
from strategist.survey.policy import Policy
from strategist.trust.evaluate import Outcome

__all__ = ["beaten_by_silence", "silence_loss", "silence_warnings"]

_SAME_LOSS = 1e-6


def silence_loss(policy: Policy, outcome: Outcome) -> float:
    """The loss where nothing is reported: each wanted tag presented is missed, no stray let in."""
    return round(policy.loss.missed * outcome.wanted, 6)


def beaten_by_silence(policy: Policy, outcome: Outcome) -> bool:
    """Whether a strategy with this outcome loses no less than silence does."""
    return outcome.loss >= silence_loss(policy, outcome) - _SAME_LOSS


def silence_warnings(policy: Policy, outcome: Outcome) -> tuple[str, ...]:
    """What to know first of a strategy that is no better than silence, or misses all: sentences."""
    said = []
    if beaten_by_silence(policy, outcome):
        least = figure(silence_loss(policy, outcome))
        over = policy.limits.excess(1.0 if outcome.wanted else None, 0.0) > 0
        but = ", which a limit of missed tags forbids" if over else ": do not install this"
        said.append(
            f"This strategy is no better than silence: its loss is {figure(outcome.loss)}, to "
            f"report nothing at all loses {least}{but}."
        )
    if outcome.wanted and outcome.missed == outcome.wanted:
        said.append(
            f"Every wanted tag of the survey is missed ({outcome.missed} of {outcome.wanted})."
        )
    return tuple(said)
