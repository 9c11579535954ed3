"""What the compiled loops give, through the functions over them, on drawn tables.

Gains are whole numbers in half of the tables, so that bounds tie and meet their limits exactly.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from strategist.optimise import kernel, walks
from strategist.optimise.cells import Layout
from strategist.optimise.clock import Clock
from strategist.optimise.joins import Blocks
from strategist.optimise.ladders import in_order
from strategist.optimise.loops import joins, tables
from strategist.optimise.measures import measures
from strategist.optimise.own_prices import first_prices, raised
from strategist.optimise.problem import pose
from strategist.optimise.selections import Literals, grow, no_masks
from strategist.survey.records import Floats
from tests.optimise.made import random_read_point
from tests.optimise.made_tables import some_cells, some_columns

Recorded = Callable[..., None]


def short(values: Any) -> Any:
    """Figures with as many decimals as are compared."""
    return np.round(values, 8) + 0.0


class Drawn:
    """Cells of a few passes, a state of their classes and multipliers, and what ladders keep to."""

    def __init__(self, seed: int) -> None:
        self.rng = rng = np.random.default_rng(seed)
        passes, classes, levels = (int(rng.integers(*x)) for x in ((1, 6), (1, 9), (1, 6)))
        self.tables = some_cells(rng, passes, classes, levels)
        self.cells = kernel.Cells(**self.tables)
        self.whole = bool((self.tables["gain"] % 1 == 0).all())
        self.must = rng.random(levels) < rng.choice([0.0, 0.0, 0.3])
        self.state = rng.choice([kernel.OUT, kernel.IN, *[kernel.OPEN] * 4], classes)
        count = len(self.tables["klass"])
        self.multiplier: Floats = (
            rng.integers(-8, 9, count) / 4 if self.whole else rng.normal(0, 1, count)
        )
        self.stop_after, self.steps_max = 1 + seed % 2, int(rng.integers(1, 5))

    def ladders(self) -> tuple[int, int, Any]:
        return self.stop_after, self.steps_max, self.must

    def bound(self) -> float:
        return kernel.ladder_bound(self.state, self.multiplier, self.cells, *self.ladders())


@pytest.mark.parametrize("seed", range(13))
def test_steps(seed: int, recorded: Recorded) -> None:
    drawn = Drawn(seed)
    asked = drawn.state, drawn.multiplier, drawn.cells
    edge, top, free = kernel.step_costs(*asked, drawn.stop_after, drawn.must)
    bound, chosen, stops = kernel.relaxed(*asked, *drawn.ladders())
    into, out = kernel.penalties_of(*asked, drawn.stop_after, drawn.must)
    levels = len(drawn.must)
    ladders = [
        kernel.best_ladder(edge, top, most, must)
        for most in range(1, 5)
        for must in (np.zeros(levels, bool), drawn.must, np.arange(levels) == levels // 2)
    ]
    recorded(
        {
            "edge": [short(row) for row in edge],
            "top": [short(row) for row in top],
            "free": short(free),
            "ladders": [[short(least), *places] for least, places in ladders],
            "bound": short(bound),
            "chosen": chosen,
            "stops": stops,
            "subgradient": short(kernel.subgradient_of(*asked, *drawn.ladders())[1]),
            "into": short(into),
            "out": short(out),
        }
    )


@pytest.mark.parametrize("seed", range(100, 110))
def test_bounds_of_selections(seed: int, recorded: Recorded) -> None:
    """Without a limit, with one that some of them meet, and none at all."""
    drawn = Drawn(seed)
    through = drawn.rng.choice([kernel.OUT, kernel.IN], (12, len(drawn.state)))
    every = kernel.bounds_of(through, drawn.cells, *drawn.ladders(), np.inf)
    found = {}
    for limit in np.unique(every)[:3].tolist():
        some = kernel.bounds_of(through, drawn.cells, *drawn.ladders(), limit)
        found[str(short(limit))] = short(some)
    none = kernel.bounds_of(through[:0], drawn.cells, *drawn.ladders(), 1.0)
    recorded({"all": short(every), "limited": found, "none": none})


@pytest.mark.parametrize("seed", range(200, 214))
def test_climbs(seed: int, recorded: Recorded) -> None:
    """From one call to the next, until the bound is enough, or rises no more."""
    drawn = Drawn(seed)
    bound = drawn.bound()
    goal = bound + 3 if np.isfinite(bound) else 3.0
    found: list[Any] = []
    for enough, patience, least_step, rounds in (
        (np.inf, 3, 1e-2, 7),
        (np.inf, 2, 0.25, 60),
        (bound, 3, 1e-2, 9),
        (bound + 0.5, 2, 0.02, 30),
        (goal, 1, 0.5, 30),
    ):
        multiplier, kept = drawn.multiplier.copy(), drawn.multiplier.copy()
        reached, ends = np.array([1.0, 0.0, -np.inf]), []
        for _ in range(3):
            ends.append(
                kernel.climb(
                    *(drawn.state, multiplier, kept, drawn.cells, *drawn.ladders()),
                    *(enough, goal, 1.05, patience, least_step, rounds, reached),
                )
            )
            if ends[-1]:
                break
        moved = [] if (multiplier == kept).all() else short(multiplier[:6])
        found.append([[*ends, *short(reached).tolist()], short(kept[:6]), moved])
    recorded(found)


@pytest.mark.parametrize("seed", range(300, 318))
def test_probing(seed: int, recorded: Recorded) -> None:
    """By limits that some bounds of tries meet, too."""
    drawn, found = Drawn(seed), {}
    bound = drawn.bound()
    open_ = np.flatnonzero(drawn.state == kernel.OPEN)
    for above in (0.0, 0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 5.0):
        state = drawn.state.copy()
        fixed = kernel.fix_by_probing(
            *(state, open_, drawn.multiplier, drawn.cells, *drawn.ladders(), bound + above)
        )
        found[str(above)] = [bool(fixed), *state.tolist()]
    recorded({"before": drawn.state, "bound": short(bound), "above": found})


@pytest.mark.parametrize("seed", range(400, 413))
def test_cuts(seed: int, recorded: Recorded) -> None:
    drawn = Drawn(seed)
    bound, found = drawn.bound(), []
    classes, count = len(drawn.state), len(drawn.multiplier)
    drawn.state[: classes // 3] = kernel.IN
    sample = drawn.rng.integers(0, 256, (12, 8)).astype(np.uint8)
    for above, few, patience in ((0.5, 2, 3), (2.0, 0, 2), (0.0, 6, 1)):
        limit = (bound if np.isfinite(bound) else 3.0) + above
        multiplier, kept, alive = drawn.multiplier.copy(), np.zeros(count), np.arange(12)
        bases, weights, reached = np.zeros(9), np.zeros((9, classes)), np.array([1.0, 0.0, -np.inf])
        number, left, ended = kernel.cut_rounds(
            *(drawn.state, multiplier, kept, drawn.cells, *drawn.ladders(), limit, 1.3),
            *(patience, 0.2, 9, sample, alive, few, bases, weights, reached),
        )
        found.append(
            {
                "ended": [number, left, bool(ended)],
                "bases": short(bases[:number]),
                "weights": [short(row) for row in weights[:number]],
                "alive": alive[:left],
                "kept": short(kept[:6]),
                "reached": short(reached),
            }
        )
    recorded(found)


@pytest.mark.parametrize("seed", range(10))
def test_ladders_in_order(seed: int, recorded: Recorded) -> None:
    """All at once, a few at a time, and with little room."""
    rng = np.random.default_rng(seed)
    measured, levels, steps_max = (int(rng.integers(1, most)) for most in (4, 7, 5))
    edge, top = (rng.integers(0, 9, (measured, levels + 1, levels)) * 0.5 for _ in range(2))
    least, total = walks.ladder_bounds(edge, top, steps_max)
    must, room = rng.random(levels) < 0.15, rng.integers(0, 15, (measured, 2)) * 1.0
    paused: dict[str, Any] = {}
    for count in range(1, min(steps_max, levels) + 1):
        for turns in (1_000, 5):
            ladder, depth, told = np.full(count, -1), 1, []
            ladder[0] = levels - 1
            for _ in range(3):
                found, depth = walks.ladders_left(
                    edge, top, least, room, must, ladder, depth, 4, turns
                )
                told.append([depth, *ladder.tolist(), *found.reshape(-1).tolist()])
                if not depth:
                    break
            paused[f"{count} steps, {turns} turns"] = told
    ordered = in_order(
        [(edge[k], top[k]) for k in range(measured)],
        *(steps_max, must, lambda count, places: room + len(places) / 4, lambda: None),
        at_once=8,
    )
    recorded(
        {
            "least": [row for one in least for row in one],
            "total": [row for one in total for row in one],
            "paused": paused,
            "in order": [row for some in ordered for row in some.tolist()],
        }
    )


@pytest.mark.parametrize("seed", range(9))
def test_what_ladders_report(seed: int, recorded: Recorded) -> None:
    rng = np.random.default_rng(seed)
    levels, steps, passes = (int(rng.integers(1, most)) for most in (6, 4, 5))
    start = np.append(0, np.cumsum(rng.integers(0, 5, passes)))
    rows = int(start[-1])
    ladders = np.sort(rng.integers(0, levels, (6, steps)))[:, ::-1]
    accepted = rng.random((rows, levels)) < 0.5
    count, weight, role = rng.integers(1, 4, rows), rng.integers(1, 6, rows), rng.random(rows) < 0.5
    of_rows = count, np.where(role, weight, 0), np.where(role, 0, weight)
    weight = rng.integers(-20, 20, 24) / 4
    packed = rng.integers(0, 256, (5, 3)).astype(np.uint8)
    by_byte = walks.sums_of_bytes(weight)
    recorded(
        {
            str(stop_after): walks.counts_of(
                ladders, accepted.T.copy(), start, *of_rows, stop_after
            )
            for stop_after in (1, 2, 4)
        }
        | {"bytes": by_byte[:, ::23], "sums": walks.sums_of(packed, by_byte)}
    )


@pytest.mark.parametrize("seed", range(5))
def test_cells(seed: int, recorded: Recorded) -> None:
    """Of one cutoff and of several together, at all levels and at some."""
    point = random_read_point(seed, size=1 + seed % 2)
    problem = pose(point.survey, point.policy)
    layout, found = Layout(problem), {}
    measure, *_ = measures(problem)
    levels, last = np.arange(len(problem.profile.levels_dbm)), len(problem.thresholds) - 1
    rng, stop_after = np.random.default_rng(seed), problem.policy.stop_after
    state = rng.choice([kernel.OUT, kernel.IN, *[kernel.OPEN] * 3], problem.profile.classes)
    multiplier = rng.integers(-4, 5, len(layout.klass)) / 4
    for low, high, some in ((0, 0, levels), (last // 2, last, levels), (1, 2, levels[::2])):
        cells = layout.cells(min(low, last), some, measure, min(high, last))
        must = np.zeros(len(some), bool)
        edge, top, free = kernel.step_costs(state, multiplier, cells, stop_after, must)
        penalties = kernel.penalties_of(state, multiplier, cells, stop_after, must)
        chosen = kernel.relaxed(state, multiplier, cells, stop_after, problem.steps_max, must)
        found[f"{low} to {high}"] = [
            *(short(row) for table in (cells.gain, edge, top, penalties) for row in table),
            [free, chosen[0], *chosen[1], *chosen[2]],
        ]
    recorded(found)


@pytest.mark.parametrize("seed", range(12))
def test_tables(seed: int, recorded: Recorded) -> None:
    rng = np.random.default_rng(seed)
    rows, cells, passes, levels = (int(rng.integers(1, most)) for most in (12, 5, 4, 5))
    begin, of_pass = (np.linspace(0, rows, n + 1).astype(np.int64) for n in (cells, passes))
    rssi = np.where(rng.random((rows, 6)) < 0.7, rng.integers(-66, -54, (rows, 6)), -np.inf)
    some = np.sort(rng.choice(6, levels, replace=False))
    missed, stray, hold = np.zeros((3, cells, levels))
    first = np.empty(rows, np.int64)
    tables.fill(
        *(rssi, some, -62.0, -58.0, bool(seed % 2), rng.permutation(rows), begin),
        *(rng.random(rows) < 0.5, rng.integers(1, 3, rows), rng.integers(1, 3, rows)),
        *(missed, stray, hold, first),
    )
    start, row = np.zeros(passes + 1, np.int64), np.full(rows, -1)
    tables.sort_by_first(of_pass, first, levels, start, row)
    cell_start = np.linspace(0, cells, passes + 1).astype(np.int64)
    at, flip = np.zeros(passes * levels + 1, np.int64), np.full(cells * levels, -1)
    tables.flips(cell_start, hold, at, flip)
    recorded(
        {
            "missed": missed,
            "stray": stray,
            "hold": hold,
            "first": first,
            "start": start,
            "row": row,
            "flips": flip,
            "flips begin": at,
        }
    )


@pytest.mark.parametrize("seed", range(6))
def test_joins(seed: int, recorded: Recorded) -> None:
    """Chains of two masks with one more, within two cuts."""
    rng, classes = np.random.default_rng(seed), 11
    through = np.zeros((10, 64), bool)
    through[::2, :classes] = rng.random((5, classes)) < 0.5
    through[1::2, :classes] = ~through[::2, :classes]
    bits = np.repeat(rng.choice([8, 16, 24], 5), 2)
    table = Literals(np.packbits(through, axis=1).view(np.uint64), bits, classes)
    listed = no_masks(classes)
    for _ in range(2):
        more = grow(listed, listed.words, table, Clock())
        assert more is not None
        listed = more
    weights = []
    for _ in range(2):
        weight = np.zeros(64)
        weight[:classes] = rng.integers(-4, 6, classes) / 4
        weights.append((weight, float(seed)))
    found: dict[str, Any] = {"listed": len(listed)}
    blocks = Blocks.of(listed)
    for ors in (False, True):
        noted = [
            (row, literal, int(either))
            for some in blocks.joins(
                table, weights, ors=ors, clock=Clock(), at_once=16 * 16 * 10 + ors
            )
            for row, literal, either in zip(*(one.tolist() for one in some), strict=True)
        ]
        found[f"ors {ors}"] = [len(noted), *sum(noted[:30], ())]
        found[f"ors {ors} last"] = sum(noted[-15:], ())
    found["alike"] = blocks.row[:40]
    recorded(found)


@pytest.mark.parametrize("seed", range(8))
def test_blocks(seed: int, recorded: Recorded) -> None:
    """As many as there is room for, then the rest."""
    rng = np.random.default_rng(seed)
    rows, masks = int(rng.integers(20, 90)), int(rng.integers(1, 4))
    own, literals = (rng.integers(0, 256, (n, 2)).astype(np.uint8) for n in (rows, masks))

    def blocks(below: Any) -> tuple[Any, Any]:
        first = np.arange(0, len(below[0]), 4)
        ands, ors = np.bitwise_and, np.bitwise_or
        return ands.reduceat(below[0], first, axis=0), ors.reduceat(below[1], first, axis=0)

    inner = blocks((own, own))
    weight = rng.integers(-4, 5, (2, 16)) / 4
    sums = [
        np.array([walks.sums_of_bytes(part(one)) for one in weight])
        for part in (lambda w: w, lambda w: np.maximum(w, 0.0), lambda w: np.minimum(w, 0.0))
    ]
    found = []
    for ors in (False, True):
        loop = joins.Blocks(
            *(4, (own, *inner), blocks(inner), literals, ors, sums, np.array([-0.5, 0.25]))
        )
        first, room = 0, 4 * 4 * masks * 4 + 7
        while first < len(blocks(inner)[0]):
            row, literal, either = np.full(room, -1), np.full(room, -1), np.zeros(room, bool)
            first, count = loop.joins(first, first + 3, row, literal, either)
            found.append([first, count])
            noted = zip(row[:count], literal, either, strict=False)
            found.append([f"{i} {n} {int(by)}" for i, n, by in noted][:25])
    recorded(found)


@pytest.mark.parametrize("seed", range(13))
def test_prices(seed: int, recorded: Recorded) -> None:
    """Towards a target that no choice is below, and one beyond what can be reached."""
    rng = np.random.default_rng(seed)
    columns = some_columns(rng)
    alive = rng.random(len(columns.antenna)) < 0.9
    alive[columns.place < 0] = rng.random(int((columns.place < 0).sum())) < 0.9
    price, found = first_prices(columns), []
    for target, rounds in ((2.0, 8), (6.5, 25), (30.0, 1), (30.0, 90)):
        own, prices = alive.copy(), price.copy()
        bound, lately, least, choice = raised(columns, own, prices, target, rounds)
        found.append(
            {
                "bound": short(bound),
                "least": short(least),
                "choice": choice,
                "alive": own * 1,
                "lately": short(lately),
                "prices": short(prices.reshape(-1)[:9]),
            }
        )
    recorded({"first": short(price.reshape(-1)[:8]), "raised": found})
