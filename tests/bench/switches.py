"""This solver with one reduction switched off, as tasks of the benchmark.

A further switch is a further function here, and its line in `SWITCHES`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strategist.optimise.problem import pose
from strategist.optimise.search import Clock, search
from strategist.survey.profile import Profile, peaks
from strategist.survey.records import Ints, ReadPoint, Survey
from tests.bench.measure import Found
from tests.bench.ours import found_of

__all__ = ["SWITCHES", "tags_and_passes_apart"]

SWITCHES = {
    "nothing": "tests.bench.ours:by_search",
    "merging of tags and passes": "tests.bench.switches:tags_and_passes_apart",
}


def tags_and_passes_apart(read_point: ReadPoint, seconds: float | None) -> Found:
    """Each presentation has its own row, each pass its own group, whatever is equal."""
    clock = Clock(seconds)
    problem = pose(read_point.survey, read_point.policy)
    profile = _apart(read_point.survey, problem.candidates.tag_class, problem.profile)
    return found_of(search(replace(problem, profile=profile), clock), clock)


def _apart(survey: Survey, tag_class: Ints, merged: Profile) -> Profile:
    """The profile of a survey with nothing merged; levels and classes as in the merged one."""
    order = np.argsort(survey.roster_pass, kind="stable")
    levels = np.isin(survey.levels_dbm, merged.levels_dbm)
    return Profile(
        levels_dbm=merged.levels_dbm,
        row_pass=survey.roster_pass[order],
        row_class=tag_class[survey.roster_tag[order]],
        row_wanted=survey.roster_wanted[order],
        row_count=np.ones(len(order), np.int64),
        rssi=peaks(survey)[order][:, levels],
        pass_count=np.ones(len(survey.pass_ids), np.int64),
        classes=merged.classes,
    )
