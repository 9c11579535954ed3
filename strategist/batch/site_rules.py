"""The rules of a plan in words that whoever programs the host can follow."""

from __future__ import annotations

from collections.abc import Mapping

from strategist.batch.site_answer import HostRule
from strategist.batch.site_posed import Posed
from strategist.optimise.site.asked import Pair, Plan, Rule, SiteProblem
from strategist.survey.order import figure
from strategist.survey.records import Survey
from strategist.trust.arbitration import Discarded

__all__ = ["rule_in_words", "why_none"]


def rule_in_words(posed: Posed, plan: Plan, number: int, gone: Mapping[int, Discarded]) -> HostRule:
    """The rule of a pair in a plan, or that there is none; what it discards at each read point in
    the passes surveyed is `gone`."""
    problem = posed.problem
    pair, rule = problem.pairs[number], plan.rules[number]
    names = (problem.names[pair.points[0]], problem.names[pair.points[1]])
    discards = [gone.get(p, Discarded()) for p in pair.points]
    without = loss = round(sum(plan.points[p].loss for p in pair.points), 6)
    if rule is not None:
        for p, wanted, stray in zip(
            pair.points, rule.discarded_wanted, rule.discarded_stray, strict=True
        ):
            one = problem.points[p][0]
            weights = one.policy.loss
            without += one.scale * (weights.stray * stray - weights.missed * wanted)
    surveyed = [posed.surveyed[p][0] for p in pair.points]
    return HostRule(
        name=pair.name,
        read_points=names,
        keep="stronger" if pair.facing is None else "facing",
        facing=None if pair.facing is None else problem.names[pair.facing],
        in_force=rule is not None,
        threshold_db=None if rule is None else rule.threshold_db,
        threshold_from_db=None if rule is None or rule.threshold_db is None else rule.low,
        threshold_to_db=None if rule is None else rule.high,
        contested=len(_heard(surveyed[0]) & _heard(surveyed[1])),
        discarded_stray=sum(one.stray for one in discards),
        discarded_wanted=sum(one.wanted for one in discards),
        loss=loss,
        loss_without=round(without, 6),
        price=0.0 if rule is None else pair.price,
        rule=_words(problem, pair, rule),
    )


def _heard(survey: Survey) -> set[tuple[str, str]]:
    """The tags read in each pass, by pass id and EPC."""
    pairs = zip(survey.read_pass.tolist(), survey.read_tag.tolist(), strict=True)
    return {(survey.pass_ids[p], survey.tags[t].epc) for p, t in pairs}


def _words(problem: SiteProblem, pair: Pair, rule: Rule | None) -> str:
    first, second = (problem.names[p] for p in pair.points)
    if rule is None:
        return "None: with these settings no rule loses less than to keep every report."
    when = (
        f"Hold the reports of a pass until it is over at {first} and at {second}. Where both "
        "report the same EPC in it, take the highest PeakRSSI of its reports at each"
    )
    if pair.facing is None:
        assert rule.threshold_db is not None
        return (
            f"{when}. Where the two differ by {figure(rule.threshold_db)} dB or more, discard the "
            "reports of the read point with the lower one; otherwise keep both."
        )
    keeps = problem.names[pair.facing]
    other = second if keeps == first else first
    if rule.threshold_db is None:
        return (
            f"Hold the reports of a pass until it is over at {first} and at {second}. Where both "
            f"report the same EPC in it, discard the reports of {other}, whatever their RSSI."
        )
    return (
        f"{when}. Where that of {keeps} less that of {other} is {figure(rule.threshold_db)} dB or "
        f"more, discard the reports of {other}; otherwise keep both."
    )


def why_none(posed: Posed, pair: Pair, plan: Plan) -> str | None:
    """Why a rule that was asked for could not be judged; None: it was."""
    problem = posed.problem
    first, second = (problem.names[p] for p in pair.points)
    surveyed = [posed.surveyed[p][0] for p in pair.points]
    if not set(surveyed[0].pass_ids) & set(surveyed[1].pass_ids):
        return (
            f"{pair.name}: no rule can be judged, since {first} and {second} have no pass in "
            "common. Survey both in the same passes, and give each pass one pass_id at both."
        )
    if not _heard(surveyed[0]) & _heard(surveyed[1]):
        return (
            f"{pair.name}: no tag was heard at {first} and at {second} in the same pass, so there "
            "is nothing to discard."
        )
    optional = [problem.names[p] for p in pair.points if plan.points[p].alternative]
    if optional:
        return (
            f"{pair.name}: no rule is judged with what is bought for {optional[0]}, which was "
            "surveyed in other passes than the other read point."
        )
    for p in pair.points:
        strategy = plan.points[p].strategy
        if strategy is not None and (strategy.score is not None or strategy.step_s is not None):
            return (
                f"{pair.name}: no rule is judged with the strategy of {problem.names[p]}, which "
                "chooses among antennas or dwells. To have one, leave antennas out of its allow "
                "and give it one step_s."
            )
    return None
