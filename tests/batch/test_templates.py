"""The templates of a site: priced by the evaluator, chosen as by brute force."""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import strategist
from strategist import InputError, Options, Strategy, run_batch, site_templates
from strategist.__main__ import main
from strategist.batch import prices
from strategist.batch.prices import prices_of
from strategist.batch.templates import PricedPoint, SiteTemplates, templates_of
from strategist.optimise.clock import Clock
from strategist.optimise.installable import installable
from strategist.optimise.templates import template_curve
from strategist.survey.parts import open_case
from strategist.survey.policy import Dwell, Limits, Loss, Policy, RadiatedLimit, Radio, Reader
from strategist.survey.records import ReadPoint
from strategist.tags.mask import Mask
from tests.batch.sites import write_site
from tests.optimise.made import random_read_point, survey_of
from tests.surveyed import surveyed_policy
from tests.test_words import told

QUICK = Options(unseen=False, sturdier=False)


@pytest.fixture
def batch(tmp_path: Path) -> Path:
    folder = write_site(tmp_path / "site", 8, seed=3, bad=(5,))
    site = json.loads((folder / "site.json").read_text())
    site["read_points"]["d01"] |= {"allow": ["power"]}
    site["read_points"]["d06"] |= {"limits": {"stray_rate_max": 0.2}}
    site["read_points"]["d07"] |= {"allow": ["cutoff"]}
    (folder / "site.json").write_text(json.dumps(site))
    run_batch([folder], tmp_path / "out", QUICK)
    return tmp_path / "out"


def test_prices_are_those_of_the_evaluator(batch: Path) -> None:
    """Where a strategy keeps to policy, reader and limits; else it may not be set (inf)."""
    found = site_templates(batch, 2)
    assert [point.read_point for point in found.points] == [f"d0{n}" for n in (0, 1, 2, 3, 4, 6, 7)]
    assert len(found.left_out) == 1 and "d05" in found.left_out[0]
    parts = {part.read_point: part for part in open_case(batch.parent / "site")}
    allowed = 0
    for place, point in enumerate(found.points):
        read_point = parts[point.read_point].read()
        for column, strategy in enumerate(found.candidates):
            evaluation = strategist.evaluate_at(read_point, strategy)
            price = found.loss[place, column]
            allowed += math.isfinite(price)
            assert price in (evaluation.outcome.loss, math.inf)
            if point.read_point == "d01" and math.isfinite(price):
                fixed = len(strategy.levels_dbm) == 1
                assert fixed and strategy.cutoff_dbm is None and not strategy.masks
            if point.read_point == "d06" and math.isfinite(price):
                assert evaluation.outcome.stray_rate <= 0.2
            if point.read_point == "d07" and math.isfinite(price):
                assert strategy.levels_dbm == (21.0,) and not strategy.masks
        assert point.own_loss == found.loss[place].min()
    assert allowed > 2 * len(found.points)


@pytest.mark.parametrize("at_most", [1, 2, 3])
def test_the_choice_is_that_of_brute_force(batch: Path, at_most: int) -> None:
    found = site_templates(batch, at_most)
    best = min(
        (np.isinf(b).sum(), b[np.isfinite(b)].sum())
        for n in range(1, at_most + 1)
        for columns in itertools.combinations(range(len(found.candidates)), n)
        for b in (found.loss[:, columns].min(axis=1),)
    )
    assert (found.chosen.without, found.chosen.loss) == best
    assert len(found.chosen.chosen) <= at_most


def test_what_each_pays(batch: Path) -> None:
    found = site_templates(batch, 1, max_extra_loss=2)
    document = found.to_json()
    assert len(document["templates"]) == 1
    for place, row in enumerate(document["read_points"]):
        if row["template"] is None:
            assert row["needs_own"] and row["pays"] is None
        else:
            assert row["pays"] == row["loss"] - row["own_loss"] >= 0
            assert row["needs_own"] == (row["pays"] > 2)
            assert row["loss"] == found.loss[place, found.chosen.chosen[0]]
    losses = [entry["loss"] for entry in document["curve"] if not entry["without"]]
    assert losses == sorted(losses, reverse=True) and losses[-1] == found.own_loss
    assert site_templates(batch, 1).points[0].max_extra_loss == 5.0  # the weight of a missed tag
    text = strategist.templates_text(found)
    assert "Need a strategy of their own" in text
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize(
    ("max_extra_loss", "needs"), [(0.3, False), (0.2999, True), (0.31, False), (0.0, True)]
)
def test_a_read_point_may_pay_exactly_what_it_may(max_extra_loss: float, needs: bool) -> None:
    """Its own strategy loses 0.6, its template 0.9: 0.30000000000000004 more in floating point."""
    loss = np.array([[0.9]])
    point = PricedPoint("case", "d00", 0.6, max_extra_loss, ((),), None)
    strategy = Strategy((15.0,))
    found = SiteTemplates((point,), (strategy,), 1, loss, template_curve(loss, 1), 1, ())
    assert 0.9 - 0.6 != 0.3
    assert found.needs_own(0) is needs


