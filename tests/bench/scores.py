"""What the search over scores takes, by number of antennas; and what each technique is worth where
antennas decide. All read points are made (`tests/optimise/portals.py`).

`python -m tests.bench.scores [NAME …]` (`antennas`, `large`, `techniques`) prints the tables.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import replace

from strategist.answers.solution import Options, solve
from strategist.answers.techniques import compare_techniques
from strategist.survey.policy import Reader
from strategist.survey.records import ReadPoint
from tests.optimise.portals import CLOSE, LARGE, POLICY, TWO_LANES, Antenna, made

__all__ = ["main"]


def main(arguments: Sequence[str] | None = None) -> None:
    tables = {"antennas": _antennas, "large": _large, "techniques": _techniques}
    parser = argparse.ArgumentParser(prog="python -m tests.bench.scores", description=__doc__)
    parser.add_argument("tables", nargs="*", metavar="NAME", help=", ".join(tables))
    asked = parser.parse_args(arguments).tables
    solve(made(TWO_LANES, 9), Options(time_limit_s=1))  # compiled
    for name in asked or tables:
        tables[name]()


def _row(name: str, point: ReadPoint) -> None:
    started = time.process_time()
    found = solve(point)
    seconds = time.process_time() - started
    parts = found.parts
    allow = tuple(one for one in point.policy.allow if one != "antennas")
    started = time.process_time()
    peak = solve(replace(point, policy=replace(point.policy, allow=allow)))
    print(
        f"{name:42} {parts.scores:5} {parts.alike:5} {found.at_root:7} "
        f"{len(parts.parts) - found.at_root:8} {seconds:7.1f} "
        f"{time.process_time() - started:7.1f} {found.status:8} {found.loss:6g} {peak.loss:6g}"
    )


def _head() -> None:
    print(
        f"{'':42} {'scores':>5} {'alike':>4} {'at root':>7} {'searched':>8} {'CPU s':>7} "
        f"{'alone s':>7} {'':8} {'loss':>6} {'peak':>6}"
    )


def _antennas() -> None:
    """The same hall with more and more antennas; `alone s`, `peak`: the strongest read of all."""
    _head()
    places = [Antenna(x, y, way) for x in (0.0, 5.0, 10.0, 15.0) for y, way in _WALLS]
    for count in (1, 2, 3, 4, 5, 6, 8):
        portal = replace(LARGE, antennas=places[:count], levels=10, passes=50)
        _row(f"{count} antennas, 10 levels, 50 passes", made(portal, 1, _ONE_MASK))


def _large() -> None:
    """4 antennas × 20 levels × 100 passes × 20 tags, one mask slot."""
    _head()
    for name, portal in (("lanes", LARGE), ("gate", CLOSE)):
        for seed in range(3):
            _row(f"4 antennas, 20 levels, 100 passes, {name} {seed}", made(portal, seed, _ONE_MASK))


def _techniques() -> None:
    answer = compare_techniques(made(LARGE, 1, _ONE_MASK), Options(sturdier=False))
    for one in answer.variants:
        print(f"{one.name:24} {one.loss:6g} {one.guarded_loss:6g} {one.status}")


_WALLS = ((0.0, 90.0), (3.0, 270.0))
_ONE_MASK = replace(POLICY, reader=Reader(mask_slots=1))

if __name__ == "__main__":
    main()
