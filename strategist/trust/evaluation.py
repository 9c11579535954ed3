"""What a given strategy would do at a read point, as surveyed: the answer of `evaluate`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.answer import Declared, Flat, told
from strategist.survey.records import ReadPoint
from strategist.tags.mask import unrecorded
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.on_air import OnAir, on_air_of
from strategist.trust.settable import not_settable
from strategist.trust.silence import silence_loss, silence_warnings
from strategist.trust.standing import Standing, standing_of

__all__ = ["Evaluation", "evaluate_at"]


SilenceLoss = Annotated[float, Field(description="The loss where the read point reports nothing")]


@dataclass(frozen=True)
class Evaluation(Declared):
    """A strategy with its outcome; `silence_loss` is what is lost where nothing is reported.

    `warnings` are whole sentences: no better than silence, what the reader cannot be set to, levels
    above the lawful one, a ladder too long for the dwell, the survey, and masks that test what it
    did not record.
    """

    read_point: str
    silence_loss: SilenceLoss
    strategy: Strategy
    outcome: Outcome
    standing: Flat[Standing]
    on_air: Flat[OnAir]
    warnings: tuple[str, ...]

    @told(after="read_point")
    def loss(self) -> float:
        return self.outcome.loss


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
    return Evaluation(read_point.name, silent, strategy, outcome, standing, on_air, warnings)
