"""The exact search: every mask selection × cutoff × ladder, by bounds that leave nothing out.

Selections are taken by number of masks. For each, and for each cutoff, a lower bound says whether
any ladder could beat the best strategy so far in the order of preference; only where it could are
ladders looked at, least bound first. What is cut off is never better, so the end is a proof.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Generator
from dataclasses import dataclass, field

import numpy as np

from strategist.errors import SolveError
from strategist.optimise.bounds import Completion, View, measures
from strategist.optimise.ladders import in_order
from strategist.optimise.problem import Answer, Problem, value, walk
from strategist.optimise.selections import Selections, grow, literals, no_masks
from strategist.survey.records import Bools, Floats, Ints

__all__ = ["Clock", "TooManySelectionsError", "search"]

SELECTIONS_MAX = 1_000_000  # before the last mask; beyond it the model takes over
_VIEW_CELLS = 30_000_000  # (rows × levels) of views kept at a time

_SPAN = 7  # cutoffs looked at together for the floor of the whole problem
_DIGITS = 6
_COMPLETIONS: tuple[Completion, Completion] = ("less", "more")


class TooManySelectionsError(SolveError):
    """The chains of this problem make more selections than can be listed."""


class _OutOfTimeError(Exception):
    """The clock ran out while bounds were computed."""


@dataclass(frozen=True)
class Clock:
    """Seconds allowed (None: no limit), counted from its making."""

    seconds: float | None = None
    started: float = field(default_factory=time.monotonic)

    @property
    def spent(self) -> float:
        return time.monotonic() - self.started

    def expired(self) -> bool:
        return self.seconds is not None and self.spent >= self.seconds


def search(problem: Problem, clock: Clock) -> Answer:
    """The most preferred strategy of the problem, proven unless the clock runs out.

    Raises TooManySelectionsError where listing the chains is out of the question.
    """
    run = _Search(problem, clock)
    floor = run.floor()
    try:
        still_open = _by_number_of_masks(run, floor)
    except _OutOfTimeError:
        still_open = floor
    return run.answer(still_open)


def _by_number_of_masks(run: _Search, floor: tuple[float, float]) -> tuple[float, float] | None:
    """Explore chains of no mask, one, two and so on; a bound of what time did not allow."""
    problem, clock = run.problem, run.clock
    selections = no_masks(problem.profile.classes)
    known = selections.words
    table = literals(problem.candidates)
    singles = selections
    still_open = run.explore(selections)
    if still_open is not None and problem.slots:
        still_open = floor
    for masks in range(1, problem.slots + 1):
        if still_open is not None or run.hopeless(*floor, float(masks)):
            break
        last = masks == problem.slots
        worth = None
        if last and masks > 1:
            left, right = run.worth(selections, masks), run.worth(singles, masks)
            worth = (
                (left[0], singles.chain_of[right[0], 0]),
                (left[1], singles.chain_of[right[1], 0]),
            )
        selections = grow(selections, known, table, worth)
        known = np.concatenate([known, selections.words])
        singles = selections if masks == 1 else singles
        if not last and len(known) > SELECTIONS_MAX:
            raise TooManySelectionsError(
                f"the mask chains make over {SELECTIONS_MAX} selections: too many for the search"
            )
        if clock.expired():
            return floor
        still_open = run.explore(selections)
        if still_open is not None and not last:
            still_open = floor
    return still_open


class _Search:
    def __init__(self, problem: Problem, clock: Clock) -> None:
        self.problem = problem
        self.clock = clock
        self.measures = measures(problem)
        self.best: Answer | None = None
        self.pairs = 0
        self.explored = 0
        self._views: dict[tuple[int, int], View] = {}

    def view(self, low: int, high: int) -> View:
        """The view under cutoffs `low` to `high`, kept for a while."""
        if (low, high) not in self._views:
            cells = self.problem.profile.rssi.size
            if (len(self._views) + 1) * cells > _VIEW_CELLS:
                self._views.clear()
            self._views[low, high] = View(self.problem, low, high)
        return self._views[low, high]

    def hopeless(self, *key: float) -> bool:
        """Whether a strategy whose key begins no lower than `key` cannot beat the best."""
        return self.best is not None and key > self.best.key[: len(key)]

    def excess(self, bounds: Floats) -> Floats:
        """Least excess over the hard limits; `bounds` has one entry a measure, the loss first."""
        over = np.zeros(bounds.shape[1:])
        for measure, bound in zip(self.measures[1:], bounds[1:], strict=True):
            over += np.maximum(0.0, bound / measure.per - measure.cap)
        excess: Floats = np.round(over, _DIGITS)
        return excess

    def floor(self) -> tuple[float, float]:
        """(excess, loss) that no strategy of the problem is below."""
        nothing = np.zeros((1, self.problem.profile.classes), bool)
        last = len(self.problem.thresholds) - 1
        floors = [
            self._value(self._bounds(nothing, (c, min(c + _SPAN, last)), "more"))[0]
            for c in range(0, last + 1, _SPAN + 1)
        ]
        return min(floors)

    def _bounds(
        self,
        through: Bools,
        cutoffs: tuple[int, int],
        completion: Completion,
        tied: bool = False,
    ) -> Floats:
        """Bounds of selections under a range of cutoffs: shape (measures, selections).

        `tied` bounds hold the passes to one ladder; they are tighter and take longer.
        """
        view = self.view(*cutoffs)
        bound = view.path_bounds if tied else view.free_bounds
        return np.array([bound(m, through, completion) for m in self.measures])

    def _value(self, bounds: Floats) -> list[tuple[float, float]]:
        """(excess, loss) of each selection."""
        loss = np.round(bounds[0], _DIGITS)
        return list(zip(self.excess(bounds).tolist(), loss.tolist(), strict=True))

    def _could_win(self, bounds: Floats, masks: int) -> Bools:
        """Which selections could beat the best, given their bounds."""
        excess, loss = self.excess(bounds), np.round(bounds[0], _DIGITS)
        if self.best is None:
            return np.ones(loss.shape, bool)
        best_excess, best_loss, best_masks = self.best.key[:3]
        as_good = (loss < best_loss) | ((loss == best_loss) & (masks <= best_masks))
        could: Bools = (excess < best_excess) | ((excess == best_excess) & as_good)
        return could

    def _survivors(
        self,
        selections: Selections,
        rows: Ints,
        cutoffs: tuple[int, int],
        completion: Completion,
        masks: int,
    ) -> tuple[Ints, Floats]:
        """Which of the rows could beat the best under a range of cutoffs, with their bounds.

        The tight bounds are worth their time under a single cutoff only.
        """
        single = cutoffs[0] == cutoffs[1] and self.problem.steps_max > 1 and self.best is not None
        bounds = np.zeros((len(self.measures), 0))
        for tied in (False, True) if single else (False,):
            bounds = self._bounds(selections.unpack(rows), cutoffs, completion, tied)
            could = self._could_win(bounds, masks)
            rows, bounds = rows[could], bounds[:, could]
        return rows, bounds

    def promising(
        self, selections: Selections, completion: Completion, masks: int
    ) -> Generator[tuple[Ints, int, Floats], bool | None, None]:
        """(rows, cutoff, bounds) of the selections that could beat the best under each cutoff.

        Cutoffs are taken in ranges first, which are halved while some selection is promising.
        Sending True drops the rows just yielded from what follows.
        """
        last = len(self.problem.thresholds) - 1
        dropped = np.zeros(len(selections), bool)
        stack = [((1, last), np.arange(len(selections)))] if last else []
        stack.append(((0, 0), np.arange(len(selections))))
        while stack:
            if self.best is not None and self.clock.expired():
                raise _OutOfTimeError
            (low, high), rows = stack.pop()
            rows, bounds = self._survivors(
                selections, rows[~dropped[rows]], (low, high), completion, masks
            )
            if len(rows) and low == high:
                if (yield rows, low, bounds):
                    dropped[rows] = True
            elif len(rows):
                middle = (low + high) // 2
                stack += [((middle + 1, high), rows), ((low, middle), rows)]

    def worth(self, base: Selections, masks: int) -> tuple[Ints, Ints]:
        """Rows that may be a part of a better chain of `masks` masks: (by "and", by "or").

        A last "and" leaves less than either of its parts, a last "or" more.
        """
        found = np.zeros((2, len(base)), bool)
        for way, completion in enumerate(_COMPLETIONS):
            candidates = self.promising(base, completion, masks)
            with contextlib.suppress(StopIteration):
                rows, _, _ = next(candidates)
                while True:
                    found[way, rows] = True
                    rows, _, _ = candidates.send(True)
        return np.flatnonzero(found[0]), np.flatnonzero(found[1])

    def explore(self, selections: Selections) -> tuple[float, float] | None:
        """Look at every pair that could be better; if time runs out: a bound of those left."""
        self.pairs += len(selections) * len(self.problem.thresholds)
        found = list(self.promising(selections, "as is", selections.masks))
        if not found:
            return None
        row = np.concatenate([rows for rows, _, _ in found])
        cutoff = np.concatenate([np.full(len(rows), c) for rows, c, _ in found])
        bounds = np.concatenate([bounds for _, _, bounds in found], axis=1)
        excess, loss = self.excess(bounds), np.round(bounds[0], _DIGITS)
        order = np.lexsort((selections.bits[row], cutoff > 0, loss, excess))
        for position in order:
            key = (float(excess[position]), float(loss[position]))
            c = int(cutoff[position])
            if self.hopeless(*key):
                break  # sorted: what follows is no better
            if self.hopeless(*key, selections.masks, float(c > 0), 1):
                continue
            if self.best is not None and self.clock.expired():
                return key
            self.explored += 1
            self._ladders(selections, int(row[position]), c)
        return None

    def _ladders(self, selections: Selections, row: int, cutoff: int) -> None:
        """Look at the ladders of one pair, in order of preference, where bounds leave any."""
        problem, view = self.problem, self.view(cutoff, cutoff)
        through = selections.unpack(np.array([row]))
        steps = tuple(view.steps(measure, through) for measure in self.measures)
        accepted = view.accepted & through[0, problem.profile.row_class][:, None]
        top = len(problem.profile.levels_dbm) - 1
        begin = (float(selections.masks), float(cutoff > 0))

        def hopeless(bounds: tuple[float, ...], levels: tuple[int, ...]) -> bool:
            excess = float(self.excess(np.array(bounds)[:, None])[0]) if len(bounds) > 1 else 0.0
            return self.hopeless(excess, value(bounds[0]), *begin, count, *levels)

        for count in range(1, problem.steps_max + 1):
            tops = range(top if problem.top_fixed else 0, top + 1)
            for levels in in_order(steps, count, tops, hopeless):
                counts = walk(problem, accepted, levels[::-1])
                key = (
                    problem.excess(counts),
                    problem.loss(counts),
                    *begin,
                    float(count),
                    *levels,
                    float(selections.bits[row]),
                )
                if self.best is None or key < self.best.key:
                    self.best = Answer(key, selections.chain(row), cutoff, levels[::-1], counts)

    def answer(self, still_open: tuple[float, float] | None) -> Answer:
        """The best with its bound; `still_open` bounds what was not looked at (None: nothing)."""
        assert self.best is not None  # the first pair is looked at whatever the clock says
        return self.best.bounded(still_open, pairs=self.pairs, explored=self.explored)
