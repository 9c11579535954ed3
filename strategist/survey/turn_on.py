"""Turn-on: the lowest surveyed level at which a tag was read in a pass, and what lies above it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strategist.survey.kept import kept
from strategist.survey.profile import peaks
from strategist.survey.records import Bools, Floats, Ints, Survey

__all__ = ["TurnOn", "turn_on"]


@dataclass(frozen=True, eq=False)
class TurnOn:
    """One row for each roster entry of a survey.

    `level[e]` is the index of the lowest level at which the tag was read, −1 where at none;
    `rssi[e]` its strongest read there (dBm, NaN where none). `gap[e]`: at some level tried above
    it the tag was not read. `peaks[e, l]` as in `survey.profile.peaks`.
    """

    level: Ints
    rssi: Floats
    gap: Bools
    peaks: Floats


@kept
def turn_on(survey: Survey) -> TurnOn:
    """The turn-on of each roster entry."""
    found = peaks(survey)
    read = np.isfinite(found)
    level = np.where(read.any(axis=1), read.argmax(axis=1), -1)
    above = np.arange(found.shape[1])[None, :] > level[:, None]
    gap = (level >= 0) & (np.isneginf(found) & above).any(axis=1)
    first = np.where(level < 0, np.nan, found[np.arange(len(level)), np.maximum(level, 0)])
    return TurnOn(level.astype(np.int64), first, gap, found)
