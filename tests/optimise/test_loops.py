"""What is compiled says, bit for bit, what the same lines say as Python, which checks each place in
an array; and it says so where it is missing, or older than its source."""

from __future__ import annotations

import itertools
import os
import shutil
import subprocess
import sys
import warnings
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from strategist.optimise import walks as walks_over
from strategist.optimise.loops import bounds, joins, prices, tables, walks
from strategist.optimise.own_prices import first_prices
from strategist.survey.records import Floats
from tests.compiled import as_python
from tests.conftest import not_compiled
from tests.optimise.made_tables import some_cells, some_columns

ROOT = Path(__file__).parents[2]
LOOPS = ROOT / "strategist" / "optimise" / "loops"


SOURCE = {module: as_python(module) for module in (bounds, joins, prices, tables, walks)}


def same(module: ModuleType, call: Callable[[ModuleType, list[Any]], Any], *given: Any) -> Any:
    """Call both with copies of what is given; what comes back, or is changed, has the same bits."""
    told = []
    for one in (module, SOURCE[module]):
        copies = [x.copy() if isinstance(x, np.ndarray) else x for x in given]
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # inf less inf, where nothing is found
            back = call(one, copies)
        told.append((back, copies))
    assert bits(told[0]) == bits(told[1])
    return told[0][0]


def bits(value: Any) -> Any:
    if isinstance(value, np.ndarray):
        return value.shape, value.tobytes()
    if isinstance(value, tuple | list):
        return [bits(one) for one in value]
    return float(value).hex() if isinstance(value, int | float | np.number) else type(value)


@pytest.mark.parametrize("stop_after", [1, 2])
@pytest.mark.parametrize("seed", range(20))
def test_bounds(seed: int, stop_after: int) -> None:
    rng = np.random.default_rng(seed)
    passes, classes, levels = (int(rng.choice(x)) for x in ([0, 1, 4], [1, 3, 9], [1, 2, 5]))
    cells = some_cells(rng, passes, classes, levels)
    steps_max, must = int(rng.integers(1, 4)), rng.random(levels) < rng.choice([0.0, 0.3])
    state = rng.choice([0, 1, 2, 2, 2], classes)
    multiplier = rng.normal(0, 1, len(cells["klass"]))
    ladders = stop_after, steps_max, must

    _, edge, top, _, _, _ = bounds.of_states(
        *(state[None], multiplier, bounds.Cells(**cells), *ladders, np.inf, 0)
    )
    some = np.flatnonzero(~must)
    without, within = same(
        bounds, lambda m, x: m.by_step(*x[:2], steps_max, must, x[2]), edge, top, some
    )
    for place, bound, other in zip(some.tolist(), without, within, strict=True):
        barred, asked = (edge.copy(), top.copy()), must.copy()
        barred[0][:, place] = barred[1][:, place] = np.inf
        asked[place] = True
        assert bounds.best_ladder(*barred, steps_max, must)[0] == bound
        assert bounds.best_ladder(edge, top, steps_max, asked)[0] == other

    for far in range(4):
        _, edge, top, _, _, _ = same(
            bounds,
            lambda m, x, far=far: m.of_states(*x, m.Cells(**cells), *ladders, np.inf, far),
            *(state[None], multiplier),
        )
    bound, ladder = same(bounds, lambda m, x: m.best_ladder(*x, steps_max, must), edge, top)
    assert len(ladder) <= steps_max
    same(
        bounds,
        lambda m, x: m.of_states(*x, m.Cells(**cells), *ladders, bound, 1)[0],
        *(rng.choice([0, 1, 2], (int(rng.integers(0, 5)), classes)), multiplier),
    )
    same(
        bounds,
        lambda m, x: m.penalties_of(*x, m.Cells(**cells), stop_after, must),
        *(state, multiplier),
    )
    goal = bound + 2 if np.isfinite(bound) else 3.0
    reached = np.array([1.0, 0.0, -np.inf])
    same(
        bounds,
        lambda m, x: m.climb(
            *x[:3], m.Cells(**cells), *ladders, np.inf, goal, 1.05, 3, 1e-2, 9, x[3]
        ),
        *(state, multiplier, multiplier, reached),
    )
    for limit in (goal - 2, goal):
        same(
            bounds,
            lambda m, x, limit=limit: m.fix_by_probing(*x, m.Cells(**cells), *ladders, limit),
            *(state, np.flatnonzero(state == 2), multiplier),
        )
    sample = rng.integers(0, 256, (12, 8)).astype(np.uint8)
    found = np.zeros(9), np.zeros((9, classes)), reached
    same(
        bounds,
        lambda m, x: m.cut_rounds(
            *(*x[:3], m.Cells(**cells), *ladders, goal, 1.3, 3, 1e-2, 9),
            *(sample, x[3], 2, *x[4:]),
        ),
        *(state, multiplier, multiplier, np.arange(12), *found),
    )


