"""Compromises and techniques in words."""

from __future__ import annotations

from strategist.answers.frontier import Frontier, FrontierPoint, RatioRange
from strategist.answers.sturdier import Sturdier
from strategist.answers.techniques import Techniques, Variant
from strategist.report.brief import brief
from strategist.report.lines import heading, in_column, labelled, paragraph
from strategist.report.text import OVER, caution_lines, what_to_set
from strategist.report.what_if import change_words
from strategist.survey.order import figure, short

_FRONTIER_HEADS = {
    "complete": "{} non-dominated trade-offs of missed and stray tags, proven complete",
    "best": "the {} trade-offs that are best for weights near yours, proven",
    "restricted": "{} trade-offs; proven: no strategy of at most {slots} masks betters one",
    "partial": "{} trade-offs found in time, not proven complete",
    "infeasible": "no strategy keeps the limits: there is no trade-off to choose from",
    "undecided": "undecided: no strategy that keeps the limits was found",
}
_HEADS = {
    "alone": "One technique alone (at the highest level where power is not the one)",
    "without": "One technique left out",
    "work": "Less work to install",
}
_MARKS = {"optimal": " ", "feasible": "?", "infeasible": "!", "undecided": "!", "silent": "-"}


def frontier_text(frontier: Frontier, *, caution: bool = True) -> str:
    """A frontier in lines of 80 columns; `caution` as for `result_text`."""
    count = len(frontier.points)
    slots = frontier.searched["slots"]
    head = _FRONTIER_HEADS[frontier.status].format(count, slots=slots)
    if count == 1:
        head = head.replace("trade-offs", "trade-off", 1)
    if slots == 1:
        head = head.replace("1 masks", "1 mask")
    lines = heading(frontier.read_point, head)
    for change in frontier.changes:
        lines += labelled("", change_words(change))
    if frontier.points:
        lines += [*_points_table(frontier), *_legend(frontier)]
        for point in frontier.points:
            if point.chosen:
                lines += ["Chosen by the weights (>)", *what_to_set(point.strategy)[1:]]
    lines += ["Proof", *paragraph(_proof(frontier))]
    if frontier.warnings:
        lines += ["Warnings"]
        lines += [line for text in frontier.warnings for line in paragraph(f"- {text}", hanging=2)]
    return "\n".join([*lines, *(caution_lines() if caution and frontier.points else [])])


def _points_table(frontier: Frontier) -> list[str]:
    last = "guarded" if frontier.over is None else "survey"
    head = f"{'missed':>8}{'stray':>7}{'loss':>8}{last:>8}  {'weight ratio':<15}  settings, dBm"
    return [head, *(line for point in frontier.points for line in _point_row(point))]


def _point_row(point: FrontierPoint) -> list[str]:
    mark = ">" if point.chosen else " " if point.proven else "?"
    over, outcome = point.per_pass, point.outcome
    counts = f"{mark} {outcome.missed:>6}{outcome.stray:>7}"
    losses = f"{figure(point.loss):>8}{figure(point.guarded_loss):>8}"
    if over is not None:
        counts = f"{mark} {short(over.missed):>6}{short(over.stray):>7}"
        losses = f"{short(over.loss):>8}{f'{outcome.missed}/{outcome.stray}':>8}"
    start = f"{counts}{losses}  {_ratios(point.best_for):<15}  "
    return in_column(start, brief(point.strategy))


def _ratios(best_for: RatioRange | None) -> str:
    if best_for is None:
        return "-"
    low = f"{best_for.low:.3g}"
    if best_for.high is None:
        return f"{low} and more" if best_for.low else "any"
    high = f"{best_for.high:.3g}"
    return low if low == high else f"{low} to {high}"


def _legend(frontier: Frontier) -> list[str]:
    loss = frontier.weights
    ratio = (
        "Weight ratio: range of (cost of a miss ÷ cost of a stray) for which this point is best; "
        f"-: not best for any ratio. Your ratio is {loss.missed / loss.stray:.3g}."
    )
    open_ = (
        " A ? marks a point that is not proven: there may be a strategy with fewer of the one and "
        "no more of the other. The others are proven non-dominated."
    )
    unproven = any(not point.proven for point in frontier.points)
    least, unit = frontier.silence_loss, ""
    losses = [point.loss for point in frontier.points]
    if frontier.over is not None:
        least, unit = frontier.silence_a_pass, " a pass"
        losses = [point.per_pass.loss for point in frontier.points if point.per_pass]
        ratio = (
            f"Figures are a pass, over {frontier.proof['over']}; survey: missed/stray in it. "
            + ratio
        )
    silence = f" To report nothing at all loses {figure(least)}{unit} by your weights."
    if all(loss >= least for loss in losses):
        silence += " No point is better: nothing here is worth installing."
    return paragraph(ratio + silence + (open_ if unproven else ""))


