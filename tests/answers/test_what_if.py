"""What if: the second answer is that of the changed read point, and the cable shifts both ways."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from strategist.answers import what_if as what_if_module
from strategist.answers.assessment import choose
from strategist.answers.per_pass import PerPass
from strategist.answers.solution import Options
from strategist.answers.what_if import usual_what_ifs, what_if
from strategist.errors import InputError
from strategist.optimise.strategy import Strategy
from strategist.report.what_if import what_if_text, what_ifs_text
from strategist.survey.policy import Guard, Limits, Loss, RadiatedLimit, Radio
from strategist.survey.reading import read_case_document
from strategist.survey.records import ReadPoint
from tests.optimise.made import random_read_point, survey_of
from tests.second_reading.drawn import NAME, case_with_antennas
from tests.surveyed import surveyed_policy

QUICK = Options(unseen=False)

# Wanted from 21 dBm on; the stray from 23 on and weaker. Read at 21: −58; at 22: −57; …
POINT = ReadPoint(
    survey_of(
        [20.0, 21.0, 22.0, 23.0, 24.0],
        [
            [
                ("AB01", True, [None, -58.0, -57.0, -56.0, -55.0]),
                ("AB02", False, [None, None, None, -66.0, -65.0]),
            ]
        ],
    ),
    surveyed_policy(allow=("power", "cutoff"), loss=Loss(5, 1), guard=Guard(0.0, 0.0)),
)


def test_less_cable_lowers_the_setting_and_raises_rssi() -> None:
    found = what_if(POINT, {}, added_cable_loss_db=-1.0, options=QUICK)
    assert found.before.strategy.levels_dbm == (21.0,)
    assert found.after.strategy.levels_dbm == (20.0,)
    assert [one.key for one in found.settings] == ["levels_dbm"]
    assert found.after.loss == found.before.loss == 0
    assert len(found.assumptions) == 3
    assert found.after.searched["levels"] == 4  # settings 20 to 23; 19 is none of the reader's


def test_more_cable_with_a_cutoff() -> None:
    """At the highest level the stray is rejected by a cutoff in (−65, −55]; 2 dB weaker behind."""
    point = replace(POINT, policy=replace(POINT.policy, allow=("cutoff",)))
    found = what_if(point, {}, added_cable_loss_db=2.0, options=QUICK)
    assert found.before.strategy.cutoff_dbm == -60.0
    assert found.after.strategy.cutoff_dbm is None  # the setting 24 radiates what 22 did
    assert found.after.strategy.levels_dbm == (24.0,)
    less = what_if(point, {}, added_cable_loss_db=-1.0, options=QUICK)
    assert less.after.strategy.levels_dbm == (23.0,)  # radiates what 24 did
    assert less.after.strategy.cutoff_dbm == -59.0


def test_a_cable_of_half_a_db_moves_between_the_levels_surveyed() -> None:
    """A reader is set in steps finer than the survey's: 20.5 to 23.5 radiate what 20 to 23 did."""
    found = what_if(POINT, {}, added_cable_loss_db=0.5, options=QUICK)
    assert found.after.strategy.levels_dbm == (21.5,)
    assert "1 of 5 surveyed levels drops out" in found.assumptions[1]
    assert found.to_json()["levels"] == {"before": 5, "after": 4}