@pytest.mark.parametrize("seed", range(20))
def test_walks(seed: int) -> None:
    rng = np.random.default_rng(seed)
    measures, levels, steps_max = (int(rng.integers(1, most)) for most in (3, 6, 4))
    shape = measures, levels + 1, levels
    edge, top = (rng.integers(0, 9, shape) * 0.5 for _ in range(2))
    least = np.full((measures, steps_max, levels), np.inf)
    same(walks, lambda m, x: m.ladder_bounds(*x), edge, top, least, least)
    walks.ladder_bounds(edge, top, least, least.copy())
    must, room = rng.random(levels) < 0.15, rng.integers(0, 15, (measures, 2)) * 1.0
    for count in range(1, min(steps_max, levels) + 1):
        ladder, found = np.full(count, -1), np.zeros((5, count), np.int64)
        ladder[0] = levels - 1
        same(
            walks,
            lambda m, x: m.ladders_left(edge, top, least, room, must, x[0], 1, 30, x[1]),
            *(ladder, found),
        )
    rows, passes = int(rng.integers(0, 12)), int(rng.integers(0, 4))
    start = np.linspace(0, rows, passes + 1).astype(np.int64)
    rows = int(start[-1])
    same(
        walks,
        lambda m, x: m.reported(*x[:6], 2, x[6]),
        *(
            np.sort(rng.integers(0, levels, (4, steps_max)))[:, ::-1],
            rng.random((levels, rows)) < 0.5,
        ),
        *(start, *rng.integers(0, 4, (3, rows))),
        np.zeros((4, 2), np.int64),
    )
    rssi, least = rng.integers(-66, -54, (rows, levels)) * 1.0, np.array([-64.0, -60.0, -57.0])
    rssi[rng.random(rssi.shape) < 0.3] = -np.inf
    row_class, change = rng.integers(0, 4, rows), rng.normal(0, 1, rows)
    same(
        walks,
        lambda m, x: m.changes(*x),
        *(rssi, least, row_class, change, np.zeros((4, levels, 3))),
    )
    changed = walks_over.changes_of(rssi, least, row_class, change, 4)
    through, some = rng.random(4) < 0.5, np.unique(rng.integers(0, levels, 2))
    same(
        walks,
        lambda m, x: m.accept(x[0], x[1], -60.0, *x[2:]),
        *(rssi.T.copy(), some, row_class, through, np.zeros((len(some), rows), np.uint8)),
    )
    accepted = walks_over.accepted_of(rssi.T.copy(), some, -60.0, row_class, through)
    for t, k in itertools.product(range(levels), range(3)):
        loud = rssi[:, t] >= least[k]
        assert changed[:, k, t].tolist() == np.bincount(row_class, change * loud, 4).tolist()
    assert (accepted == (rssi[:, some].T >= -60.0) & through[row_class]).all()
    table = np.zeros((8, 256))
    same(walks, lambda m, x: m.sums_of_bytes(*x), rng.normal(0, 1, 64), table)
    packed = rng.integers(0, 256, (5, 8)).astype(np.uint8)
    same(walks, lambda m, x: m.sums_of(*x), packed, rng.normal(0, 1, (8, 256)), np.empty(5))


