"""A result or an evaluation in words, for a person at a terminal: what to set, and what it does."""

from __future__ import annotations

from collections.abc import Sequence

from strategist.answers.assessment import Assessment
from strategist.answers.by_antenna import antenna_settings, cutoff_words, listening
from strategist.answers.headline import Headline, is_idle
from strategist.optimise.strategy import Strategy
from strategist.report.lines import heading, labelled, paragraph, plain
from strategist.report.standing import (
    guarded_line,
    on_air_brief,
    on_air_lines,
    standing_lines,
)
from strategist.survey.order import figure, short, some
from strategist.survey.policy import Policy
from strategist.tags.mask import EPC_START, Mask, mask_text
from strategist.trust.evaluate import Outcome
from strategist.trust.evaluation import Evaluation, Standing
from strategist.trust.intervals import Rate
from strategist.trust.unseen import Unseen

CAUTION = (
    "Levels are conducted power. With antenna gain and cable loss keep the radiated power within "
    "the lawful limit, and people out of the distance for exposure: the local authority and "
    "licensed practice decide. The counts hold for the surveyed passes: try the settings on site "
    "before a line depends on them."
)

_HEADS = {
    "silent": "report nothing: no strategy is better than silence, proven",
    "optimal": "best strategy, proven",
    "feasible": "best strategy found in time, not proven",
    "infeasible": "no strategy keeps the limits; this one exceeds them least",
    "undecided": "undecided when time ran out; this strategy exceeds a limit",
}
_SHORT = "time ran out, or mask chains are too many to list"
_PROVERS = {
    "search": "exact search",
    "model": "mixed-integer model",
    "search_and_model": "exact search, then mixed-integer model",
}

OVER = "what is chosen over (see aim and conditions in site.json)"
OWN_SEARCHED = "Ladders were searched with shared powers and with the best own ones, not all others"
ALL_SEARCHED = "Ladders were searched with any trim and cutoff of each antenna, too"


def result_text(
    result: Assessment, policy: Policy, *, detail: bool = False, caution: bool = True
) -> str:
    """A result of `choose` under the read point's policy, in lines of 80 columns.

    What to know first, the settings in full, and the warnings; `detail` adds what is rarely read.
    `caution` may be False where another result with the same caution follows at once.
    """
    return "\n".join(
        [
            *heading(result.read_point, _head(result)),
            *headline_lines(result.headline),
            *_to_set(result),
            *_limits(result.outcome, policy),
            *_in_conditions(result),
            *warning_lines(
                [
                    *(f.text for f in result.findings if f.severity == "weak"),
                    *result.warnings,
                ]
            ),
            *(_details(result, policy) if detail else _in_brief(result)),
            *(caution_lines() if caution else []),
        ]
    )


def _head(result: Assessment) -> str:
    if result.status == "feasible" and is_idle(result):
        return "nothing found in time is better than silence"
    return _HEADS[result.status]


def headline_lines(headline: Headline) -> list[str]:
    """The five sentences, each with its word."""
    return [
        *labelled("answer", headline.verdict),
        *labelled("set", headline.set),
        *labelled("expect", headline.expect),
        *labelled("robust", headline.robustness),
        *labelled("next", headline.next_step),
    ]


def _details(result: Assessment, policy: Policy) -> list[str]:
    return [
        *_what_it_does(result.outcome, policy),
        *unseen_lines(result.unseen),
        *standing_lines(result.standing),
        *_sturdier(result),
        *on_air_lines(result.on_air, searched=True),
        "Proof",
        *paragraph(_proof(result, policy)),
        *_own_powers(result),
    ]


def _in_brief(result: Assessment) -> list[str]:
    """A line each of what `detail` says in full."""
    found, best = result.sturdier, result.per_pass
    sturdier = []
    if found is not None and found.over is not None and best is not None:
        losses = (found.over.loss, found.over.guarded_loss, best.loss, best.guarded_loss)
        text = "loss {}, guarded {} a pass; the best has {} and {}".format(*map(short, losses))
        sturdier = labelled("sturdier", text)
    elif found is not None:
        losses = (found.loss, found.guarded_loss, result.loss, result.standing.guarded.loss)
        text = "loss {}, guarded {}; the best has {} and {}".format(*map(figure, losses))
        sturdier = labelled("sturdier", text)
    own = labelled("own power", _ladders(result)) if "own_powers" in result.proof else []
    return ["In brief", *sturdier, *own, *on_air_brief(result.on_air, "Left out of the search")]


