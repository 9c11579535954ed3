"""`judge`: the same answer as `choose`, with what tests it; in words of 80 columns."""

from __future__ import annotations

import json
import sys
import threading
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor

import pytest

import strategist
from strategist.answers.assessment import Assessment, choose
from strategist.answers.full_assessment import assess_fully
from strategist.answers.solution import Again, Options
from strategist.commands.processes import shared_map
from strategist.survey.records import ReadPoint
from tests.optimise.made import random_read_point
from tests.trust.test_unseen import ONE_KIND, made


def test_the_result_is_that_of_choose() -> None:
    """Judging adds keys, and sentences to the warnings; it changes nothing."""
    point = made(*ONE_KIND)
    judged, result = assess_fully(point).to_json(), choose(point).to_json()
    added = {"cross_validation", "tag_types", "next_survey", "assessed_seconds"}
    assert set(judged) - set(result) == added
    for key in set(result) - {"seconds", "warnings"}:
        assert judged[key] == result[key], key
    assert set(result["warnings"]) <= set(judged["warnings"])
    json.dumps(judged, allow_nan=False)


@pytest.mark.parametrize(("limit", "order"), [(None, [5, "answer", 6]), (1e6, ["answer", 5, 6])])
def test_every_further_choice_goes_through_the_map(
    monkeypatch: pytest.MonkeyPatch, limit: float | None, order: list[int | str]
) -> None:
    """Five folds, then the parts without some tags, four by tag and two by item reference: whoever
    judges may spread them. The folds wait for the answer only where a limit is to be shared."""
    seen: list[int | str] = []

    def mapped(
        function: Callable[[ReadPoint], Again], parts: Sequence[ReadPoint]
    ) -> Iterable[Again]:
        seen.append(len(parts))
        return map(function, parts)

    def answer(point: ReadPoint, options: Options) -> Assessment:
        seen.append("answer")
        return choose(point, options)

    monkeypatch.setattr(sys.modules["strategist.answers.full_assessment"], "choose", answer)
    assess_fully(made(*ONE_KIND), Options(total_limit_s=limit), mapped)
    assert seen == order


@pytest.mark.parametrize(("worth", "spread"), [(0.0, [6]), (1e9, [])])
def test_choices_without_some_tags_are_spread_where_they_take_long(
    monkeypatch: pytest.MonkeyPatch, worth: float, spread: list[int]
) -> None:
    """The six choices without some tags, and the same answer either way."""
    monkeypatch.setattr(sys.modules["strategist.answers.assessment"], "_WORTH_S", worth)
    seen = []

    def mapped(
        function: Callable[[ReadPoint], Again], parts: Sequence[ReadPoint]
    ) -> Iterable[Again]:
        seen.append(len(parts))
        return map(function, parts)

    point = made(*ONE_KIND)
    assert choose(point, mapped=mapped).unseen == choose(point).unseen is not None
    assert seen == spread


def test_who_collects_works_along_from_the_end() -> None:
    """The one worker is held up in the first part until the last is done, so it is done here."""
    last_done, doers = threading.Event(), {}

    def function(part: int) -> int:
        doers[part] = threading.get_ident()
        if part == 0:
            assert last_done.wait(60)
        if part == 5:
            last_done.set()
        return part * part

    with ThreadPoolExecutor(1) as pool:
        found = list(shared_map(pool, function, range(6)))
    assert found == [0, 1, 4, 9, 16, 25]
    assert doers[5] == threading.get_ident() != doers[0]


def test_one_limit_for_the_whole_judgement(monkeypatch: pytest.MonkeyPatch) -> None:
    """Further choices that got little time are said to be unproven; those that no time was left
    for are left out, and that is said."""
    late = assess_fully(made(*ONE_KIND), Options(total_limit_s=1e-9))
    assert late.cross_validation is None and late.unseen is None
    assert any("left no time to choose again" in warning for warning in late.warnings)
    monkeypatch.setattr("strategist.answers.solution.Deadline.passed", lambda _: False)
    hurried = assess_fully(made(*ONE_KIND), Options(total_limit_s=1e-9))
    assert hurried.cross_validation is not None
    assert any("not proven in the time given" in warning for warning in hurried.warnings)
    free = assess_fully(made(*ONE_KIND), Options(total_limit_s=1e6))
    assert not any("not proven" in warning for warning in free.warnings)


def test_too_few_passes_are_said() -> None:
    point = random_read_point(1)
    judged = assess_fully(point)
    assert judged.cross_validation is None
    assert judged.to_json()["cross_validation"] is None
    assert "too few passes to leave any out" in strategist.full_assessment_text(judged)


def test_the_text_has_every_section_within_80_columns() -> None:
    point = made(*ONE_KIND)
    text = strategist.full_assessment_text(assess_fully(point))
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    heads = [line for line in lines if not line.startswith(" ")]
    order = ["Held-out passes", "Chosen again", "What the survey shows", "To measure"]
    places = [next(i for i, h in enumerate(heads) if h.startswith(name)) for name in order]
    assert places == sorted(places)
    assert heads[-1] == "Caution"
