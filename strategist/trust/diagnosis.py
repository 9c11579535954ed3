"""What is weak or telling in a survey, as findings that a planner can act upon."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from strategist.radio.findings import radio_findings
from strategist.survey.antennas import antenna_findings
from strategist.survey.findings import Finding, Found, Told, findings, power_findings, rssi_findings
from strategist.survey.kept import kept
from strategist.survey.order import figure
from strategist.survey.policy import Policy
from strategist.survey.profile import turn_on
from strategist.survey.records import Bools, ReadPoint, Survey
from strategist.survey.soundness import soundness
from strategist.tags.telling import data_findings
from strategist.trust.acceptance import plan_acceptance
from strategist.trust.dependence import Dependence, dependence_findings, dependence_of

if TYPE_CHECKING:
    from strategist.optimise.strategy import Strategy

_NO_CUTOFF = ("rssi_inverted", "rssi_overlaps")  # kinds that advise against a cutoff
_RATE_LEAST = 1e-6  # a limit of 0 cannot be shown by any number of passes


def diagnose(
    read_point: ReadPoint,
    strategy: Strategy | None = None,
    dependence: Dependence | None = None,
) -> tuple[Finding, ...]:
    """The findings on a read point, and on the strategy chosen for it: those that weaken it first.

    Each gives a figure and a sentence of advice. `dependence` is that of the strategy's outcome
    (None: the links of the survey alone tell whether neighbouring passes are alike).
    """
    survey, policy = read_point.survey, read_point.policy
    tried = _tried(survey)
    sound, of_power, of_rssi = _whatever_the_policy(survey)
    checks: list[Iterable[Told]] = [
        sound,
        _passes_for(survey, policy),
        data_findings(survey, policy),
        of_power,
        of_rssi,
        antenna_findings(survey, policy),
        radio_findings(tried, policy, turn_on(tried)),
        dependence_findings(dependence or dependence_of(survey)),
    ]
    if strategy is not None:
        checks.append(_edge(tried, strategy))
    return findings(survey.read_point, checks)


def _tried(survey: Survey) -> Survey:
    """The survey at the levels that were tried in some pass, where there are any."""
    reached: Bools = np.logical_or.reduce(survey.tried, axis=0)
    return survey.keep(levels=reached) if reached.any() else survey


@kept
def _whatever_the_policy(survey: Survey) -> tuple[tuple[Told, ...], ...]:
    """What soundness, power and RSSI tell: the same for every policy and strategy."""
    tried = _tried(survey)
    on = turn_on(tried)
    return (
        tuple(soundness(survey)),
        tuple(power_findings(tried, on)),
        tuple(rssi_findings(tried, on)),
    )


def against(found: Sequence[Finding], strategy: Strategy) -> tuple[str, ...]:
    """What a strategy does against the advice of findings, as sentences: warnings of the answer."""
    if strategy.cutoff_dbm is None:
        return ()
    return tuple(
        f"{one.advice} This strategy has one: see what dropping it costs (trade-offs)."
        for one in found
        if one.kind in _NO_CUTOFF
    )


def _passes_for(survey: Survey, policy: Policy) -> Found:
    """Too few passes for the rates asked for, even if nothing had gone wrong in any."""
    passes = len(survey.pass_ids)
    for what, limit in (
        ("missed tags", policy.limits.missed_rate_max),
        ("stray tags", policy.limits.stray_rate_max),
    ):
        if limit is None or not limit < 1:
            continue
        if limit < _RATE_LEAST:
            text = f"The limit on {what} is 0: no number of passes shows that."
            yield (
                "note",
                "limit_zero",
                text,
                "Say how rare is rare enough, then plan for that rate.",
            )
            continue
        needed = plan_acceptance(limit).passes
        if passes < needed:
            text = (
                f"Too few passes for the limit on {what} of {100 * limit:g} %: {passes}, and "
                f"{needed} without a failure are needed to show it (95 % confidence)."
            )
            one = plan_acceptance(limit, allowed_failures=1).passes
            advice = (
                f"Survey {needed - passes} more passes as loads come, over several days; if one of "
                f"the {needed} fails, {one} in all are needed, and if more do, change the read "
                "point first. Or run the acceptance after installation with as many passes."
            )
            yield "weak", "few_passes_for_limit", text, advice


def _edge(survey: Survey, strategy: Strategy) -> Found:
    """The best step lies at an end of what was surveyed: a better one may lie beyond."""
    levels = survey.levels_dbm
    if len(levels) < 2:
        return
    if strategy.levels_dbm[-1] == levels[-1]:
        text = f"The top step, {figure(levels[-1])} dBm, is the highest level surveyed."
        advice = "Survey higher levels where that is lawful: a better top step may lie there."
        yield "note", "edge_high", text, advice
    if strategy.levels_dbm[0] == levels[0]:
        text = f"The lowest step, {figure(levels[0])} dBm, is the lowest level surveyed."
        advice = "Survey lower levels: a better first step may lie there."
        yield "note", "edge_low", text, advice
