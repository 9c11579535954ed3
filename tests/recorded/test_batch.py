"""Templates over the read points of a batch, and read points that hear each other's tags."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

import strategist
from strategist.answers.solution import Options
from strategist.batch import templates
from strategist.batch.cross_reads import cross_reads_of, tags_of
from strategist.batch.prices import prices_of, strategy_text
from strategist.batch.templates import templates_of
from strategist.batch.templates_text import templates_text
from strategist.errors import InputError
from strategist.optimise.clock import Clock
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Limits, RadiatedLimit, Radio
from strategist.survey.records import ReadPoint
from strategist.tags.mask import Mask
from tests.optimise.made import random_read_point
from tests.recorded.made import small_survey, without

Recorded = Callable[..., None]
QUICK = Options(unseen=False, sturdier=False)


def named(point: ReadPoint, name: str) -> ReadPoint:
    return replace(point, survey=replace(point.survey, read_point=name))


@cache
def points() -> dict[tuple[str, str], ReadPoint]:
    """Read points of two cases: with limits, few techniques, gaps, rules, and silent ones."""
    found = {}
    for seed in range(9):
        point = named(random_read_point(seed, 0), f"d{seed}")
        if seed == 6:
            levels = point.survey.levels_dbm.tolist()
            limit = RadiatedLimit(levels[-1] + 5.5, "eirp", 865.0, 868.0)
            policy = replace(point.policy, radio=Radio(limit=limit, antenna_gain_dbi=6.0))
            point = replace(point, policy=policy)
        if seed == 7:
            point = replace(point, policy=replace(point.policy, limits=Limits(0.05, 0.05)))
        found["south" if seed > 4 else "north", point.name] = point
    gaps = named(
        ReadPoint(
            without(small_survey(31, passes=6, tags=6, levels=(10, 11, 12, 13)), 31, 0.15),
            replace(random_read_point(3, 0).policy, predict_levels=True, untried="leave_out_pass"),
        ),
        "gaps",
    )
    found["south", "gaps"] = gaps
    return found


@cache
def results() -> dict[tuple[str, str], dict[str, Any]]:
    return {place: strategist.choose(point, QUICK).to_json() for place, point in points().items()}


def asked(**more: Any) -> Any:
    given = [(case, point) for (case, _), point in points().items()]
    return templates_of(results(), given, **more)


@pytest.mark.parametrize("at_most", [1, 3])
def test_templates(recorded: Recorded, at_most: int) -> None:
    found = asked(at_most=at_most, left_out=["d99 (north)"])
    told = found.to_json()
    told["read_points"] = [list(point.values()) for point in told["read_points"]]
    told["curve"] = [list(one.values()) for one in told["curve"]]
    del told["templates"]
    recorded({"answer": told, "text": templates_text(found).splitlines()})


def test_extra_loss_that_may_be(recorded: Recorded) -> None:
    """One template for all: who pays how much, and from what on a read point needs its own."""
    told = {}
    for most in (0.0, 2.0, 4.0, 5.0, 9.0, 15.0):
        found = asked(at_most=1, max_extra_loss=most)
        told[f"{most}"] = [
            [p.read_point, p.pays, p.needs_own] for p in found.read_points if not p.silent
        ]
    recorded(told)


def test_prices(recorded: Recorded) -> None:
    """Of each point's own strategy and some others, one that none may set and silence's like."""
    given = [(case, point) for (case, _), point in points().items()]
    candidates = [Strategy((10.0,)), Strategy((11.0,), 1, -66.0), Strategy((10.0, 11.0))]
    candidates += [Strategy((10.0,), 1, None, (Mask("epc", 32, 8, "30"),)), Strategy((40.0,))]
    found = prices_of(results(), given, tuple(candidates), Clock())
    recorded({f"{case} {name}": one for (case, name), one in found.items()})


def test_prices_over_passes_to_come(recorded: Recorded) -> None:
    point = points()["north", "d4"]
    point = replace(point, policy=replace(point.policy, aim="expected"))
    result = strategist.choose(point, QUICK).to_json()
    result = strategist.evaluate_at(point, Strategy((11.0,), 1, -66.0)).to_json()
    told = {}
    for name, proof in {"seeded": {"seed": 3}, "of no seed": {}, "seed 0": {"seed": 0}}.items():
        own = {("north", "d4"): result | {"proof": proof}}
        found = prices_of(own, [("north", point)], (Strategy((11.0,)),), Clock())
        told[name] = [found["north", "d4"].own, *found["north", "d4"].loss]
    assert told["of no seed"] == told["seed 0"] != told["seeded"]
    recorded(told)


def test_where_another_strategy_is_better_than_silence(recorded: Recorded) -> None:
    """A result that is worse than silence, and candidates of which one, or none, is better."""
    place = ("north", "d4")
    point = points()[place]
    own = {place: strategist.evaluate_at(point, Strategy((10.0,))).to_json()}
    good, unset = Strategy((11.0,), 1, -66.0), Strategy((40.0,))
    told = {}
    for some in ((good, unset), (unset,), (good,), ()):
        found = prices_of(own, [("north", point)], some, Clock())[place]
        told[f"{len(some)} {good in some}"] = [found.own, found.silence, found.silent, found.loss]
    recorded(told)


def test_results_of_another_survey(recorded: Recorded) -> None:
    """A loss that is another, by a hair and by more; a read point that is gone; no results."""
    place = ("north", "d1")
    result, point = results()[place], points()[place]
    told: dict[str, Any] = {"text": strategy_text(result)}
    for by in (0.0, 9e-7, 5e-6, 3e-5, 1.0, -1.0):
        own = {place: result | {"loss": result["loss"] + by}}
        try:
            found = prices_of(own, [("north", point)], (), Clock())
            told[f"by {by}"] = [found[place].own, found[place].silent, found[place].tried]
        except InputError as error:
            told[f"by {by}"] = [str(error)]
    for name, ask in {
        "gone": lambda: prices_of({place: result, ("north", "d77"): result},
                                  [("north", point)], (), Clock()),
        "none": lambda: templates_of({}, [], 1),
        "another": lambda: prices_of({place: result}, [("north", points()["north", "d4"])], (),
                                     Clock()),
    }.items():  # fmt: skip
        with pytest.raises(InputError) as caught:
            ask()
        told[name] = str(caught.value)
    recorded(told)


def test_a_clock_that_has_run_out(recorded: Recorded) -> None:
    """One read point is looked at, and its own strategy alone has a price."""
    given = [(case, point) for (case, _), point in points().items()]
    own = Strategy(levels_dbm=(10.0,))
    late = prices_of(results(), given, (own, Strategy((11.0,))), Clock(-1.0))
    found = templates_of(results(), given, 2, time_limit_s=1e-9)
    recorded(
        {
            "late": {f"{case} {name}": [p.tried, p.loss] for (case, name), p in late.items()},
            "left": [len(found.points), list(found.late), list(found.hurried)],
        }
    )


def test_silent_read_points_alone(recorded: Recorded) -> None:
    silent = {place: one for place, one in results().items() if one["status"] == "silent"}
    given = [(case, points()[case, name]) for case, name in silent]
    found = templates_of(silent, given, 2)
    recorded({"answer": found.to_json(), "text": templates_text(found).splitlines()})


def test_cross_reads(recorded: Recorded) -> None:
    strategies = {
        "d0": Strategy((11.0,), 2, -66.0, (Mask("epc", 32, 8, "30"),)),
        "d1": Strategy((10.0, 11.0)),
        "d2": Strategy((11.0,), 1, -65.0),
    }
    lines = [
        {"case": case, "read_point": name, **tags_of(points()["north", name], strategy)}
        for case in ("a", "b")
        for name, strategy in strategies.items()
        if (case, name) != ("b", "d2")
    ]
    recorded({"lines": lines[:3], "pairs": cross_reads_of(lines).to_json()})


def test_limits_of_templates(recorded: Recorded) -> None:
    """As they are written, where no site here is large enough to come to them."""
    recorded([templates.CANDIDATES_MAX, templates._CURVE])


def test_no_template_is_infinitely_dear() -> None:
    """What stands for "may not be set there" is no number that JSON lacks."""
    told = asked(at_most=2).to_json()
    assert all(one["loss"] is None or math.isfinite(one["loss"]) for one in told["read_points"])
