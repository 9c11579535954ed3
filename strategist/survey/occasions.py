"""What passes.csv says of each pass: the condition it was presented in, its day, how often it
happens; and the conditions that a read point has."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from strategist.survey.faults import FaultList
from strategist.survey.order import natural
from strategist.survey.records import Floats, Ints, Survey
from strategist.survey.rows import Axes, PointRows, Rows

__all__ = ["Conditions", "conditions_of", "said_of_passes", "whole_weights"]

NOT_NAMED = "not named"  # the condition of passes that are given none
PARTS = 1000  # weights are counted in so many parts of the largest, where they are no whole numbers


def said_of_passes(point: PointRows, axes: Axes, faults: FaultList) -> dict[str, Any]:
    """The columns of passes of a survey; nothing where there is no passes.csv."""
    rows = point.passes
    if rows is None or not len(rows):
        return {}
    of_pass = axes.pass_of(rows)
    _refuse_twice(rows, of_pass, faults)
    found: dict[str, Any] = {}
    for column, name in (("condition", "pass_condition"), ("day", "pass_day")):
        if column in rows.texts:
            texts = [""] * len(axes.passes)
            for row, number in enumerate(of_pass.tolist()):
                texts[number] = rows.texts[column][row]
            found[name] = tuple(texts)
    if "weight" in rows.numbers:
        weight = np.ones(len(axes.passes))
        given = np.isfinite(rows.numbers["weight"])
        weight[of_pass[given]] = rows.numbers["weight"][given]
        found["pass_weight"] = weight
    return found


def _refuse_twice(rows: Rows, of_pass: Ints, faults: FaultList) -> None:
    _, first, which = np.unique(of_pass, return_index=True, return_inverse=True)
    again = np.flatnonzero(first[which] != np.arange(len(rows)))
    faults.add_rows(
        rows.source,
        "pass_id",
        rows.lines[again],
        lambda i: rows.texts["pass_id"][again[i]],
        lambda _: "Name each pass once.",
        wrong=lambda i: (
            f"{rows.texts['pass_id'][again[i]]} is named already, in line "
            f"{rows.lines[first[which[again[i]]]]}"
        ),
    )


@dataclass(frozen=True, eq=False)
class Conditions:
    """The conditions of a read point by name, in natural order; one where none are named.

    Pass p is of condition `of_pass[p]` and counts `times[p]` times, by its weight; `share[c]` is
    the share of condition c of all passes, so counted.
    """

    names: tuple[str, ...]
    of_pass: Ints
    times: Ints
    share: Floats


def conditions_of(survey: Survey) -> Conditions:
    """By condition where one is named, else by day where one is."""
    named = next((c for c in (survey.pass_condition, survey.pass_day) if any(c)), ())
    labels = [name or NOT_NAMED for name in named] or [NOT_NAMED] * len(survey.pass_ids)
    names = tuple(sorted(set(labels), key=natural))
    of_pass = np.array([names.index(label) for label in labels], np.int64)
    times = whole_weights(survey)
    counted = np.bincount(of_pass, times, len(names))
    return Conditions(names, of_pass, times, counted / counted.sum())


def whole_weights(survey: Survey) -> Ints:
    """Weights of the passes as whole numbers in their proportion, without a common divisor.

    Those that are no whole numbers are counted to a thousandth of the largest, and at least one.
    """
    weight = survey.pass_weight
    if weight is None:
        return np.ones(len(survey.pass_ids), np.int64)
    if np.any(weight != np.round(weight)) or weight.max() > PARTS:
        weight = np.maximum(np.round(weight / weight.max() * PARTS), 1.0)
    whole = weight.astype(np.int64)
    found: Ints = whole // np.gcd.reduce(whole)
    return found
