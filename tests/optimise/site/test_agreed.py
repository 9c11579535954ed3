"""Read points that must agree, stopped at any place."""

from __future__ import annotations

import pytest

from strategist.optimise.clock import Clock
from strategist.optimise.site.agreed import _Agreement, agree
from strategist.optimise.site.member import members_of
from strategist.optimise.site.plan import SitePlanner
from strategist.optimise.site.reader import Solved
from strategist.survey.site import SharedPart
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
    for looks in range(0, 600, 30):
        joint, members = members_of(given)
        found = agree(joint, members, ("masks", "cutoff"), counted_clock(looks))
        assert found.bound <= whole.best.key <= found.best.key <= silence
        better.append(found.best.key < silence)
    assert whole.proven and better == sorted(better)
    assert better[-1] == (whole.best.key < silence)


@pytest.mark.parametrize("shares", [("masks", "cutoff"), ("masks", "cutoff", "ladder")])
def test_stopped_once_values_are_listed_it_still_answers(
    shares: tuple[SharedPart, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What each member would choose alone is looked at for all, which takes no search."""
    listed = _Agreement._list

    def and_no_more(self: _Agreement) -> None:
        listed(self)
        self.clock = Clock(0.0)
        for member in self.members:
            member.clock = self.clock

    monkeypatch.setattr(_Agreement, "_list", and_no_more)
    given = [some[0] for some in random_site(0, shares).points[:2]]
    silence = sum(one.silence[0] for one in given), sum(one.silence[1] for one in given)
    found = agree(*members_of(given), shares, Clock())
    assert found.best.key < silence and not found.proven


def test_two_solves_of_a_reader_come_to_the_better_of_each() -> None:
    one = Solved((0,), (0.0, 3.0), (0.0, 2.0), (0.0, 9.0), (0.0, 20.0), (), proven=False)
    other = Solved((0,), (0.0, 4.0), (0.0, 1.0), (0.0, 8.0), (0.0, 20.0), (), proven=True)
    for both in (one.and_so(other), other.and_so(one)):
        assert (both.bound, both.alone, both.best) == ((0.0, 4.0), (0.0, 2.0), (0.0, 8.0))
    assert one.and_so(other).proven and not other.and_so(one).proven


def test_a_plan_without_any_time_ends() -> None:
    """No reader is begun again where there is no more time than before."""
    site = random_site(0, ("masks",))
    plan = SitePlanner(site, Clock(0.0)).plan()
    silence = sum(some[0].silence[1] for some in site.points)
    assert plan.bound == (0.0, 0.0) and plan.loss <= silence and not plan.proven
