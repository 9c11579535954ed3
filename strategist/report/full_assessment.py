"""A full assessment in words: what says how far to trust the answer of `solve`, and no more."""

from __future__ import annotations

from strategist.answers.full_assessment import FullAssessment
from strategist.report.brief import in_words
from strategist.report.lines import heading, labelled, paragraph
from strategist.report.standing import rate_words
from strategist.report.text import caution_lines, unseen_lines, warning_lines
from strategist.survey.order import figure
from strategist.trust.folds import Again, CrossValidation


def full_assessment_text(judged: FullAssessment, *, caution: bool = True) -> str:
    """The answer in three lines, its cross-validation, the diagnosis and what to measure next, in
    80 columns; `caution` as for `result_text`."""
    outcome = judged.outcome
    lines = [
        *heading(judged.read_point, "how far to trust the best strategy"),
        *paragraph(f"The best strategy: {in_words(judged.strategy)} (solve says more)."),
        *paragraph(
            f"In the survey: {outcome.missed} of {outcome.wanted} wanted missed, {outcome.stray} "
            f"of {outcome.stray_presented} stray reported."
        ),
        *warning_lines(judged.warnings),
    ]
    if judged.cross_validation is None:
        lines += ["Held-out passes", *paragraph("There are too few passes to leave any out.")]
    else:
        lines += _cross(judged.cross_validation)
    if judged.tag_types.sentence is not None:
        lines += ["Tag types", *paragraph(judged.tag_types.sentence)]
    lines += unseen_lines(judged.unseen)
    lines.append("What the survey shows")
    for finding in judged.findings:
        lines += paragraph(f"{finding.severity}: {finding.text}", hanging=2)
        lines += paragraph(f"-> {finding.advice}", 4, 3)
    lines += _next(judged)
    if caution:
        lines += caution_lines()
    return "\n".join(lines)


def _cross(cross: CrossValidation) -> list[str]:
    """Fitted and held-out figures side by side, and how often settings came again."""
    again = cross.chosen_again
    head = f"Held-out passes (each of {again.folds} blocks, under a choice made without it)"
    lines = [head, f"  {'':<22}{'in-sample':<26}held out"]
    fitted, held = cross.fitted, cross.held_out
    for label, one, other in (
        ("missed, of tags", fitted.missed_by_tag, held.missed_by_tag),
        ("passes with a miss", fitted.missed_by_pass, held.missed_by_pass),
        ("passes with a stray", fitted.stray_by_pass, held.stray_by_pass),
    ):
        lines.append(f"  {label:<22}{rate_words(one):<26}{rate_words(other)}")
    loss = [
        figure(round(one, 3)) for one in (cross.loss_per_pass.fitted, cross.loss_per_pass.held_out)
    ]
    lines.append(f"  {'loss a pass':<22}{loss[0]:<26}{loss[1]}")
    lines += paragraph(
        "(In-sample rates are optimistic; expect the held-out ones. The held-out intervals are "
        "widened to cover the in-sample ones.)"
    )
    return [*lines, f"Chosen again in {again.folds} folds", *_chosen(again)]


def _chosen(again: Again) -> list[str]:
    lines: list[str] = []
    for number, (ladder, folds) in enumerate(again.ladders):
        levels = ", ".join(figure(level) for level in ladder)
        own = " (the answer)" if number == 0 else ""
        lines += labelled("levels" if number == 0 else "", f"{folds} x {levels} dBm{own}")
    used = [cutoff for cutoff in again.cutoffs_dbm if cutoff is not None]
    none = len(again.cutoffs_dbm) - len(used)
    text = f"none in {none}" if none else ""
    if used:
        span = f"{figure(min(used))} to {figure(max(used))} dBm in {len(used)}"
        text = f"{span}{', ' if text else ''}{text}"
    lines += labelled("cutoff", text)
    for number, (mask, folds) in enumerate(again.chosen):
        test = "not " if mask.negate else ""
        value = f"{mask.value:0{mask.length}b} binary" if mask.length % 4 else mask.pattern
        lines += labelled(
            "masks" if number == 0 else "",
            f"{folds} x {mask.bank.upper()} bank, pointer {mask.pointer}, length {mask.length}: "
            f"{test}{value}",
        )
    return lines


def _passes(more: int) -> str:
    return f"{more} more" if more else "none more for now"


def _next(judged: FullAssessment) -> list[str]:
    following = judged.next_survey
    levels = ", ".join(figure(level) for level in following.levels_dbm) or "none"
    lines = ["To measure next", *labelled("passes", _passes(following.passes))]
    lines += labelled("levels", f"add {levels} dBm" if following.levels_dbm else "none to add")
    for reason in following.reasons:
        lines += paragraph(f"- {reason}", hanging=2)
    return lines
