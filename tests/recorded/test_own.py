"""Own powers and cutoffs by antenna: descent, prices, splits, models and boxes."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from strategist.optimise import own_search
from strategist.optimise.clock import Clock
from strategist.optimise.outer import choose_score
from strategist.optimise.own_boxes import _Set, _sets, prove_over_boxes
from strategist.optimise.own_columns import columns_of, cutoffs_of, merged, own_of
from strategist.optimise.own_heard import _undominated, by_antenna, selections
from strategist.optimise.own_ladders import (
    OwnLadders,
    Trimmed,
    _shifts,
    _trims,
    profile_of,
    prove_own_ladders,
    terms,
)
from strategist.optimise.own_model import OwnModel, Proven, _hopeful, prove_own_powers
from strategist.optimise.own_part import AtDwell, OwnPowers, is_own, over_boxes, with_own_powers
from strategist.optimise.own_powers import (
    OFF,
    Own,
    _starts,
    descend,
    improved,
    settable_at_most,
)
from strategist.optimise.own_prices import first_prices, raised
from strategist.optimise.own_search import search_own_powers
from strategist.optimise.problem import pose
from strategist.optimise.scores import parts_of
from strategist.survey.policy import Dwell, Limits, Loss, Policy, RadiatedLimit, Radio, Reader
from strategist.survey.records import ReadPoint
from tests.optimise.counted import counted_clock
from tests.optimise.portals import CORRIDOR, FACING_WALLS, TWO_LANES, made
from tests.optimise.test_own_ladders import masked, timed
from tests.optimise.test_own_ladders import small as point_of
from tests.optimise.test_own_powers import small
from tests.recorded.told import answer_told, model_told, short

Recorded = Callable[..., None]
_EFFORT = ("nodes", "parts", "bounds", "boxes", "variables", "rows")


def own_told(own: Own) -> str:
    levels = " ".join("off" if level == OFF else str(level) for level in own.level)
    return f"{levels} at {' '.join(f'{x:g}' for x in own.cutoff)}, selection {own.selection}"


def proven_told(found: Proven) -> list[Any]:
    took = [f"{n} {name}" for name, n in found.effort if name != "nodes"]  # those of the solver
    return [*found.key, *found.bound, found.proven, own_told(found.own), *took]


@pytest.mark.parametrize("seed", [*range(10), *range(30, 36)])
def test_powers(seed: int, recorded: Recorded) -> None:
    """Keys, descent, search and model of small choices; in the last ones few may be on."""
    problem = small(seed)
    rng = np.random.default_rng(seed)
    antennas = len(problem.allowed)
    tries = [
        Own(
            tuple(rng.integers(-1, 3, antennas).tolist()),
            tuple(rng.choice([-np.inf, -35.0, -30.0, -25.0], antennas).tolist()),
            int(rng.integers(len(problem.through))),
        )
        for _ in range(3)
    ]
    nothing = Own((OFF,) * antennas, (-np.inf,) * antennas)
    search = prove_own_powers(problem, Clock(), method="search")
    auto = prove_own_powers(problem, Clock())
    told = {
        "most on": problem.most_on,
        "columns": [problem.columns(a, 1, problem.rssi, problem.guarded) for a in range(antennas)],
        "keys": [[*problem.key(own)] for own in tries],
        "improved": [own_told(improved(problem, own, Clock())) for own in tries[:1]],
        "descent": own_told(descend(problem, Clock())),
        "in no time": own_told(descend(problem, Clock(0.0), tries[0])),
        "auto": proven_told(auto),
        "stopped": proven_told(prove_own_powers(problem, Clock(0.0))),
        "nothing": [*problem.key(nothing)],
        "hopeful": _hopeful(problem, auto.own),
    }
    if proven_told(search) != proven_told(auto):
        told["search"] = proven_told(search)
    if seed % 3 == 0:
        told["model"] = proven_told(prove_own_powers(problem, Clock(), method="model"))
    recorded(told)


@pytest.mark.parametrize("seed", [0, 3, 4, 7, 31, 36])
def test_columns(seed: int, recorded: Recorded) -> None:
    """Presentations that are alike, columns and their prices, and what splits leave."""
    problem = small(seed)
    cutoffs = cutoffs_of(problem)
    rows = merged(problem, cutoffs)
    columns = columns_of(problem, cutoffs, rows)
    alive, price = np.ones(len(columns.antenna), bool), first_prices(columns)
    bound, lately, least, choice = raised(columns, alive, price, 3.0, 40)
    free = replace(problem, limits=Limits())
    found = search_own_powers(free, descend(free, Clock()), Clock())
    antennas = len(free.allowed)
    nothing = Own((OFF,) * antennas, (-np.inf,) * antennas)
    stopped = search_own_powers(free, nothing, Clock(0.0))
    recorded(
        {
            "rows": [
                f"{w:g} {'wanted' if role else 'stray'} of {k}: {' '.join(map(str, at))}"
                for at, w, role, k in zip(*(one.tolist() for one in rows), strict=True)
            ],
            "antenna": columns.antenna,
            "level": columns.level,
            "cutoff": columns.cutoff,
            "place": columns.place,
            "breadth": columns.breadth,
            "begin": columns.begin,
            "column": columns.column,
            "cost": columns.cost,
            "raised": [short(bound), least, own_told(own_of(columns, choice, 0))],
            "lately": short(lately),
            "searched": [found.bound, own_told(found.own), *found.selections.tolist()],
            "stopped": [stopped.bound, int(stopped.alive.sum()), *stopped.selections.tolist()],
            "cutoffs left": [
                [*place, *values.tolist()] for place, values in list(stopped.cutoffs().items())[:4]
            ],
        }
    )


@pytest.mark.parametrize("seed", [0, 4, 5, 7, 10, 31])
def test_splits(seed: int, recorded: Recorded, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where prices hardly raise bounds, and where few parts may stay open."""
    problem, told = replace(small(seed), limits=Limits()), {}
    for name in ("_FIRST", "_LOOK", "_ROUNDS"):
        monkeypatch.setattr(own_search, name, 1)
    antennas = len(problem.allowed)
    nothing = Own((OFF,) * antennas, (-np.inf,) * antennas)
    for most in (3_000, 4, 2):
        monkeypatch.setattr(own_search, "_PARTS_MAX", most)
        found = own_search.search_own_powers(problem, nothing, Clock())
        left = [int(found.alive.sum()), *found.selections.tolist()]
        told[f"{most} parts"] = [found.bound, own_told(found.own), *left]
    for weight in (Loss(1 / 3, 0.7), Loss(2.5, 1)):
        other = replace(problem, loss=weight, weight=problem.weight * 0.5)
        found = own_search.search_own_powers(other, nothing, Clock())
        told[f"{weight.missed:g}"] = [found.bound, own_told(found.own)]
    recorded(told)


