"""How a strategy stands in a survey, and what it is on the air, in words."""

from __future__ import annotations

import math
from collections.abc import Callable

from strategist.radio.exposure import ExposureDistance, NoDistance
from strategist.radio.lawful import Lawful, PowerLimit
from strategist.radio.link import TAG_DBM
from strategist.radio.regions import CAUTION
from strategist.report.lines import labelled, paragraph
from strategist.survey.order import figure, some
from strategist.trust.evaluation import Standing
from strategist.trust.intervals import Rate, interval_words, percent
from strategist.trust.margins import PowerMargin, RssiMargin
from strategist.trust.on_air import LadderTime, OnAir

_LIMITS = {
    "icnirp": "the ICNIRP reference level for the general public",
    "fcc": "the FCC limit (MPE) for the general population",
}

_BRIEFLY = {"icnirp": "ICNIRP, general public", "fcc": "FCC, general population"}


def standing_lines(standing: Standing) -> list[str]:
    """How far the counts carry: two sections of a result, in lines of 80 columns."""
    rates = standing.rates
    lines = ["What these counts allow you to conclude (95 % confidence)"]
    for label, rate, each, sentence in (
        ("missed", rates.missed_by_tag, "of wanted tags", rates.sentences[0]),
        ("stray", rates.stray_by_pass, "of passes with a stray", rates.sentences[1]),
    ):
        between = f"{rate_words(rate)} {each}; " if rate.rate is not None else ""
        lines += labelled(label, between + sentence)
    lines += labelled("", _per_pass(rates.stray_per_pass))
    return [*lines, "Margins", *_guarded(standing), *margin_lines(standing)]


def rate_words(rate: Rate) -> str:
    """A rate with its interval, rounded outward: "1.7 % (0.042 to 9.0 %)"."""
    if rate.rate is None:
        return "unknown (no trials)"
    return f"{percent(rate.rate)} ({interval_words(rate)})"


def _per_pass(rate: Rate) -> str:
    """Strays a pass with their interval, rounded outward to two figures."""
    low, high = _two_figures(rate.low - 1e-9, math.floor), _two_figures(rate.high, math.ceil)
    return f"{_two_figures(rate.rate or 0.0, round)} strays a pass ({low} to {high})"


def _two_figures(number: float, towards: Callable[[float], int]) -> str:
    """A number with two figures: 0.0487 rounded up is "0.049", 12.3 is "13"; below 1e-6 "0"."""
    if number <= 1e-6:
        return "0"
    places = 1 - math.floor(math.log10(number))
    return f"{towards(number * 10**places) / 10**places:.{max(0, places)}f}"


def _guarded(standing: Standing) -> list[str]:
    guarded = standing.guarded
    text = (
        f"loss {figure(guarded.loss)} ({guarded.outcome.missed} missed, {guarded.outcome.stray} "
        f"stray) if every tag drifts the wrong way by the whole {figure(guarded.guard.power_db)} "
        f"dB of power and {figure(guarded.guard.rssi_db)} dB of RSSI"
    )
    if guarded.predicted is not None:
        text += (
            f" ({figure(guarded.predicted.power_db)} and {figure(guarded.predicted.rssi_db)} dB at "
            "predicted steps)"
        )
    for one in guarded.stand_ins:
        text += (
            f"; {figure(one.asked_dbm)} dBm ({one.role}) was not surveyed, "
            f"{figure(one.used_dbm)} stands in"
        )
    worst = standing.worst_case
    at_worst = (
        f"loss {figure(worst.loss)} ({worst.missed} missed, {worst.stray} stray): the most that "
        "drift can cost if each tag drifts its own way by no more than that"
    )
    return [*labelled("guarded", text), *labelled("at worst", at_worst)]


def margin_lines(standing: Standing) -> list[str]:
    """How far power and RSSI may move, in labelled lines of 80 columns."""
    margins = standing.margins
    lines: list[str] = []
    if margins.power_wanted is not None:
        lines += labelled("power", _power(margins.power_wanted, "lowered", "wanted"))
    if margins.power_stray is not None:
        label = "" if margins.power_wanted is not None else "power"
        lines += labelled(label, _power(margins.power_stray, "raised", "stray"))
    label = "rssi"
    for margin, text in (
        (margins.rssi_wanted, "the weakest wanted tag is {} dB above the cutoff"),
        (margins.rssi_stray, "the strongest stray it rejects is {} dB below"),
    ):
        if margin is not None:
            lines += labelled(label, text.format(figure(margin.db)) + _where(margin))
            label = ""
    return lines