def test_levels_above_the_lawful_one_leave_what_is_lawful() -> None:
    """5 dB steps but for the last: 1 dB more cable takes 28 to 29, and 29 is not lawful.

    Own limit of 32 dBm EIRP, 6 dBi and 1 dB of cable: 27 dBm; 1 dB more: 28. Of the settings 14,
    19, 24 and 29 the first three are lawful; 24 radiates what 23 did.
    """
    radio = Radio(
        limit=RadiatedLimit(32.0, "eirp", 865.0, 868.0),
        antenna_gain_dbi=6.0,
        polarisation="linear",
        cable_loss_db=1.0,
    )
    survey = survey_of(
        [13.0, 18.0, 23.0, 28.0, 29.0],
        [[("AB01", True, [None, None, -60.0, -55.0, -54.0]), ("AB02", False, [None] * 5)]],
    )
    point = ReadPoint(survey, surveyed_policy(allow=("power",), radio=radio, guard=Guard(0.0, 0.0)))
    found = what_if(point, {}, added_cable_loss_db=1.0, options=QUICK)
    assert found.before.strategy.levels_dbm == (23.0,)
    assert found.after.strategy.levels_dbm == (24.0,)
    assert "the highest lawful level is 28 dBm; 1 of the settings left is" in found.assumptions[2]
    only = replace(point, survey=survey.keep(levels=survey.levels_dbm >= 28))
    with pytest.raises(InputError, match=r"lawful.*28"):
        what_if(only, {}, added_cable_loss_db=1.0, options=QUICK, before=found.before)


def test_what_was_not_asked_comes_last_with_its_reason() -> None:
    """2 dB either way at a single level; and at five levels the row says how many drop out."""
    sparse = replace(POINT, survey=POINT.survey.keep(levels=np.arange(5) == 3))
    lines = what_ifs_text(usual_what_ifs(sparse, QUICK)).splitlines()
    (table,) = (n for n, line in enumerate(lines) if "All losses use the current weights" in line)
    assert [line[:12] for line in lines[table + 1 :] if line[:12] == "  Not asked:"] == [
        "  Not asked:"
    ] * 2
    assert not any("ot asked" in line for line in lines[:table])
    said = " ".join(" ".join(lines).split())
    assert "Not asked: 2 dB more cable loss, since cable" in said
    full = what_ifs_text(usual_what_ifs(POINT, QUICK))
    assert full.count("2 of 5 levels drop out") == 2


@pytest.mark.parametrize("added_cable_loss_db", [7.0, -4.5, -61.0])
def test_a_cable_that_fits_no_setting_is_refused(added_cable_loss_db: float) -> None:
    with pytest.raises(InputError, match="cable"):
        what_if(POINT, {}, added_cable_loss_db=added_cable_loss_db, options=QUICK)


@pytest.mark.parametrize(
    ("key", "new"),
    [("loss.missed", 20), ("reader.mask_slots", 0), ("reader.mask_step_bits", 1), ("allow", [])],
)
def test_any_key_of_the_policy(key: str, new: object) -> None:
    point = random_read_point(8, 1)
    found = what_if(point, {key: new}, options=QUICK)
    part, _, last = key.partition(".")
    inner = getattr(point.policy, part)
    changed = replace(inner, **{last: new}) if last else tuple(new)  # type: ignore[arg-type]
    expected = choose(replace(point, policy=replace(point.policy, **{part: changed})), QUICK)
    assert (found.after.strategy, found.after.loss) == (expected.strategy, expected.loss)
    weights, outcome = point.policy.loss, expected.outcome
    assert found.loss_after == weights.missed * outcome.missed + weights.stray * outcome.stray


def test_fewer_levels() -> None:
    found = what_if(POINT, {"levels_dbm": [22, 24]}, options=QUICK)
    assert found.after.strategy.levels_dbm == (22.0,)
    with pytest.raises(InputError, match=r"19\.5"):
        what_if(POINT, {"levels_dbm": [19.5, 22]}, options=QUICK)


@pytest.mark.parametrize(
    ("sets", "said"),
    [
        ({"loss.mised": 2}, 'nearest: "missed"'),
        ({"missed": 2}, 'nearest: "loss.missed"'),
        ({"loss.missed": -1}, "too small"),
        ({"loss": 3}, "object"),
        ({"loss.missed.most": 3}, "holds a value"),
        ({"unlisted": "ignore"}, "site.json"),
        ({"loss.missed": 5.0}, "no key differs"),
        ({}, "no key differs"),
    ],
)
def test_what_is_no_change_is_refused(sets: dict[str, object], said: str) -> None:
    with pytest.raises(InputError, match=said):
        what_if(POINT, sets, options=QUICK)


