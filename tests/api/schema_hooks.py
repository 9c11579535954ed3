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
    if case.operation.path == "/v1/surveys":
        case.body = case_document() if case.media_type == "application/json" else case.body
    elif isinstance(case.body, dict):
        case.body |= named(case.operation.path)


def named(path: str) -> dict[str, Any]:
    """The part of a body that names things that are there."""
    at = {"survey": RANDOM.choice(IDS["survey_id"]), "read_point": "gate-1"}
    stored = {"strategy": None, "strategy_id": RANDOM.choice(IDS["strategy_id"])}
    entries = [{"name": "stored"} | stored, {"name": "weights", "loss": {"missed": 9}}]
    return {
        "/v1/strategies": at,
        "/v1/evaluations": at | stored,
        "/v1/comparisons": at | {"entries": entries},
        "/v1/settings": at | stored | {"form": "gen2", "power_table": None},
        "/v1/batches": {"items": [{"survey": at["survey"]}]},
    }[path]
