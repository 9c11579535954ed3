"""The table of questions: every row is whole, and what follows from it is there."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from pydantic import TypeAdapter

import strategist
from strategist import QUESTIONS, Asked, Options, Question, Shown, Strategy
from strategist.__main__ import command_parser
from strategist.survey.answer import Declared
from tests.optimise.made import random_read_point

POINT = random_read_point(8, 1)
ASKED = Asked(
    Options(total_limit_s=60.0),
    Strategy((float(POINT.survey.levels_dbm[-1]),)),
)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda one: one.name)
def test_a_question_gives_what_its_row_says(question: Question) -> None:
    """One of its answers, as they are described, and words for it."""
    defaults = {one.key: one.default for one in question.parameters}
    asked = Asked(ASKED.options, ASKED.strategy, defaults)
    found = question.answer(POINT, asked)
    assert type(found).__name__ in question.gives
    plain = json.dumps(found.to_json(), allow_nan=False)
    TypeAdapter(found.shape()).validate_json(plain)
    assert question.words(found, POINT, Shown(detail=True)).strip()
    assert question.holds(found) in (True, False)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda one: one.name)
def test_its_answers_are_public_and_declared(question: Question) -> None:
    for name in question.gives:
        assert issubclass(getattr(strategist, name), Declared)


def test_names_are_told_apart() -> None:
    kept = [one.kept for one in QUESTIONS if one.kept is not None]
    keys: tuple[Callable[[Any], str], ...] = (
        lambda one: one.path,
        lambda one: one.kind,
        lambda one: one.prefix,
    )
    for key in keys:
        assert len({key(one) for one in kept}) == len(kept)
    assert len({one.name for one in QUESTIONS}) == len(QUESTIONS)


def test_each_has_its_command_with_its_options() -> None:
    parser = command_parser()
    for question in QUESTIONS:
        strategy = ["--strategy", "f.json"] if question.takes_strategy else []
        arguments = parser.parse_args([question.name, "case", *strategy])
        for one in question.parameters:
            assert getattr(arguments, one.key) in (one.default, [])