def test_candidates_that_most_read_points_share_come_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """With room for one candidate it is the one that two read points chose, not the first met."""
    points = [
        ("site", ReadPoint(replace(SURVEY, read_point=name), surveyed_policy()))
        for name in ("a", "b", "c")
    ]
    rare, common = Strategy((21.0,)), Strategy((18.0,))
    own = {
        ("site", point.name): strategist.evaluate_at(point, strategy).to_json()
        for (_, point), strategy in zip(points, (rare, common, common), strict=True)
    }
    assert templates_of(own, points, 2).candidates == (common, rare)
    monkeypatch.setattr("strategist.batch.templates.CANDIDATES_MAX", 1)
    found = templates_of(own, points, 2)
    assert (found.candidates, found.candidates_of) == ((common,), 2)


def test_the_command(batch: Path, tmp_path: Path, capsys: Any) -> None:
    file = tmp_path / "templates.json"
    status = main(["templates", str(batch), "--at-most", "2", "--workers", "1", "--out", str(file)])
    found = site_templates(batch, 2)
    assert status == 0
    assert json.loads(file.read_text()) == found.to_json()
    text = strategist.templates_text(found)
    assert capsys.readouterr().out == f"{text}\n"
    assert max(map(len, text.splitlines())) <= 80 and told(text) == []


def test_cases_that_changed_since_are_refused(batch: Path) -> None:
    reads = batch.parent / "site/reads.csv"
    text = reads.read_text()
    reads.write_text("\n".join(line for line in text.splitlines() if not line.startswith("d03")))
    with pytest.raises(InputError, match="Run the batch again"):
        site_templates(batch, 2)
    with pytest.raises(InputError, match=r"no results\.jsonl.*the folder of a batch"):
        site_templates(batch.parent, 2)


def test_what_must_be_settled_before_a_template_is_set(tmp_path: Path) -> None:
    """Nobody surveyed 16.5 dBm, between 15 and 18: what its template does there is predicted. One
    of the two read points has a rule that levels are held to."""
    policy = {"levels_dbm": [15, 16.5, 18, 21], "predict_levels": True}
    folder = write_site(tmp_path / "site", 2, policy=policy)
    site = json.loads((folder / "site.json").read_text())
    limit = {"dbm": 20, "kind": "eirp", "low_mhz": 902, "high_mhz": 928}
    site["read_points"]["d01"] |= {"radio": {"limit": limit, "antenna_gain_dbi": 0}}
    (folder / "site.json").write_text(json.dumps(site))
    points = strategist.read_case(folder).read_points

    def found(level: float) -> SiteTemplates:
        own = {
            ("site", point.name): strategist.evaluate_at(point, Strategy((level,))).to_json()
            for point in points
        }
        return templates_of(own, [("site", point) for point in points], 2)

    predicted = found(16.5)
    rows = predicted.to_json()["read_points"]
    assert [row["predicted_dbm"] for row in rows] == [[16.5], [16.5]]
    assert [row["lawful_dbm"] for row in rows] == [None, 20.0]
    first, second, law = predicted.to_json()["warnings"]
    assert first.startswith("d00 (site): the step 16.5 dBm was predicted, not surveyed")
    assert second.startswith("d01 (site): the step 16.5 dBm")
    assert "not checked against the rules" in law and law.endswith("at d00")
    text = strategist.templates_text(predicted)
    assert "d00 [16.5 dBm predicted], d01 [16.5 dBm predicted]" in text
    assert "Warnings" in text and max(map(len, text.splitlines())) <= 80
    surveyed = found(18.0)
    assert [row["predicted_dbm"] for row in surveyed.to_json()["read_points"]] == [[], []]
    assert surveyed.warnings == (law,)


def silent_site() -> tuple[dict[tuple[str, str], Any], list[tuple[str, ReadPoint]]]:
    """At a and b the wanted tag is read from 15 dBm on; at c it is never, and a stray always is;
    at d half of the wanted tags are read at 21 dBm alone, and six strays at each level below."""
    near = ("30", True, [-60.0, -59.0, -58.0])
    deaf = [("30", True, [None, None, None]), ("31", False, [-60.0, -59.0, -58.0])]
    rack = [(f"4{n}", False, [-60.0, -59.0, None]) for n in range(6)]
    far = [("30", True, [None, None, -60.0]), *rack]
    loads = {"a": [near], "b": [near], "c": deaf, "d": far}
    points = [
        ReadPoint(
            replace(survey_of([15.0, 18.0, 21.0], [load] * 4), read_point=name),
            surveyed_policy(allow=("power",)),
        )
        for name, load in loads.items()
    ]
    own = {("site", point.name): strategist.choose(point, QUICK).to_json() for point in points}
    return own, [("site", point) for point in points]


