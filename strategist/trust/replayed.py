"""Written settings, replayed: do they do in the survey what their strategy does?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.radio.complete import complete
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.order import figure
from strategist.survey.records import ReadPoint
from strategist.trust.evaluate import Outcome, evaluate
from strategist.trust.settable import not_settable
from strategist.trust.silence import silence_warnings

__all__ = ["Replayed", "replayed"]


@dataclass(frozen=True)
class Replayed(Declared):
    """A strategy and the one that comes back from the settings written for it, with the outcome of
    each in the survey; `refused` is why neither could be replayed (the outcomes are then None).
    """

    meant: Hidden[Strategy]
    strategy: Strategy
    meant_outcome: Hidden[Outcome | None]
    outcome: Outcome | None
    refused: Hidden[str | None]
    warnings: Hidden[tuple[str, ...]]

    @told(after="outcome")
    def loss(self) -> float | None:
        return None if self.outcome is None else self.outcome.loss

    @told(after="outcome")
    def meant_loss(self) -> float | None:
        return None if self.meant_outcome is None else self.meant_outcome.loss

    @told(after="strategy")
    def same(self) -> bool | None:
        """Whether both do the same in every pass; None where they could not be replayed."""
        if self.outcome is None or self.meant_outcome is None:
            return None
        return self.outcome.by_pass == self.meant_outcome.by_pass

    @told(after="outcome")
    def sentence(self) -> str:
        if self.outcome is None or self.meant_outcome is None:
            return f"These settings could not be replayed on the survey: {self.refused}"
        if self.same:
            return f"Replayed on the survey as written: {_counts(self.outcome)}, as it should be."
        differs = [
            f"{name} {_shown(getattr(self.strategy, key))} in place of "
            f"{_shown(getattr(self.meant, key))}"
            for key, name in (("levels_dbm", "power"), ("cutoff_dbm", "cutoff"))
            if getattr(self.strategy, key) != getattr(self.meant, key)
        ]
        return (
            f"AS WRITTEN THESE SETTINGS DO SOMETHING ELSE ({'; '.join(differs) or 'masks'}): "
            f"{_counts(self.outcome)}, in place of {_counts(self.meant_outcome)}."
        )


def replayed(read_point: ReadPoint, meant: Strategy, written: Strategy) -> Replayed:
    """Evaluate both in the survey; `warnings` tell of settings that are no better than silence and
    of what the reader cannot be set to."""
    settable = not_settable(read_point.policy.reader, meant)
    try:
        whole = complete(read_point)
        outcomes = [evaluate(whole.survey, whole.policy, one) for one in (meant, written)]
    except InputError as error:
        return Replayed(meant, written, None, None, str(error.faults[0]), settable)
    warnings = (*silence_warnings(whole.policy, outcomes[1]), *settable)
    return Replayed(meant, written, outcomes[0], outcomes[1], None, warnings)


def _counts(outcome: Outcome) -> str:
    return f"{outcome.missed} missed and {outcome.stray} stray (loss {figure(outcome.loss)})"


def _shown(value: Any) -> str:
    if value is None:
        return "none"
    if isinstance(value, tuple):
        return f"{', '.join(figure(one) for one in value)} dBm"
    return f"{figure(value)} dBm"
