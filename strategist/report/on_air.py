"""What a strategy is on the air, in words: lawful level, distance for exposure, time of a pass."""

from __future__ import annotations

import math

from strategist.radio.exposure import ExposureDistance, NoDistance
from strategist.radio.lawful import Lawful, PowerLimit
from strategist.radio.link import TAG_DBM
from strategist.radio.regions import CAUTION
from strategist.report.lines import labelled, paragraph
from strategist.survey.order import figure, some
from strategist.trust.intervals import percent
from strategist.trust.on_air import LadderTime, OnAir

__all__ = ["on_air_lines", "power_limit_text"]


def on_air_lines(on_air: OnAir, *, searched: bool = False) -> list[str]:
    """A section of a result or an evaluation, in lines of 80 columns."""
    fate = "Left out of the search" if searched else "Levels above it"
    lines = ["On the air", *_lawful(on_air.lawful, fate)]
    lines += labelled("exposure", _exposure(on_air.exposure))
    time = on_air.time
    unknown = "not known: time in site.json holds neither step_s nor link"
    return lines + labelled("time", unknown if time is None else _time(time))


def power_limit_text(limit: PowerLimit) -> str:
    """What is lawful and the distance to keep, in lines of 80 columns."""
    lines = ["Power and people", *_lawful(limit.lawful, "Above it")]
    if limit.level_dbm is not None:
        level = math.floor(limit.level_dbm * 100 + 1e-6) / 100
        lines += labelled("level", f"{figure(level)} dBm")
    lines += labelled("exposure", _exposure(limit.exposure))
    if limit.reach_m is not None:
        lines += labelled("reach", _reach(limit.reach_m))
    return "\n".join([*lines, "Caution", *paragraph(CAUTION)])


def _lawful(lawful: Lawful, fate: str) -> list[str]:
    text = lawful.level.reason
    if lawful.level.dbm is None:
        text += " Levels were not checked."
    elif lawful.levels_above_dbm:
        text += f" {fate}: {some([figure(level) for level in lawful.levels_above_dbm])} dBm."
    return labelled("lawful", text)


def _reach(metres: float) -> str:
    return (
        f"a tag of {TAG_DBM:g} dBm may answer from up to {metres:.1f} m in the antenna's best "
        "direction (free space; farther with reflections or a newer chip): what lies within it "
        "belongs in the survey."
    )


def _exposure(exposure: ExposureDistance | NoDistance) -> str:
    """The distance and its grounds; the JSON has all assumptions."""
    if isinstance(exposure, NoDistance):
        return exposure.caution
    ground = exposure.ground_factor
    field = "" if exposure.reference_v_m is None else f" or {exposure.reference_v_m:.3g} V/m"
    reflected = "no reflection" if ground == 1 else f"reflection x {ground:g} in power density"
    level = f"{exposure.reference_w_m2:.3g} W/m²{field} at {exposure.mhz:g} MHz"
    return (
        f"keep people {math.ceil(exposure.distance_m * 100) / 100:.2f} m away: nearer, the "
        f"{exposure.guideline.upper()} reference level for the general public ({level}, "
        f"{exposure.source}) may be exceeded, with {exposure.eirp_dbm:.1f} dBm e.i.r.p. all the "
        f"time in the antenna's best direction, far field, {reflected}. Implants and other devices "
        "may need more; a qualified person assesses the place."
    )


def _time(time: LadderTime) -> str:
    text = f"expected {_seconds(time.expected_s)} a pass; "
    if time.quantile is None:
        text += f"the whole ladder {_seconds(time.worst_s)}"
    else:
        text += (
            f"{100 * time.quantile:g} % of steps take {_seconds(time.step_worst_s)} or less, a "
            f"ladder of such steps {_seconds(time.worst_s)}"
        )
    if time.dwell_s is not None:
        verdict = "fits" if time.fits else "does NOT fit"
        text += f": {verdict} the {figure(time.dwell_s)} s of a pass"
    if time.tags_in_field is not None:
        failed = percent(time.failed_read_rate or 0.0)
        text += (
            f" (estimated, up to {time.tags_in_field} tags in the field, {failed} of reads fail)"
        )
    else:
        text += " (by step_s)"
    most = time.steps_max
    if most is not None and time.dwell_s is not None:
        steps, masks = (", ".join(map(str, numbers)) for numbers in (most, range(len(most))))
        alike = len(set(most)) == 1
        text += f"; up to {most[0] if alike else steps} steps were searched"
        text += "" if alike else f" with {masks} masks"
    return text


def _seconds(seconds: float) -> str:
    """Rounded up to three figures, so that a worst time is never printed too short."""
    if seconds <= 0:
        return "0 s"
    digits = 2 - math.floor(math.log10(seconds))
    return f"{math.ceil(seconds * 10**digits - 1e-6) / 10**digits:.10g} s"
