"""What RSSI tells, as findings: separation for each tag type, offsets, clipping, coarse steps."""

from __future__ import annotations

import numpy as np

from strategist.survey.finding import Found
from strategist.survey.order import figure
from strategist.survey.records import Survey
from strategist.survey.rssi import area_at_equal_level, type_offsets
from strategist.survey.turn_on import TurnOn

__all__ = ["rssi_findings"]

CLIPPED_SHARE = 0.05  # of all reads at the one strongest or weakest value; common practice
READS_MIN = 30  # fewer reads say nothing of steps or clipping
STEP_DB = 1.0  # neighbouring RSSI values this far apart leave a cutoff little choice
PARTS, TELLS = 0.95, 0.7  # areas from which RSSI is said to part wanted from stray, or to help
INVERTED = 0.35  # and up to which the strays are said to be the stronger


def rssi_findings(survey: Survey, on: TurnOn) -> Found:
    """Separation in RSSI, offsets between tag types, clipped and coarse values."""
    yield from _separation(survey, on)
    yield from _offsets(survey, on)
    yield from _values(on)


def _separation(survey: Survey, on: TurnOn) -> Found:
    whole = area_at_equal_level(survey, on)
    if whole is None:
        return
    types = sorted({tag.tag_type for tag in survey.tags if tag.tag_type is not None})
    parts = []
    for name in types if len(types) > 1 else []:
        of_tag = np.array([tag.tag_type == name for tag in survey.tags], bool)
        one = area_at_equal_level(survey, on, of_tag[survey.roster_tag])
        if one is not None:
            parts.append(f"{name} {one.area:.2f}")
    each = f" (by tag type: {', '.join(parts)})" if parts else ""
    text = (
        f"RSSI: of a wanted and a stray tag read at the same level, the wanted one is the stronger "
        f"with a chance of {whole.area:.2f}{each}."
    )
    if whole.area >= PARTS:
        yield "note", "rssi_parts", text, "A cutoff parts them well."
    elif whole.area >= TELLS:
        advice = "A cutoff helps and does not part them: expect it to cost some wanted tags."
        yield "note", "rssi_helps", text, advice
    elif whole.area <= INVERTED:
        advice = "Do not build on a cutoff here: it would keep the strays, which are stronger."
        yield "note", "rssi_inverted", text, advice
    else:
        advice = "Do not build on a cutoff here: RSSI hardly tells wanted from stray."
        yield "note", "rssi_overlaps", text, advice


def _offsets(survey: Survey, on: TurnOn) -> Found:
    for one in type_offsets(survey, on):
        if one.real:
            way = "stronger" if one.offset_db > 0 else "weaker"
            text = (
                f"Tag types differ: {one.tag_type} answers {abs(one.offset_db):.1f} dB {way} than "
                f"{one.reference} at equal turn-on (95 %: {one.low_db:+.1f} to "
                f"{one.high_db:+.1f} dB, {one.tags} and {one.reference_tags} tags)."
            )
            advice = "A cutoff treats the types unequally: judge what it costs to leave it out."
            yield "note", "types_differ", text, advice


def _values(on: TurnOn) -> Found:
    """Values that pile up at an end, or lie far apart."""
    peaks = on.peaks[np.isfinite(on.peaks)]
    if len(peaks) < READS_MIN:
        return
    values, counts = np.unique(peaks, return_counts=True)
    share = counts / counts.sum()
    for place, name, neighbour in ((-1, "strongest", -2), (0, "weakest", 1)):
        piled = len(values) > 2 and share[place] >= CLIPPED_SHARE
        if piled and counts[place] >= 2 * counts[neighbour]:
            text = (
                f"RSSI is clipped: {share[place]:.0%} of reads have the {name} value, "
                f"{figure(values[place])} dBm."
            )
            advice = "No cutoff can work there: attenuate, or set the reader's range of RSSI."
            yield "weak", "rssi_clipped", text, advice
    if len(values) == 1:
        text = f"Every read has the same RSSI, {figure(values[0])} dBm."
        advice = "The reader does not report RSSI: turn its report on, or allow no cutoff."
        yield "weak", "rssi_constant", text, advice
    elif (step := float(np.diff(values).min())) >= STEP_DB:
        text = f"RSSI comes in steps of {figure(round(step, 6))} dB or more."
        advice = "A cutoff can be set no finer; leave a step of margin."
        yield "note", "rssi_coarse", text, advice
