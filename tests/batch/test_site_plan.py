"""The plan of a site from the folder of a case: two doors on one reader, and what is refused."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

import strategist
from cases.two_doors import write_case
from strategist import InputError, SitePlan, plan_site, read_case, read_options, site_plan_text
from strategist.trust.evaluate import evaluate
from tests.surveyed import surveyed_case
from tests.test_commands import run

DOORS = Path(__file__).parent.parent.parent / "cases/two-doors"


@pytest.fixture(scope="module")
def doors(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The two doors, to be planned over the passes surveyed."""
    return surveyed_case(DOORS, tmp_path_factory.mktemp("doors") / "case")


@pytest.fixture(scope="module")
def plan(doors: Path) -> SitePlan:
    case = read_case(doors)
    return plan_site(case, options=read_options(doors, case))


def test_the_committed_case_is_what_the_generator_writes(tmp_path: Path) -> None:
    write_case(tmp_path)
    for name in ("reads.csv", "site.json", "with-screen/reads.csv", "with-screen/site.json"):
        assert (tmp_path / name).read_bytes() == (DOORS / name).read_bytes(), name


def test_the_doors_agree_and_masks_are_what_that_costs(plan: SitePlan) -> None:
    assert plan.proven and plan.gap == 0
    first, second = plan.settings
    assert (first.masks, first.cutoff) == (second.masks, second.cutoff)
    (reader,) = plan.readers
    own = {one.part: one.loss for one in reader.own_parts}
    assert plan.alone <= own["masks"] < own["cutoff"] <= plan.loss
    assert own["masks"] - plan.alone < 0.1 * plan.sharing_costs


def test_each_door_for_itself_is_what_solve_finds(doors: Path) -> None:
    case = read_case(doors)
    apart = strategist.Case(case.site, case.read_points)
    own = plan_site(apart)
    found = [strategist.solve(point).loss for point in case]
    assert own.loss == pytest.approx(sum(found)) and own.proven


def test_losses_are_those_of_the_evaluator(plan: SitePlan) -> None:
    case = read_case(DOORS)
    screen = read_options(DOORS, case)["with-screen"]
    for one in plan.read_points:
        assert one.setting is not None
        point = (screen if one.option else case)[one.read_point]
        outcome = evaluate(point.survey, point.policy, plan.settings[one.setting - 1])
        assert (one.missed, one.stray, one.loss) == (outcome.missed, outcome.stray, outcome.loss)
    assert plan.loss == sum(one.loss for one in plan.read_points)


def test_more_settings_and_more_money_never_cost(plan: SitePlan) -> None:
    for curve in (plan.of_settings, plan.of_budget):
        losses = [one.loss for one in curve]
        assert len(losses) > 1 and losses == sorted(losses, reverse=True)
        assert losses[-1] == plan.loss
    screen = next(one for one in plan.buys if one.option == "screen")
    assert screen.saves > 0 and plan.price == 100 + 250 + 2 * 20


def test_its_text_fits_a_terminal(plan: SitePlan) -> None:
    text = site_plan_text(plan)
    lines = text.splitlines()
    assert len(lines) <= 40 and max(map(len, lines)) <= 80
    assert "What sharing costs" in text and "screen at cart-door" in text


def test_the_command_gives_the_same(
    plan: SitePlan, doors: Path, tmp_path: Path, capsys: Any
) -> None:
    out = tmp_path / "plan.json"
    status, text, _ = run(capsys, "site", str(doors), "--out", str(out))
    assert status == 0 and text.strip() == site_plan_text(plan)
    found, expected = json.loads(out.read_text()), plan.to_json()
    assert {**found, "seconds": 0} == {**json.loads(json.dumps(expected)), "seconds": 0}


def changed(tmp_path: Path, **keys: Any) -> Path:
    folder = surveyed_case(DOORS, tmp_path / "doors")
    site = json.loads((folder / "site.json").read_text())
    (folder / "site.json").write_text(json.dumps(site | keys))
    return folder


def test_a_reader_of_an_unknown_read_point_is_refused(tmp_path: Path) -> None:
    folder = changed(tmp_path, readers={"r": {"read_points": ["bag-dor"]}})
    with pytest.raises(InputError) as refused:
        read_case(folder)
    said = str(refused.value)
    assert 'site.json, readers.r.read_points.0: there is no read point "bag-dor"' in said
    assert 'nearest: "bag-door"' in said


def test_an_option_without_its_case_is_refused_with_its_place(tmp_path: Path) -> None:
    folder = changed(tmp_path)
    shutil.rmtree(folder / "with-screen")
    with pytest.raises(InputError, match=r"cart-door, option screen: .*no such folder"):
        read_options(folder, read_case(folder))
    left_out = plan_site(read_case(folder), 1)
    assert any("the option screen is left out" in note for note in left_out.notes)


def test_too_many_ways_to_combine_options_are_refused(tmp_path: Path) -> None:
    site = json.loads((DOORS / "site.json").read_text())
    screen = {"case": "with-screen", "read_point": "cart-door"}
    for point in site["read_points"].values():
        point["options"] = {f"screen {n}": screen for n in range(8)}
    folder = changed(tmp_path, read_points=site["read_points"])
    case = read_case(folder)
    with pytest.raises(InputError, match="combine in 81 ways"):
        plan_site(case, options=read_options(folder, case))


def test_a_cycle_holds_and_needs_the_length_of_a_step(tmp_path: Path) -> None:
    reader = {"read_points": ["bag-door", "cart-door"], "shares": ["cutoff"]}
    site = json.loads((DOORS / "site.json").read_text())
    for point in site["read_points"].values():
        point |= {"aim": "survey", "time": {"step_s": 0.5}}
        point["options"] = {}
    given = {"readers": {"r": reader | {"cycle_s": 1.0}}, "read_points": site["read_points"]}
    plan = plan_site(read_case(changed(tmp_path, **given)))
    assert sum(len(plan.settings[(p.setting or 1) - 1].levels_dbm) for p in plan.read_points) <= 2
    for point in site["read_points"].values():
        point["time"] = {}
    with pytest.raises(InputError, match="nothing says how long a step takes"):
        plan_site(read_case(changed(tmp_path / "more", **given)))
