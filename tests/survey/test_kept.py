"""What is worked out of a survey is worked out once, kept apart for each, and let go with it."""

from __future__ import annotations

import gc
import weakref
from dataclasses import replace

import numpy as np
import pytest

from strategist.survey.kept import kept
from strategist.survey.profile import peaks
from strategist.survey.records import Survey
from tests.optimise.made import random_read_point


def test_asked_again_it_is_not_worked_out_again() -> None:
    calls: list[int] = []

    @kept
    def tags(survey: Survey, more: int = 0) -> int:
        calls.append(more)
        return len(survey.tags) + more

    survey = random_read_point(0).survey
    assert [tags(survey, 1), tags(survey, 1), tags(survey, 2), tags(survey, 1)] == [7, 7, 8, 7]
    assert calls == [1, 2, 1], "the last value alone is kept"
    assert tags(replace(survey), 1) == 7 and calls[-1] == 1 and len(calls) == 4


def test_it_goes_with_its_survey() -> None:
    survey = random_read_point(0).survey
    found = weakref.ref(peaks(survey))
    assert found() is peaks(survey)
    del survey
    gc.collect()
    assert found() is None


def test_what_is_kept_cannot_be_changed() -> None:
    with pytest.raises(ValueError, match="read-only"):
        peaks(random_read_point(0).survey)[:] = np.nan
