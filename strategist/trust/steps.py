"""What is known of the steps of a strategy before anybody sets them: lawful, surveyed, or not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from strategist.radio.complete import within_reach
from strategist.radio.lawful import Lawful, lawful_at, strictest_radio
from strategist.radio.regions import levels_above
from strategist.survey.answer import Declared, told
from strategist.survey.order import figure, some
from strategist.survey.records import ReadPoint
from strategist.trust.foreseen import survey_first
from strategist.trust.on_air import unlawful

Known = Literal["surveyed", "predicted", "not_surveyed"]

_SAME_LEVEL_DB = 1e-6


@dataclass(frozen=True)
class Step(Declared):
    """A level (dBm) that is to be set; `lawful` None where no lawful level can be named.

    `known` is "predicted" where the reads of some pass at it are, "not_surveyed" where no pass
    was tried at it and nothing foretells it.
    """

    power_dbm: float
    lawful: bool | None
    known: Known


@dataclass(frozen=True)
class Steps(Declared):
    """The steps of a strategy in their order, and what is lawful at the read point."""

    levels: tuple[Step, ...]
    lawful: Lawful

    @told(after="lawful")
    def warnings(self) -> tuple[str, ...]:
        """What must be settled before these levels are set; empty where nothing must."""
        unknown = self._known("not_surveyed")
        warnings = [
            *unlawful([step.power_dbm for step in self.levels], self.lawful),
            *survey_first(self._known("predicted")),
        ]
        if unknown:
            warnings.append(
                f"{some([figure(level) for level in unknown])} dBm was not surveyed here: nothing "
                "is known of what it reads"
            )
        return tuple(warnings)

    def _known(self, how: Known) -> list[float]:
        return [step.power_dbm for step in self.levels if step.known == how]


def steps_of(read_point: ReadPoint, levels_dbm: Sequence[float]) -> Steps:
    """The levels of a strategy held against the law and the survey of a read point.

    Any level may be asked for, and the survey may have gaps that `complete` would refuse.
    """
    survey, policy = read_point.survey, read_point.policy
    lawful = lawful_at(survey.levels_dbm, strictest_radio(policy))
    over = levels_above(levels_dbm, lawful.level)
    tried = np.logical_or.reduce(survey.tried, axis=0)
    asked = within_reach(survey.levels_dbm, survey.tried) & policy.predict_levels
    predicted = np.logical_or.reduce(asked, axis=0)

    def known(step: float) -> Known:
        at = np.flatnonzero(np.abs(survey.levels_dbm - step) < _SAME_LEVEL_DB)
        if predicted[at].any():
            return "predicted"
        return "surveyed" if tried[at].any() else "not_surveyed"

    claimed = lawful.level.dbm is not None
    steps = (Step(one, one not in over if claimed else None, known(one)) for one in levels_dbm)
    return Steps(tuple(steps), lawful)
