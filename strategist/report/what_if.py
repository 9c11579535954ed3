"""What a change would change, in words."""

from __future__ import annotations

import json
from typing import Any

from strategist.answers.assessment import Assessment
from strategist.answers.what_if import Change, Effect, WhatIf, WhatIfs
from strategist.report.brief import brief, in_words
from strategist.report.lines import heading, in_column, labelled, paragraph, plain
from strategist.report.text import OVER, caution_lines, what_to_set
from strategist.survey.order import figure, short

_UNSURE = {
    "silent": "no strategy is better than to report nothing: do not install",
    "feasible": "not proven: time ran out",
    "infeasible": "no strategy keeps the hard limits",
    "undecided": "undecided when time ran out: a hard limit is exceeded",
}


_MARKS = {"optimal": " ", "feasible": "?", "infeasible": "!", "undecided": "!", "silent": "-"}


def what_if_text(found: WhatIf, *, caution: bool = True) -> str:
    """One question in lines of 80 columns; `caution` as for `result_text`."""
    before, after = found.before, found.after
    lines = heading(found.read_point, "with something changed")
    for change in found.changes:
        lines += labelled("", change_words(change))
    lines += ["What changes"]
    for name, old, new in (
        ("missed", before.outcome.missed, after.outcome.missed),
        ("stray", before.outcome.stray, after.outcome.stray),
        ("loss", before.loss, found.loss_after),
        ("guarded", before.standing.guarded.loss, after.standing.guarded.loss),
    ):
        lines += labelled(name, f"{figure(old)} before, {figure(new)} after")
    had, has = before.searched["levels"], after.searched["levels"]
    if had != has:
        lines += labelled("levels", f"{had} to choose from before, {has} after")
    if (a_pass := found.loss_a_pass) is not None:
        text = f"{short(a_pass.before)} before, {short(a_pass.after)} after, over {OVER}"
        lines += labelled("a pass", text)
    weights = found.weights
    anew = after.standing.guarded.outcome
    lines += paragraph(
        f"The loss is by the weights before ({figure(weights.missed)} a miss, "
        f"{figure(weights.stray)} a stray); "
        f"guarded, {anew.missed} missed and {anew.stray} stray after."
    )
    for when, result in (("before", before), ("after", after)):
        if result.status in _UNSURE:
            lines += labelled(when, _UNSURE[result.status])
    if found.settings:
        names = ", ".join(_names(found))
        lines += paragraph(f"Other settings: {names}. Before: {in_words(before.strategy)}. After:")
        lines += what_to_set(after.strategy, after.mask_words)
    else:
        lines += paragraph("The settings stay as they are.")
    return "\n".join([*lines, *_assumed(found), *(caution_lines() if caution else [])])


def change_words(change: Change) -> str:
    """A key with its two values."""
    return f"{change.key}: {_shown(change.before)} becomes {_shown(change.after)}"


def what_ifs_text(found: WhatIfs, *, caution: bool = True) -> str:
    """Several questions as a table in lines of 80 columns."""
    before = found.before
    lines = [
        *heading(found.read_point, "with something changed"),
        f"  {'':20}{'missed':>7}{'stray':>7}{'loss':>9}  settings, dBm",
        *in_column(
            _row("as it is", " ", before.outcome.missed, before.outcome.stray, _as_it_is(before)),
            brief(before.strategy),
        ),
    ]
    for asked in found.questions:
        if asked.answer is not None:
            lines += _answered(asked.question, asked.answer, brief(before.strategy))
    over, most, units = before.per_pass, before.silence_loss, ""
    if over is not None:
        most, units = over.silence_loss, f" and are a pass, over {OVER}"
    silence = f"to report nothing at all loses {figure(most)}"
    lines += paragraph(f"All losses use the current weights{units}; {silence}.")
    if before.status in _UNSURE:
        lines += paragraph(f"As it is: {_UNSURE[before.status]}.")
    if any(one.answer and one.answer.after.status == "silent" for one in found.questions):
        lines += paragraph(f"- {_UNSURE['silent']}.")
    for asked in found.questions:
        if asked.answer is None:
            why = "; ".join((asked.refused or "").splitlines())
            lines += paragraph(f"Not asked: {asked.question}, since {why}", hanging=2)
    assumed = {
        text: None for one in found.questions if one.answer for text in one.answer.assumptions
    }
    if assumed:
        lines.append("Assumed")
        lines += [line for text in assumed for line in paragraph(f"- {text}", hanging=2)]
    return "\n".join([*lines, *(caution_lines() if caution else [])])


def _answered(question: str, answer: Effect, before: str) -> list[str]:
    """The row of a question, with the settings that differ and the levels that drop out."""
    outcome, after = answer.after.outcome, answer.after
    mark = _MARKS[after.status]
    same = brief(after.strategy) if answer.settings else "the same"
    if answer.settings and same == before:
        same = f"the same but for {' and '.join(_names(answer))}"
    had, has = answer.before.searched["levels"], after.searched["levels"]
    a_pass = answer.loss_a_pass
    loss = figure(answer.loss_after) if a_pass is None else short(a_pass.after)
    start = _row(question, mark, outcome.missed, outcome.stray, loss)
    lines = in_column(start, same)
    if has < had:
        lines += paragraph(f"{had - has} of {had} levels drop out", len(start))
    return lines


def _as_it_is(before: Assessment) -> str:
    return figure(before.loss) if before.per_pass is None else short(before.per_pass.loss)


def _row(words: str, mark: str, missed: int, stray: int, loss: str) -> str:
    return f"{mark} {words:20}{missed:>7}{stray:>7}{loss:>9}  "


_NAMES = {
    "levels_dbm": "power levels",
    "stop_after": "stop rule",
    "cutoff_dbm": "cutoff",
    "masks": "masks",
    "score": "antennas and reads that count",
    "cutoff_db": "cutoff",
    "step_s": "time of a step",
}


def _names(found: Effect) -> list[str]:
    """What differs in the settings, each once."""
    return list(dict.fromkeys(_NAMES[one.key] for one in found.settings))


def _assumed(found: WhatIf) -> list[str]:
    lines = [line for t in found.assumptions for line in paragraph(f"- {t}", hanging=2)]
    return ["Assumed", *lines] if lines else []


def _shown(value: Any) -> str:
    return plain(value if isinstance(value, str) else json.dumps(value))
