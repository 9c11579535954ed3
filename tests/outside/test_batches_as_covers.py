"""Batches to measure as set covers whose optimum is published: the least number of passes, each of
which is a set, so that every contender, which is an element, is settled by one that holds it."""

from __future__ import annotations

import numpy as np
import pytest

from strategist.optimise.clock import Clock
from strategist.optimise.next_pairs import Cost, pairs_to_measure
from tests.outside.test_set_covers import LINES_9, Sets, blocks, hit_by, queens


def three_times(lines: Sets, points: int) -> Sets:
    """Of a Steiner triple system one of three times as many points: triples of it whose copies sum
    to a multiple of three, and the three copies of each point."""
    copies = [(i, j, -(i + j) % 3) for i in range(3) for j in range(3)]
    crossed = [
        {point + points * copy for point, copy in zip(sorted(line), some, strict=True)}
        for line in lines
        for some in copies
    ]
    return crossed + [{x, x + points, x + 2 * points} for x in range(points)]


A27 = hit_by(three_times(LINES_9, 9), 27)
COVERS = [
    ("Steiner triples A27", A27, 18),  # Fulkerson, Nemhauser and Trotter 1974 (M), V: HiGHS
    ("queens on 6 x 6", queens(6), 3),  # OEIS A075458 (M), V: HiGHS
    ("covering design (6, 3, 2)", blocks(6, 3, 2), 6),  # La Jolla repository (M), V: HiGHS
    ("covering design (7, 3, 2)", blocks(7, 3, 2), 7),
    ("covering design (8, 3, 2)", blocks(8, 3, 2), 11),
    ("covering design (7, 4, 3)", blocks(7, 4, 3), 12),
]


@pytest.mark.parametrize(("sets", "least"), [row[1:] for row in COVERS], ids=[r[0] for r in COVERS])
def test_as_many_passes_as_the_published_cover_has_sets(sets: Sets, least: int) -> None:
    elements = sorted(set().union(*sets))
    holds = np.array([[n in one for one in sets] for n in elements], float)
    share = 1 / holds.sum(axis=1).max()  # of what is in doubt: any of its sets is enough
    batch = pairs_to_measure(holds, holds[:, :, None].copy(), Cost(1.0, 0.0), share, Clock())
    assert batch.sum() == least
    assert holds[:, batch[:, 0]].any(axis=1).all()
