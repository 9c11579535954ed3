"""Which levels of an answer were predicted and not surveyed, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from strategist.optimise.strategy import Strategy
from strategist.survey.answer import Declared
from strategist.survey.order import figure, some
from strategist.survey.records import Survey
from strategist.trust.evaluate import surveyed_steps


@dataclass(frozen=True)
class Foreseen(Declared):
    """Levels (dBm) at which some pass has predicted reads, and the strategy's steps among them.

    `pairs` counts the pairs of pass and level. The errors (dB) hold for 95 in 100 predictions;
    `right` is the share of measured cells that were foreseen as read or not (None: too few).
    """

    levels_dbm: tuple[float, ...]
    steps_dbm: tuple[float, ...]
    pairs: int
    turn_on_error_db: float
    rssi_error_db: float
    right: float | None

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to survey before the settings are handed over; empty where no step needs it."""
        return survey_first(self.steps_dbm)


def foreseen_of(survey: Survey, strategy: Strategy) -> Foreseen | None:
    """What of a completed survey was predicted, and which steps are; None where nothing was.

    Raises InputError where the strategy uses a level that the survey lacks.
    """
    predicted = survey.predicted
    if predicted is None:
        return None
    at = np.flatnonzero(predicted.pairs.any(axis=0))
    steps = sorted(set(surveyed_steps(survey, strategy)) & set(at.tolist()))
    return Foreseen(
        tuple(survey.levels_dbm[at].tolist()),
        tuple(survey.levels_dbm[steps].tolist()),
        int(predicted.pairs.sum()),
        predicted.turn_on_db,
        predicted.rssi_db,
        predicted.right,
    )


def survey_first(predicted_dbm: Sequence[float]) -> tuple[str, ...]:
    """What to do about steps (dBm) that were predicted, as a warning; empty without any."""
    if not predicted_dbm:
        return ()
    steps = some([figure(step) for step in predicted_dbm])
    one = len(predicted_dbm) == 1
    return (
        f"the step{'' if one else 's'} {steps} dBm {'was' if one else 'were'} predicted, not "
        f"surveyed: survey {'it' if one else 'them'} here before the settings are handed over",
    )
