"""The plan of a site in words, for a person at a terminal."""

from __future__ import annotations

from strategist.batch.site_answer import Buy, PointPlan, SitePlan
from strategist.report.brief import in_words
from strategist.report.lines import paragraph
from strategist.report.text import caution_lines, what_to_set
from strategist.survey.order import figure, some

_IN_FULL = 2  # settings that are shown whole
_SHOWN = 6  # rows of each part; the document has all
_AIMS = {
    "survey": "Losses are those of the passes surveyed, each once.",
    "expected": "Losses are those to expect in as many passes as were surveyed (the survey and "
    "copies of it, drawn by what varies); in the survey itself the plan loses {}.",
    "both": "Losses are those of the passes surveyed where a read point's aim is survey, and those "
    "to expect in as many passes where it is expected; in the survey the plan loses {}.",
}


def site_plan_text(plan: SitePlan) -> str:
    """What to set where, what sharing costs, the curves, and what to do first."""
    points, readers = len(plan.read_points), len(plan.readers)
    asked = []
    if plan.at_most is not None:
        asked.append(f"at most {_count(plan.at_most, 'setting')}")
    if plan.budget is not None:
        asked.append(f"a budget of {figure(plan.budget)}")
    limits = f" with {' and '.join(asked)}" if asked else ""
    head = f"{plan.site or 'Site'}: {_count(points, 'read point')} on {_count(readers, 'reader')}"
    lines = paragraph(f"{head}{limits}: loss {figure(plan.loss)}, {_proof(plan)}", 0, 2)
    if plan.excess:
        lines += paragraph("No plan found keeps all hard limits; this one exceeds them least.")
    lines += paragraph(_AIMS[plan.aim].format(figure(plan.survey_loss)))
    bare = " and no rule of the host" if plan.rules else ""
    lines += paragraph(
        f"With a setting of its own at each read point{bare} the loss would be "
        f"{figure(plan.alone)}: what must agree adds {figure(plan.sharing_costs)}."
    )
    if plan.price:
        lines += paragraph(f"Visits, settings and options cost {figure(plan.price)}.")
    lines += _settings(plan)
    lines += _rules(plan)
    lines += _sharing(plan)
    lines += _curves(plan)
    lines += _firsts(plan)
    lines += [x for note in plan.notes[:_SHOWN] for x in paragraph(f"- {note}", hanging=2)]
    return "\n".join([*lines, *caution_lines()])


def _proof(plan: SitePlan) -> str:
    if plan.proven:
        return "proven: no plan loses less"
    pool = "; no other choice of the strategies looked at loses less"
    in_pool = pool if plan.pool_bound >= plan.loss - 1e-6 else ""
    return f"not proven: no plan loses less than {figure(plan.bound)}{in_pool}"


def _settings(plan: SitePlan) -> list[str]:
    lines: list[str] = []
    for number, strategy in enumerate(plan.settings[:_SHOWN], 1):
        users = [_named(one) for one in plan.read_points if one.setting == number]
        if len(plan.settings) <= _IN_FULL:
            lines += paragraph(f"Setting {number}: {some(users)}", 0, 2)
            lines += what_to_set(strategy)[1:]
        else:
            lines += paragraph(f"Setting {number}, {in_words(strategy)}: {some(users)}", 0, 2)
    lines += _more(len(plan.settings))
    silent = [one.read_point for one in plan.read_points if one.setting is None]
    if silent:
        lines += paragraph(f"Report nothing: {some(silent)}", 0, 2)
    return lines


def _named(one: PointPlan) -> str:
    option = f" with {one.option}" if one.option else ""
    return f"{one.read_point}{option} (missed {one.missed}, stray {one.stray})"


def _rules(plan: SitePlan) -> list[str]:
    lines = ["What the host discards"] if plan.rules else []
    for one in plan.rules[:_SHOWN]:
        lines += paragraph(f"{one.name}: {one.rule}", hanging=2)
        if one.in_force:
            wanted = f" and {one.discarded_wanted} wanted" if one.discarded_wanted else ""
            lines += paragraph(
                f"It discards {one.discarded_stray} stray{wanted} of {one.contested} tags that "
                f"both heard in one pass: loss {figure(one.loss)} in place of "
                f"{figure(one.loss_without)} with the same settings.",
                4,
            )
    lines += _more(len(plan.rules))
    if plan.without_rules is not None and any(one.in_force for one in plan.rules):
        lines += paragraph(
            f"The best plan of these strategies that discards nothing loses "
            f"{figure(plan.without_rules)}."
        )
    return lines


def _sharing(plan: SitePlan) -> list[str]:
    shared = [one for one in plan.readers if one.shares and len(one.read_points) > 1]
    shared.sort(key=lambda one: -one.sharing_costs)
    lines = ["What sharing costs"] if shared else []
    for one in shared[:_SHOWN]:
        what = " and ".join(one.shares)
        own = "".join(
            f", with own {part.part} {'' if part.proven else 'at most '}{figure(part.loss)}"
            for part in one.own_parts
        )
        lines += paragraph(
            f"{one.reader} ({some(one.read_points)}): with the same {what} for all it loses "
            f"{figure(one.loss)}; with nothing shared it would lose {figure(one.alone)}{own}",
            hanging=2,
        )
    return lines + _more(len(shared))


def _curves(plan: SitePlan) -> list[str]:
    lines = []
    if len(plan.of_settings) > 1:
        lines.append("Loss by number of settings")
        told = (f"{one.at_most}: {figure(one.loss)}" for one in plan.of_settings)
        lines += paragraph("   ".join(told))
    if plan.of_budget:
        lines.append("Loss by budget")
        told = (f"{figure(one.budget)}: {figure(one.loss)}" for one in plan.of_budget)
        lines += paragraph("   ".join(told))
    return lines


def _firsts(plan: SitePlan) -> list[str]:
    lines = []
    if plan.buys:
        lines.append("What buys most")
        lines += [x for one in plan.buys[:_SHOWN] for x in paragraph(_bought(one), hanging=2)]
        lines += _more(len(plan.buys))
    if len(plan.order) > 1:
        lines += paragraph(f"Visit in this order: {some(plan.order)}", 0, 2)
    return lines


def _bought(one: Buy) -> str:
    what = f"visit to {one.reader}"
    if one.kind == "rule":
        what = f"the rule {one.option}"
    elif one.option is not None:
        what = f"{one.option} at {one.read_point}"
    price = f" for {figure(one.price)}" if one.price else ""
    return f"{what}{price}: saves {figure(one.saves)} of loss"


def _more(count: int) -> list[str]:
    return [f"  and {count - _SHOWN} more (see the document)"] if count > _SHOWN else []


def _count(number: int, one: str) -> str:
    return f"{number} {one}{'' if number == 1 else 's'}"
