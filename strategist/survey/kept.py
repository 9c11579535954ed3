"""What is worked out of a survey, kept as long as the survey lives.

A survey is never changed, and an answer with its what-ifs, its judgement and its diagnosis asks the
same of it again and again; with thousands of passes each time takes a good part of a second.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, Concatenate, ParamSpec, TypeVar
from weakref import WeakKeyDictionary

from strategist.survey.records import Survey

__all__ = ["kept"]

P = ParamSpec("P")
R = TypeVar("R")
_FOUND: WeakKeyDictionary[Survey, dict[Any, tuple[Any, Any]]] = WeakKeyDictionary()


def kept(function: Callable[Concatenate[Survey, P], R]) -> Callable[Concatenate[Survey, P], R]:
    """A function of a survey that gives its last value for it again where it is asked the same.

    The other arguments are compared by `==`. Values are not to be changed, and do not hold the
    survey, which would then never be let go of.
    """

    @functools.wraps(function)
    def found(survey: Survey, /, *args: P.args, **kwargs: P.kwargs) -> R:
        of_survey, asked = _FOUND.setdefault(survey, {}), (args, kwargs)
        if function not in of_survey or of_survey[function][0] != asked:
            of_survey[function] = (asked, function(survey, *args, **kwargs))
        value: R = of_survey[function][1]
        return value

    return found
