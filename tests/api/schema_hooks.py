"""Hooks for schemathesis: requests that are meant to be right name things that are there.

Random text never names a survey, so half of the right requests get one of those that the test made
(`STRATEGIST_IDS`, JSON: kind → ids); those that are meant to be wrong stay as they are.
"""

from __future__ import annotations

import json
import os
import random
from typing import Any

import schemathesis

from tests.api.given import case_document

IDS: dict[str, list[str]] = json.loads(os.environ["STRATEGIST_IDS"])
RANDOM = random.Random(1)


@schemathesis.hook
def before_call(context: Any, case: Any, kwargs: Any) -> None:
    """Make half of the right requests meaningful."""
    if case.meta is None or not case.meta.generation.mode.is_positive or RANDOM.random() < 0.5:
        return
    for name, value in (case.path_parameters or {}).items():
        case.path_parameters[name] = RANDOM.choice(IDS.get(name, [value]))
    if case.operation.path == "/v1/surveys" and case.media_type == "application/json":
        case.body = case_document()
    elif isinstance(case.body, dict) and "survey" in case.body:
        case.body |= {"survey": RANDOM.choice(IDS["survey_id"]), "read_point": "gate-1"}
        if case.body.get("strategy_id") is not None:
            case.body["strategy_id"] = RANDOM.choice(IDS["strategy_id"])
    elif isinstance(case.body, dict) and "items" in case.body:
        case.body["items"] = [{"survey": RANDOM.choice(IDS["survey_id"])}]