@pytest.mark.parametrize("seed", range(20))
def test_tables(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows, cells, passes, levels = (int(rng.integers(1, most)) for most in (12, 5, 4, 5))
    of_pass = np.linspace(0, rows, passes + 1).astype(np.int64)
    begin = np.linspace(0, rows, cells + 1).astype(np.int64)
    rssi = np.where(rng.random((rows, 6)) < 0.7, rng.integers(-70, -50, (rows, 6)), -np.inf)
    some = np.sort(rng.choice(6, levels, replace=False))
    shape, first = (cells, levels), np.empty(rows, np.int64)
    stays = bool(rng.random() < 0.5)
    rest = rng.random(rows) < 0.5, rng.integers(1, 3, rows), rng.integers(1, 3, rows)
    empty = np.zeros(shape)
    same(
        tables,
        lambda m, x: m.fill(*x[:2], -62.0, -58.0, stays, *x[2:]),
        *(rssi, some, rng.permutation(rows), begin, *rest, empty, empty, empty, first),
    )
    first = rng.integers(-1, levels, rows)
    into = np.zeros(passes + 1, np.int64), np.zeros(rows, np.int64)
    same(tables, lambda m, x: m.sort_by_first(*x[:2], levels, *x[2:]), of_pass, first, *into)
    hold = (rng.random(shape) < 0.5) * 1.0
    start = np.linspace(0, cells, passes + 1).astype(np.int64)
    at = np.zeros(passes * levels + 1, np.int64)
    gain = np.empty(shape)
    same(tables, lambda m, x: m.weigh(*x[:2], 1.5, 0.1, x[2]), hold, rng.random(shape), gain)
    flip = np.zeros(cells * levels, np.int64)
    same(tables, lambda m, x: m.flips(*x), start, hold, at, flip)
    assert tables.flips(start, hold, at, flip) == at[-1]
    before = np.hstack([np.zeros((cells, 1)), hold[:, :-1]])
    expected = [
        c
        for p in range(passes)
        for t in range(levels)
        for c in range(start[p], start[p + 1])
        if hold[c, t] != before[c, t]
    ]
    assert flip[: at[-1]].tolist() == expected


@pytest.mark.parametrize("seed", range(20))
def test_joins(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows, masks = int(rng.integers(1, 40)), int(rng.integers(0, 4))

    def packed(number: int) -> Any:
        return rng.integers(0, 256, (number, 8)).astype(np.uint8)

    def blocks(own: Any, join: np.ufunc) -> Any:
        return join.reduceat(own, np.arange(0, len(own), 4), axis=0)

    own = packed(rows)
    sure, may = blocks(own, np.bitwise_and), blocks(own, np.bitwise_or)
    outer = blocks(sure, np.bitwise_and), blocks(may, np.bitwise_or)
    sums = [rng.normal(0, 0.1, (2, 8, 256)) for _ in range(3)]
    given = 4, (own, sure, may), outer, packed(masks), bool(rng.random() < 0.5), sums, np.zeros(2)
    row, literal = np.zeros((2, 40 * 4 * 16), np.int64)
    found = row, literal, np.zeros(len(row), bool)
    same(joins, lambda m, x: m.Blocks(*given).joins(0, 2, *x), *found)


@pytest.mark.parametrize("seed", range(40))
def test_prices(seed: int) -> None:
    rng = np.random.default_rng(seed)
    columns = some_columns(rng)
    alive = rng.random(len(columns.antenna)) < 0.9
    alive[columns.place < 0] = True
    price: Floats = first_prices(columns)
    for target in (2.0, 30.0):
        same(
            prices,
            lambda m, x, target=target: m.raised(columns, *x, target, 60),
            *(alive, price),
        )


def ask(folder: Path, code: str) -> subprocess.CompletedProcess[str]:
    """Run Python where the package is the copy in a folder."""
    environment = os.environ | {"PYTHONPATH": str(folder)}
    return subprocess.run(
        [sys.executable, "-c", code],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("hidden", ["", "sys.modules['cython'] = None; "])
def test_loops_that_are_not_compiled_are_told(hidden: str, tmp_path: Path) -> None:
    """With the compiler at hand, too: as Python they would take a thousand times as long."""
    shutil.copytree(
        ROOT / "strategist",
        tmp_path / "strategist",
        ignore=shutil.ignore_patterns("*.so", "__pycache__"),
    )
    solve = (
        f"import sys; {hidden}from strategist.__main__ import main; sys.exit(main(sys.argv[1:]))"
    )
    solve = solve.replace("sys.argv[1:]", repr(["solve", str(ROOT / "cases/linen-service")]))
    done = ask(tmp_path, solve)
    assert (done.returncode, done.stdout) == (3, "")
    assert "install strategist again (`pip install -e .` in its folder)" in done.stderr
    assert "Traceback" not in done.stderr and done.stderr.count("\n") == 1


def test_what_is_older_than_its_source_is_told(tmp_path: Path) -> None:
    assert not_compiled(LOOPS) == ""
    copy = tmp_path / "loops"
    shutil.copytree(LOOPS, copy)
    os.utime(copy / "walks.py")
    (made,) = copy.glob("tables.*.so")
    made.unlink()
    assert not_compiled(copy).startswith("tables.py, walks.py in ")
