"""A plan of measurements: in words, and as a run sheet to print and fill in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from strategist.answers.run_sheet import LimitsKept, Regret, SurveyPlan
from strategist.report.brief import in_words
from strategist.report.lines import heading, labelled, paragraph
from strategist.report.page import report_style, style_policy
from strategist.report.text import caution_lines, what_to_set
from strategist.survey.order import figure

_SHEETS = Path(__file__).parent / "sheets"
_ROWS = 20  # of the run sheet that are listed
_HEADS = {
    "first": "a first look at few levels",
    "next": "measure more",
    "enough": "enough is measured",
    "open": "time ended before it was known what to measure",
}


def survey_plan_text(plan: SurveyPlan) -> str:
    """What to measure and why, in 80 columns."""
    share = f"{100 * plan.measured / plan.pairs:.0f} %"
    measured = f"Measured: {plan.measured} of {plan.pairs} pairs of pass and level ({share})."
    lines = [*heading(plan.read_point, _HEADS[plan.stage]), *paragraph(measured)]
    enough = plan.stage == "enough"
    if plan.strategy is not None and not enough:
        lines += labelled("in hand", in_words(plan.strategy))
    if plan.regret is not None:
        lines += paragraph(_regret(plan.regret, plan.within))
    if plan.limits is not None:
        lines += paragraph(_limits(plan.limits))
    if plan.contenders:
        draws = sum(one.draws for one in plan.contenders)
        lines += paragraph(
            f"Strategies that could still be best, each with how many of {draws} possible surveys "
            "it is the best of",
            0,
        )
        lines += [
            line
            for one in plan.contenders[:5]
            for line in _contender(one.draws, in_words(one.strategy))
        ]
        if len(plan.contenders) > 5:
            lines += paragraph(f"and {len(plan.contenders) - 5} more")
    if plan.run_sheet:
        lines += _run_sheet(plan)
    if enough and plan.strategy is not None:
        exceeded = plan.limits is not None and plan.limits.verdict == "exceeded"
        last = _DO_NOT if exceeded else _ENOUGH
        lines += [*what_to_set(plan.strategy), *paragraph(last), *caution_lines()]
    return "\n".join(lines)


_ENOUGH = (
    "Nothing more has to be measured or solved: these are the settings. export writes them for the "
    "reader from this plan, and accept says how many passes show that they hold."
)
_DO_NOT = (
    "Do not install these settings as they are: they exceed the hard limits, as little as can be. "
    "More measurements will not change that; other limits, techniques or a change at the read "
    "point may."
)
_FILL_IN = (
    "Add the reads to reads.csv, and each pair of pass and level that was tried, read or not, to "
    "tried.csv; then plan again."
)


def _regret(regret: Regret, within: float) -> str:
    mean, high = figure(round(regret.mean, 2)), figure(round(regret.high, 2))
    if regret.confidence == 1:
        return "Every pair is measured: nothing is left to plan."
    return (
        f"If the passes surveyed come again, the strategy in hand may lose up to {high} more than "
        f"the best one ({100 * regret.confidence:g} % confidence; {mean} in the mean of "
        f"{regret.draws} possible surveys). Up to {figure(round(within, 2))} is too little to "
        "measure for. How other passes differ from these, no further level of these tells."
    )


def _limits(limits: LimitsKept) -> str:
    if limits.draws == 1:
        kept = "The strategy in hand keeps" if limits.verdict == "kept" else "No strategy keeps"
        return f"{kept} the hard limits."
    of = f"of {limits.draws} possible surveys"
    if limits.verdict == "kept":
        return f"The strategy in hand keeps the hard limits in {limits.kept} {of}."
    if limits.verdict == "exceeded":
        return f"No strategy looked at keeps the hard limits in {limits.exceeded} {of}."
    return (
        f"Whether the hard limits are kept is not known yet: by the strategy in hand in "
        f"{limits.kept} {of}, by none in {limits.exceeded}."
    )


def _contender(draws: int, text: str) -> list[str]:
    return paragraph(f"{draws:>3}  {text}", hanging=5)


def _run_sheet(plan: SurveyPlan) -> Iterator[str]:
    rows = plan.run_sheet
    pairs = sum(len(row.levels_dbm) for row in rows)
    passes = f"{len(rows)} pass{'' if len(rows) == 1 else 'es'}"
    yield f"To measure: {pairs} pairs of pass and level in {passes}, {plan.minutes:.0f} minutes"
    alike: dict[tuple[float, ...], list[str]] = {}
    for row in rows:
        alike.setdefault(row.levels_dbm, []).append(row.pass_id)
    for levels, names in list(alike.items())[:_ROWS]:
        many = f"{names[0]} to {names[-1]} ({len(names)})" if len(names) > 4 else ", ".join(names)
        at = ", ".join(map(figure, levels))
        yield from paragraph(f"{many}: {at} dBm", hanging=2)
    if len(alike) > _ROWS:
        yield from paragraph(f"and {len(alike) - _ROWS} more rows, which the run sheet has")
    yield from paragraph(_FILL_IN)


def run_sheet_page(plan: Mapping[str, Any], made_on: str = "") -> str:
    """The run sheet of a plan (its JSON) as an HTML page that prints on A4, without network."""
    css = report_style()
    made = Environment(loader=FileSystemLoader(_SHEETS), autoescape=True, undefined=StrictUndefined)
    made.filters["figure"] = figure
    template = made.get_template("run-sheet.html.j2")
    levels = sorted({level for row in plan["run_sheet"] for level in row["levels_dbm"]})
    return template.render(
        plan=plan, levels=levels, css=Markup(css), policy=Markup(style_policy(css)),
        made_on=made_on,
    )  # fmt: skip
