"""This solver with one reduction switched off, as tasks of the benchmark.

A further switch is a further function here, and its line in `SWITCHES`.
"""

from __future__ import annotations

from dataclasses import replace
from unittest.mock import patch

import numpy as np

from strategist.optimise.clock import Clock
from strategist.optimise.guarded import guarded_peaks
from strategist.optimise.node import Node
from strategist.optimise.problem import pose
from strategist.optimise.search import search
from strategist.optimise.starts import Starts
from strategist.optimise.tuning import Tuning
from strategist.survey.profile import Profile, peaks
from strategist.survey.records import Floats, Ints, ReadPoint, Survey
from tests.bench.measure import Found
from tests.bench.ours import by_search, found_of

__all__ = ["SWITCHES", "tags_and_passes_apart"]

SWITCHES = {
    "nothing": "tests.bench.ours:by_search",
    "merging of tags and passes": "tests.bench.switches:tags_and_passes_apart",
    "few chains one by one": "tests.bench.switches:without_few",
    "multipliers (bounds of passes alone)": "tests.bench.switches:without_shifts",
    "fixing of classes": "tests.bench.switches:without_fixed_classes",
    "settling of levels": "tests.bench.switches:without_settled_levels",
    "bounds that know the chains": "tests.bench.switches:without_cuts",
    "chains to begin with": "tests.bench.switches:without_starts",
}


def without_few(read_point: ReadPoint, seconds: float | None) -> Found:
    """Every node is taken through its bounds, however few the chains are."""
    return by_search(read_point, seconds, Tuning(few=-1))


def without_shifts(read_point: ReadPoint, seconds: float | None) -> Found:
    """Nodes are bounded without raising the bound along its subgradient."""
    raised = Node.raise_bound

    def once(self: Node, target: float, rounds: int = 1) -> None:
        raised(self, target, 1)

    with patch.object(Node, "raise_bound", once):
        return by_search(read_point, seconds)


def without_fixed_classes(read_point: ReadPoint, seconds: float | None) -> Found:
    """No class is settled beforehand."""
    with patch.object(Node, "fix_classes", return_value=False):
        return by_search(read_point, seconds)


def without_settled_levels(read_point: ReadPoint, seconds: float | None) -> Found:
    """No level is dropped or settled beforehand."""
    with patch.object(Node, "settle_levels", return_value=False):
        return by_search(read_point, seconds)


def without_cuts(read_point: ReadPoint, seconds: float | None) -> Found:
    """Chains are weighed by the penalties of the node alone, without the sieve."""
    with patch.object(Node, "cuts", return_value=[]):
        return by_search(read_point, seconds)


def without_starts(read_point: ReadPoint, seconds: float | None) -> Found:
    """The search begins with the best strategy without masks."""
    with patch.object(Starts, "promising", return_value=()):
        return by_search(read_point, seconds)


def tags_and_passes_apart(read_point: ReadPoint, seconds: float | None) -> Found:
    """Each presentation has its own row, each pass its own group, whatever is equal."""
    clock = Clock(seconds)
    problem = pose(read_point.survey, read_point.policy)
    survey, classes = read_point.survey, problem.candidates.tag_class
    drifted = guarded_peaks(survey, read_point.policy.guard)
    apart = replace(
        problem,
        profile=_apart(survey, classes, problem.profile, peaks(survey)),
        guarded=_apart(survey, classes, problem.guarded, drifted),
    )
    return found_of(search(apart, clock), clock)


def _apart(survey: Survey, tag_class: Ints, merged: Profile, rssi: Floats) -> Profile:
    """The profile of a survey with nothing merged; levels and classes as in the merged one."""
    order = np.argsort(survey.roster_pass, kind="stable")
    levels = np.isin(survey.levels_dbm, merged.levels_dbm)
    return Profile(
        levels_dbm=merged.levels_dbm,
        row_pass=survey.roster_pass[order],
        row_class=tag_class[survey.roster_tag[order]],
        row_wanted=survey.roster_wanted[order],
        row_count=np.ones(len(order), np.int64),
        rssi=rssi[order][:, levels],
        group_of=np.arange(len(survey.pass_ids)),
        pass_count=np.ones(len(survey.pass_ids), np.int64),
        classes=merged.classes,
    )
