"""What a strategy is on the air, in words: lawful level, distance for exposure, time of a pass."""

from __future__ import annotations

import math

from strategist.radio.exposure import ExposureDistance
from strategist.report.lines import labelled
from strategist.survey.order import figure, some
from strategist.trust.on_air import LadderTime, OnAir

__all__ = ["on_air_lines"]


def on_air_lines(on_air: OnAir, *, searched: bool = False) -> list[str]:
    """A section of a result or an evaluation, in lines of 80 columns."""
    lawful, exposure = on_air.lawful, on_air.exposure
    text = lawful.level.reason
    if lawful.level.dbm is None:
        text += " Levels were not checked."
    elif lawful.above_dbm:
        levels = some([figure(level) for level in lawful.above_dbm])
        fate = "left out of the search" if searched else "above it"
        text += f" Surveyed and {fate}: {levels} dBm."
    lines = ["On the air", *labelled("lawful", text)]
    said = exposure if isinstance(exposure, str) else _exposure(exposure)
    lines += labelled("exposure", said)
    time = on_air.time
    unknown = "not known: time in site.json holds neither step_s nor link"
    return lines + labelled("time", unknown if time is None else _time(time))


def _exposure(exposure: ExposureDistance) -> str:
    """The distance and its grounds; the JSON has all assumptions."""
    ground = exposure.ground_factor
    reflected = "no reflection" if ground == 1 else f"reflection x {ground:g} in power density"
    return (
        f"keep people {math.ceil(exposure.metres * 100) / 100:.2f} m away: nearer, the "
        f"{exposure.guideline.upper()} reference level for the general public "
        f"({exposure.reference_w_m2:.3g} W/m² at {exposure.mhz:g} MHz, {exposure.source}) may be "
        f"exceeded, with {exposure.eirp_dbm:.1f} dBm e.i.r.p. all the time in the antenna's best "
        f"direction, far field, {reflected}. Implants and other devices may need more; a qualified "
        "person assesses the place."
    )


def _time(time: LadderTime) -> str:
    text = f"expected {_seconds(time.expected_s)} a pass, at worst {_seconds(time.worst_s)}"
    if time.dwell_s is not None:
        verdict = "fits" if time.fits else "does NOT fit"
        text += f": {verdict} the {figure(time.dwell_s)} s of a pass"
    if time.tags is not None:
        text += f" (estimated, up to {time.tags} tags in the field)"
    else:
        text += " (by step_s)"
    most = time.steps_max
    if most is not None and time.dwell_s is not None:
        text += f"; steps searched with 0, 1, … masks: {', '.join(map(str, most))}"
    return text


def _seconds(seconds: float) -> str:
    """Rounded up to three figures, so that a worst time is never printed too short."""
    if seconds <= 0:
        return "0 s"
    digits = 2 - math.floor(math.log10(seconds))
    return f"{math.ceil(seconds * 10**digits - 1e-6) / 10**digits:.10g} s"
