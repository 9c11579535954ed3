"""Is the survey whole? What is lacking in it, odd, or copied."""

from __future__ import annotations

import numpy as np

from strategist.survey.findings import Found
from strategist.survey.many import by_cell, strongest
from strategist.survey.numbering import ADVICE, Shift, shift_of
from strategist.survey.order import figure, some
from strategist.survey.records import Bools, Survey
from strategist.survey.suspected import suspected

PASSES_MIN = 30  # below this even a faultless survey leaves a true rate near 10 % possible

COPY_READS_MIN = 5  # fewer reads than this may well come out equal twice by chance


def zero_event_bound(trials: int) -> float:
    """Upper bound (one-sided, 95 %) of a rate of which no case was seen in `trials` trials.

    1 − 0.05^(1/n): Hanley & Lippman-Hand, "If nothing goes wrong, is everything all right?",
    JAMA 249 (1983), 1743–1745. Raises ValueError below one trial.
    """
    if trials < 1:
        raise ValueError("trials: 1 or more")
    return float(1 - 0.05 ** (1 / trials))


def soundness(survey: Survey) -> Found:
    """Passes numbered wrongly, units mistaken; pairs, levels, roles, reads lacking or odd."""
    shift = _shift(survey)
    if shift is not None:
        yield "weak", "passes_shifted", shift.text(survey.pass_ids), ADVICE
    yield from suspected(survey)
    yield from _coverage(survey)
    yield from _classes(survey)
    yield from _reads(survey, shift)
    yield from _amount(survey)


def _shift(survey: Survey) -> Shift | None:
    """Whether roster and reads number the passes differently."""
    listed = survey.roster_listed
    return shift_of(
        np.column_stack([survey.roster_pass, survey.roster_tag])[listed],
        survey.roster_wanted[listed],
        np.column_stack([*strongest(survey).cell]),
        len(survey.pass_ids),
    )


def _coverage(survey: Survey) -> Found:
    """Pairs that were not surveyed, and levels at which nothing was read."""
    pairs = survey.untried_pairs()
    if pairs:
        listed = some([f"{pass_id} at {figure(level)} dBm" for pass_id, level in pairs])
        text = f"{len(pairs)} of {survey.tried.size} pairs of pass and level were not surveyed: "
        advice = "Survey them, or let untried leave out their levels or their passes."
        yield "weak", "untried", f"{text}{listed}.", advice
    read = np.bincount(survey.read_level, minlength=len(survey.levels_dbm)) > 0
    silent = [figure(level) for level in survey.levels_dbm[~read & survey.tried.any(axis=0)]]
    if silent:
        text = f"At {len(silent)} of {len(read)} levels nothing was read: {some(silent)} dBm."
        yield "note", "silent_levels", text, "Check that the reader was on at these levels."


def _classes(survey: Survey) -> Found:
    """Roles that do not occur, in the survey or in a pass."""
    wanted = survey.roster_wanted
    if not wanted.any():
        text = f"None of the {len(wanted)} tags presented is wanted."
        yield "weak", "no_wanted", text, "List the tags that belong there with the role wanted."
    if wanted.all():
        text = f"None of the {len(wanted)} tags presented is a stray."
        advice = "Survey with the neighbouring tags in place, or stray reads cannot be judged."
        yield "weak", "no_stray", text, advice
    without = np.bincount(survey.roster_pass[wanted], minlength=len(survey.pass_ids)) == 0
    if wanted.any() and without.any():
        named = some(sorted(survey.pass_ids[p] for p in np.flatnonzero(without)))
        text = f"{without.sum()} of {len(without)} passes have no wanted tag: {named}."
        yield "note", "passes_without_wanted", text, "Check the roster unless they were empty runs."


def _reads(survey: Survey, shift: Shift | None) -> Found:
    """Wanted tags that no level reads, and strays that no roster lists."""
    entry = survey.roster_pass * len(survey.tags) + survey.roster_tag
    heard = strongest(survey)
    read = np.isin(entry, heard.read_pass * len(survey.tags) + heard.tag)
    unread = survey.roster_wanted & ~read
    if unread.any():
        was, it = ("was", "it") if unread.sum() == 1 else ("were", "them")
        text = (
            f"{unread.sum()} of {survey.roster_wanted.sum()} wanted tags presented {was} read at "
            f"no level ({_epcs(survey, unread, 1)}): every strategy misses {it}."
        )
        advice = (
            "Check the tags read at no level, and the antennas, or survey higher levels where that "
            "is lawful."
        )
        if shift is not None:
            advice = "Settle the numbering of the passes before you check tags or antennas."
        yield "weak", "wanted_never_read", text, advice
    unlisted = ~survey.roster_listed
    if unlisted.any():
        text = (
            f"{unlisted.sum()} of {(~survey.roster_wanted).sum()} strays presented are tags read "
            f"without being on the roster ({_epcs(survey, unlisted)})."
        )
        yield "note", "strays_unlisted", text, "Find out where they are, or list them as stray."


def _amount(survey: Survey) -> Found:
    """Too few passes, and passes that are copies."""
    passes = len(survey.pass_ids)
    if passes < PASSES_MIN:
        text = (
            f"Only {passes} pass{'es' * (passes > 1)}: a failure seen in none of them may still "
            f"come in up to {100 * zero_event_bound(passes):.3g} % of passes (95 % confidence)."
        )
        yield "weak", "few_passes", text, f"Survey at least {PASSES_MIN} passes."
    copies = _copies(survey)
    if copies:
        text = f"{len(copies)} of {passes} passes repeat another to the last read: {some(copies)}."
        yield "weak", "repeated_passes", text, "Make sure that no pass was copied."


def _epcs(survey: Survey, entries: Bools, shown: int = 3) -> str:
    epcs = sorted(survey.tags[t].epc for t in np.unique(survey.roster_tag[entries]))
    more = f", … ({len(epcs)} in all)" if len(epcs) > shown else ""
    return f"EPC {', '.join(epcs[:shown])}{more}"


def _copies(survey: Survey) -> list[str]:
    """Ids of passes whose roster and reads equal those of an earlier pass."""
    seen: set[bytes] = set()
    copies: list[str] = []
    order = by_cell(survey)
    level, tag, rssi = survey.read_level[order], survey.read_tag[order], survey.read_rssi[order]
    ends = np.searchsorted(survey.read_pass[order], np.arange(len(survey.pass_ids) + 1))
    entries = np.lexsort((survey.roster_tag, survey.roster_pass))
    roster = np.column_stack([survey.roster_tag, survey.roster_wanted])[entries]
    stops = np.searchsorted(survey.roster_pass[entries], np.arange(len(survey.pass_ids) + 1))
    for pass_id, p in sorted((pass_id, p) for p, pass_id in enumerate(survey.pass_ids)):
        if ends[p + 1] - ends[p] < COPY_READS_MIN:
            continue
        content = b"|".join(one[ends[p] : ends[p + 1]].tobytes() for one in (level, tag, rssi))
        key = content + b"|" + roster[stops[p] : stops[p + 1]].tobytes()
        if key in seen:
            copies.append(pass_id)
        seen.add(key)
    return copies
