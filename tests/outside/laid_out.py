"""Read points of one pass, at one level, that stand for a problem published elsewhere."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from strategist.survey.policy import Policy
from strategist.survey.records import ReadPoint, Survey, Tag

__all__ = ["one_pass"]


def one_pass(
    epcs: Sequence[str], wanted: Sequence[bool], rssi: Sequence[float], policy: Policy
) -> ReadPoint:
    """Tags that lie there together; each is read once, with its RSSI in dBm, at 20 dBm."""
    tags = np.arange(len(epcs))
    zeros = np.zeros(len(epcs), np.int64)
    survey = Survey(
        read_point="laid-out",
        levels_dbm=np.array([20.0]),
        pass_ids=("all",),
        tags=tuple(Tag(epc) for epc in epcs),
        roster_pass=zeros,
        roster_tag=tags,
        roster_wanted=np.array(wanted, bool),
        roster_listed=np.ones(len(epcs), bool),
        read_pass=zeros.copy(),
        read_level=zeros.copy(),
        read_tag=tags.copy(),
        read_rssi=np.array(rssi, float),
        tried=np.ones((1, 1), bool),
    )
    return ReadPoint(survey, policy)
