"""The walk of the ladder in the mixed-integer model: the rows that `model.py` states for a pass."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from strategist.optimise.clock import Clock
from strategist.optimise.pulp_late import pulp
from strategist.survey.profile import Profile
from strategist.survey.records import Ints

__all__ = ["Reads", "Walks", "binary", "share"]


def binary(name: str, *index: int) -> pulp.LpVariable:
    return pulp.LpVariable(_name(name, *index), cat="Binary")


def share(name: str, *index: int) -> pulp.LpVariable:
    return pulp.LpVariable(_name(name, *index), 0, 1)


def _name(name: str, *index: int) -> str:
    """Zero-padded, since PuLP sorts variables by name and the order sways the solve."""
    return "_".join([name, *(f"{number:06d}" for number in index)])


@dataclass(frozen=True)
class Reads:
    """What passes the cutoff: a variable for the read of a row at a level, and the value of each,
    of which a higher one passes where a lower does (None: they cannot be compared)."""

    passing: Callable[[int, int], pulp.LpVariable]
    value: Ints | None


@dataclass(frozen=True)
class _Tag:
    """A row of a profile: its number, tags in it, its class and what that meets; whether its read
    passes at each level, and the value of that; f[r, l] so far."""

    number: int
    count: int
    class_: int
    through: pulp.LpAffineExpression
    passing: dict[int, pulp.LpVariable]
    value: dict[int, int] | None
    found: dict[int, pulp.LpVariable] = field(default_factory=dict)

    @property
    def reported(self) -> pulp.LpAffineExpression:
        return pulp.lpSum(self.found.values())


@dataclass(eq=False)
class Walks:
    """What the rows of a walk are made of: the steps y, what lets each class through, and how many
    tags stop a walk."""

    mip: pulp.LpProblem
    y: list[pulp.LpVariable]
    through: list[pulp.LpAffineExpression]
    stop_after: int
    clock: Clock

    @property
    def one_stops(self) -> bool:
        return self.stop_after == 1

    def walk(
        self, profile: Profile, reads: Reads, rows: int, passes: int
    ) -> list[pulp.LpAffineExpression]:
        """Whether each row is reported; their numbers, and the passes', begin at those given."""
        starts = np.searchsorted(profile.row_pass, np.arange(len(profile.pass_count) + 1))
        reported: list[pulp.LpAffineExpression] = []
        for p, (begin, end) in enumerate(itertools.pairwise(starts.tolist())):
            tags = [self._tag(profile, reads, r, rows + r) for r in range(begin, end)]
            self._pass(passes + p, tags)
            for tag in tags:
                self._only_if_accepted(tag)
            reported += [tag.reported for tag in tags]
        return reported

    def _tag(self, profile: Profile, reads: Reads, r: int, number: int) -> _Tag:
        levels = np.flatnonzero(np.isfinite(profile.rssi[r])).tolist()
        class_ = int(profile.row_class[r])
        value = reads.value
        return _Tag(
            number,
            int(profile.row_count[r]),
            class_,
            self.through[class_],
            {level: reads.passing(r, level) for level in levels},
            None if value is None else {level: int(value[r, level]) for level in levels},
        )

    def _pass(self, p: int, tags: list[_Tag]) -> None:
        """The walk of one pass, level by level."""
        going: pulp.LpVariable | int = 1
        for level, step in enumerate(self.y):
            here = [tag for tag in tags if level in tag.passing]
            if not here:
                continue
            self.clock.check()
            after = share("going", p, level) if self.one_stops else binary("going", p, level)
            self.mip += after <= going
            self.mip += going - after <= step
            for tag in here:
                f = tag.found[level] = share("f", tag.number, level)
                self.mip += f <= (going - after if self.one_stops else step)
                if not self.one_stops:
                    self.mip += f <= going
            self._stops_with_enough(tags, level, going, after)
            self._goes_on_without(tags, here, level, after)
            self._if_accepted(here, level, going, after)
            going = after

    def _stops_with_enough(
        self, tags: list[_Tag], level: int, before: pulp.LpVariable | int, after: pulp.LpVariable
    ) -> None:
        """It stops at a level only with `stop_after` tags."""
        if self.one_stops:
            found = pulp.lpSum(tag.found[level] for tag in tags if level in tag.found)
        else:
            found = pulp.lpSum(tag.count * tag.reported for tag in tags)
        self.mip += found >= self.stop_after * (before - after)

    def _goes_on_without(
        self, tags: list[_Tag], here: list[_Tag], level: int, after: pulp.LpVariable
    ) -> None:
        """It goes on only without `stop_after` tags."""
        if self.one_stops:
            for tag in _strongest(here, level):
                accepted = self.y[level] + tag.through + tag.passing[level]
                self.mip += after <= 3 - accepted
            return
        few = self.stop_after - 1
        heard = [tag for tag in tags if tag.found]
        more = max(0, sum(tag.count for tag in heard) - few)
        found = pulp.lpSum(tag.count * tag.reported for tag in heard)
        self.mip += found <= few + more * (1 - after)

    def _if_accepted(
        self, here: list[_Tag], level: int, before: pulp.LpVariable | int, after: pulp.LpVariable
    ) -> None:
        """A tag accepted at the level is reported: where one stops the walk, at this level; else by
        it, unless the walk has stopped before."""
        for tag in here:
            accepted = tag.through + tag.passing[level] - 2
            if self.one_stops:
                self.mip += tag.found[level] >= before - after + accepted
            else:
                self.mip += tag.reported >= self.y[level] + before - 1 + accepted

    def _only_if_accepted(self, tag: _Tag) -> None:
        """Reported once, by a chain that lets it through, and by reads that pass the cutoff."""
        self.mip += tag.reported <= tag.through
        if tag.value is None:
            for level, f in tag.found.items():
                self.mip += f <= tag.passing[level]
            return
        value = tag.value
        weaker = pulp.LpAffineExpression()
        for _, levels in itertools.groupby(sorted(value, key=value.__getitem__), value.__getitem__):
            for level in levels:
                weaker += tag.found[level]
            self.mip += weaker <= tag.passing[level]


def _strongest(here: list[_Tag], level: int) -> list[_Tag]:
    """Of each class, the tag whose read passes where any does; all where none can be told."""
    strongest: dict[int, _Tag] = {}
    for tag in here:
        if tag.value is None:
            return here
        best = strongest.setdefault(tag.class_, tag)
        if best.value is not None and tag.value[level] > best.value[level]:
            strongest[tag.class_] = tag
    return list(strongest.values())
