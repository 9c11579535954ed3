"""The RSSI that counts under the guards, as the optimiser sees it.

Written apart from `trust/guarded.py`, which replays what is chosen here: the two are compared.
"""

from __future__ import annotations

import numpy as np

from strategist.survey.policy import DECIMALS, GUARD_POWER_DB_MAX, GUARD_RSSI_DB_MAX, Guard
from strategist.survey.profile import peaks
from strategist.survey.records import Bools, Floats, Survey

__all__ = ["guarded_peaks"]


def guarded_peaks(survey: Survey, guard: Guard) -> Floats:
    """Strongest read of each roster entry at each level under the guards: (entries, levels), dBm.

    A wanted tag is taken from the measured level at or below its level less `power_db`, and is
    `rssi_db` weaker; a stray tag from the one at or above, and stronger. The end levels stand in
    for those beyond the range; −inf: not read. At predicted pairs both guards are wider by the
    errors of the prediction. Needs a survey without untried pairs.
    """
    found = peaks(survey)
    counts: Floats = np.empty_like(found)
    some: Bools = np.logical_or.reduce(survey.measured, axis=1)
    usable_in = survey.measured | ~some[:, None]
    table = np.column_stack([usable_in, ~survey.measured])
    kinds, kind_of = table[:1], np.zeros(len(table), np.int64)
    if (table != kinds).any():  # as a rule all passes are alike
        kinds, kind_of = np.unique(table, axis=0, return_inverse=True)
    kind_of = kind_of.reshape(-1)[survey.roster_pass]
    levels = np.round(survey.levels_dbm, DECIMALS)
    for number, kind in enumerate(kinds):
        usable, foreseen = np.flatnonzero(kind[: len(levels)]), kind[len(levels) :]
        power_db, rssi_db = _widened(survey, guard, foreseen)
        lower = np.searchsorted(levels[usable], np.round(levels - power_db, DECIMALS), "right") - 1
        upper = np.searchsorted(levels[usable], np.round(levels + power_db, DECIMALS), "left")
        entries = kind_of == number
        of_wanted, of_stray = (entries & (survey.roster_wanted == role) for role in (True, False))
        lower, upper = np.maximum(lower, 0), np.minimum(upper, len(usable) - 1)
        counts[of_wanted] = found[of_wanted][:, usable[lower]] - rssi_db
        counts[of_stray] = found[of_stray][:, usable[upper]] + rssi_db
    rounded: Floats = np.round(counts, DECIMALS)
    return rounded


def _widened(survey: Survey, guard: Guard, foreseen: Bools) -> tuple[Floats, Floats]:
    """Both guards (dB) at each level; `foreseen` levels were predicted."""
    off = survey.predicted
    more_power, more_rssi = (off.turn_on_db, off.rssi_db) if off else (0.0, 0.0)
    power = min(guard.power_db + more_power, GUARD_POWER_DB_MAX)
    rssi = min(guard.rssi_db + more_rssi, GUARD_RSSI_DB_MAX)
    return (
        np.where(foreseen, round(power, DECIMALS), guard.power_db),
        np.where(foreseen, round(rssi, DECIMALS), guard.rssi_db),
    )
