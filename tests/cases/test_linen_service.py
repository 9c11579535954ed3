"""The demo's README: its figures hold, by the numpy sweep and by the evaluator."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cases.generate import write_case
from cases.linen import PLACES
from strategist.optimise.strategy import read_strategy
from strategist.survey.reading import read_case
from strategist.survey.records import Tag
from strategist.tags.mask import chain_accepts
from strategist.trust.evaluate import evaluate
from tests.cases.sweep import DEMO, best_cutoff, best_ladder, best_mask_pair, best_power, load

README = (DEMO / "README.md").read_text(encoding="utf-8")
STRATEGIES: dict[str, Any] = json.loads(
    re.findall(r"```json\n(.*?)```", README, re.DOTALL)[0]
)  # by read point


def figures(read_point: str) -> dict[str, float]:
    """The row of a read point in the README's table of losses."""
    lines = [[cell.strip(" *`") for cell in line.split("|")[1:-1]] for line in README.splitlines()]
    head = next(cells for cells in lines if cells and cells[0] == "read point")
    row = next(cells for cells in lines if cells and cells[0] == read_point)
    return {name: float(cell) for name, cell in zip(head[1:], row[1:], strict=True)}


def test_the_case_reads_without_a_fault_or_a_warning() -> None:
    case = read_case(DEMO)
    assert [point.name for point in case.read_points] == list(PLACES)
    for point in case.read_points:
        assert point.warnings == ()
        assert len(point.survey.pass_ids) == PLACES[point.name].passes


@pytest.mark.parametrize("name", PLACES)
def test_each_technique_alone_loses_what_the_readme_says(name: str) -> None:
    field, said = load(name), figures(name)
    assert best_power(field) == said["power alone"]
    assert best_ladder(field) == said["ladder alone"]
    assert best_cutoff(field) == said["cutoff alone"]
    assert best_mask_pair(field) == said["two masks alone"]


@pytest.mark.parametrize("name", PLACES)
def test_the_joint_strategy_loses_what_the_readme_says(name: str) -> None:
    said, strategy = figures(name), read_strategy(json.dumps(STRATEGIES[name]).encode(), name)
    (point,) = read_case(DEMO, name).read_points
    outcome = evaluate(point.survey, point.policy, strategy)
    assert (outcome.missed, outcome.stray) == (said["missed"], said["stray"])
    assert outcome.loss == said["together"]

    score = STRATEGIES[name].get("score")  # and again, from the files, by the sweep
    field = load(name, score=score)
    tags = [Tag(epc, tid or None) for epc, tid in zip(field.epc, field.tid, strict=True)]
    masked = np.array([chain_accepts(strategy.masks, tag) for tag in tags])
    cutoff = -np.inf if strategy.cutoff is None else strategy.cutoff
    steps = tuple(field.levels.index(level) for level in strategy.levels_dbm)
    accepted = masked[:, None] & field.read & (field.rssi >= cutoff)
    assert field.ladder(accepted, steps) == said["together"]


@pytest.mark.parametrize("name", PLACES)
def test_together_beats_the_best_technique_alone_by_far(name: str) -> None:
    said = figures(name)
    alone = min(value for column, value in said.items() if column.endswith("alone"))
    assert said["together"] <= 0.65 * alone


def test_the_strategies_still_win_in_new_passes_of_the_same_site(tmp_path: Path) -> None:
    """The rivals are chosen with the new passes in hand, the strategies were not."""
    write_case(tmp_path, seed=99, passes=100)
    for point in read_case(tmp_path).read_points:
        strategy = read_strategy(json.dumps(STRATEGIES[point.name]).encode(), point.name)
        loss = evaluate(point.survey, point.policy, strategy).loss
        field = load(point.name, tmp_path)
        rivals = min(best_power(field), best_ladder(field), best_cutoff(field))
        assert loss < 0.8 * rivals, point.name
