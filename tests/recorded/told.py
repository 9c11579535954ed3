"""Answers of the optimiser as figures to record: what was found, and what a search took."""

from __future__ import annotations

from typing import Any

import numpy as np
import pulp

from strategist.errors import InputError
from strategist.optimise.problem import Answer, Chain, Problem
from strategist.optimise.selections import Selections

__all__ = [
    "answer_told",
    "chain_told",
    "faults_told",
    "model_told",
    "problem_told",
    "selections_told",
    "short",
]


def faults_told(error: InputError) -> str:
    """Faults in a line, with the end of what is allowed."""
    return "; ".join(
        f"{f.line} {f.column} {f.value!r} {f.wrong or ''} ({f.allowed[-30:]})" for f in error.faults
    )


def short(values: Any) -> Any:
    """Figures with as many decimals as are compared."""
    return np.round(values, 8) + 0.0


def chain_told(chain: Chain) -> str:
    """As `3 and not 0 or 2`, masks by number."""
    words = [f"{'not ' * one.negate}{one.mask}" for one in chain.literals]
    joins = ["", *(f" {join} " for join in chain.joins)]
    return "".join(join + word for join, word in zip(joins, words, strict=False))


def answer_told(answer: Answer | None) -> Any:
    """Key and bounds; chain, cutoff, levels and counts; what a search took (a solver's numbers
    are those of its version)."""
    if answer is None:
        return None
    took = dict(answer.effort)
    effort = "" if "rows" in took else "".join(f", {n} {name}" for name, n in took.items())
    place = f"{answer.cutoff}, {answer.levels}, {answer.counts.missed} and {answer.counts.stray}"
    numbers = [*answer.key, *answer.bound, answer.guarded_bound]
    return [*short(numbers).tolist(), f"{chain_told(answer.chain)}, {place}{effort}"]


def selections_told(some: Selections, most: int = 1_000) -> Any:
    """Classes let through, chain and mask bits of each row."""
    through = some.unpack(slice(None))[:most].astype(int)
    return [
        f"{''.join(map(str, row.tolist()))} {chain_told(some.chain(n))} {some.bits[n]}"
        for n, row in enumerate(through)
    ]


def problem_told(problem: Problem) -> dict[str, Any]:
    """What may be chosen, and the rows that it is chosen by."""
    one, other = problem.profile, problem.guarded

    def row(r: int) -> str:
        role = "wanted" if one.row_wanted[r] else "stray"
        dbm = ["  ".join(f"{x:g}" for x in of.rssi[r]) for of in (one, other)]
        count = f"{one.row_count[r]} of class {one.row_class[r]}"
        return f"pass {one.row_pass[r]}, {count}, {role}: {dbm[0]} | {dbm[1]}"

    return {
        "levels": one.levels_dbm,
        "thresholds": problem.thresholds,
        "below": problem.below,
        "steps": problem.steps_by_masks,
        "slots": problem.slots,
        "outcomes": problem.outcomes,
        "silence": problem.silence,
        "passes": one.pass_count,
        "rows": [row(r) for r in range(len(one.row_pass))],
        "top fixed": problem.top_fixed,
    }


def model_told(mip: pulp.LpProblem) -> list[str]:
    """Objective and rows as text, and the variables that are not binary."""
    rows = [str(row) for row in mip.constraints.values()]
    kinds = [
        f"{one.name} {one.lowBound} {one.upBound} {one.cat}"
        for one in mip.variables()
        if (one.lowBound, one.upBound, one.cat) != (0, 1, "Integer")
    ]
    return [str(mip.objective), *rows, *kinds]
