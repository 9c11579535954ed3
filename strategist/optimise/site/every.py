"""Every strategy of a small site that could be in a best plan.

A strategy is a selection of tags, a range of cutoffs and a ladder. What it comes to at each read
point is replayed; those that lose no less anywhere than another one that agrees with the same
others are left out, and so are those that no read point would rather have than silence.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from strategist.optimise.clock import Clock
from strategist.optimise.problem import Chain, Counts, Problem
from strategist.optimise.site.contested import Side, reported_by
from strategist.optimise.site.member import Member
from strategist.optimise.site.values import Range, Table, cutoffs_of, ladders_of
from strategist.survey.records import Floats, Ints
from strategist.tags.candidates import Candidates

__all__ = ["Every", "every_strategy"]

_TRIPLES_MAX = 200_000
_LEFT_MAX = 500  # strategies; with more of them HiGHS takes minutes for one K
_LADDERS_MAX = 500


@dataclass(frozen=True, eq=False)
class Every:
    """The strategies that are left, as (chain, cutoff range, ladder in dBm); `excess[s, m]` and
    `loss[s, m]` are what they come to at each member, inf where a member has none such or would
    rather report nothing."""

    strategies: tuple[tuple[Chain, Range, tuple[float, ...]], ...]
    excess: Floats
    loss: Floats


def every_strategy(
    joint: Candidates,
    members: Sequence[Member],
    shares: frozenset[str],
    clock: Clock,
    *,
    timed: bool,
    sides: Sequence[Side | None] = (),
) -> Every | None:
    """All strategies of some members that could be in a best plan; None: they are too many.

    `shares` are the parts in which some of them must agree, and not in all three (who agrees in
    all has the same strategy, and a better one serves all of them); where `timed`, steps and masks
    count, too. Of a member that is a side of a pair (`sides[m]`) strategies are told apart by what
    they report of the tags that both hear. Raises OutOfTimeError.
    """
    if any(len(member.parts.parts) > 1 for member in members):
        return None
    table = Table(joint, members, clock)
    cutoffs, ladders = cutoffs_of(members), ladders_of(members, _LADDERS_MAX)
    if not table.complete or ladders is None:
        return None
    rows = len(table.through)
    if rows * len(cutoffs) * len(ladders) > _TRIPLES_MAX:
        return None
    shape = (rows, len(cutoffs), len(ladders))
    found = [_at(member, table, cutoffs, ladders, clock) for member in members]
    sides = sides or [None] * len(members)
    ranks = [
        _ranked(excess, loss, one.silence.key[:2] if side is None else (np.inf, np.inf))
        for (excess, loss), one, side in zip(found, members, sides, strict=True)
    ]
    rank = np.stack(ranks, axis=-1).reshape(-1, len(members))
    reported = [
        _reported(member, side, table, (cutoffs, ladders), clock).reshape(-1)
        for member, side in zip(members, sides, strict=True)
        if side is not None
    ]
    work = np.zeros((len(rank), 0), np.int64)
    if timed:
        steps = np.broadcast_to([len(ladder) for ladder in ladders], shape).reshape(-1)
        used = np.broadcast_to(table.masks[:, None, None], shape).reshape(-1)
        work = np.stack([steps, used], axis=-1)
    axes = [axis for axis, part in enumerate(("masks", "cutoff", "ladder")) if part in shares]
    place = np.stack(np.unravel_index(np.arange(len(rank)), shape), axis=-1)
    left = _undominated(rank, work, np.column_stack([place[:, axes], *reported]), clock)
    if left is None:
        return None
    strategies = [
        (table.chain(int(row)), cutoffs[cut], ladders[step]) for row, cut, step in place[left]
    ]
    excess = np.stack([one[0].reshape(-1)[left] for one in found], axis=-1)
    loss = np.stack([one[1].reshape(-1)[left] for one in found], axis=-1)
    none = rank[left] == 0
    return Every(tuple(strategies), np.where(none, np.inf, excess), np.where(none, np.inf, loss))


def _at(
    member: Member,
    table: Table,
    cutoffs: Sequence[Range],
    ladders: Sequence[tuple[float, ...]],
    clock: Clock,
) -> tuple[Floats, Floats]:
    """Excess and loss of each strategy (shape (selections, cutoffs, ladders)) at a member."""
    problem, through = member.problem, table.through
    masks = table.masks
    excess = np.full((len(through), len(cutoffs), len(ladders)), np.inf)
    loss = np.full_like(excess, np.inf)
    by_length = _by_length(member, ladders)
    own = through[:, member.classes]
    _, first, same = np.unique(own, axis=0, return_index=True, return_inverse=True)
    for number, row in enumerate(first):
        clock.check()
        alike = np.flatnonzero(same.reshape(-1) == number)
        for c, cutoff in enumerate(cutoffs):
            place = member.place(problem, cutoff[1])
            if place is None:
                continue
            for numbers, levels in by_length:
                counts = problem.counts(levels, problem.thresholds[place], own[row])
                its = _measured(problem, counts)
                may = [r for r in alike if _fits(problem, int(masks[r]), levels.shape[1])]
                for r in may:
                    excess[r, c, numbers], loss[r, c, numbers] = its
    return excess, loss


def _reported(
    member: Member,
    side: Side,
    table: Table,
    grid: tuple[Sequence[Range], Sequence[tuple[float, ...]]],
    clock: Clock,
) -> Ints:
    """A number for what each strategy (shape as in `_at`) reports of the contested tags."""
    cutoffs, ladders = grid
    found = np.zeros((len(table.through), len(cutoffs), len(ladders)), np.int64)
    numbers: dict[bytes, int] = {}
    own = table.through[:, member.classes]
    _, first, same = np.unique(own, axis=0, return_index=True, return_inverse=True)
    for number, row in enumerate(first):
        clock.check()
        alike = np.flatnonzero(same.reshape(-1) == number)
        tags = own[row][member.problem.candidates.tag_class]
        for c, cutoff in enumerate(cutoffs):
            for step, ladder in enumerate(ladders):
                stop_after = member.problem.policy.stop_after
                heard = reported_by(side.heard, tags, cutoff[1], ladder, stop_after)
                key = heard[side.entry].tobytes()
                found[alike, c, step] = numbers.setdefault(key, len(numbers))
    return found


def _fits(problem: Problem, masks: int, steps: int) -> bool:
    by_masks = problem.steps_by_masks
    return masks < len(by_masks) and steps <= by_masks[masks]


def _by_length(member: Member, ladders: Sequence[tuple[float, ...]]) -> list[tuple[Ints, Ints]]:
    """The ladders that a member may have, by length: their numbers, and level indices from the
    top down."""
    found: dict[int, list[tuple[int, tuple[int, ...]]]] = {}
    top = len(member.problem.profile.levels_dbm) - 1
    for number, ladder in enumerate(ladders):
        levels = member.ladder_of(ladder)
        if levels is not None and (not member.problem.top_fixed or levels[-1] == top):
            found.setdefault(len(levels), []).append((number, levels[::-1]))
    return [
        (np.array([n for n, _ in some]), np.array([levels for _, levels in some]))
        for some in found.values()
    ]


def _measured(problem: Problem, counts: Ints) -> tuple[Floats, Floats]:
    """Excess and loss of (missed, stray) in each row."""
    kinds, of_row = np.unique(counts, axis=0, return_inverse=True)
    each = [
        (problem.excess(one), problem.loss(one))
        for one in itertools.starmap(Counts, kinds.tolist())
    ]
    found = np.array(each)[of_row.reshape(-1)]
    return found[:, 0], found[:, 1]


def _ranked(excess: Floats, loss: Floats, silence: tuple[float, float]) -> Ints:
    """How far below silence each is, in the order of excess, then loss: 0 for silence and above,
    then −1, −2, … (the lower the better)."""
    pairs = np.column_stack([np.append(excess, silence[0]), np.append(loss, silence[1])])
    order = np.lexsort((pairs[:, 1], pairs[:, 0]))
    step = (pairs[order[1:]] != pairs[order[:-1]]).any(axis=1)
    rank = np.empty(len(pairs), np.int64)
    rank[order] = np.concatenate([[0], np.cumsum(step)])
    found: Ints = np.minimum(rank[:-1] - rank[-1], 0).reshape(excess.shape)
    return found


def _undominated(rank: Ints, work: Ints, shared: Ints, clock: Clock) -> Ints | None:
    """The rows that no other with the same shared parts is as good as everywhere; None: they are
    too many."""
    useful = np.flatnonzero((rank < 0).any(axis=1))
    whole = np.column_stack([shared, rank, work])[useful]
    _, first = np.unique(whole, axis=0, return_index=True)
    rows = useful[np.sort(first)]
    _, group = np.unique(shared[rows], axis=0, return_inverse=True)
    measure = np.column_stack([rank, work])[rows]
    kept: list[Ints] = []
    for number in range(int(group.max(initial=-1)) + 1):
        clock.check()
        some = np.flatnonzero(group.reshape(-1) == number)
        kept.append(rows[some[_best(measure[some])]])
        if sum(map(len, kept)) > _LEFT_MAX:
            return None
    return np.concatenate(kept) if kept else np.zeros(0, np.int64)


def _best(measure: Ints) -> Ints:
    """The rows that no other row is at most in all columns (rows differ)."""
    order = np.argsort(measure.sum(axis=1), kind="stable")
    left: list[int] = []
    for place in order.tolist():
        kept = measure[left]
        if not left or not (kept <= measure[place]).all(axis=1).any():
            left.append(place)
    return np.array(left, np.int64)
