"""What a strategy is on the air: lawful or not, how near people may come, how long it takes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np
from pydantic import Field

from strategist.optimise.strategy import Strategy
from strategist.radio.dwell import failed_reads, field_of, fits, step_time, turns_of
from strategist.radio.exposure import ExposureDistance, NoDistance
from strategist.radio.lawful import Lawful, exposure_at, lawful_at, strictest_radio
from strategist.radio.regions import levels_above
from strategist.survey.answer import Declared, Hidden, told
from strategist.survey.order import figure
from strategist.survey.policy import DECIMALS, Policy, Radio
from strategist.survey.records import Survey
from strategist.survey.score import Peak
from strategist.tags.mask import accepted_by
from strategist.trust.evaluate import Outcome

_GIVEN = ("a step takes as long as given, whatever the masks and the tags",)
_IN_TURN = ("each antenna that is on has a turn in every step, one after the other",)
_ESTIMATED = (
    "expected: each pass with its own tags that the masks let through, ended where it stopped",
    "worst: every step walked, each as long as 99 % of steps at most; one step in 100 takes longer",
    "rounds of framed ALOHA until 99.9 % of the tags are read, with the best Q",
    "reads fail by failed_read_rate, or as often as tags were not read above their turn-on in the "
    "survey, which is too seldom where it listened long at a level",
    "no time of the reader's own but overhead_s: measure a step (step_s) where it matters",
)


@dataclass(frozen=True)
class LadderTime(Declared):
    """Times in s of a strategy in a pass of `dwell_s` (None: not limited).

    `expected_s` is the mean over the surveyed passes; `worst_s` that of the whole ladder, each step
    as long as the share `quantile` of steps at most (`step_worst_s`; all its turns, where antennas
    take turns), with `tags_in_field` and
    `failed_read_rate` failing (all three None: the step was measured).
    `steps_max[k]` is the most steps that were searched with k masks (None: nothing was searched).
    """

    expected_s: float
    worst_s: float
    step_worst_s: float
    quantile: Annotated[float | None, Field(description="Share of steps within `step_worst_s`")]
    dwell_s: float | None
    tags_in_field: int | None
    failed_read_rate: Annotated[float | None, Field(description="null where step_s was measured")]
    steps_max: Annotated[
        tuple[int, ...] | None, Field(description="Most steps searched with 0, 1, … masks")
    ]
    assumptions: tuple[str, ...]

    @told(after="dwell_s")
    def fits(self) -> bool | None:
        """Whether the whole ladder fits the dwell; None without a dwell."""
        return None if self.dwell_s is None else fits(1, self.worst_s, self.dwell_s)


@dataclass(frozen=True)
class OnAir(Declared):
    """`time` is None where nothing is known.

    `warnings` are whole sentences on what this strategy breaks.
    """

    lawful: Lawful
    exposure: ExposureDistance | NoDistance
    time: LadderTime | None
    warnings: Hidden[tuple[str, ...]]

    def searched(self, steps_max: tuple[int, ...]) -> OnAir:
        """The same, with the most steps that were searched for each number of masks."""
        return replace(self, time=self.time and replace(self.time, steps_max=steps_max))


def on_air_of(survey: Survey, policy: Policy, strategy: Strategy, outcome: Outcome) -> OnAir:
    """What a strategy is on the air, its outcome in a completely surveyed read point known."""
    policy = replace(policy, time=policy.time.listening(strategy.step_s))
    on = None if strategy.score is None else strategy.score.on
    lawful = lawful_at(survey.levels_dbm, strictest_radio(policy, on))
    time = _time(survey, policy, strategy, outcome)
    radiated = radiated_dbm(strategy, policy)
    warnings = [
        warning
        for radio, levels_dbm in radiated.items()
        for warning in unlawful(levels_dbm, lawful_at(survey.levels_dbm, radio))
    ]
    if time is not None and not time.fits and time.dwell_s is not None:
        warnings.append(
            f"The ladder may take {time.worst_s:.3g} s and a pass lasts {time.dwell_s:.3g} s: "
            "tags may be gone before the last step."
        )
    distances = [exposure_at(levels_dbm[-1], radio) for radio, levels_dbm in radiated.items()]
    exposure = max(distances, key=lambda one: one.distance_m or 0.0)
    return OnAir(lawful, exposure, time, tuple(warnings))


def radiated_dbm(strategy: Strategy, policy: Policy) -> dict[Radio, tuple[float, ...]]:
    """The levels that each antenna which is on is given, by its gain and cable."""
    score = strategy.score
    on = None if score is None else score.on
    trims = dict(score.trim_db) if isinstance(score, Peak) else {}
    found: dict[Radio, set[float]] = {}
    for antenna in [one for one, _ in policy.antennas] if on is None else on:
        trim, radio = trims.get(antenna, 0.0), policy.radio_of(antenna)
        levels = {round(level + trim, DECIMALS) for level in strategy.levels_dbm}
        found.setdefault(radio, set()).update(levels)
    if not found:
        return {policy.radio: strategy.levels_dbm}
    return {radio: tuple(sorted(levels)) for radio, levels in found.items()}


def unlawful(levels_dbm: Sequence[float], lawful: Lawful) -> tuple[str, ...]:
    """A warning that names the levels above the lawful one; empty where none is, or none known."""
    over = levels_above(levels_dbm, lawful.level)
    if not over:
        return ()
    said = ", ".join(figure(level) for level in over)
    return (f"UNLAWFUL as far as is known here: {said} dBm. {lawful.level.reason}",)


def _time(
    survey: Survey, policy: Policy, strategy: Strategy, outcome: Outcome
) -> LadderTime | None:
    time = policy.time
    fields = [(mask.pointer, mask.length) for mask in strategy.masks]
    tags = field_of(survey, time)
    failed = failed_reads(survey, time)
    step = step_time(time, tags, fields, failed)
    if step is None:
        return None
    measured, turns = time.step_s is not None, turns_of(survey, time, strategy.score)
    own = _IN_TURN if time.in_turn else ()
    return LadderTime(
        expected_s=turns * _expected_s(survey, policy, strategy, outcome, fields),
        worst_s=len(strategy.levels_dbm) * turns * step.worst_s,
        step_worst_s=turns * step.worst_s,
        dwell_s=time.dwell_s,
        quantile=None if measured else step.quantile,
        tags_in_field=None if measured else tags,
        failed_read_rate=None if measured else failed,
        steps_max=None,
        assumptions=(*(_GIVEN if measured else _ESTIMATED), *own),
    )


def _expected_s(
    survey: Survey,
    policy: Policy,
    strategy: Strategy,
    outcome: Outcome,
    fields: list[tuple[int, int]],
) -> float:
    """Mean over the passes: the steps walked, each as long as the tags of the pass make it."""
    time, failed = policy.time, failed_reads(survey, policy.time)
    through = np.array(accepted_by(strategy.masks, survey.tags), bool)
    answering = np.bincount(
        survey.roster_pass, through[survey.roster_tag], len(survey.pass_ids)
    ).astype(int)
    if time.tags_in_field is not None:
        answering[:] = time.tags_in_field
    walked: Counter[int] = Counter()
    for tags, one in zip(answering.tolist(), outcome.by_pass, strict=True):
        walked[tags] += one.steps
    total = 0.0
    for tags, steps in walked.items():
        step = step_time(time, tags, fields, failed)
        assert step is not None
        total += steps * step.expected_s
    return total / outcome.passes