@pytest.mark.parametrize("seed", [2, 31])
def test_model_of_powers(seed: int, recorded: Recorded) -> None:
    problem = small(seed)
    some = np.arange(len(problem.wanted)) < 6
    names = ("wanted", "weight", "row_class", "rssi", "guarded")
    problem = replace(
        problem,
        **{name: getattr(problem, name)[some] for name in names},
        limits=Limits(missed_rate_max=0.2, stray_rate_max=0.5),
    )
    model = OwnModel(problem, Clock())
    objectives = [[name, str(one), constant] for name, one, constant in model.objectives()]
    recorded({"objectives": objectives, "rows": [[row] for row in model_told(model.mip)]})


@pytest.mark.parametrize(("step_db", "values"), [(None, 0.5), (1.0, 0.5), (0.3, 0.1), (0.5, 0.25)])
def test_settable(step_db: float | None, values: float, recorded: Recorded) -> None:
    recorded(settable_at_most(-60.0 + np.arange(8) * values, step_db))


@pytest.mark.parametrize("seed", range(3))
def test_starts(seed: int, recorded: Recorded) -> None:
    """Where descents begin, and where one stands after some looks at the clock."""
    portal = replace((FACING_WALLS, CORRIDOR, TWO_LANES)[seed], passes=3, levels=9)
    point = made(portal, seed)
    base = pose(point.survey, point.policy)
    through, _ = selections(base, point.survey, Clock())
    heard = by_antenna(point.survey, point.policy, base, through)
    told: dict[str, Any] = {"starts": [own_told(one) for one in _starts(heard)]}
    for looks in (1, 4, 12, 50):
        told[f"after {looks}"] = own_told(descend(heard, counted_clock(looks)))
    recorded(told)


@pytest.mark.parametrize("seed", range(6))
def test_undominated(seed: int, recorded: Recorded) -> None:
    rng = np.random.default_rng(seed)
    through = rng.random((14, 5)) < 0.5
    wanted, stray = rng.random((2, 5)) < 0.6
    recorded(_undominated(through, wanted, stray))


