"""The trade-offs as a picture: places of points and lines, worked out here and drawn by a template.

Above, stray against missed tags; below, over the same missed tags, the fitted loss of each point
with its guarded loss: where the two lie far apart, the optimum is a fragile one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

LEFT, RIGHT, TOP, MIDDLE, BOTTOM = 84.0, 622.0, 16.0, 236.0, 420.0  # edges of the two panels
_GAP = 44.0  # between them
_RATIOS = (-1.0, 2.0)  # of the slider, as powers of ten, where the points say nothing else


@dataclass(frozen=True)
class Mark:
    """A point of the frontier: its number, its places in both panels, what it is called."""

    number: int
    x: float
    y: float
    loss_y: float
    guarded_y: float
    words: str


@dataclass(frozen=True)
class Tick:
    at: float
    words: str


@dataclass(frozen=True)
class Curve:
    """All that the template draws, in units of its view box (640 by 470)."""

    marks: tuple[Mark, ...]
    stairs: str
    fitted: str
    guarded: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    losses: tuple[Tick, ...]


def curve_of(points: Sequence[Mapping[str, Any]]) -> Curve:
    """The curve of points in the order in which they are given, which their numbers keep."""
    missed = _ticks(max(one["missed"] for one in points))
    stray = _ticks(max(one["stray"] for one in points))
    losses = _ticks(max(max(one["loss"], one["guarded_loss"]) for one in points))
    marks = tuple(
        Mark(
            number,
            _scaled(one["missed"], missed[-1], LEFT, RIGHT),
            _scaled(one["stray"], stray[-1], MIDDLE, TOP),
            _scaled(one["loss"], losses[-1], BOTTOM, MIDDLE + _GAP),
            _scaled(one["guarded_loss"], losses[-1], BOTTOM, MIDDLE + _GAP),
            f"{one['missed']:g} missed, {one['stray']:g} stray",
        )
        for number, one in enumerate(points)
    )
    order = sorted(marks, key=lambda one: one.x)
    return Curve(
        marks,
        _stairs(order),
        _line([(one.x, one.loss_y) for one in order]),
        _line([(one.x, one.guarded_y) for one in order]),
        tuple(Tick(_scaled(at, missed[-1], LEFT, RIGHT), f"{at:g}") for at in missed),
        tuple(Tick(_scaled(at, stray[-1], MIDDLE, TOP), f"{at:g}") for at in stray),
        tuple(Tick(_scaled(at, losses[-1], BOTTOM, MIDDLE + _GAP), f"{at:g}") for at in losses),
    )


def in_100_passes(points: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Points over what the policy has chosen over, counted in a hundred passes; those of the survey
    as they are."""
    keys = ("missed", "stray", "loss", "guarded_loss")
    return [
        {**one, **{key: round(100 * one["per_pass"][key], 2) for key in keys}}
        if one.get("per_pass")
        else one
        for one in points
    ]


def _scaled(value: float, most: float, low: float, high: float) -> float:
    return round(low + (high - low) * value / most, 1)


def _ticks(most: float) -> list[float]:
    """Round numbers from 0 to no less than `most`, five or so."""
    rough = max(most, 1) / 5
    size = 10.0 ** math.floor(math.log10(rough))
    step = max(1.0, next(size * one for one in (1, 2, 5, 10) if size * one >= rough))
    return [step * number for number in range(max(1, math.ceil(most / step)) + 1)]


def _line(places: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{x:g},{y:g}" for x, y in places)


def _stairs(order: Sequence[Mark]) -> str:
    """The edge of what is possible: right of each point as many strays, until the next."""
    places: list[tuple[float, float]] = []
    for one in order:
        if places:
            places.append((one.x, places[-1][1]))
        places.append((one.x, one.y))
    return _line(places)


def best_at(points: Sequence[Mapping[str, Any]], ratio: float) -> int:
    """The number of the point with the least loss where a missed tag weighs `ratio` strays."""
    return min(
        range(len(points)),
        key=lambda number: (
            round(ratio * points[number]["missed"] + points[number]["stray"], 9),
            points[number]["missed"],
        ),
    )


def ratios_of(points: Sequence[Mapping[str, Any]], own: float) -> tuple[float, float]:
    """From where to where the slider goes, as powers of ten: past all that changes the best."""
    ends = [end for one in points if one["best_for"] for end in one["best_for"].values() if end]
    logs = [math.log10(end) for end in (*ends, own)]
    low, high = (min(logs), max(logs)) if ends else _RATIOS
    return math.floor(10 * low - 2) / 10, math.ceil(10 * high + 2) / 10