def _power(margin: PowerMargin, way: str, role: str) -> str:
    holds = f"{figure(margin.holds_db)} dB"
    if margin.fails_db is None:
        if not margin.holds_db:
            end, most = ("lowest", "downwards") if way == "lowered" else ("highest", "upwards")
            return f"cannot be tested {most}: a step is the {end} level surveyed"
        fails = "missed" if role == "wanted" else "reported"
        return f"no further {role} tag is {fails} when {way} by {holds}, the most that was surveyed"
    more = f" and {margin.others} more" if margin.others else ""
    begin = f"{way} by {holds} it holds; by" if margin.holds_db else f"{way} by"
    verb = "are" if margin.others else "is"
    what = f"{verb} missed" if role == "wanted" else f"{verb} reported"
    return f"{begin} {figure(margin.fails_db)} dB, {role} {margin.epc}{_in(margin)}{more} {what}"


def _where(margin: RssiMargin) -> str:
    return f": {margin.epc}{_in(margin)}{' (predicted)' if margin.predicted else ''}"


def _in(margin: PowerMargin | RssiMargin) -> str:
    return f" in {margin.pass_id}"


def on_air_lines(on_air: OnAir, *, searched: bool = False) -> list[str]:
    """A section of a result or an evaluation, in lines of 80 columns."""
    fate = "Left out of the search" if searched else "Levels above it"
    lines = ["On the air", *_lawful(on_air.lawful, fate)]
    lines += labelled("exposure", _exposure(on_air.exposure))
    time = on_air.time
    unknown = "not known: time in site.json holds neither step_s nor rf_mode"
    return lines + labelled("time", unknown if time is None else _time(time))


def guarded_line(standing: Standing) -> list[str]:
    """The guarded loss, in one line."""
    found = standing.guarded
    drift = f"{figure(found.guard.power_db)} dB of power and {figure(found.guard.rssi_db)} dB RSSI"
    return labelled("guarded", f"loss {figure(found.loss)} if every tag drifts by {drift}")


def on_air_brief(on_air: OnAir, fate: str) -> list[str]:
    """A line each: the lawful level, the distance that people keep, the time of a pass; `fate` says
    what becomes of levels above it."""
    lawful, exposure, time = on_air.lawful, on_air.exposure, on_air.time
    lines = _lawful(lawful, fate)
    if lawful.level.dbm is not None:
        text = f"at most {figure(math.floor(100 * lawful.level.dbm) / 100)} dBm at the reader port"
        if lawful.levels_above_dbm:
            above = some([figure(level) for level in lawful.levels_above_dbm])
            text += f". {fate}: {above} dBm"
        lines = labelled("lawful", text)
    if isinstance(exposure, NoDistance):
        lines += labelled("exposure", exposure.caution)
    else:
        limit = _BRIEFLY[exposure.guideline]
        lines += labelled("exposure", f"keep people {_metres(exposure)} m away ({limit})")
    if time is None:
        return lines
    text = f"expected {_seconds(time.expected_s)} a pass, at most {_seconds(time.worst_s)}"
    if time.dwell_s is not None:
        fits = "fits" if time.fits else "does NOT fit"
        text += f": {fits} the dwell of {figure(time.dwell_s)} s"
    return lines + labelled("time", text)


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
        f"keep people {_metres(exposure)} m away: nearer, {_LIMITS[exposure.guideline]} ({level}, "
        f"{exposure.source}) may be exceeded, with {exposure.eirp_dbm:.1f} dBm e.i.r.p. all the "
        f"time in the antenna's best direction, far field, {reflected}. Implants and other devices "
        "may need more; a qualified person assesses the place."
    )


def _metres(exposure: ExposureDistance) -> str:
    """Rounded up to whole centimetres."""
    return f"{math.ceil(exposure.distance_m * 100) / 100:.2f}"


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
