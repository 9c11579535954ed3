"""Read points that must agree, stopped at any place."""

from __future__ import annotations

import pytest

from strategist.optimise.site.agreed import agree
from strategist.optimise.site.member import members_of
from tests.optimise.counted import counted_clock
from tests.optimise.site.made import random_site


@pytest.mark.parametrize("seed", range(2))
def test_a_stop_at_any_place_leaves_a_true_bound_and_soon_no_silence(seed: int) -> None:
    site = random_site(seed, ("masks", "cutoff"))
    given = [some[0] for some in site.points[:2]]
    joint, members = members_of(given)
    whole = agree(joint, members, ("masks", "cutoff"), counted_clock(10**6))
    silence = sum(one.silence[0] for one in given), sum(one.silence[1] for one in given)
    better = []
    for looks in range(0, 120, 6):
        joint, members = members_of(given)
        found = agree(joint, members, ("masks", "cutoff"), counted_clock(looks))
        assert found.bound <= whole.best.key <= found.best.key <= silence
        better.append(found.best.key < silence)
    assert whole.proven and better == sorted(better)
    assert better[-1] == (whole.best.key < silence)
