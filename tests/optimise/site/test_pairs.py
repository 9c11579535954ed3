"""Two read points that hear the same tags: the rule, its threshold and the strategies under it are
those of brute force."""

from __future__ import annotations

from dataclasses import replace

import pytest

from strategist.optimise.site import plan as plans
from strategist.optimise.site.asked import Alternative, Pair, SiteProblem
from strategist.optimise.site.contested import Contest
from strategist.optimise.site.master import Master
from strategist.optimise.site.member import members_of
from strategist.optimise.site.plan import SitePlanner
from strategist.optimise.strategy import Strategy
from strategist.survey.policy import Loss
from strategist.survey.records import Floats, Survey
from strategist.survey.site import SharedPart
from tests.optimise.made import survey_of
from tests.optimise.site.made import rounded
from tests.optimise.site.made_pairs import Brute, random_pair
from tests.surveyed import surveyed_policy

SHARES: tuple[tuple[SharedPart, ...], ...] = (
    (),
    ("masks", "cutoff"),
    ("ladder",),
    ("masks",),
    ("masks", "cutoff", "ladder"),
)
ASKED = ((None, None), (1, None), (None, 5.0), (None, 4.0))


def pair_of(seed: int) -> SiteProblem:
    return random_pair(seed, SHARES[seed % len(SHARES)], facing=seed % 3 == 2)


@pytest.mark.parametrize("seed", range(30))
def test_a_rule_and_its_strategies_equal_brute_force(seed: int) -> None:
    site, (at_most, budget) = pair_of(seed), ASKED[seed % len(ASKED)]
    planner, brute = SitePlanner(site), Brute(site)
    plan = planner.plan(at_most, budget)
    best = brute.best(at_most, budget)
    assert rounded((plan.excess, plan.loss)) == best
    assert plan.proven and rounded(plan.bound) == best
    without = planner.plan(at_most, budget, rules=False)
    assert rounded((without.excess, without.loss)) == brute.best(at_most, budget, rules=False)
    assert (plan.excess, plan.loss) <= (without.excess, without.loss)
    assert budget is None or plan.price <= budget + 1e-9


@pytest.mark.parametrize("seed", range(6))
def test_where_not_all_is_listed_the_bound_is_true(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By columns of the search, with and without what a rule may discard."""
    monkeypatch.setattr(plans, "_SMALL", 0)
    site = pair_of(seed)
    plan, best = SitePlanner(site).plan(), Brute(site).best()
    without = SitePlanner(site).plan(rules=False)
    assert rounded(plan.bound) <= best <= rounded((plan.excess, plan.loss))
    assert (plan.excess, plan.loss) <= (without.excess, without.loss)


@pytest.mark.parametrize("seed", range(8))
def test_what_a_rule_may_discard_stops_ladders_and_costs_nothing(seed: int) -> None:
    """The search with strays that are free finds what brute force does, which no rule betters."""
    site = pair_of(seed)
    brute, contest = Brute(site), SitePlanner(site).arbiter.contests[0]
    given = [some[0] for some in site.points]
    for side, member in enumerate(members_of(given)[1]):
        one, below = given[side], contest.free_below(side)
        found = member.freed(replace(one, free_below=below)).alone
        free = _named(one.survey, below)
        best = min(
            brute.key(side, {key for key, rssi in done.heard.items() if rssi >= free[key]})
            for done in brute.done[side]
        )
        assert rounded(found[0].key[:2]) == rounded(best) == rounded(found[1])


def _named(survey: Survey, below: Floats) -> dict[tuple[str, str], float]:
    """By pass and EPC of a roster entry."""
    return {
        (survey.pass_ids[survey.roster_pass[e]], survey.tags[survey.roster_tag[e]].epc): dbm
        for e, dbm in enumerate(below.tolist())
    }


def test_without_time_for_the_model_rules_are_put_on_top(monkeypatch: pytest.MonkeyPatch) -> None:
    better = 0
    monkeypatch.setattr(Master, "solve", lambda self, seed=0: None)
    for seed in range(6):
        planner, brute = SitePlanner(pair_of(seed)), Brute(pair_of(seed))
        plan, without = planner.plan(), planner.plan(rules=False)
        assert brute.best() <= rounded((plan.excess, plan.loss))
        assert (plan.excess, plan.loss) <= (without.excess, without.loss)
        better += (plan.excess, plan.loss) < (without.excess, without.loss)
    assert better


def test_of_thresholds_that_lose_as_little_it_takes_the_one_with_most_room() -> None:
    """A stray 20 dB weaker than at the other read point, a wanted tag 18 dB, a stray 4 dB: to
    discard the first alone, (18, 20] dB, loses a stray; to discard all, (0, 4] dB, a wanted tag."""
    tags = (("3001", False, 20), ("3002", True, 18), ("3003", False, 4))
    passes = (
        [(epc, not wanted, [-40.0]) for epc, wanted, _ in tags],
        [(epc, wanted, [-40.0 - db]) for epc, wanted, db in tags],
    )
    policy = surveyed_policy(loss=Loss(1.0, 1.0))
    given = [Alternative(None, survey_of([20.0], [one]), policy) for one in passes]
    contest = Contest.of(Pair("doors", (0, 1), None, 0.0), given)
    first, second = (side.reports(Strategy((20.0,))) for side in contest.sides)
    assert first is not None and second is not None
    rule = contest.best(first, second)
    assert rule is not None
    assert (rule.low, rule.threshold_db, rule.high) == (0.0, 2.0, 4.0)
    assert (rule.discarded_stray, rule.discarded_wanted) == ((0, 2), (0, 1))
