"""Rates with intervals, guards and margins in words."""

from __future__ import annotations

import math
from collections.abc import Callable

from strategist.report.lines import labelled
from strategist.survey.order import figure
from strategist.trust.intervals import Rate, interval_words, percent
from strategist.trust.margins import PowerMargin, RssiMargin
from strategist.trust.standing import Standing

__all__ = ["margin_lines", "rate_words", "standing_lines"]


def standing_lines(standing: Standing) -> list[str]:
    """How far the counts carry: two sections of a result, in lines of 80 columns."""
    rates = standing.rates
    lines = ["How far the counts carry (95 % confidence)"]
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
        return f"{way} by {holds}, all that was surveyed, no further {role} tag fails"
    more = f" and {margin.others} more" if margin.others else ""
    begin = f"{way} by {holds} it holds; by" if margin.holds_db else f"{way} by"
    verb = "are" if margin.others else "is"
    what = f"{verb} missed" if role == "wanted" else f"{verb} reported"
    return f"{begin} {figure(margin.fails_db)} dB, {role} {margin.epc}{_in(margin)}{more} {what}"


def _where(margin: RssiMargin) -> str:
    return f": {margin.epc}{_in(margin)}{' (predicted)' if margin.predicted else ''}"


def _in(margin: PowerMargin | RssiMargin) -> str:
    return f" in {margin.pass_id}"
