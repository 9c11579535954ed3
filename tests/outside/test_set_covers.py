"""Mask chains as set covers whose optimum is published.

Each element of a problem is a wanted tag, twice over; two bytes of its EPC say for each set whether
it holds the element. One stray tag is in no set, and no stray may be reported. A chain is a rule
over its k masks that must reject what none of them holds, so whatever it accepts is in one of k
sets, however its masks are negated and joined: it misses no fewer tags than the best k sets leave.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence, Set

import pytest

from strategist.answers.assessment import choose
from strategist.answers.solution import Options
from strategist.survey.policy import Limits, Loss, Reader
from strategist.survey.records import ReadPoint
from tests.outside.laid_out import one_pass
from tests.surveyed import surveyed_policy

Sets = Sequence[Set[int]]
FANO = [{at % 7, (at + 1) % 7, (at + 3) % 7} for at in range(7)]
# The twelve lines of the affine plane of order three: points 3 x + y.
LINES_9 = [
    *({3 * x + (slope * x + at) % 3 for x in range(3)} for slope in range(3) for at in range(3)),
    *({3 * x + y for y in range(3)} for x in range(3)),
]


def hit_by(lines: Sequence[Set[int]], points: int) -> Sets:
    """For each point the lines that it lies on: to cover these is to hit every line."""
    return [{n for n, line in enumerate(lines) if point in line} for point in range(points)]


def queens(size: int) -> Sets:
    """For each square those that a queen there attacks, and its own."""
    squares = list(itertools.product(range(size), repeat=2))
    return [
        {n for n, (r, c) in enumerate(squares) if r == x or c == y or abs(r - x) == abs(c - y)}
        for x, y in squares
    ]


def blocks(points: int, size: int, inside: int) -> Sets:
    """For each block of so many points the parts of it that are to be covered."""
    parts = [frozenset(part) for part in itertools.combinations(range(points), inside)]
    return [
        {n for n, part in enumerate(parts) if part <= set(block)}
        for block in itertools.combinations(range(points), size)
    ]


def cover(sets: Sets, slots: int) -> ReadPoint:
    elements = sorted(set().union(*sets))
    holds = ["".join(f"{n in one:04X}" for one in sets) for n in elements for _ in range(2)]
    epcs = [f"AB00{bits}{n:02X}" for n, bits in enumerate([*holds, "0000" * len(sets)])]
    policy = surveyed_policy(
        loss=Loss(1, 1),
        allow=("power", "masks"),
        reader=Reader(mask_slots=slots, mask_step_bits=16, mask_bits_max=16),
        limits=Limits(stray_rate_max=0),
    )
    return one_pass(epcs, [True] * len(holds) + [False], [-60.0] * len(epcs), policy)


COVERS = [
    ("points on lines of the Fano plane", FANO, 3),  # Fulkerson et al. 1974 (M), V: HiGHS
    ("Steiner triples A9", hit_by(LINES_9, 9), 5),  # the same
    ("queens on 4 x 4", queens(4), 2),  # OEIS A075458 (M), V: HiGHS
    ("queens on 5 x 5", queens(5), 3),
    ("covering design (5, 3, 2)", blocks(5, 3, 2), 4),  # La Jolla repository (M), V: HiGHS
]


@pytest.mark.parametrize(("sets", "least"), [row[1:] for row in COVERS], ids=[r[0] for r in COVERS])
def test_as_many_masks_as_the_published_cover_has_sets(sets: Sets, least: int) -> None:
    """With as many masks nothing is missed; with one fewer, what the best sets leave."""
    whole = choose(cover(sets, least), Options(unseen=False))
    assert (whole.status, whole.loss, len(whole.strategy.masks)) == ("optimal", 0, least)
    fewer = choose(cover(sets, least - 1), Options(unseen=False))
    elements = set().union(*sets)
    left = min(
        len(elements - set().union(*some)) for some in itertools.combinations(sets, least - 1)
    )
    assert fewer.status == "optimal"
    assert fewer.loss == 2 * left > 0
