"""May a strategy that was made for one read point be set at another?"""

from __future__ import annotations

import numpy as np

from strategist.optimise.strategy import Strategy
from strategist.radio.dwell import failed_reads, field_of, fits, step_time, turns_of
from strategist.radio.lawful import lawful_at, strictest_radio
from strategist.survey.policy import SAME_DB, Policy
from strategist.survey.records import Survey
from strategist.tags.mask import bank_start

__all__ = ["installable"]


def installable(strategy: Strategy, policy: Policy, survey: Survey) -> bool:
    """Whether a strategy keeps to what a read point's policy allows and its reader can do.

    Its levels must be among the lawful ones surveyed, it must fit the dwell, and a ladder must stop
    as the policy says.
    """
    allow, reader, levels = policy.allow, policy.reader, strategy.levels_dbm
    on = None if strategy.score is None else strategy.score.on
    if strategy.score is not None and "antennas" not in allow:
        return False
    if not set(on or ()) <= set(survey.antennas):
        return False
    radio = strictest_radio(policy, on)
    unlawful = lawful_at(survey.levels_dbm, radio).levels_above_dbm
    levels_dbm = survey.levels_dbm[~np.isin(survey.levels_dbm, unlawful)]
    if not len(levels_dbm) or not _fits(strategy, policy, survey):
        return False
    surveyed = all(abs(levels_dbm - level).min() < SAME_DB for level in levels)
    settable = [level for level in levels_dbm.tolist() if reader.can_set_level(level)]
    top = bool(settable) and abs(levels[-1] - settable[-1]) < SAME_DB
    steps = reader.ladder_steps_max if "ladder" in allow else 1
    slots = reader.mask_slots if "masks" in allow else 0
    return (
        surveyed
        and all(map(reader.can_set_level, levels))
        and (top or "power" in allow)
        and len(levels) <= steps
        and (len(levels) == 1 or strategy.stop_after == policy.stop_after)
        and (
            strategy.cutoff is None
            or ("cutoff" in allow and reader.can_set_cutoff(strategy.cutoff))
        )
        and len(strategy.masks) <= slots
        and all(
            mask.length <= reader.mask_bits_max
            and mask.length % reader.mask_step_bits == 0
            and (mask.pointer - bank_start(mask.bank)) % reader.mask_step_bits == 0
            for mask in strategy.masks
        )
    )


def _fits(strategy: Strategy, policy: Policy, survey: Survey) -> bool:
    fields = [(mask.pointer, mask.length) for mask in strategy.masks]
    time = policy.time.listening(strategy.step_s)
    step = step_time(time, field_of(survey, time), fields, failed_reads(survey, time))
    turns = len(strategy.levels_dbm) * turns_of(survey, time, strategy.score)
    return step is None or time.dwell_s is None or fits(turns, step.worst_s, time.dwell_s)