@pytest.mark.parametrize("seed", [0, 1, 4, 7, 8, 9, 16, 22])
def test_ladders(seed: int, recorded: Recorded) -> None:
    """What is heard, trims and shifts, and what model and boxes prove of ladders."""
    point = masked(seed) if seed in (8, 9, 16, 22) else point_of(seed)
    survey, policy = point.survey, point.policy
    base = pose(survey, policy)
    through, left_out = selections(base, survey, Clock())
    heard = by_antenna(survey, policy, base, through)
    trims = _trims(survey.levels_dbm)
    profile, entry = profile_of(base, heard, survey)
    found = prove_own_ladders(base, heard, survey, Clock())
    told: dict[str, Any] = {
        "selections": ["".join(map(str, row.astype(int))) for row in through],
        "left out": left_out,
        "heard": [" ".join(f"{x:g}" for x in row.reshape(-1)) for row in heard.rssi[:6]],
        "guarded": [" ".join(f"{x:g}" for x in row.reshape(-1)) for row in heard.guarded[:6]],
        "allowed": [row.astype(int) for row in heard.allowed],
        "trims": trims,
        "shifts": [
            " ".join(map(str, row))
            for one in _shifts(heard, survey.levels_dbm, trims)
            for row in one
        ],
        "terms": terms(heard, survey),
        "entries": [*entry, *profile.row_pass, *profile.group_of],
        "model": [*found.bound, found.proven, str(found.on)],
    }
    for turns in (2, 3):
        one = prove_own_ladders(base, heard, survey, Clock(), turns=turns)
        told[f"{turns} turns"] = [*one.bound, one.proven, str(one.on)]
    for name, beat, most in (("beat", 1.0, None), ("as good", 0.0, None), ("few", 1.0, 4)):
        against = (found.bound[0], found.bound[1] + beat)
        boxes = prove_over_boxes(base, heard, survey, Clock(), beat=against, most=most)
        told[f"boxes {name}"] = [*boxes.bound, boxes.proven, str(boxes.on)]
    over = prove_over_boxes(base, heard, survey, Clock(), beat=(0.4, 90.0), turns=4)
    told["boxes over limits"] = [*over.bound, over.proven, str(over.on)]
    recorded(told)


@pytest.mark.parametrize("seed", [1, 3, 8, 10])
def test_boxes(seed: int, recorded: Recorded) -> None:
    """Halves down to one choice, with their bounds."""
    point = masked(seed) if seed == 8 else point_of(seed)
    survey, policy = point.survey, point.policy
    base = pose(survey, policy)
    heard = by_antenna(survey, policy, base, np.ones((1, base.profile.classes), bool))
    told: dict[str, Any] = {}
    sets = {turns: list(_sets(base, heard, survey, Clock(), turns)) for turns in (None, 2, 4, 1)}
    told["sets"] = [
        f"{turns}: {[(one.antennas, one.base.steps_by_masks) for one in some]}"
        for turns, some in sets.items()
    ]
    one: _Set = sets[None][0]
    told["whole"] = [n for pair in one.whole for n in pair]
    told["cutoffs"] = one.cutoffs
    rng, box = np.random.default_rng(seed), one.whole
    while True:
        key = " ".join(f"{low}-{high}" for low, high in box)
        told[key] = [one.bound(box, (0.0, 20.0)), one.bound(box, (0.2, 20.0))]
        halves = one.halves(box)
        if not halves:
            break
        box = halves[int(rng.integers(2))]
    told["least"] = [str(one.least(box)), str(one.on(box))]
    recorded(told)


@pytest.mark.parametrize("seed", [1, 4])
def test_model_of_ladders(seed: int, recorded: Recorded) -> None:
    point = point_of(seed)
    survey = point.survey.keep(levels=np.array([True, False, True][: len(point.survey.levels_dbm)]))
    survey = survey.keep(passes=np.array([True, False, False]))
    limits = Limits(missed_rate_max=0.3, stray_rate_max=0.5)
    base = pose(survey, replace(point.policy, limits=limits))
    heard = by_antenna(survey, point.policy, base, np.ones((1, base.profile.classes), bool))
    model = OwnLadders(base, heard, survey, Clock())
    model.in_turn(3)
    least = [[name, str(one), constant] for name, one, constant in model.least()]
    recorded({"least": least, "rows": [[row] for row in model_told(model.mip)]})


def lawful(point: ReadPoint) -> ReadPoint:
    """With a limit of radiated power that keeps the highest level to the antenna of less gain."""
    limit = RadiatedLimit(28.0, "eirp", 865.0, 868.0)
    policy = replace(point.policy, radio=Radio(limit=limit, antenna_gain_dbi=6.0))
    return replace(point, policy=policy)


