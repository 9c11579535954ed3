"""One reader of a site for itself: its best with each option, and strategies of others tried."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

from strategist.optimise.clock import Clock
from strategist.optimise.problem import value
from strategist.optimise.site.agreed import Agreed, Cycle, Found, agree
from strategist.optimise.site.asked import Alternative, Planned, ReaderOf
from strategist.optimise.site.elsewhere import answer_elsewhere, replayed_elsewhere
from strategist.optimise.site.member import Given, Member, members_of
from strategist.optimise.strategy import Strategy
from strategist.survey.records import Tag
from strategist.tags.candidates import Candidates

__all__ = [
    "COMBINATIONS_MAX",
    "Columns",
    "ReaderTask",
    "Solved",
    "answer_partners",
    "solve_reader",
    "try_at_reader",
]

COMBINATIONS_MAX = 64  # of options at one reader: each is solved for itself

Columns = tuple[tuple[int, Planned], ...]  # read point (by number) and what it gets


@dataclass(frozen=True, eq=False)
class ReaderTask:
    """A reader with the alternatives of each of its read points; `beside` are tags that others
    present whose masks may be chosen, too. `seconds` None: until proven. Strategies of `known`
    columns, over other passes, are columns in any case."""

    reader: ReaderOf
    alternatives: tuple[tuple[Alternative, ...], ...]
    beside: tuple[Tag, ...] = ()
    seconds: float | None = None
    known: Columns = ()

    @property
    def size(self) -> int:
        """Bytes, roughly, of what a worker is sent."""
        reads = sum(len(one.survey.read_tag) for some in self.alternatives for one in some)
        return 50 * reads


@dataclass(frozen=True)
class Solved:
    """The best of a reader with some alternatives (one of each read point): a bound (excess, loss)
    of all, `alone` that of read points which need not agree, and columns. `proven`: more time would
    change nothing."""

    alternatives: tuple[int, ...]
    bound: tuple[float, float]
    alone: tuple[float, float]
    best: tuple[float, float]
    silence: tuple[float, float]
    columns: Columns
    proven: bool

    def and_so(self, again: Solved) -> Solved:
        """What two solves of it come to together."""
        return replace(
            again,
            bound=max(self.bound, again.bound),
            alone=max(self.alone, again.alone),
            best=min(self.best, again.best),
            columns=(*self.columns, *again.columns),
        )


def solve_reader(task: ReaderTask) -> tuple[Solved, ...]:
    """The best with each combination of alternatives (`COMBINATIONS_MAX` at most), as surveyed
    first."""
    clock = Clock(task.seconds)
    sizes = [range(len(some)) for some in task.alternatives]
    combinations = list(itertools.product(*sizes))
    solved = []
    for number, some in enumerate(combinations):
        share = None if clock.left is None else clock.left / (len(combinations) - number)
        solved.append(_solved(task, some, Clock(share)))
    return tuple(solved)


def _solved(task: ReaderTask, some: tuple[int, ...], clock: Clock) -> Solved:
    reader = task.reader
    chosen = [of[a] for of, a in zip(task.alternatives, some, strict=True)]
    joint, members = _members(task, chosen)
    ruled = any(one.free_below is not None for one in chosen)
    share = Clock(clock.left / 2) if ruled and clock.left is not None else clock
    found = _found(task, chosen, joint, members, share)
    columns: list[tuple[int, Planned]] = []
    for agreed in (found.best, *found.others):
        columns += _columns(reader, some, agreed, members)
    silence = [member.nothing for member in members]
    known = [(p, one) for p, one in task.known if one.alternative == some[reader.points.index(p)]]
    columns += _again(task, chosen, members, known)
    bound, proven = found.bound, found.proven
    if ruled:
        under, more = _under_rules(task, some, joint, members, clock)
        bound, proven = min(bound, under.bound), proven and under.proven
        columns += more
    return Solved(
        some,
        bound,
        _sum([member.floor for member in members]),
        found.best.key,
        _sum([(one.excess, one.weighed) for one in silence]),
        tuple(columns),
        proven,
    )


def _found(
    task: ReaderTask,
    chosen: Sequence[Alternative],
    joint: Candidates | None,
    members: Sequence[Member],
    clock: Clock,
) -> Found:
    for member in members:
        member.clock = clock
    if joint is None:
        return _each(members)
    steps = tuple(one.step_s for one in chosen)
    limit = task.reader.cycle_s
    cycle = None if limit is None else Cycle(limit, steps)
    return agree(joint, members, task.reader.shares, clock, cycle)


def _under_rules(
    task: ReaderTask,
    some: Sequence[int],
    joint: Candidates | None,
    members: Sequence[Member],
    clock: Clock,
) -> tuple[Found, list[tuple[int, Planned]]]:
    """The best, with a bound, where what rules of pairs may discard costs nothing; and that as
    columns, at what it loses without them."""
    chosen = [of[a] for of, a in zip(task.alternatives, some, strict=True)]
    freed = [
        member if one.free_below is None else member.freed(one)
        for member, one in zip(members, chosen, strict=True)
    ]
    found = _found(task, chosen, joint, freed, clock)
    every = (found.best, *found.others)
    columns = [one for agreed in every for one in _columns(task.reader, some, agreed, freed)]
    return found, _again(task, chosen, members, columns)


def answer_partners(task: ReaderTask) -> Columns:
    """What is best as surveyed where what a rule may discard is free; at what it loses if not."""
    some = (0,) * len(task.alternatives)
    joint, members = _members(task, [of[0] for of in task.alternatives])
    return tuple(_under_rules(task, some, joint, members, Clock(task.seconds))[1])


def _again(
    task: ReaderTask,
    chosen: Sequence[Alternative],
    members: Sequence[Member],
    columns: Sequence[tuple[int, Planned]],
) -> list[tuple[int, Planned]]:
    """Columns at what their strategies come to at these members."""
    found = []
    for p, one in columns:
        place = task.reader.points.index(p)
        if one.strategy is not None:
            tags = chosen[place].survey.tags
            key = _key_of(task.reader, members[place], one.strategy, tags)
            if key is not None:
                loss = chosen[place].scale * key[1]
                found.append((p, Planned(one.alternative, one.strategy, key[0], loss)))
    return found


def _members(
    task: ReaderTask, chosen: Sequence[Alternative]
) -> tuple[Candidates | None, tuple[Member, ...]]:
    """The members, with the masks of all of them where they must agree."""
    if task.reader.free:
        return None, tuple(members_of([one], task.beside)[1][0] for one in chosen)
    return members_of(chosen, task.beside)


def _each(members: Sequence[Member]) -> Found:
    """The best of each for itself."""
    given = tuple(Given() for _ in members)
    best = Agreed(given, None, None, tuple(member.alone[0] for member in members))
    return Found(best, (), _sum([member.floor for member in members]), 1)


def _sum(keys: Sequence[tuple[float, float]]) -> tuple[float, float]:
    return value(sum(key[0] for key in keys)), value(sum(key[1] for key in keys))


def _columns(
    reader: ReaderOf, some: Sequence[int], agreed: Agreed, members: Sequence[Member]
) -> list[tuple[int, Planned]]:
    found = []
    for p, a, given, exact, member in zip(
        reader.points, some, agreed.given, agreed.members, members, strict=True
    ):
        silence = member.silence
        if a == 0:
            found.append((p, Planned(0, None, silence.excess, silence.weighed)))
        strategy = member.strategy(given, agreed.cutoff, exact)
        if strategy is not None:
            found.append((p, Planned(a, strategy, exact.excess, exact.weighed)))
    return found


def _key_of(
    reader: ReaderOf, member: Member, strategy: Strategy, tags: Sequence[Tag]
) -> tuple[float, float] | None:
    """What a strategy comes to at a member. One that is not among those searched may be taken where
    the reader need not agree, and is not better than all of these: its bound holds for it, too."""
    for part in member.parts.parts:
        answer = answer_elsewhere(part.problem, strategy, tags)
        if answer is not None:
            return answer.key[0], answer.key[1]
    if not reader.free:
        return None
    floor = member.alone[1]
    for part in member.parts.parts:
        key = replayed_elsewhere(part.problem, strategy, tags)
        if key is not None and key >= floor:
            return key
    return None


def try_at_reader(task: ReaderTask, strategies: Sequence[Strategy]) -> Columns:
    """What strategies of other read points come to at those of a reader, where they are among
    those searched there."""
    clock = Clock(task.seconds)
    found: list[tuple[int, Planned]] = []
    most = max(map(len, task.alternatives))
    for a in range(most):
        chosen = [some[min(a, len(some) - 1)] for some in task.alternatives]
        _, members = _members(task, chosen)
        for p, some, one, member in zip(
            task.reader.points, task.alternatives, chosen, members, strict=True
        ):
            if a >= len(some):
                continue
            member.clock = clock
            for strategy in strategies:
                if clock.expired():
                    return tuple(found)
                key = _key_of(task.reader, member, strategy, one.survey.tags)
                if key is not None:
                    found.append((p, Planned(a, strategy, key[0], one.scale * key[1])))
    return tuple(found)
