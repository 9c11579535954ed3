"""Strategies side by side in words: what differs, and nothing else."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from strategist.answers.by_antenna import antenna_settings, cutoff_words
from strategist.answers.changes import Changes
from strategist.answers.compare import Comparison, Differing
from strategist.optimise.strategy import Strategy
from strategist.report.lines import heading, paragraph, plain
from strategist.report.standing import margin_lines, rate_words
from strategist.report.text import CAUTION, OVER
from strategist.survey.order import figure, short, some
from strategist.tags.mask import mask_text

_PASSES, _TAGS, _NAME = 10, 3, 20
_SETTINGS = {
    "levels_dbm": "power",
    "stop_after": "stop rule",
    "cutoff_dbm": "cutoff",
    "score": "antennas",
    "masks": "masks",
    "step_s": "dwell of a step",
}
_RARE = ("score", "step_s")  # told where a side has one


def comparison_text(comparison: Comparison) -> str:
    """A comparison in lines of 80 columns; long lists are cut and say so."""
    sides = comparison.sides
    count = f"{len(sides)} strateg{'y' if len(sides) == 1 else 'ies'}"
    passes = comparison.evaluations[0].outcome.passes
    lines = [
        *heading(comparison.read_point, f"{count} on the same {_passes(passes)}"),
        *_table(comparison),
        *_rates(comparison),
        *_settings(comparison),
        *_margins(comparison),
    ]
    if len(sides) > 1:
        lines += _differing(comparison, passes)
    for side, changes in zip(sides[1:], comparison.changes, strict=True):
        head = f"From {plain(sides[0].name)} to {plain(side.name)}"
        lines += [head, *_changes(changes, _loss_words(comparison))]
    return "\n".join([*lines, *_warnings(comparison), "Caution", *paragraph(CAUTION)])


def _short(name: str) -> str:
    name = plain(name)
    return name if len(name) <= _NAME else f"{name[: _NAME - 1]}…"


def _table(comparison: Comparison) -> list[str]:
    heads = f"{'loss':>9}{'guarded':>9}{'missed':>15}{'stray':>15}"
    lines = [f"  {'':<{_NAME}}{heads}"]
    for side, found in zip(comparison.sides, comparison.evaluations, strict=True):
        outcome = found.outcome
        missed = f"{outcome.missed} of {outcome.wanted}"
        stray = f"{outcome.stray} of {outcome.stray_presented}"
        guarded = figure(found.standing.guarded.loss)
        lines.append(
            f"  {_short(side.name):<{_NAME}}{figure(outcome.loss):>9}{guarded:>9}"
            f"{missed:>15}{stray:>15}"
        )
    weights = comparison.weights
    text = f"(loss: {figure(weights.missed)} x missed + {figure(weights.stray)} x stray; least: "
    lines += paragraph(f"{text}{', '.join(comparison.least_loss)})")
    silence = comparison.evaluations[0].silence_loss
    lines += paragraph(f"(to report nothing at all loses {figure(silence)})")
    return [*lines, *_per_pass(comparison), *_sturdier(comparison)]


def _per_pass(comparison: Comparison) -> list[str]:
    """What each side loses over what the policy has chosen over."""
    told = [
        f"{plain(side.name)} {short(over.loss)}, guarded {short(over.guarded_loss)}"
        for side, over in zip(comparison.sides, comparison.per_passes, strict=True)
        if over is not None
    ]
    if not told:
        return []
    return paragraph(f"Loss a pass over {OVER}, by which sides are judged: {'; '.join(told)}.")


def _loss_words(comparison: Comparison) -> str:
    over = comparison.per_passes[0]
    if over is not None:
        return f"{short(over.loss)} a pass"
    return figure(comparison.evaluations[0].outcome.loss)


def _sturdier(comparison: Comparison) -> list[str]:
    """Which side stands drift better at little cost, and what it gives up and gains."""
    found = comparison.sturdier
    if found is None:
        return []
    return paragraph(
        f"Sturdier at little cost: {plain(found['name'])}. Beside {plain(found['than'])} it gives "
        f"up {short(found['extra_loss'])} of loss {_where(comparison)} and saves "
        f"{short(found['guarded_saved'])} of guarded loss."
    )


def _where(comparison: Comparison) -> str:
    return "in this survey" if comparison.per_passes[0] is None else "a pass"


def _rates(comparison: Comparison) -> list[str]:
    lines = [f"  {'rates (95 %)':<{_NAME}}  {'missed, of wanted tags':<28}passes with a stray"]
    for side, found in zip(comparison.sides, comparison.evaluations, strict=True):
        rates = found.standing.rates
        missed, stray = rate_words(rates.missed_by_tag), rate_words(rates.stray_by_pass)
        lines.append(f"  {_short(side.name):<{_NAME}}  {missed:<28}{stray}")
    return lines


def _settings(comparison: Comparison) -> list[str]:
    """What each side sets, where not all set the same."""
    lines: list[str] = []
    same: list[str] = []
    strategies = [side.strategy for side in comparison.sides]
    for setting, label in _SETTINGS.items():
        if setting in _RARE and all(getattr(one, setting) is None for one in strategies):
            continue
        said = [_said(strategy, setting) for strategy in strategies]
        if len(set(said)) == 1:
            same.append(f"{label} {said[0]}")
            continue
        lines.append(f"  {label}")
        for side, text in zip(comparison.sides, said, strict=True):
            wrapped = paragraph(text, _NAME + 5)
            wrapped[0] = f"    {_short(side.name):<{_NAME}} {wrapped[0].lstrip()}"
            lines += wrapped
    if same:
        lines += paragraph(f"(the same in all: {'; '.join(same)})")
    return ["Settings", *lines]


def _said(strategy: Strategy, setting: str) -> str:
    return _SAID[setting](strategy)


def _cutoff(strategy: Strategy) -> str:
    plainly = strategy.cutoff_dbm is not None and strategy.score is None
    return f"{figure(strategy.cutoff_dbm or 0.0)} dBm" if plainly else cutoff_words(strategy)


def _score(strategy: Strategy) -> str:
    told = [f"{label}: {text}" for label, text in antenna_settings(strategy)]
    return "; ".join(told) or "all together"


def _masks(strategy: Strategy) -> str:
    chain = [f"{m.join + ' ' if m.join else ''}{mask_text(m)}" for m in strategy.masks]
    return "; ".join(chain) or "none"


def _stop(strategy: Strategy) -> str:
    return f"after {strategy.stop_after} tag{'' if strategy.stop_after == 1 else 's'}"


def _dwell(strategy: Strategy) -> str:
    return "as the policy has it" if strategy.step_s is None else f"{figure(strategy.step_s)} s"


_SAID: dict[str, Callable[[Strategy], str]] = {
    "levels_dbm": lambda strategy: f"{', '.join(map(figure, strategy.levels_dbm))} dBm",
    "stop_after": _stop,
    "cutoff_dbm": _cutoff,
    "score": _score,
    "masks": _masks,
    "step_s": _dwell,
}


def _margins(comparison: Comparison) -> list[str]:
    lines = []
    for side, found in zip(comparison.sides, comparison.evaluations, strict=True):
        told = margin_lines(found.standing)
        lines += [f"Margins of {plain(side.name)}", *(told or paragraph("none that mean anything"))]
    return lines


def _differing(comparison: Comparison, passes: int) -> list[str]:
    differing = comparison.passes
    head = f"Passes in which they differ: {len(differing)} of {passes}"
    names = [side.name for side in comparison.sides]
    lines = [line for one in differing[:_PASSES] for line in _pass(one, names)]
    if len(differing) > _PASSES:
        lines += paragraph(f"… and {len(differing) - _PASSES} more (see the JSON)")
    return [head, *lines]


def _pass(one: Differing, names: Sequence[str]) -> list[str]:
    lines = paragraph(one.pass_id)
    for name, side in zip(names, one.sides, strict=True):
        parts = [f"misses {_tags(side.missed)}"] if side.missed else []
        parts += [f"reports stray {_tags(side.stray)}"] if side.stray else []
        lines += paragraph(f"{plain(name)}: {'; '.join(parts) or 'all right'}", 4, 2)
    return lines


def _tags(epcs: Sequence[str]) -> str:
    more = f" and {len(epcs) - _TAGS} more" if len(epcs) > _TAGS else ""
    return ", ".join(epcs[:_TAGS]) + more


def _changes(changes: Changes, base: str) -> list[str]:
    if not changes.changes:
        return paragraph("nothing to change: they are the same")
    lines = [line for one in changes.changes for line in paragraph(f"- {one.words}", hanging=2)]
    if len(changes.loss_with_one_changed) > 1:
        alone = [
            f"{_SETTINGS[name]} {figure(float(f'{loss:.6g}'))}"
            for name, loss in changes.loss_with_one_changed.items()
        ]
        lines += paragraph(f"Loss {base} now; with one setting changed alone: {', '.join(alone)}.")
    enough = [_SETTINGS[name] for name in changes.enough]
    if not enough:
        lines += paragraph("No change is needed for that loss: it is no higher as it is now.")
    elif len(enough) < len(changes.loss_with_one_changed):
        verb = "is" if len(enough) == 1 else "are"
        lines += paragraph(
            f"{' and '.join(enough).capitalize()} alone {verb} enough here: "
            f"loss {figure(changes.enough_loss)}."
        )
    elif len(changes.loss_with_one_changed) > 1:
        lines += paragraph("All of these settings are needed for that loss.")
    return lines


def _warnings(comparison: Comparison) -> list[str]:
    """Each warning once, with the sides that it is for where these are not all."""
    of: dict[str, list[str]] = {}
    for side, found in zip(comparison.sides, comparison.evaluations, strict=True):
        for text in side.warnings or found.warnings:
            of.setdefault(text, []).append(side.name)
    lines: list[str] = []
    for text, names in of.items():
        whose = "" if len(names) == len(comparison.sides) else f"{some(names)}: "
        lines += paragraph(f"- {whose}{text}", hanging=2)
    return ["Warnings", *lines] if lines else []


def _passes(count: int) -> str:
    return f"{count} pass{'' if count == 1 else 'es'}"
