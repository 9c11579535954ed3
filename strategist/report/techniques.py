"""What the techniques buy, in words: a table of the variants."""

from __future__ import annotations

from strategist.answers.sturdier import Sturdier
from strategist.answers.techniques import Techniques, Variant
from strategist.report.frontier import brief
from strategist.report.lines import in_column, labelled, paragraph, plain
from strategist.report.text import caution_lines
from strategist.survey.order import figure

__all__ = ["techniques_text"]

_HEADS = {
    "alone": "One technique alone (at the highest level where power is not one)",
    "without": "One technique left out",
    "work": "Less work to install",
}


_MARKS = {"optimal": " ", "feasible": "?", "infeasible": "!", "undecided": "!", "silent": "-"}


def techniques_text(techniques: Techniques, *, caution: bool = True) -> str:
    """The variants in lines of 80 columns; `caution` as for `result_text`."""
    first, *others = techniques.variants
    silent = "report nothing; " if first.status == "silent" else ""
    lines = [
        f"{plain(techniques.read_point)}: {silent}what each technique buys",
        f"  {'':20}{'missed':>7}{'stray':>6}{'loss':>7}{'more':>6}  settings, dBm",
        *_row(first),
    ]
    for group, head in _HEADS.items():
        of_group = [variant for variant in others if variant.group == group]
        rows = [line for variant in of_group for line in _row(variant)]
        lines += [head, *rows] if rows else []
    marks = {variant.status for variant in techniques.variants}
    lines += paragraph(
        "'more' is the loss above that of all together. To report nothing at all loses "
        f"{figure(techniques.silence_loss)}."
    )
    if marks & {"feasible", "undecided"}:
        lines += paragraph("? not proven: time ran out.")
    if "silent" in marks:
        lines += paragraph("- no better than to report nothing: not to be installed.")
    if marks & {"infeasible", "undecided"}:
        lines += paragraph("! a hard limit is exceeded, as little as can be: not to be installed.")
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
    return in_column(f"{mark} {variant.name:20}{counts}{losses}  ", brief(variant.strategy))


def _sturdier(found: Sturdier | None) -> list[str]:
    """The strategy that stands drift better than that of all together, at little cost."""
    if found is None:
        return []
    start = f"  {'':20}{found.outcome.missed:>7}{found.outcome.stray:>6}"
    start += f"{figure(found.outcome.loss):>7}{figure(found.extra_loss):>6}  "
    return [
        "Sturdier than all together, at little cost",
        *in_column(start, brief(found.strategy)),
        *labelled("gives up", found.gives_up),
        *labelled("gains", found.gains),
    ]
