"""What a given strategy would do at a read point, as surveyed: the answer of `evaluate`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.records import ReadPoint
from strategist.tags.mask import unrecorded
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.on_air import OnAir, on_air_of
from strategist.trust.settable import not_settable
from strategist.trust.silence import silence_loss, silence_warnings
from strategist.trust.standing import Standing, standing_of

__all__ = ["Evaluation", "evaluate_at"]


@dataclass(frozen=True)
class Evaluation:
    """A strategy with its outcome; `silence_loss` is what is lost where nothing is reported.

    `warnings` are whole sentences: no better than silence, what the reader cannot be set to, levels
    above the lawful one, a ladder too long for the dwell, the survey, and masks that test what it
    did not record.
    """

    read_point: str
    strategy: Strategy
    outcome: Outcome
    standing: Standing
    on_air: OnAir
    silence_loss: float
    warnings: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The keys that it shares with a result mean the same there."""
        return {
            "read_point": self.read_point,
            "loss": self.outcome.loss,
            "silence_loss": self.silence_loss,
            "strategy": self.strategy.to_json(),
            "outcome": self.outcome.to_json(),
            **self.standing.to_json(),
            **self.on_air.to_json(),
            "warnings": list(self.warnings),
        }


def evaluate_at(read_point: ReadPoint, strategy: Strategy) -> Evaluation:
    """The evaluation on the same passes and levels that `choose` would look at.

    Raises InputError where the strategy uses a level that was not surveyed, and where pairs were
    not surveyed and the policy does not say what to leave out.
    """
    whole = complete(read_point)
    outcome = evaluate(whole.survey, whole.policy, strategy)
    standing = standing_of(whole.survey, whole.policy, strategy, outcome)
    on_air = on_air_of(whole.survey, whole.policy, strategy, outcome)
    unknown = unrecorded(strategy.masks, whole.survey.tags)
    warnings = (
        *silence_warnings(whole.policy, outcome),
        *not_settable(whole.policy.reader, strategy),
        *on_air.warnings,
        *whole.warnings,
        *standing.warnings,
        *unknown,
    )
    silent = silence_loss(whole.policy, outcome)
    return Evaluation(read_point.name, strategy, outcome, standing, on_air, silent, warnings)
