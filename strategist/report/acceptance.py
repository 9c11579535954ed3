"""Acceptance plans and runs in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from strategist.answers.accept import AcceptanceRun
from strategist.report.lines import heading, labelled, paragraph
from strategist.report.standing import rate_words
from strategist.survey.order import figure, some
from strategist.trust.acceptance import AcceptancePlan
from strategist.trust.drift import Drift, Moved

_CAUTION = (
    "A verdict holds for loads, tags and settings as in the run: run again after a change of any. "
    "A missed tag can stop a line or lose goods: keep a way to handle it."
)
_HEADS = {
    "accepted": "ACCEPTED",
    "rejected": "REJECTED",
    "inconclusive": "INCONCLUSIVE: too few passes to say",
}
_ROWS = 12  # of a drift that are printed


def plan_text(plan: AcceptancePlan, option: str = "") -> str:
    """The plan, its operating characteristic and what to mind, in lines of 80 columns."""
    document: dict[str, Any] = plan.to_json()
    lines = ["Acceptance plan", *paragraph(plan.sentence), "Probability of acceptance"]
    for row in document["operating_characteristic"]:
        chance = 100 * row["acceptance_probability"]
        lines.append(f"  if the true rate is {100 * row['true_rate']:>6.3g} %: {chance:5.1f} %")
    mind = (
        "A read point is likely to be accepted only if it is much better than the limit. Where a "
        f"good one must not be refused, allow more failures{f' ({option})' if option else ''} and "
        "run more passes."
    )
    return "\n".join([*lines, *paragraph(mind)])


def acceptance_text(run: AcceptanceRun) -> str:
    """The verdict with its figures, and what has moved, in lines of 80 columns."""
    outcome, rates = run.outcome, run.rates
    missed_in = [p.pass_id for p in outcome.by_pass if p.missed]
    where = f", in {some(missed_in)}" if missed_in else ""
    lines = [
        *heading(run.read_point, _HEADS[run.judged.verdict]),
        *paragraph(run.judged.sentence),
        f"In this run of {outcome.passes} pass{'' if outcome.passes == 1 else 'es'}",
        *labelled("missed", f"{outcome.missed} of {outcome.wanted} wanted{where}"),
        *labelled("", f"{rate_words(rates.missed_by_tag)} of wanted tags (95 % confidence)"),
        *labelled("stray", f"{outcome.stray} of {outcome.stray_presented} stray reported"),
        *labelled("", f"{rate_words(rates.stray_by_pass)} of passes with a stray"),
        *([] if run.foretold is None else paragraph(run.foretold.sentence)),
        *([] if run.drift is None else _drift(run.drift)),
        *_warnings(run.warnings),
        "Caution",
        *paragraph(_CAUTION),
    ]
    return "\n".join(lines)


def _drift(drift: Drift) -> list[str]:
    lines = [f"Drift since the survey ({drift.tags_in_both} tags in both)"]
    moved = drift.moved
    for row in moved[:_ROWS]:
        lines += paragraph(f"- {_moved(row)}", hanging=2)
    if len(moved) > _ROWS:
        lines += paragraph(f"and {len(moved) - _ROWS} more (see the JSON)")
    if not drift.rows:
        lines += paragraph("nothing to compare: no level, type or tag is in both with enough reads")
    elif not moved:
        lines += paragraph(f"none larger than the guard ({len(drift.rows)} comparisons)")
    return lines


def _moved(row: Moved) -> str:
    parts = []
    if row.turn_on_db is not None:
        parts.append(f"turn-on {row.turn_on_db:+.3g} dB")
    if row.rssi_db is not None:
        parts.append(f"RSSI {row.rssi_db:+.3g} dB at equal level")
    name = row.name if row.kind == "level" else f"{row.kind} {row.name}"
    return f"{name}: {', '.join(parts)} ({figure(row.before)} before, {figure(row.now)} now)"


def _warnings(warnings: Sequence[str]) -> list[str]:
    lines = [line for text in warnings for line in paragraph(f"- {text}", hanging=2)]
    return ["Warnings", *lines] if lines else []