def _to_set(result: Assessment) -> list[str]:
    head, *lines = what_to_set(result.strategy, result.mask_words, _steps(result.standing))
    return ["Not to be set" if result.headline.set.startswith("Nothing") else head, *lines]


def _sturdier(result: Assessment) -> list[str]:
    """The strategy that stands drift better at little cost, or that none was found in time."""
    found, bound = result.sturdier, result.proof.get("sturdier_bound")
    if found is None:
        over, guarded = result.per_pass, result.standing.guarded.loss
        if bound is None or bound >= (guarded if over is None else over.guarded_loss):
            return []
        text = (
            "whether a strategy stands drift better at little cost is open: the search for it was "
            "cut short"
        )
        return ["Sturdier", *paragraph(text)]
    setting = what_to_set(found.strategy, found.mask_words)[1:]
    least = found.bound if found.over is None else found.over.bound
    open_ = "" if found.proven else f" (one down to {figure(least)} is not ruled out)"
    return [
        "Sturdier, in place of the above",
        *labelled("gives up", found.gives_up),
        *labelled("gains", found.gains + open_),
        *setting,
    ]


def evaluation_text(
    evaluation: Evaluation, policy: Policy, name: str, *, detail: bool = False
) -> str:
    """An evaluation of a given strategy, which goes by a name, in lines of 80 columns; `detail`
    adds what is rarely read."""
    standing, on_air = evaluation.standing, evaluation.on_air
    return "\n".join(
        [
            *heading(evaluation.read_point, name),
            *what_to_set(evaluation.strategy, (), _steps(standing)),
            *_what_it_does(evaluation.outcome, policy),
            *warning_lines(evaluation.warnings),
            *(
                [*standing_lines(standing), *on_air_lines(on_air)]
                if detail
                else ["In brief", *guarded_line(standing), *on_air_brief(on_air, "Above it")]
            ),
            *caution_lines(),
        ]
    )


def caution_lines() -> list[str]:
    """What to mind before anything is installed."""
    return ["Caution", *paragraph(CAUTION)]


def _steps(standing: Standing) -> tuple[float, ...]:
    return () if standing.predicted is None else standing.predicted.steps_dbm


def what_to_set(
    strategy: Strategy, mask_words: Sequence[str] = (), predicted: Sequence[float] = ()
) -> list[str]:
    """A strategy in lines of 80 columns below a head; `mask_words` as in a result.

    `predicted` are the levels (dBm) that were not surveyed; they are marked.
    """
    marks = [" (predicted)" if level in predicted else "" for level in strategy.levels_dbm]
    named = zip(strategy.levels_dbm, marks, strict=True)
    levels = ", ".join(f"{figure(level)}{mark}" for level, mark in named)
    steps = len(strategy.levels_dbm)
    lines = ["To set"]
    if steps == 1:
        lines += labelled("power", f"{figure(strategy.levels_dbm[0])} dBm, fixed{marks[0]}")
    else:
        lines += labelled("power", f"step ladder: {levels} dBm, in this order")
        tags = "1 tag is" if strategy.stop_after == 1 else f"{strategy.stop_after} tags are"
        lines += labelled("stop", f"once {tags} accepted in all steps so far, else after the last")
    for label, text in (*listening(strategy), *antenna_settings(strategy)):
        lines += labelled(label, text)
    lines += labelled("cutoff", cutoff_words(strategy))
    return lines + _masks(strategy.masks, mask_words)


