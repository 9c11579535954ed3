"""How long ladders take, and so how many steps fit into the dwell of a pass."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from strategist.errors import InputError
from strategist.radio.rounds import TAGS_MAX, StepTime, step_seconds
from strategist.radio.timing import LINK_PROFILES
from strategist.survey.policy import FAILED_READS_MAX, Dwell
from strategist.survey.profile import peaks
from strategist.survey.records import Survey

__all__ = ["Field", "failed_reads", "field_of", "fits", "step_time", "steps_by_masks"]

Field = tuple[int, int]  # (pointer, length) of a mask in bits, as on the air interface
_SLACK = 1e-9  # three steps of 0.1 s fit into 0.3 s


def field_of(survey: Survey, time: Dwell) -> int:
    """Tags that may answer in a step: as given, or the most that a surveyed pass presents.

    Raises InputError where a step would have to be estimated for more than can be simulated.
    """
    if time.tags_in_field is not None:
        return time.tags_in_field
    tags = int(np.bincount(survey.roster_pass, minlength=1).max())
    if time.link is not None and tags > TAGS_MAX:
        path = ("read_points", survey.read_point, "time", "link")
        allowed = f"step_s as measured, since {tags} tags in a pass are more than {TAGS_MAX}"
        raise InputError.one("site.json", time.link, allowed, column=".".join(path), path=path)
    return tags


def failed_reads(survey: Survey, time: Dwell) -> float:
    """Share of reads that fail: as given, or as tags come and go in the survey, in whole per cent.

    Above its turn-on a tag should be read at each level; where it was not, a read counts as failed.
    Rounded up, so that steps of the same length are found once; 0 where nothing can be told.
    """
    if time.failed_read_rate is not None:
        return time.failed_read_rate
    if time.link is None:
        return 0.0
    found = peaks(survey.as_measured())
    read = np.isfinite(found)
    above = np.logical_or.accumulate(read, axis=1)[:, :-1] & ~np.isnan(found[:, 1:])
    failed, all_above = int((above & ~read[:, 1:]).sum()), int(above.sum())
    return min(FAILED_READS_MAX, math.ceil(100 * failed / max(1, all_above)) / 100)


def step_time(
    time: Dwell, tags: int, masks: Sequence[Field], failed: float = 0.0
) -> StepTime | None:
    """Time of one step in which `tags` answer; None where the policy says nothing of it.

    A measured `step_s` is taken as it is, masks included. `failed` is the share of reads that fail.
    """
    if time.step_s is not None:
        return StepTime(time.step_s, time.step_s, 1.0, 0.0, 0.0)
    if time.link is None:
        return None
    profile, own_s = LINK_PROFILES[time.link], time.overhead_s
    return step_seconds(tags, masks, profile, overhead_s=own_s, failed_reads=failed)


def fits(steps: int, worst_s: float, dwell_s: float) -> bool:
    """Whether so many steps, each as long as 99 % of steps at most, fit into a pass."""
    return steps * worst_s <= dwell_s * (1 + _SLACK)


def steps_by_masks(
    survey: Survey, time: Dwell, fields: Sequence[Field], slots: int, most: int
) -> tuple[int, ...]:
    """The most ladder steps of a chain of 0, 1, … masks: `most`, or fewer that fit the dwell.

    Every step is counted as long as 99 % of steps at most, reads failing as in the survey, with the
    most tags that may answer and each mask as long on the air as the longest of `fields`. Chains
    that leave no step are left out, so there may be fewer than `slots` + 1 entries. Raises
    InputError where not even one step without masks fits.
    """
    if time.dwell_s is None:
        return (most,) * (slots + 1)
    tags, dwell_s, failed = field_of(survey, time), time.dwell_s, failed_reads(survey, time)
    longest: list[Field] = []
    if time.link is not None and fields:
        profile = LINK_PROFILES[time.link]
        longest = [max(fields, key=lambda field: profile.select_us(field[1], field[0]))]
    worst = []
    for masks in range(slots + 1 if fields else 1):
        step = step_time(time, tags, longest * masks, failed)
        assert step is not None  # a dwell needs one of the two
        worst.append(step.worst_s)
    found = [min(most, math.floor(dwell_s * (1 + _SLACK) / worst_s)) for worst_s in worst]
    if not found[0]:
        path = ("read_points", survey.read_point, "time", "dwell_s")
        how = "as given" if time.step_s is not None else f"estimated for {tags} tags in the field"
        allowed = f"at least {worst[0]:.3g} s, which one step without masks may take ({how})"
        raise InputError.one("site.json", f"{dwell_s:g}", allowed, column=".".join(path), path=path)
    return tuple(itertools.takewhile(lambda steps: steps > 0, found))
