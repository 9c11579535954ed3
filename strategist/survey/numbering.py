"""Do roster and reads number the passes alike? A shift by one pass looks like dead tags."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strategist.survey.records import Bools, Ints

PASSES_MIN = 3  # fewer passes that fit a neighbour better may be luck
SHARE_MIN = 0.2  # of the passes that can tell; surveys drawn from the demo's sites come to none

ADVICE = (
    "Check the numbering first: renumber roster or reads so that both mean the same load, and "
    "look again. Until then nothing else said of this read point holds."
)


@dataclass(frozen=True)
class Shift:
    """Passes whose wanted tags were read more in a neighbouring pass (`step` +1: the next one).

    Of `judged` passes, those with wanted tags that are not wanted in the neighbour, `fit_neighbour`
    fit its reads better than their own: their wanted tags were read at `there` levels in the
    neighbour and at `own` in their own pass, summed over tags. `first` and `last` are the places of
    such passes.
    """

    step: int
    judged: int
    fit_neighbour: int
    there: int
    own: int
    first: int
    last: int

    def text(self, pass_ids: tuple[str, ...]) -> str:
        """The suspicion, with its counts."""
        way = "next" if self.step > 0 else "previous"
        return (
            f"Roster and reads seem to number the passes differently: in {self.fit_neighbour} of "
            f"{self.judged} passes ({pass_ids[self.first]} to {pass_ids[self.last]}) the wanted "
            f"tags listed were read more in the {way} pass than in their own (at {self.there} "
            f"levels, summed over tags, against {self.own})."
        )


def shift_of(roster: Ints, wanted: Bools, reads: Ints, passes: int) -> Shift | None:
    """Whether wanted tags fit the reads of a neighbouring pass better than those of their own.

    `roster` has rows of (pass, tag) for what is listed, `wanted` marks those with that role;
    `reads` has rows of (pass, level, tag). A tag that is wanted in both passes tells nothing. One
    that waits in one pass and is wanted in the next is read in both: where the neighbour's roster
    lists it as a stray, it tells only when its own pass never read it. None where the passes fit.
    """
    tags = int(1 + max(roster[:, 1].max(initial=0), reads[:, 2].max(initial=0)))
    place, level, tag = reads.T
    heights = int(1 + level.max(initial=0))
    several = np.sort((place * tags + tag) * heights + level)
    once = several[np.diff(several, prepend=-1) > 0]  # several rows of one tag at one level are one
    levels = np.unique(once // heights, return_counts=True)
    listed = roster[:, 0] * tags + roster[:, 1]
    found = [_shift(listed, wanted, levels, tags, passes, step=step) for step in (1, -1)]
    likely = max(found, key=lambda shift: shift.fit_neighbour)
    least = max(PASSES_MIN, SHARE_MIN * likely.judged)
    return likely if likely.fit_neighbour >= least else None


def _shift(
    listed: Ints, wanted: Bools, levels: tuple[Ints, Ints], tags: int, passes: int, *, step: int
) -> Shift:
    """What speaks for a shift by `step`; `listed` and `levels` number pairs of pass and tag."""
    own, there = listed[wanted], listed[wanted] + step * tags
    place = own // tags
    tells = (place + step >= 0) & (place + step < passes) & ~np.isin(there, own)
    place, own, there = place[tells], own[tells], there[tells]
    in_own, in_other = _levels_of(own, levels), _levels_of(there, levels)
    in_other[np.isin(there, listed) & (in_own > 0)] = 0
    for_own = np.bincount(place, in_own, passes).astype(int)
    for_other = np.bincount(place, in_other, passes).astype(int)
    better = np.flatnonzero(for_other > for_own)
    return Shift(
        step=step,
        judged=len(np.unique(place)),
        fit_neighbour=len(better),
        there=int(for_other[better].sum()),
        own=int(for_own[better].sum()),
        first=int(better.min(initial=passes)),
        last=int(better.max(initial=-1)),
    )


def _levels_of(pairs: Ints, levels: tuple[Ints, Ints]) -> Ints:
    """At how many levels each pair of pass and tag was read."""
    known, count = levels
    if not len(known):
        return np.zeros(len(pairs), np.int64)
    at = np.minimum(np.searchsorted(known, pairs), len(known) - 1)
    return np.where(known[at] == pairs, count[at], 0)