def _masks(masks: Sequence[Mask], words: Sequence[str]) -> list[str]:
    """The chain, mask by mask; `words` say what each stands for and may be lacking."""
    if not masks:
        return labelled("masks", "none")
    mixed = len({mask.join for mask in masks[1:]}) > 1
    on_epc = any(mask.bank == "epc" for mask in masks)
    note = f" (pointers as on the air: the EPC begins at bit {EPC_START})" if on_epc else ""
    order = ", taken one after the other," if mixed else ""
    lines = labelled("masks", f"keep a tag when{order}{note}")
    for number, mask in enumerate(masks, 1):
        begin = f"{number}. {mask.join or '':<3} " if len(masks) > 1 else ""
        said = f" ({words[number - 1]})" if words else ""
        lines += paragraph(f"{begin}{mask_text(mask)}{said}", 12, len(begin))
    return lines


def _what_it_does(outcome: Outcome, policy: Policy) -> list[str]:
    missed_in = [p.pass_id for p in outcome.by_pass if p.missed]
    stray_in = [p.pass_id for p in outcome.by_pass if p.stray]
    rate = outcome.missed_rate
    share = "" if rate is None else f" ({_percent(rate)})"
    weights = policy.loss
    loss = f"{figure(outcome.loss)} = {figure(weights.missed)} x {outcome.missed} missed + "
    return [
        f"In this survey of {_count(outcome.passes, 'pass', 'passes')}",
        *labelled(
            "missed", f"{outcome.missed} of {outcome.wanted} wanted{share}{_passes(missed_in)}"
        ),
        *labelled(
            "stray",
            f"{outcome.stray} of {outcome.stray_presented} stray reported "
            f"({outcome.stray_rate:.3g} a pass){_passes(stray_in)}",
        ),
        *labelled("loss", f"{loss}{figure(weights.stray)} x {outcome.stray} stray"),
        *_resting(outcome),
        *_limits(outcome, policy),
    ]


def _in_conditions(result: Assessment) -> list[str]:
    """What to expect in each condition."""
    lines: list[str] = []
    if result.conditions is not None:
        lines += ["In each condition", *paragraph(result.conditions.sentence)]
        for one in result.conditions.each:
            text = (
                f"loss {figure(round(one.loss_a_pass, 3))} a pass; {one.missed} of {one.wanted} "
                f"missed, {one.stray} stray in {_count(one.passes, 'pass', 'passes')}"
            )
            lines += paragraph(f"{plain(one.condition)}: {text}", 2, 2)
    return lines


def _resting(outcome: Outcome) -> list[str]:
    """Which of the counts rest on reads that were predicted."""
    rest = outcome.predicted
    if rest is None or not rest.passes:
        return []
    text = (
        f"{rest.missed} of {outcome.missed} missed, {rest.wanted - rest.missed} of "
        f"{outcome.wanted - outcome.missed} wanted reported and {rest.stray} of {outcome.stray} "
        f"stray reported rest on reads that were not measured, in "
        f"{_count(rest.passes, 'pass', 'passes')}"
    )
    return labelled("predicted", text)


def _limits(outcome: Outcome, policy: Policy) -> list[str]:
    """The hard limits with the rates that they cap: kept, or exceeded by how much."""
    limits, rate = policy.limits, outcome.missed_rate
    lines: list[str] = []
    if limits.missed_rate_max is not None and rate is not None:
        over = rate - limits.missed_rate_max
        verdict = f"EXCEEDED by {100 * over:.3g} points" if over > 0 else "kept"
        text = f"missed rate {_percent(rate)}, at most {_percent(limits.missed_rate_max)}"
        lines += labelled("limit", f"{text}: {verdict}")
    if limits.stray_rate_max is not None:
        over = outcome.stray_rate - limits.stray_rate_max
        verdict = f"EXCEEDED by {over:.3g}" if over > 0 else "kept"
        text = f"stray {outcome.stray_rate:.3g} a pass, at most {limits.stray_rate_max:.3g}"
        lines += labelled("limit", f"{text}: {verdict}")
    return lines


def unseen_lines(unseen: Unseen | None) -> list[str]:
    """How the masks hold for tags they were not fitted to, with the intervals of the rates."""
    if unseen is None:
        return []
    held = [("fitted", unseen.fitted), ("held-out tags", unseen.by_tag)]
    held += [("held-out kinds", unseen.by_class)]
    known = [(name, one) for name, one in held if one is not None]
    return [
        "The masks alone, on fitted and on held-out tags (95 % intervals)",
        f"  {'':<17}{'wanted rejected':<30}stray let through",
        *(
            f"  {name:<17}{_rate(one.wanted_rejected):<30}{_rate(one.stray_let_through)}"
            for name, one in known
        ),
    ]