def test_where_silence_is_better_no_template_is_set() -> None:
    own, points = silent_site()
    assert own["site", "c"]["status"] == "silent"
    one = templates_of(own, points, 1).to_json()
    rows = {row["read_point"]: row for row in one["read_points"]}
    assert rows["c"]["silent"] and rows["c"]["template"] is None and not rows["c"]["needs_own"]
    assert rows["c"]["loss"] == rows["c"]["silence_loss"] == 20
    assert [rows[name]["silent"] for name in "abd"] == [False] * 3
    assert one["templates"] == [Strategy((21.0,)).to_json()] and one["without"] == 0
    assert (one["loss"], one["own_loss"]) == (0, 0)
    found = templates_of({place: own[place] for place in (("site", "a"), ("site", "c"))}, points, 2)
    assert found.to_json()["warnings"][0].endswith("so install none, at c")
    text = strategist.templates_text(found)
    assert "1 read point: summed loss 0" in text
    assert "- c: to report nothing loses 20" in text


def test_a_template_that_is_worse_than_silence_is_none() -> None:
    """15 dBm, which serves a and b, would let six strays in at d and miss the wanted tag."""
    own, points = silent_site()
    low = strategist.evaluate_at(points[0][1], Strategy((15.0,))).to_json()
    own |= {("site", "a"): low, ("site", "b"): low, ("site", "d"): own["site", "d"]}
    found = templates_of(own, points, 2)
    assert Strategy((15.0,)) in found.candidates
    column = found.candidates.index(Strategy((15.0,)))
    assert [math.isfinite(loss) for loss in found.loss[:, column]] == [True, True, False, False]


def test_a_site_where_silence_is_best_everywhere() -> None:
    own, points = silent_site()
    found = templates_of({("site", "c"): own["site", "c"]}, points, 2)
    document = found.to_json()
    assert document["templates"] == [] and document["without"] == 0 and document["proven"]
    assert document["read_points"][0]["silent"]
    assert "Silence: no strategy is better there" in strategist.templates_text(found)


@pytest.mark.parametrize(("limit", "silent"), [(None, True), (0.1, False)])
def test_a_limit_of_missed_tags_forbids_silence(limit: float | None, silent: bool) -> None:
    """One wanted tag of four is read, and ten strays: 15 + 40 are lost, by silence 20."""
    rack = [(f"4{n}", False, [-60.0]) for n in range(10)]
    passes = [[("30", True, [-60.0 if n == 0 else None]), *rack] for n in range(4)]
    policy = surveyed_policy(allow=("power",), limits=Limits(missed_rate_max=limit))
    point = ReadPoint(survey_of([15.0], passes), policy)
    own = {("site", "made"): strategist.evaluate_at(point, Strategy((15.0,))).to_json()}
    (row,) = templates_of(own, [("site", point)], 1).to_json()["read_points"]
    assert (row["silent"], row["template"]) == (silent, None if silent else 1)
    assert (row["loss"], row["own_loss"], row["silence_loss"]) == (20 if silent else 55, 55, 20)


def test_after_the_time_limit_it_says_what_it_did_not_look_at(batch: Path, capsys: Any) -> None:
    whole = site_templates(batch, 2)
    found = site_templates(batch, 2, time_limit_s=1e-6)
    document = found.to_json()
    assert len(found.points) + len(found.late) == len(whole.points)
    assert len(found.points) == 1 and found.hurried
    assert document["bound"] <= document["loss"]
    assert "the time limit ended" in " ".join(document["warnings"])
    assert whole.to_json()["proven"] and not whole.late and not whole.hurried
    assert main(["templates", str(batch), "--workers", "1", "--time-limit", "600"]) == 0
    assert "not proven" not in capsys.readouterr().out


EPC = Mask("epc", 32, 16, "3034")
SURVEY = survey_of([15.0, 18.0, 21.0], [[("30", True, [-60.0, -59.0, -58.0])]])
ABOVE_20 = Radio(limit=RadiatedLimit(20.0, "eirp", 902.0, 928.0), antenna_gain_dbi=0.0)


