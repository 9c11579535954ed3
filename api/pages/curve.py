"""The trade-offs as a picture: places of points and lines, worked out here and drawn by a template.

Above, stray against missed tags; below, over the same missed tags, the fitted loss of each point
with its guarded loss, by the weights that are looked at: where the two lie far apart, the optimum
is a fragile one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

LEFT, RIGHT, TOP, MIDDLE, BOTTOM = 84.0, 622.0, 16.0, 236.0, 420.0  # edges of the two panels
_GAP = 44.0  # between them
_RATIOS = (-1.0, 2.0)  # of the slider, as powers of ten, where the points say nothing else
_GUARDED = ("guarded_missed", "guarded_stray")  # not in what was stored before they were told

Points = Sequence[Mapping[str, Any]]


@dataclass(frozen=True)
class Losses:
    """Of a point, by some weights: as fitted, and under the guards."""

    fitted: float
    guarded: float


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
    """All that the template draws, in units of its view box (640 by 470); `beside` are the stairs
    of another frontier."""

    marks: tuple[Mark, ...]
    stairs: str
    beside: str
    fitted: str
    guarded: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    losses: tuple[Tick, ...]


def curve_of(points: Points, losses: Sequence[Losses], beside: Points = ()) -> Curve:
    """The curve of points in the order in which they are given, which their numbers keep."""
    missed = _ticks(max(one["missed"] for one in (*points, *beside)))
    stray = _ticks(max(one["stray"] for one in (*points, *beside)))
    costs = _ticks(max(max(one.fitted, one.guarded) for one in losses))

    def place(one: Mapping[str, Any]) -> tuple[float, float]:
        across = _scaled(one["missed"], missed[-1], LEFT, RIGHT)
        return across, _scaled(one["stray"], stray[-1], MIDDLE, TOP)

    marks = tuple(
        Mark(
            number,
            *place(one),
            _scaled(cost.fitted, costs[-1], BOTTOM, MIDDLE + _GAP),
            _scaled(cost.guarded, costs[-1], BOTTOM, MIDDLE + _GAP),
            f"{one['missed']} missed, {one['stray']} stray",
        )
        for number, (one, cost) in enumerate(zip(points, losses, strict=True))
    )
    order = sorted(marks, key=lambda one: one.x)
    return Curve(
        marks,
        _stairs([(one.x, one.y) for one in order]),
        _stairs(sorted(map(place, beside))),
        _line([(one.x, one.loss_y) for one in order]),
        _line([(one.x, one.guarded_y) for one in order]),
        tuple(Tick(_scaled(at, missed[-1], LEFT, RIGHT), f"{at:g}") for at in missed),
        tuple(Tick(_scaled(at, stray[-1], MIDDLE, TOP), f"{at:g}") for at in stray),
        tuple(Tick(_scaled(at, costs[-1], BOTTOM, MIDDLE + _GAP), f"{at:g}") for at in costs),
    )


def losses_at(points: Points, weights: Mapping[str, float], ratio: float) -> list[Losses]:
    """The losses where a stray tag weighs what it does and a missed one `ratio` strays.

    Points that were stored without their counts under the guards have the losses by `weights`.
    """
    stray = weights["stray"]

    def loss(missed: float, strays: float) -> float:
        return round(stray * (ratio * missed + strays), 9)

    return [
        Losses(loss(one["missed"], one["stray"]), loss(*(one[key] for key in _GUARDED)))
        if follows(points)
        else Losses(one["loss"], one["guarded_loss"])
        for one in points
    ]


def follows(points: Points) -> bool:
    """Whether the losses of points are known for all weights."""
    return all(key in one for one in points for key in _GUARDED)


def sturdiest(losses: Sequence[Losses]) -> int:
    """The number of the point with the least guarded loss; of equals the best fitted."""
    return min(range(len(losses)), key=lambda one: (losses[one].guarded, losses[one].fitted))


def in_100_passes(frontier: Mapping[str, Any]) -> Mapping[str, Any]:
    """A frontier over what the policy has chosen over (copies, weights), counted in a hundred
    passes; one of the survey as it is."""
    over = frontier.get("over")
    if not over:
        return frontier
    points = []
    for one in frontier["points"]:
        means, left = one["per_pass"], {k: v for k, v in one.items() if not k.startswith("guarded")}
        counts = {key: _whole(100 * means[key]) for key in ("missed", "stray", "loss")}
        counts["guarded_loss"] = _whole(100 * means["guarded_loss"])
        rates = {"missed_rate": means["missed"] * over["passes"] / max(over["wanted"], 1)}
        points.append({**left, **counts, **rates, "stray_rate": means["stray"]})
    presented = {key: _whole(100 * over[key] / over["passes"]) for key in over}
    silence = _whole(frontier["weights"]["missed"] * presented["wanted"])
    return {**frontier, "points": points, "presented": presented, "silence_loss": silence}


def _whole(count: float) -> float:
    """To a tenth, and a whole number where it is one."""
    tenths = round(count, 1)
    return int(tenths) if tenths.is_integer() else tenths


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


def _stairs(order: Sequence[tuple[float, float]]) -> str:
    """The edge of what is possible: right of each point as many strays, until the next."""
    places: list[tuple[float, float]] = []
    for x, y in order:
        if places:
            places.append((x, places[-1][1]))
        places.append((x, y))
    return _line(places)


def best_at(points: Points, ratio: float) -> int:
    """The number of the point with the least loss where a missed tag weighs `ratio` strays."""
    return min(
        range(len(points)),
        key=lambda number: (
            round(ratio * points[number]["missed"] + points[number]["stray"], 9),
            points[number]["missed"],
        ),
    )


def ratios_of(points: Points, own: float) -> tuple[float, float]:
    """From where to where the slider goes, as powers of ten: past all that changes the best."""
    ends = [end for one in points if one["best_for"] for end in one["best_for"].values() if end]
    logs = [math.log10(end) for end in (*ends, own)]
    low, high = (min(logs), max(logs)) if ends else _RATIOS
    return math.floor(10 * low - 2) / 10, math.ceil(10 * high + 2) / 10