def _rate(rate: Rate) -> str:
    said = f"{rate.events} of {rate.trials}"
    return f"{said} ({_percent(rate.low)} to {_percent(rate.high)})" if rate.trials else said


def _proof(result: Assessment, policy: Policy) -> str:
    how = f"({_PROVERS[result.proof['by']]}, {result.seconds:.1f} s)"
    among = f"no strategy among {_searched(result, policy)}"
    over = result.proof.get("over")
    if over is not None:
        among = f"over {over}, {among}"
    if result.status in ("optimal", "silent"):
        least = result.bound
        alike = least >= result.loss or over is not None
        lower = "lower loss" if alike else f"loss below {figure(least)}"
        return f"Proven: {among} has a {lower} {how}."
    if result.status == "feasible" and over is not None:
        return f"Not proven: {_SHORT} {how}. Whether {among} has a lower loss is open."
    if result.status == "feasible":
        return (
            f"Not proven: {_SHORT} {how}. {among[0].upper()}{among[1:]} has a loss below "
            f"{figure(result.bound)}; this one has {figure(result.loss)}, a gap of "
            f"{_percent(result.gap)}."
        )
    if result.status == "infeasible":
        return f"Proven: {among} keeps the limits, and none exceeds them less {how}."
    return (
        f"Not proven: {_SHORT} {how}. Whether a strategy among "
        f"{_searched(result, policy)} keeps the limits is open. Allow more time."
    )


def _own_powers(result: Assessment) -> list[str]:
    """What is proven of own powers, and over what."""
    own = result.proof.get("own_powers")
    if own is None:
        return []
    loss, bound = own["loss_at_one_level"], own["bound_at_one_level"]
    least = f"none below {figure(bound)} (the best found: {figure(loss)})"
    return paragraph(
        "Own power and cutoff of each antenna: at one level each, with any "
        f"masks, {figure(loss) + ' is the least loss' if bound >= loss else least}. "
        f"{_ladders(result)}"
    )


def _ladders(result: Assessment) -> str:
    """Which ladders were searched with own powers."""
    own = result.proof["own_powers"]
    if own["ladders"] == "all":
        return f"{ALL_SEARCHED}."
    least = own.get("bound_of_ladders", 0)
    return f"{OWN_SEARCHED}{f', none of which loses less than {figure(least)}' if least else ''}."


def _searched(result: Assessment, policy: Policy) -> str:
    searched, reader, time = result.searched, policy.reader, result.on_air.time
    steps = reader.ladder_steps_max if "ladder" in policy.allow else 1
    if time is not None and time.steps_max is not None:
        steps = time.steps_max[0]
    levels = _count(searched["levels"], "level", "levels")
    slots = min(reader.mask_slots, searched["masks"])
    if time is not None and time.steps_max is not None:
        slots = min(slots, len(time.steps_max) - 1)
    ladder = "" if steps == 1 or searched["levels"] == 1 else f" (up to {steps} steps)"
    chain = f" (up to {slots} in a chain)" if searched["masks"] else ""
    if scores := searched.get("scores"):
        chain += f", by {_count(scores, 'choice', 'choices')} of antennas and reads"
    if searched["levels_predicted"]:
        levels += f", {searched['levels_predicted']} of them predicted"
    return (
        f"{levels}{ladder}, {_count(searched['cutoffs'] - 1, 'cutoff', 'cutoffs')} and "
        f"{_count(searched['masks'], 'mask', 'masks')}{chain}"
    )


def warning_lines(warnings: Sequence[str]) -> list[str]:
    """A section of sentences; nothing where there are none."""
    lines = [line for text in warnings for line in paragraph(f"- {text}", hanging=2)]
    return ["Warnings", *lines] if lines else []


def _passes(names: Sequence[str]) -> str:
    if not names:
        return ""
    return f", in {_count(len(names), 'pass', 'passes')}: {some(names)}"


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def _percent(rate: float) -> str:
    return f"{100 * rate:.3g} %"
