"""Hooks for schemathesis: requests that are meant to be right name things that are there.

Random text never names a survey, so most of the right requests get one of those that the test made
(`STRATEGIST_IDS`, JSON: kind → ids); those that are meant to be wrong stay as they are. So do paths
of requests that follow from the answer to another one: they name what that one made or deleted.
"""

from __future__ import annotations

import json
import os
import random
from typing import Any

import schemathesis
from schemathesis.generation.meta import TestPhase

from tests.api.given import STRATEGY, case_document

IDS: dict[str, list[str]] = json.loads(os.environ["STRATEGIST_IDS"])
RANDOM = random.Random(1)


@schemathesis.hook
def before_call(context: Any, case: Any, kwargs: Any) -> None:
    """Make most of the right requests meaningful."""
    if case.meta is None or not case.meta.generation.mode.is_positive or RANDOM.random() < 0.2:
        return
    if case.meta.phase.name is not TestPhase.STATEFUL:
        name_path(case)
    if case.operation.path == "/v1/surveys":
        case.body = case_document() if case.media_type == "application/json" else case.body
    elif case.operation.path == "/v1/surveys/{survey_id}/masks":
        case.query = {"read_point": "gate-1"}
    elif case.operation.path == "/v1/lawful":
        case.query = {"region": "etsi-865-868", "antenna_gain_dbi": 8.5, "polarisation": "circular"}
    elif isinstance(case.body, dict):
        case.body |= named(case.operation.path)
        if isinstance(options := case.body.get("options"), dict) and "time_limit_s" in options:
            options["time_limit_s"] = 30  # the most that a client may wait, for loaded machines


def name_path(case: Any) -> None:
    """Only the last of each kind is ever deleted, so that the others stay to be named."""
    for name, value in (case.path_parameters or {}).items():
        known = IDS.get(name, [value])
        case.path_parameters[name] = known[-1] if case.method == "DELETE" else one_of(known)


def one_of(known: list[str]) -> str:
    return RANDOM.choice(known[:-1] or known)


def named(path: str) -> dict[str, Any]:
    """The part of a body that names things that are there."""
    at = {"survey": one_of(IDS["survey_id"]), "read_point": "gate-1"}
    stored = {"strategy": None, "strategy_id": one_of(IDS["strategy_id"])}
    given = {"strategy": STRATEGY, "strategy_id": None}
    view = RANDOM.choice(["counts", "techniques", "changes", None])
    nothing = {"view": view, "set": {}, "added_cable_loss_db": 0}
    changes = RANDOM.choice([{}, {"view": None, "set": {"reader.mask_slots": 1}}])
    entries = [{"name": "stored"} | stored, {"name": "weights", "loss": {"missed": 9}}]
    return {
        "/v1/strategies": at,
        "/v1/assessments": at,
        "/v1/trade-offs": at | nothing | changes,
        "/v1/acceptances": at | given | {"against": one_of(IDS["survey_id"])},
        "/v1/templates": {"batch": one_of(IDS["batch_id"])},
        "/v1/plans": at,
        "/v1/first-plans": {"read_point": "gate-1"},
        "/v1/site-plans": {"survey": at["survey"], "option_surveys": {}, "at_most": 1},
        "/v1/cross-reads": {"batch": one_of(IDS["batch_id"])},
        "/v1/comparisons": at | {"entries": entries},
        "/v1/settings": at | given | {"format": "gen2", "power_table": None},
        "/v1/batches": {"items": [{"survey": at["survey"]}]},
    }[path]
