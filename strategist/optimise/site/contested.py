r"""Tags that two read points hear in one pass, and the best rule that discards one of the reports.

A presentation m is *contested* where both read points hear the tag in the same pass at some level
surveyed. Where a uses strategy i and b strategy j, and both report m, with strongest reads of
A_{im} and B_{jm} dBm, the rule with threshold \theta discards

- `stronger`: b's report where A_{im} - B_{jm} \ge \theta, and a's where B_{jm} - A_{im} \ge \theta,
  with \theta > 0, so that one report of each tag stays;
- `facing` a: b's report where A_{im} - B_{jm} \ge \theta, with \theta of either sign.

What both lose depends on \theta only by which differences it lies between, so the best \theta of
(i, j) is found by going through them in order. No rule at all is a choice, too, so that the pair
never loses more with a rule than without.

No rule discards more than every contested stray that is reported by weaker reads than the strongest
that the other read point has of it. So a read point where these cost nothing (`free_below`) loses
no more than it does under any rule: a bound for all strategies, thresholds and partners.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from strategist.optimise.problem import Counts
from strategist.optimise.site.asked import Alternative, Pair, Rule
from strategist.optimise.site.values import settable
from strategist.optimise.strategy import Strategy
from strategist.survey.profile import peaks
from strategist.survey.records import Bools, Floats, Ints, Survey
from strategist.survey.score import in_time
from strategist.tags.mask import accepted_by

_DIGITS = 6  # of losses, as they are compared

__all__ = ["Contest", "Reports", "Side", "reported_by", "reports_of"]


@dataclass(frozen=True, eq=False)
class Reports:
    """What a strategy reports at a read point: its counts, and the strongest read of each contested
    presentation (dBm; −inf: not reported)."""

    counts: Counts
    rssi: Floats


@dataclass(frozen=True, eq=False)
class Side:
    """One read point of a pair; `entry[m]` is the roster entry of contested presentation m."""

    alternative: Alternative
    heard: Survey
    entry: Ints

    @cached_property
    def wanted(self) -> Bools:
        found: Bools = self.heard.roster_wanted[self.entry]
        return found

    def reports(self, strategy: Strategy | None) -> Reports | None:
        """None where a strategy has a score of its own: its reports are not compared."""
        survey, roster_wanted = self.heard, self.heard.roster_wanted
        if strategy is None:
            none = np.full(len(self.entry), -np.inf)
            return Reports(Counts(int(roster_wanted.sum()), 0), none)
        if strategy.score is not None or strategy.step_s is not None:
            return None
        rssi = reports_of(survey, strategy)
        reported = np.isfinite(rssi)
        missed = int((roster_wanted & ~reported).sum())
        stray = int((~roster_wanted & reported).sum())
        return Reports(Counts(missed, stray), rssi[self.entry])

    @cached_property
    def presented(self) -> int:
        """Wanted tags, over all passes."""
        return int(self.heard.roster_wanted.sum())

    def keys(self, missed: Ints, stray: Ints) -> tuple[Floats, Floats]:
        """Excess and loss of counts, as they count at the site."""
        policy, passes = self.alternative.policy, len(self.heard.pass_ids)
        limits, weights = policy.limits, policy.loss
        excess = np.zeros(len(missed))
        if limits.missed_rate_max is not None and self.presented:
            excess += np.maximum(0.0, missed / self.presented - limits.missed_rate_max)
        if limits.stray_rate_max is not None:
            excess += np.maximum(0.0, stray / passes - limits.stray_rate_max)
        loss = self.alternative.scale * (weights.missed * missed + weights.stray * stray)
        return np.round(excess, _DIGITS), np.round(loss, _DIGITS)


def reports_of(survey: Survey, strategy: Strategy) -> Floats:
    """The strongest read (dBm) by which each roster entry is reported, −inf: it is not."""
    through = np.array(accepted_by(strategy.masks, survey.tags), bool)
    least = -np.inf if strategy.cutoff is None else strategy.cutoff
    return reported_by(survey, through, least, strategy.levels_dbm, strategy.stop_after)


def reported_by(
    survey: Survey, through: Bools, least: float, ladder: Sequence[float], stop_after: int
) -> Floats:
    """As `reports_of`, with the tags that the masks let through, and the least RSSI that counts."""
    rssi = peaks(survey)
    accepted = (rssi >= max(least, np.finfo(float).min)) & through[survey.roster_tag][:, None]
    found = np.full(len(rssi), -np.inf)
    walks_on = np.ones(len(survey.pass_ids), bool)
    for level in np.abs(np.subtract.outer(ladder, survey.levels_dbm)).argmin(axis=1):
        here = accepted[:, level] & walks_on[survey.roster_pass]
        found = np.where(here, np.maximum(found, rssi[:, level]), found)
        reported = np.bincount(survey.roster_pass, np.isfinite(found), len(walks_on))
        walks_on &= reported < stop_after
    return found


@dataclass(frozen=True, eq=False)
class Contest:
    """The contested presentations of a pair, and what its read points do with them."""

    pair: Pair
    sides: tuple[Side, Side]

    @staticmethod
    def of(pair: Pair, alternatives: Sequence[Alternative]) -> Contest:
        """That of two read points as surveyed."""
        surveys = [in_time(one.survey, one.policy.time.steps_s[-1]) for one in alternatives]
        places = [_places(one) for one in surveys]
        both = sorted(set(places[0]) & set(places[1]))
        sides = [
            Side(one, survey, np.array([at[key] for key in both], np.int64))
            for one, survey, at in zip(alternatives, surveys, places, strict=True)
        ]
        return Contest(pair, (sides[0], sides[1]))

    def free_below(self, side: int) -> Floats:
        """For each roster entry of a side the dBm below which some rule may discard its report:
        what is no weaker than the other read point's strongest read stays under each (−inf: it
        stays in any case)."""
        own, other = self.sides[side], self.sides[1 - side]
        found = np.full(len(own.heard.roster_wanted), -np.inf)
        if self.pair.facing == self.pair.points[side]:
            return found
        below = np.full(len(own.entry), np.inf)
        if self.pair.facing is None:
            below = peaks(other.heard)[other.entry].max(axis=1, initial=-np.inf)
            heard = peaks(own.heard)[own.entry]
            weakest = np.where(np.isfinite(heard), heard, np.inf).min(axis=1, initial=np.inf)
            below[weakest >= below] = -np.inf
        found[own.entry] = np.where(own.wanted, -np.inf, below)
        return found

    def best(self, first: Reports, second: Reports) -> Rule | None:
        """The best rule where the two report this; None: none is better than no rule."""
        by, loser, wanted = self._in_order(first, second)
        if wanted.all():
            return None  # nothing to gain
        last = np.flatnonzero(np.append(by[1:] != by[:-1], True))
        discarded, keys = [], []  # by side; index 0 is no rule
        for side, reports in enumerate((first, second)):
            of_side = [np.cumsum((loser == side) & (wanted == role))[last] for role in (1, 0)]
            of_wanted, of_stray = (np.append(0, one) for one in of_side)
            discarded.append((of_wanted, of_stray))
            missed, stray = reports.counts.missed + of_wanted, reports.counts.stray - of_stray
            keys.append(self.sides[side].keys(missed, stray))
        excess, loss = (np.round(keys[0][n] + keys[1][n], _DIGITS) for n in (0, 1))
        floor = 0.0 if self.pair.facing is None else -np.inf
        high = np.append(np.inf, by[last])
        low = np.concatenate([[0.0], by[last][1:], [floor]])
        width = high - low  # of equals no rule, then the widest
        n = int(np.lexsort((-width, np.arange(len(high)) > 0, loss, excess))[0])
        if n == 0:
            return None
        both = [(float(one[0][n]), float(one[1][n])) for one in keys]
        gone = [[int(one[role][n]) for one in discarded] for role in (0, 1)]
        dbs = None if np.isinf(low[n]) else settable((float(low[n]), float(high[n])), None)
        return Rule(
            *(dbs, float(low[n]), float(high[n]), (both[0], both[1])),
            discarded_wanted=(gone[0][0], gone[0][1]),
            discarded_stray=(gone[1][0], gone[1][1]),
        )

    def _in_order(self, first: Reports, second: Reports) -> tuple[Floats, Ints, Bools]:
        """Of what both report, by how many dB the other read is stronger than that of which side,
        and whether that side wants it; the most first."""
        above = _difference(first.rssi, second.rssi)
        contested = np.isfinite(above)
        if self.pair.facing is None:
            by, loser = np.abs(above), (above > 0).astype(np.int64)
            contested &= by > 0
        else:
            keeps = self.pair.points.index(self.pair.facing)
            by, loser = above * (1 - 2 * keeps), np.full(len(above), 1 - keeps)
        wanted = np.where(loser == 1, self.sides[1].wanted, self.sides[0].wanted)
        places = np.flatnonzero(contested)
        places = places[np.argsort(-by[places], kind="stable")]
        return by[places], loser[places], wanted[places]


def _difference(first: Floats, second: Floats) -> Floats:
    """First less second where both are reported, NaN elsewhere; to a ten-thousandth of a dB."""
    both = np.isfinite(first) & np.isfinite(second)
    found = np.full(len(first), np.nan)
    found[both] = np.round(first[both] - second[both], 4)
    return found


def _places(survey: Survey) -> dict[tuple[str, str], int]:
    """The roster entry of each tag that is heard in a pass, by pass id and EPC."""
    heard = np.flatnonzero(np.isfinite(peaks(survey)).any(axis=1))
    return {
        (survey.pass_ids[survey.roster_pass[e]], survey.tags[survey.roster_tag[e]].epc): int(e)
        for e in heard
    }
