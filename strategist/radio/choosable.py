"""Which surveyed levels may be chosen: those that are lawful and that the reader can be set to."""

from __future__ import annotations

import numpy as np

from strategist.errors import InputError
from strategist.radio.lawful import lawful_levels
from strategist.survey.order import figure, some
from strategist.survey.policy import Policy
from strategist.survey.records import Bools, Survey

__all__ = ["choosable_levels"]


def choosable_levels(survey: Survey, policy: Policy) -> Bools:
    """A mark for each surveyed level. Raises InputError where none is left."""
    lawful = lawful_levels(survey, policy)
    levels = survey.levels_dbm.tolist()
    may: Bools = lawful & np.array([policy.reader.can_set_level(level) for level in levels], bool)
    if not may.any():
        path = ("read_points", survey.read_point, "reader", "power_levels_dbm")
        lawful_dbm = [figure(level) for level in survey.levels_dbm[lawful]]
        raise InputError.one(
            "site.json",
            some([figure(level) for level in policy.reader.power_levels_dbm or ()]),
            f"a level that was surveyed and is lawful: {some(lawful_dbm)}",
            column=".".join(path),
            path=path,
        )
    return may
