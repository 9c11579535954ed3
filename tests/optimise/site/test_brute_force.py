"""The plan of a small site is that of brute force: shared parts, few settings, a budget."""

from __future__ import annotations

from dataclasses import replace

import pytest

from strategist.optimise.site import plan as plans
from strategist.optimise.site.asked import ReaderOf, SiteProblem
from strategist.optimise.site.master import Master
from strategist.optimise.site.plan import SitePlanner
from strategist.survey.site import SharedPart
from tests.optimise.site.made import brute_force, random_site, rounded, summed, with_no_money

SHARES: tuple[tuple[SharedPart, ...], ...] = (
    ("masks",),
    ("masks", "cutoff"),
    ("cutoff",),
    ("ladder",),
    ("masks", "cutoff", "ladder"),
)
ASKED = ((None, None), (1, None), (2, 7.0), (2, None), (None, 4.0))


def site_of(seed: int) -> SiteProblem:
    return random_site(seed, SHARES[seed % len(SHARES)])


@pytest.mark.parametrize("seed", range(50))
def test_small_sites_equal_brute_force(seed: int) -> None:
    """Each of what may be shared with each of what may be asked, twice."""
    site, (at_most, budget) = site_of(seed), ASKED[seed // len(SHARES) % len(ASKED)]
    plan, best = SitePlanner(site).plan(at_most, budget), brute_force(site).best(at_most, budget)
    assert rounded((plan.excess, plan.loss)) == best
    assert plan.proven and rounded(plan.bound) == best
    assert at_most is None or plan.settings <= at_most
    assert budget is None or plan.price <= budget + 1e-9


@pytest.mark.parametrize("seed", range(5))
def test_where_not_all_is_listed_the_bound_is_true(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Readers are proven by search, and settings are few by columns of a pool."""
    monkeypatch.setattr(plans, "_SMALL", 0)
    site = site_of(seed)
    brute, planner = brute_force(site), SitePlanner(site)
    for at_most, budget in ASKED:
        plan = planner.plan(at_most, budget)
        best = brute.best(at_most, budget)
        found, bound = rounded((plan.excess, plan.loss)), rounded(plan.bound)
        assert bound <= best <= found
        assert plan.bound <= plan.pool_bound <= (plan.excess, plan.loss)
        if at_most is None and budget is None:
            assert found == best and plan.proven


@pytest.mark.parametrize("seed", range(40, 50))
def test_between_each_for_itself_and_the_best_of_them_for_all(seed: int) -> None:
    """Sharing costs something, and never more than if all took what one of them has."""
    site = with_no_money(site_of(seed))
    plan, brute = SitePlanner(site).plan(), brute_force(site)
    own = tuple(ReaderOf(str(p), (p,)) for p in range(3))
    each = SitePlanner(replace(site, readers=own)).plan()
    assert each.proven and (each.excess, each.loss) <= (plan.excess, plan.loss)
    for one in each.points[:2]:
        if one.strategy is not None:
            made_to_agree = [
                min(brute.with_shared_parts_of(one.strategy, p), brute.silence[p]) for p in (0, 1)
            ]
            of_all = summed([*made_to_agree, each.points[2].key])
            assert rounded((plan.excess, plan.loss)) <= rounded(of_all)


@pytest.mark.parametrize("seed", range(5))
def test_a_plan_without_time_for_the_model_holds_and_is_no_silence(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where HiGHS has no time, readers are taken one after the other."""
    site = site_of(seed)
    planner, brute = SitePlanner(site), brute_force(site)
    monkeypatch.setattr(Master, "solve", lambda self, seed=0: None)
    for at_most, budget in ASKED:
        plan = planner.plan(at_most, budget)
        found = rounded((plan.excess, plan.loss))
        assert brute.best(at_most, budget) <= found <= rounded(summed(brute.silence))
        assert at_most is None or plan.settings <= at_most
        assert budget is None or plan.price <= budget + 1e-9
        if at_most is None and budget is None:
            assert found == brute.best()
