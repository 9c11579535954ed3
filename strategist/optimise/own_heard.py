"""What own powers and cutoffs are chosen from: what each antenna hears, and what masks can do."""

from __future__ import annotations

import numpy as np

from strategist.optimise.chains import Chains
from strategist.optimise.clock import Clock
from strategist.optimise.guarded import guarded_peaks
from strategist.optimise.own_powers import ByAntenna
from strategist.optimise.problem import Problem
from strategist.radio.lawful import lawful_at
from strategist.survey.policy import Policy
from strategist.survey.profile import peaks
from strategist.survey.records import Bools, Ints, Survey

__all__ = ["by_antenna", "selections"]

_SELECTIONS_MAX = 300  # of mask chains that the model chooses from
_LOOKED_AT = 3_000  # selections that are held against each other


def by_antenna(survey: Survey, policy: Policy, base: Problem, through: Bools) -> ByAntenna:
    """What each antenna of a completely surveyed read point hears, with what it may be set to.

    `base` is any problem of the read point; of it the masks serve.
    """
    named = survey.read_antenna
    assert named is not None
    alone = [survey.with_reads(named == antenna) for antenna in survey.antennas]
    rssi = np.stack([peaks(one) for one in alone], axis=1)
    guarded = np.stack([guarded_peaks(one, policy.guard) for one in alone], axis=1)
    return ByAntenna(
        wanted=survey.roster_wanted,
        weight=np.ones(len(survey.roster_tag)),
        row_class=base.candidates.tag_class[survey.roster_tag],
        rssi=rssi,
        guarded=guarded,
        allowed=np.array([_levels(survey, policy, antenna) for antenna in survey.antennas]),
        through=through,
        loss=policy.loss,
        limits=policy.limits,
        passes=len(survey.pass_ids),
        step_db=policy.reader.rssi_step_db,
        cutoffs="cutoff" in policy.allow,
    )


def _levels(survey: Survey, policy: Policy, antenna: int) -> Bools:
    """Which levels are lawful for an antenna and can be set; without power to choose, the highest
    of them."""
    lawful = lawful_at(survey.levels_dbm, policy.radio_of(antenna))
    may: Bools = ~np.isin(survey.levels_dbm, lawful.levels_above_dbm)
    may &= np.array([policy.reader.can_set_level(level) for level in survey.levels_dbm.tolist()])
    if "power" not in policy.allow and may.any():
        may = np.arange(len(may)) == np.flatnonzero(may).max()
    return may


def selections(base: Problem, survey: Survey, clock: Clock) -> tuple[Bools, float]:
    """What mask chains can let through, without what another is at least as good as; and a loss
    that none which is lacking is below (inf: none is lacking).

    The likeliest come first. Classes that were not presented count for nothing.
    """
    tables, left_out = [], np.inf
    chains = Chains(base, clock)
    for masks in range(base.slots + 1):
        if masks and chains.joins(masks):
            left_out = 0.0
            break
        tables.append(chains.listed(masks))
    through = np.concatenate([one.unpack(slice(None)) for one in tables])
    classes, loss = base.candidates.tag_class[survey.roster_tag], base.policy.loss
    missed, stray = (
        cost * np.bincount(classes[survey.roster_wanted == role], minlength=through.shape[1])
        for cost, role in ((loss.missed, True), (loss.stray, False))
    )
    kept_back = ~through @ missed
    order = np.argsort(kept_back + through @ stray, kind="stable")
    through, kept_back = through[order], kept_back[order]
    looked_at = _undominated(through[:_LOOKED_AT], missed > 0, stray > 0)
    dropped = np.concatenate([looked_at[_SELECTIONS_MAX:], np.arange(_LOOKED_AT, len(through))])
    left_out = min(left_out, float(kept_back[dropped].min(initial=np.inf)))
    return through[looked_at[:_SELECTIONS_MAX]], left_out


def _undominated(through: Bools, wanted: Bools, stray: Bools) -> Ints:
    """The selections, by number, without those that another is at least as good as: it lets
    through all their wanted classes and no further stray ones, both where a class has both roles.
    """
    kept: list[int] = []
    for number, row in enumerate(through):
        some = through[kept]
        loses = (row & ~some)[:, wanted].any(axis=1) | (some & ~row)[:, stray].any(axis=1)
        if loses.all():
            kept.append(number)
    for number in kept.copy():
        some = through[[one for one in kept if one != number]]
        row = through[number]
        loses = (row & ~some)[:, wanted].any(axis=1) | (some & ~row)[:, stray].any(axis=1)
        if not loses.all():
            kept.remove(number)
    return np.array(kept, np.int64)
