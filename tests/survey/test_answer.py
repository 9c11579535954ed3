"""Answers that are declared once: keys, marks, and models that hold what is really answered."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Annotated, Any

import pytest
from pydantic import TypeAdapter, ValidationError

from strategist import (
    Strategy,
    accept,
    assess_fully,
    check,
    choose,
    compare_techniques,
    evaluate_at,
    list_masks,
    plan_acceptance,
    read_case,
    settings_of,
    trace_frontier,
    usual_what_ifs,
)
from strategist.survey.answer import Declared, Flat, Hidden, Seconds, reading, told
from tests.batch.sites import write_site


@dataclass(frozen=True)
class Inner(Declared):
    tags: int
    levels_dbm: tuple[float, ...] = ()


@dataclass(frozen=True)
class Outer(Declared):
    """An answer with every mark."""

    name: str
    counts: Flat[Inner]
    reads: Hidden[complex]
    others: tuple[Inner, ...] | None
    before: Annotated[str, "as from"]
    seconds: Seconds

    @told()
    def first(self) -> int:
        return 1

    @told(after="name")
    def length(self) -> int:
        return len(self.name)

    @told(after="reads")
    def last(self) -> bool:
        return True


MADE = Outer("dock", Inner(2, (15.0,)), 1j, (Inner(3),), "today", 1.23456)
TOLD = {
    "first": 1,
    "name": "dock",
    "length": 4,
    "tags": 2,
    "levels_dbm": [15.0],
    "last": True,
    "others": [{"tags": 3, "levels_dbm": []}],
    "from": "today",
    "seconds": 1.235,
}


def test_keys_follow_the_fields_and_the_told_properties_after_them() -> None:
    assert list(MADE.to_json().items()) == list(TOLD.items())


def test_the_description_names_each_key_and_demands_it() -> None:
    described = TypeAdapter(Outer.shape()).json_schema()
    assert list(described["properties"]) == described["required"] == list(TOLD)


def test_reading_demands_what_is_needed_and_refuses_what_is_of_another_type() -> None:
    (read,) = (TypeAdapter[Any](one) for one in reading([Outer], {Outer: "name tags"}))
    assert read.validate_json('{"name": "dock", "tags": 1, "more": 1}').name == "dock"
    for wrong in ({"name": "dock"}, TOLD | {"tags": "2"}, TOLD | {"tags": 10**40}):
        with pytest.raises(ValidationError):
            read.validate_json(json.dumps(wrong))


def test_answers_are_as_described(tmp_path: Any) -> None:
    case = read_case(write_site(tmp_path / "site", 1))
    (point,) = case.read_points
    strategy = Strategy((float(point.survey.levels_dbm[-1]),))
    answers: tuple[Declared, ...] = (
        choose(point),
        assess_fully(point),
        evaluate_at(point, strategy),
        trace_frontier(point),
        compare_techniques(point),
        usual_what_ifs(point),
        list_masks(point),
        check(case),
        settings_of(point, strategy, "gen2"),
        accept(point, strategy),
        plan_acceptance(0.05),
    )
    for answer in answers:
        TypeAdapter(answer.shape()).validate_json(json.dumps(answer.to_json(), allow_nan=False))
