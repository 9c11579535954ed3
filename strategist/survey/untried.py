"""What to do with (pass, level) pairs that were not surveyed: refuse, or leave something out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strategist.errors import InputError
from strategist.survey.order import figure, some
from strategist.survey.policy import PREDICT_BETWEEN_DB, PREDICT_BEYOND_DB, Policy
from strategist.survey.records import ReadPoint, Survey

__all__ = ["leave_out", "untried_pairs"]


def untried_pairs(survey: Survey) -> list[tuple[str, float]]:
    """(pass id, level in dBm) of each pair that was not surveyed, by pass and level."""
    return [
        (survey.pass_ids[p], float(survey.levels_dbm[level]))
        for p, level in np.argwhere(~survey.tried)
    ]


def leave_out(read_point: ReadPoint) -> ReadPoint:
    """A read point without untried pairs, by its policy's `untried`; the same one if it has none.

    What is left out is said in a warning. Raises InputError when the policy is to refuse (naming
    the pairs) and when nothing would be left.
    """
    survey, policy = read_point.survey, read_point.policy
    if survey.tried.all():
        return read_point
    path = ("read_points", survey.read_point, "untried")
    column = ".".join(path)
    if policy.untried == "refuse":
        pairs = untried_pairs(survey)
        listed = some([f"{pass_id} at {figure(level)} dBm" for pass_id, level in pairs])
        allowed = (
            f"leave_out_level or leave_out_pass, or a survey of all pairs (refuse); "
            f"{len(pairs)} not surveyed{_unforeseen(policy)}: {listed}"
        )
        raise InputError.one("site.json", policy.untried, allowed, column=column, path=path)
    if policy.untried == "leave_out_level":
        keep = np.logical_and.reduce(survey.tried, axis=0)
        kind = "levels"
        left_out = [f"{figure(level)} dBm" for level in survey.levels_dbm[~keep]]
    else:
        keep = np.logical_and.reduce(survey.tried, axis=1)
        kind = "passes"
        left_out = [survey.pass_ids[p] for p in np.flatnonzero(~keep)]
    if not keep.any():
        allowed = f"another choice: each of the {len(keep)} {kind} has a pair that was not surveyed"
        raise InputError.one("site.json", policy.untried, allowed, column=column, path=path)
    kept = survey.keep(levels=keep) if kind == "levels" else survey.keep(passes=keep)
    warning = (
        f"{len(left_out)} of {len(keep)} {kind} left out, since they were not surveyed in full "
        f"(untried: {policy.untried}): {some(left_out)}."
    )
    return replace(read_point, survey=kept, warnings=(*read_point.warnings, warning))


def _unforeseen(policy: Policy) -> str:
    if not policy.predict_levels:
        return ""
    between, beyond = figure(PREDICT_BETWEEN_DB), figure(PREDICT_BEYOND_DB)
    return (
        f" and out of reach of predict_levels (between levels surveyed at most {between} dB apart, "
        f"or {beyond} dB beyond the last; a level at which nothing was read belongs in tried.csv)"
    )