@pytest.mark.parametrize("kind", ["plain", "timed", "masked", "no power", "lawful"])
@pytest.mark.parametrize("seed", [4, 9, 20])
def test_parts(kind: str, seed: int, recorded: Recorded) -> None:
    """Parts with own powers beside those of shared ones, what is said of the proof, and boxes."""
    point = {"timed": timed, "masked": masked}.get(kind, point_of)(seed)
    if kind == "no power":
        allow = tuple(one for one in point.policy.allow if one != "power")
        point = replace(point, policy=replace(point.policy, allow=allow))
    if kind == "lawful":
        point = lawful(point)
    survey, policy = point.survey, point.policy
    parts = parts_of(survey, policy)
    more, own = with_own_powers(parts, survey, policy, Clock())
    best = choose_score(more, Clock()).found
    told: dict[str, Any] = {
        "parts": [
            f"{one.index} {one.work} {one.problem.step_s} {one.problem.profile.levels_dbm}"
            + ("" if one.problem.score is None else f" {one.problem.score.to_json()}")
            for one in more.parts[len(parts.parts) :]
        ],
        "scores": [parts.scores, more.scores, more.alike],
        "proven": proven_told(own.proven),
        "bounds": [*own.at_one_level, *own.bound, own.all_ladders],
        "best": [best.part.index, answer_told(own.bounding(best.answer))],
        "told": {k: v for k, v in own.to_json().items() if k not in _EFFORT},
    }
    bare = replace(own, dwells=tuple(replace(d, ladders=None, settled=False) for d in own.dwells))
    after, boxed = over_boxes(bare, more, best.answer, Clock())
    told["boxes"] = {k: v for k, v in boxed.to_json().items() if k not in _EFFORT}
    told["boxes add"] = [len(after.parts) - len(more.parts), *boxed.bound, boxed.all_ladders]
    nothing = replace(best.answer, key=(0.0, 0.0, *best.answer.key[2:]))
    told["nothing lost"] = [
        one.settled for one in over_boxes(bare, more, nothing, Clock())[1].dwells
    ]
    recorded(told)


def test_bounds_of_dwells(recorded: Recorded) -> None:
    """What is known of several dwells together, with ladders and without, proven and not."""
    told: dict[str, Any] = {}
    here: Any = None
    own = Own((0, OFF), (-60.0, -np.inf))
    point = point_of(4)
    answer = choose_score(parts_of(point.survey, point.policy), Clock()).found.answer
    for number, (key, bound, left_out, settled, ladders) in enumerate(
        itertools.product(
            ((0.0, 4.0, 6.0), (0.1, 3.0, 3.0)),
            ((0.0, 4.0), (0.0, 2.0)),
            (np.inf, 3.0),
            (False, True),
            (
                None,
                Trimmed(None, (0.0, 1.0), proven=True, effort=()),
                Trimmed(None, (0.0, 2.5), proven=False, effort=()),
            ),
        )
    ):
        one = AtDwell(here, Proven(own, key, bound), left_out, settled, ladders)
        other = replace(one, proven=Proven(own, (0.0, 5.0, 5.0), (0.0, 4.5)), left_out=np.inf)
        whole = OwnPowers((one, other))
        bounded = whole.bounding(replace(answer, key=(0.0, 4.0, 6.0), bound=(0.0, 4.0)))
        told[str(number)] = [
            *(one.proven.proven, *one.at_one_level, *one.bound, one.all_ladders),
            *(*whole.at_one_level, *whole.bound, whole.all_ladders, whole.proven.key[1]),
            *(*bounded.bound, bounded.guarded_bound, whole.to_json().get("bound_of_ladders")),
        ]
    recorded(told)


@pytest.mark.parametrize("seed", range(3))
def test_portals(seed: int, recorded: Recorded) -> None:
    """Of few passes, with cutoffs in whole dB, in turn and under limits."""
    portal = replace((FACING_WALLS, CORRIDOR, TWO_LANES)[seed], passes=4, levels=4)
    point = made(portal, seed)
    told: dict[str, Any] = {}
    for name, time, limits in (
        ("plain", Dwell(), Limits()),
        ("in turn", Dwell(dwell_s=1.0, step_s=0.45, in_turn=True), Limits()),
        ("limits", Dwell(), Limits(missed_rate_max=0.1, stray_rate_max=0.4)),
    ):
        reader = Reader(1, mask_slots=0, antenna_power="own", rssi_step_db=1.0)
        policy: Policy = replace(point.policy, reader=reader, time=time, limits=limits)
        told[f"{name} own"] = is_own(point.survey, policy)
        parts, own = with_own_powers(parts_of(point.survey, policy), point.survey, policy, Clock())
        told[name] = [proven_told(own.proven), [*own.bound], str(parts.parts[-1].problem.score)]
    recorded(told)
