"""A read point behind another cable: what each setting then radiates, and what comes back."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from strategist.errors import InputError
from strategist.radio.lawful import Lawful, lawful_at
from strategist.survey.order import figure
from strategist.survey.policy import DECIMALS, RSSI_DBM_MAX
from strategist.survey.records import Floats, ReadPoint

CABLE_DB_MAX = 60.0


def behind_cable(whole: ReadPoint, cable_db: float) -> tuple[ReadPoint, tuple[str, ...]]:
    """The read point as surveyed, behind a cable that loses so many dB more, both ways.

    What was radiated at a setting L is now radiated at L + cable_db, and comes back weaker by as
    much. The reader is taken to have every setting within the range of the survey, and no others.
    Raises InputError where no level is left, or none that is lawful.
    """
    survey = whole.survey
    if abs(cable_db) > CABLE_DB_MAX:
        allowed = f"a change of at most {CABLE_DB_MAX:g} dB"
        wrong = f"{figure(cable_db)} dB is too large a change"
        raise InputError.one("cable", figure(cable_db), allowed, wrong=wrong)
    low, high = survey.levels_dbm[0], survey.levels_dbm[-1]
    levels = np.round(survey.levels_dbm + cable_db, DECIMALS)
    has = (low <= levels) & (levels <= high)
    span = f"{figure(low)} to {figure(high)} dBm"
    if not has.any():
        allowed = f"a smaller change: a surveyed level has to stay within {span}"
        wrong = f"a change of {figure(cable_db)} dB takes every level out of the surveyed range"
        raise InputError.one("cable", figure(cable_db), allowed, wrong=wrong)
    rssi = np.minimum(np.round(survey.read_rssi - cable_db, DECIMALS), RSSI_DBM_MAX)
    survey = replace(survey, levels_dbm=levels, read_rssi=rssi).keep(levels=has)
    loss_db = min(30.0, max(0.0, round(whole.policy.radio.cable_loss_db + cable_db, DECIMALS)))
    policy = replace(whole.policy, radio=replace(whole.policy.radio, cable_loss_db=loss_db))
    if policy.levels_dbm is not None:
        kept = tuple(float(level) for level in survey.levels_dbm)
        policy = replace(policy, levels_dbm=kept)
    lawful = lawful_at(survey.levels_dbm, policy.radio)
    if len(lawful.levels_above_dbm) == len(survey.levels_dbm):
        todo = f"Give a change that leaves one lawful. {lawful.level.reason}"
        wrong = f"with a change of {figure(cable_db)} dB no surveyed level is lawful"
        raise InputError.one("cable", figure(cable_db), todo, wrong=wrong)
    assumptions = _assumed(cable_db, whole.survey.levels_dbm, span, int((~has).sum()), lawful)
    return replace(whole, survey=survey, policy=policy), assumptions


def _assumed(
    cable_db: float, surveyed: Floats, span: str, gone: int, lawful: Lawful
) -> tuple[str, ...]:
    """What the answer behind another cable takes for granted, in sentences."""
    more = f"{figure(abs(cable_db))} dB {'more' if cable_db > 0 else 'less'}"
    radiated, stronger = (
        _signed(-cable_db),
        "lower" if cable_db > 0 else "higher",
    )
    if lawful.level.dbm is None:
        law = "the lawful conducted power is another one: check it anew."
    else:
        count = len(lawful.levels_above_dbm)
        above = f"{count or 'none'} of the settings left {'is' if count < 2 else 'are'} above it"
        highest = math.floor(100 * lawful.level.dbm) / 100  # never more than it is
        law = f"the highest lawful level is {figure(highest)} dBm; {above}."
    return (
        f"The cable loses {more}: at any setting L the antenna now radiates what L {radiated} dB "
        f"radiated in the survey, and every RSSI is {figure(abs(cable_db))} dB {stronger} (one "
        "cable both ways).",
        f"The reader can be set from {span}, the range of the survey, and no further: {gone} of "
        f"{len(surveyed)} surveyed levels {'drops' if gone == 1 else 'drop'} out.",
        "Tags answer as before: whether a reply is too weak for the reader was decided in the "
        f"survey. With {more} {law}",
    )


def _signed(number: float) -> str:
    return f"{'+' if number > 0 else '-'} {figure(abs(number))}"
