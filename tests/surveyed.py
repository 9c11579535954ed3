"""For tests about the survey itself (figures worked by hand, brute force, a proof of the survey):
policies, read points and cases with the aim "survey" written, which is not the default."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from functools import partial
from pathlib import Path

from strategist.survey.policy import Policy
from strategist.survey.records import ReadPoint

__all__ = ["as_surveyed", "surveyed_case", "surveyed_policy"]

surveyed_policy = partial(Policy, aim="survey")


def as_surveyed(point: ReadPoint) -> ReadPoint:
    """The read point with that aim."""
    return replace(point, policy=replace(point.policy, aim="survey"))


def surveyed_case(source: Path, folder: Path) -> Path:
    """A copy of a case with that aim at each of its read points."""
    shutil.copytree(source, folder)
    site = json.loads((folder / "site.json").read_text(encoding="utf-8"))
    for policy in site["read_points"].values():
        policy["aim"] = "survey"
    (folder / "site.json").write_text(json.dumps(site), encoding="utf-8")
    return folder