def _proof(frontier: Frontier) -> str:
    searched = frontier.searched
    among = (
        f"among {searched['levels']} levels, {searched['cutoffs'] - 1} cutoffs and "
        f"{searched['masks']} masks"
    )
    took = f"(one sweep, {frontier.seconds:.1f} s)"
    if frontier.status == "best":
        return (
            f"Proven {among}: for weight ratios from a quarter of yours to four times no strategy "
            f"loses less than one of these {took}."
        )
    if frontier.status in ("complete", "restricted"):
        most = f", at most {searched['slots']} of them," if frontier.status == "restricted" else ""
        return (
            f"Proven {among}{most}: each strategy misses as many and lets as many strays through "
            f"as one of these, or more {took}."
        )
    if frontier.status == "infeasible":
        return f"Proven {among}: none keeps the limits {took}. solve gives the one nearest to them."
    if not frontier.open:
        return f"Of the strategies searched {among} none keeps the limits {took}."
    proven = sum(point.proven for point in frontier.points)
    places = ", ".join(f"{one.missed} missed and {one.stray} stray" for one in frontier.open[:3])
    more = f", and {len(frontier.open) - 3} more" if len(frontier.open) > 3 else ""
    return (
        f"Time ran out {took}: {proven} of {len(frontier.points)} points are proven. Still "
        f"possible {among} are better strategies at or below {places}{more}."
    )


def techniques_text(techniques: Techniques, *, caution: bool = True) -> str:
    """The variants in lines of 80 columns; `caution` as for `result_text`."""
    first, *others = techniques.variants
    silent = "report nothing; " if first.status == "silent" else ""
    lines = [
        *heading(techniques.read_point, f"{silent}what each technique buys"),
        f"  {'':20}{'missed':>7}{'stray':>6}{'loss':>7}{'extra':>6}  settings, dBm",
        *_row(first),
    ]
    for group, head in _HEADS.items():
        of_group = [variant for variant in others if variant.group == group]
        rows = [line for variant in of_group for line in _row(variant)]
        lines += [head, *rows] if rows else []
    marks = {variant.status for variant in techniques.variants}
    text, over = "'extra' is the loss above that of all together.", first.per_pass
    if over is not None:
        text = f"Loss is a pass, over {OVER}; missed and stray are those of the survey. {text}"
    silence = figure(techniques.silence_loss if over is None else over.silence_loss)
    text += f" To report nothing at all loses {silence}{'' if over is None else ' a pass'}."
    lines += paragraph(text)
    if marks & {"feasible", "undecided"}:
        lines += paragraph("?: not proven, since time ran out.")
    if "silent" in marks:
        lines += paragraph("-: no better than to report nothing. Do not install it.")
    if marks & {"infeasible", "undecided"}:
        lines += paragraph("!: a hard limit is exceeded, as little as can be. Do not install it.")
    lines += _sturdier(techniques.sturdier)
    if techniques.warnings:
        lines.append("Warnings")
        for text in techniques.warnings:
            lines += paragraph(f"- {text}", hanging=2)
    return "\n".join([*lines, *(caution_lines() if caution else [])])


def _row(variant: Variant) -> list[str]:
    mark = _MARKS[variant.status]
    counts = f"{variant.outcome.missed:>7}{variant.outcome.stray:>6}"
    losses = f"{figure(variant.loss):>7}{figure(variant.extra_loss):>6}"
    if variant.per_pass is not None:
        losses = f"{short(variant.per_pass.loss):>7}{short(variant.extra_a_pass or 0.0):>6}"
    return in_column(f"{mark} {variant.name:20}{counts}{losses}  ", brief(variant.strategy))


def _sturdier(found: Sturdier | None) -> list[str]:
    """The strategy that stands drift better than that of all together, at little cost."""
    if found is None:
        return []
    start = f"  {'':20}{found.outcome.missed:>7}{found.outcome.stray:>6}"
    losses = f"{figure(found.outcome.loss):>7}{figure(found.extra_loss):>6}  "
    if found.over is not None:
        losses = f"{short(found.over.loss):>7}{short(found.over.extra_loss):>6}  "
    start += losses
    return [
        "Sturdier than all together, at little cost",
        *in_column(start, brief(found.strategy)),
        *labelled("gives up", found.gives_up),
        *labelled("gains", found.gains),
    ]