def test_the_usual_questions() -> None:
    found = usual_what_ifs(POINT, QUICK)
    questions = {one.question: one for one in found.questions}
    assert list(questions)[-2:] == ["2 dB less cable loss", "2 dB more cable loss"]
    for one in found.questions:
        assert one.answer is not None
        assert one.answer.before is found.before
    document = found.to_json()["questions"][0]["answer"]
    assert "before" not in document and document["loss"]["before"] == found.before.loss
    sparse = replace(POINT, survey=POINT.survey.keep(levels=np.arange(5) == 3))
    asked = {one.question: one for one in usual_what_ifs(sparse, QUICK).questions}
    assert asked["2 dB less cable loss"].answer is None
    assert "surveyed level" in (asked["2 dB less cable loss"].refused or "")


def test_what_the_usual_questions_set() -> None:
    """All techniques allowed, with the reader and the weights of 5 and 1 as they stand."""
    policy = replace(POINT.policy, allow=("power", "ladder", "cutoff", "masks"))
    asked = usual_what_ifs(replace(POINT, policy=policy), QUICK).questions
    sets = {
        one.question: {change.key: (change.before, change.after) for change in one.answer.changes}
        for one in asked
        if one.answer is not None
    }
    assert sets == {
        "one more mask slot": {"reader.mask_slots": (3, 4)},
        "masks on any bits": {"reader.mask_step_bits": (8, 1)},
        "one more ladder step": {"reader.ladder_steps_max": (5, 6)},
        "a miss weighs twice": {"loss.missed": (5, 10)},
        "a stray weighs twice": {"loss.stray": (1, 2)},
        "2 dB less cable loss": {"added_cable_loss_db": (0, -2)},
        "2 dB more cable loss": {"added_cable_loss_db": (0, 2)},
    }


@dataclass(frozen=True)
class Told:
    """As much of an answer as another is held against."""

    strategy: Strategy
    loss: float
    guarded: float = 9.0
    missed_rate: float = 0.0
    status: str = "feasible"
    bound: float = 1.0
    proof: str = "found"
    unseen: str | None = "known"
    per_pass: PerPass | None = None

    @property
    def outcome(self) -> Any:
        return SimpleNamespace(missed_rate=self.missed_rate, stray_rate=0.0)

    @property
    def standing(self) -> Any:
        return SimpleNamespace(guarded=SimpleNamespace(loss=self.guarded))


A, B, C = (Strategy((power,)) for power in (20.0, 21.0, 22.0))
FIRST = Told(A, 5.0, bound=2.0, proof="first")