@pytest.mark.parametrize(
    ("strategy", "policy", "may"),
    [
        (Strategy((15.0,)), surveyed_policy(), True),
        (Strategy((16.0,)), surveyed_policy(), False),
        (Strategy((15.0,)), surveyed_policy(allow=("ladder",)), False),
        (Strategy((15.0, 21.0)), surveyed_policy(allow=("ladder",)), True),
        (Strategy((15.0, 21.0)), surveyed_policy(allow=("power",)), False),
        (Strategy((15.0, 21.0)), surveyed_policy(reader=Reader(ladder_steps_max=1)), False),
        (Strategy((15.0, 21.0), 2), surveyed_policy(), False),
        (Strategy((15.0,), 2), surveyed_policy(), True),
        (Strategy((15.0,), 1, -60.0), surveyed_policy(allow=("power", "masks")), False),
        (Strategy((15.0,), 1, None, (EPC,)), surveyed_policy(), True),
        (Strategy((15.0,), 1, None, (EPC,)), surveyed_policy(allow=("power",)), False),
        (Strategy((15.0,), 1, None, (EPC,)), surveyed_policy(reader=Reader(mask_slots=0)), False),
        (
            Strategy((15.0,), 1, None, (EPC,)),
            surveyed_policy(reader=Reader(mask_step_bits=32)),
            False,
        ),
        (
            Strategy((15.0,), 1, None, (EPC,)),
            surveyed_policy(reader=Reader(mask_bits_max=8)),
            False,
        ),
        (Strategy((15.0, 18.0)), surveyed_policy(radio=ABOVE_20), True),
        (Strategy((15.0, 21.0)), surveyed_policy(radio=ABOVE_20), False),
        (Strategy((15.0, 18.0)), surveyed_policy(radio=ABOVE_20, allow=("ladder",)), True),
        (Strategy((15.0, 21.0)), surveyed_policy(time=Dwell(0.2, step_s=0.1)), True),
        (Strategy((15.0, 18.0, 21.0)), surveyed_policy(time=Dwell(0.2, step_s=0.1)), False),
    ],
)
def test_what_may_be_set_where(strategy: Strategy, policy: Policy, may: bool) -> None:
    assert installable(strategy, policy, SURVEY) is may


@pytest.mark.parametrize("seed", range(12))
def test_own_strategies_may_be_set(seed: int) -> None:
    """What `choose` gives for a read point keeps to its policy and reader."""
    point = random_read_point(seed)
    found = strategist.choose(point, QUICK).strategy
    assert installable(found, point.policy, point.survey)


BESIDE_SILENCE: dict[str, tuple[bool, list[bool], Limits, Loss, float]] = {
    # whether the wanted tag is read, in which passes the stray one, and the price
    "both over their limits": (False, [True, False], Limits(0.05, 0.25), Loss(), math.inf),
    "silence over its limit": (True, [True, True], Limits(0.05, None), Loss(1.0, 5.0), 10.0),
    "no limit": (True, [True, True], Limits(), Loss(1.0, 5.0), math.inf),
    "better than silence": (True, [True, False], Limits(), Loss(1.0, 1.5), 1.5),
}


@pytest.mark.parametrize("name", BESIDE_SILENCE)
def test_a_strategy_has_a_price_unless_silence_is_as_good_and_may_be(name: str) -> None:
    """Two passes at one level, of a wanted tag and a stray one."""
    wanted, stray, limits, loss, price = BESIDE_SILENCE[name]
    passes: list[Any] = [
        [("3001", True, [-50.0 if wanted else None]), ("3501", False, [-50.0 if one else None])]
        for one in stray
    ]
    point = ReadPoint(survey_of([10.0], passes), Policy(aim="survey", limits=limits, loss=loss))
    own = {("case", point.name): strategist.evaluate_at(point, Strategy((10.0,))).to_json()}
    found = prices_of(own, [("case", point)], (Strategy((10.0,)),), Clock())["case", point.name]
    assert found.loss == (price,) and found.silent == math.isinf(price)
    assert found.silence == 2 * loss.missed


def test_prices_where_nothing_is_wanted() -> None:
    """Silence then loses nothing and keeps to any limit."""
    passes: list[Any] = [[("3501", False, [-50.0])], [("3501", False, [None])]]
    point = ReadPoint(survey_of([10.0], passes), Policy(aim="survey", limits=Limits(0.05, 0.25)))
    own = {("case", point.name): strategist.evaluate_at(point, Strategy((10.0,))).to_json()}
    found = prices_of(own, [("case", point)], (Strategy((10.0,)),), Clock())["case", point.name]
    assert found.loss == (math.inf,) and found.silent and found.silence == 0.0


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (MemoryError(), "not enough memory"),
        (InputError.one("here", "", "that"), "batch: here is missing. Give that. Run the batch"),
    ],
)
def test_a_read_point_that_cannot_be_priced_is_told(
    error: Exception, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(_: ReadPoint) -> ReadPoint:
        raise error

    point = random_read_point(1, 0)
    own = {("case", point.name): strategist.evaluate_at(point, Strategy((10.0,))).to_json()}
    monkeypatch.setattr(prices, "complete", fails)
    with pytest.raises(InputError) as caught:
        prices_of(own, [("case", point)], (), Clock())
    assert said in str(caught.value) and f"case, {point.name}" in str(caught.value)