@pytest.mark.parametrize(
    ("found", "better"),
    [
        (Told(B, 4.0), True),
        (Told(B, 5.0, 8.0), True),
        (Told(B, 5.0), False),  # as good, but not better
        (Told(B, 5.0, 10.0), False),
        (Told(B, 6.0, 1.0), False),
        (Told(B, 1.0, missed_rate=0.75), False),  # the limit is half
        (Told(B, 4.0, missed_rate=0.5), True),
    ],
)
def test_a_better_strategy_of_another_answer_takes_the_place_of_the_first(
    found: Told, better: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the bound that the first has, and nothing said of tags that it was not asked about."""
    asked: list[tuple[Options, Strategy]] = []

    def chosen(point: ReadPoint, options: Options, known: Strategy) -> Told:
        assert point is limited
        asked.append((options, known))
        return found if known == B else Told(C, 7.0)

    limited = replace(POINT, policy=replace(POINT.policy, limits=Limits(0.5)))
    monkeypatch.setattr(what_if_module, "choose", chosen)
    given: Any = (limited, FIRST, [A, C, B, C, A, B], Options(time_limit_s=9.0, seed=3))
    one: Any = what_if_module._no_worse(*given)
    at_once = Options(time_limit_s=0.0, total_limit_s=0.0, unseen=False, seed=3)
    assert asked == [(at_once, C), (at_once, B)]
    assert one == (replace(found, bound=2.0, proof="first", unseen=None) if better else FIRST)


def test_a_first_answer_that_is_settled_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(what_if_module, "choose", lambda *_, **__: Told(B, 0.0))
    for status, stays in (
        ("optimal", True),
        ("silent", True),
        ("infeasible", True),
        ("feasible", False),
        ("undecided", False),
    ):
        first: Any = replace(FIRST, status=status)
        one = what_if_module._no_worse(POINT, first, [B], Options())
        assert (one is first) is stays


def test_the_first_answer_is_bettered_by_the_second_unless_it_was_given(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[tuple[float | None, Strategy | None]] = []

    def chosen(point: ReadPoint, options: Options, known: Strategy | None = None) -> Told:
        asked.append((options.time_limit_s, known))
        assert not options.sturdier
        if point is POINT:
            return Told(known or A, 4.0 if known else 5.0)
        assert known == A
        return Told(B, 3.0)

    monkeypatch.setattr(what_if_module, "_since", lambda _: float(len(asked)))
    monkeypatch.setattr(what_if_module, "choose", chosen)
    options = Options(total_limit_s=2.0)
    found = what_if(POINT, {"loss.missed": 6}, options=options)
    assert (found.before.strategy, found.after.strategy) == (B, B)
    assert asked == [(1.0, None), (1.0, A), (0.0, B)]
    asked.clear()
    first: Any = FIRST
    found = what_if(POINT, {"loss.missed": 6}, options=options, before=first)
    assert found.before is first and asked == [(2.0, A)]


@pytest.mark.parametrize("better", [False, True])
def test_the_usual_questions_share_a_limit_and_start_from_the_best_known(
    better: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Six seconds for the first answer, four questions and what follows them: one each, where each
    takes its own. A strategy of another answer that is better here stands before all of them."""
    asked: list[Options] = []

    def chosen(_point: ReadPoint, options: Options, known: Strategy | None = None) -> Told:
        asked.append(options)
        return Told(known or A, 4.0 if known and better else 5.0)

    def effect(_point: ReadPoint, sets: Any, options: Options, before: Told, **_: Any) -> Any:
        asked.append(options)
        first: Any = before
        after: Any = Told(B, 3.0)
        found = what_if_module._effect(POINT, (), first, after, (f"{len(asked)}",))
        return SimpleNamespace(**vars(found))

    monkeypatch.setattr(what_if_module, "_since", lambda _: float(len(asked)))
    monkeypatch.setattr(what_if_module, "choose", chosen)
    monkeypatch.setattr(what_if_module, "what_if", effect)
    found = usual_what_ifs(POINT, Options(total_limit_s=6.0))
    assert [one.time_limit_s for one in asked] == [1.0] * 5 + [0.0]
    assert not any(one.sturdier for one in asked)
    assert found.before.strategy == (B if better else A)
    answers = [one.answer for one in found.questions]
    assert [one.assumptions for one in answers if one] == [("2",), ("3",), ("4",), ("5",)]
    assert all(one and one.before is found.before for one in answers)
    assert usual_what_ifs(POINT).before.strategy == (B if better else A)
    assert asked[-1].total_limit_s == 0.0 and not asked[-1].sturdier


def test_settings_of_antennas_that_come_or_go_are_named() -> None:
    """From a comparison of antennas to none and back: each part that one of the two lacks."""
    document = case_with_antennas(3014)
    policy = document["site"]["read_points"][NAME]
    (point,) = read_case_document(json.dumps(document).encode()).read_points
    changed = {"allow": ["power", "cutoff"], "time": {"step_s": 0.7}}
    gone = what_if(point, changed, options=QUICK)
    keys = {one.key: one.after for one in gone.settings}
    assert keys["score"] is None and keys["cutoff_db"] is None and keys["step_s"] is None
    text = " ".join(what_if_text(gone).split())
    assert "antennas and reads that count" in text and "time of a step" in text
    policy |= changed
    (bare,) = read_case_document(json.dumps(document).encode()).read_points
    back = {"allow": ["power", "cutoff", "antennas"], "time": {"step_s": [0.3, 0.7]}}
    come = {one.key: one.before for one in what_if(bare, back, options=QUICK).settings}
    assert come["score"] is None and come["step_s"] is None
