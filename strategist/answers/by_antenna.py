"""Settings by antenna in words: which are on, at what power, and what their reads are held to."""

from __future__ import annotations

from collections.abc import Sequence

from strategist.optimise.strategy import Strategy
from strategist.survey.order import figure
from strategist.survey.policy import DECIMALS
from strategist.survey.score import Difference, Nth, Peak

__all__ = [
    "antenna_settings",
    "brief_score",
    "cutoff_words",
    "listening",
    "named",
    "score_words",
]


def antenna_settings(strategy: Strategy) -> list[tuple[str, str]]:
    """Labels and texts, to be set in this order; none where all antennas are taken together."""
    score = strategy.score
    if score is None:
        return []
    rows = []
    if score.on is not None:
        rows.append(("antennas", f"{_list(score.on)} on; no other may radiate"))
    if isinstance(score, Peak) and (score.trim_db or score.offset_db):
        rows += _own(strategy, score)
    elif isinstance(score, Nth):
        held = "" if strategy.cutoff is None else f" of {figure(strategy.cutoff)} dBm or stronger"
        text = f"keep a tag once it has {score.n} reads{held} at a step, by whichever antenna"
        rows.append(("count", text))
    elif isinstance(score, Difference):
        rows.append(("compare", _compared(strategy, score)))
    return rows


def listening(strategy: Strategy) -> list[tuple[str, str]]:
    """How long a step listens, as a label and a text; none where the policy leaves no choice."""
    if strategy.step_s is None:
        return []
    text = f"{figure(strategy.step_s)} s at each step (each antenna, where they take turns)"
    return [("listen", text)]


def _own(strategy: Strategy, score: Peak) -> list[tuple[str, str]]:
    """Power and cutoff of each antenna that is named."""
    trims, offsets = dict(score.trim_db), dict(score.offset_db)
    rows = []
    for antenna in score.antennas or sorted({*trims, *offsets}):
        levels = [round(x + trims.get(antenna, 0.0), DECIMALS) for x in strategy.levels_dbm]
        text = f"{', '.join(map(figure, levels))} dBm"
        if strategy.cutoff_dbm is not None:
            cutoff = round(strategy.cutoff_dbm + offsets.get(antenna, 0.0), DECIMALS)
            text += f"; drop its reads below {figure(cutoff)} dBm"
        rows.append((f"ant. {antenna}", text))
    return rows


def _compared(strategy: Strategy, score: Difference) -> str:
    floor = score.floor_dbm
    weak = "the weakest RSSI of the survey less 1 dB" if floor is None else f"{figure(floor)} dBm"
    least = strategy.cutoff
    kept = "any difference" if least is None else f"{figure(least)} dB or more"
    return (
        f"for each tag at each step, the strongest RSSI of {named(score.antennas)} less the "
        f"strongest of {named(score.against)}; a side without a read, or with a weaker one, counts "
        f"as {weak}. Keep a tag with {kept}"
    )


def cutoff_words(strategy: Strategy) -> str:
    """The cutoff; where it is no single RSSI, what it is instead."""
    if strategy.cutoff is None:
        return "none"
    score = strategy.score
    if isinstance(score, Difference):
        return f"{figure(strategy.cutoff)} dB of difference"
    if isinstance(score, Nth):
        return f"{figure(strategy.cutoff)} dBm for each read that counts"
    if isinstance(score, Peak) and score.offset_db:
        return "each antenna its own"
    return f"{figure(strategy.cutoff)} dBm: drop every read with a weaker RSSI"


def brief_score(strategy: Strategy) -> str | None:
    """The score in a few characters; None where all antennas are taken together."""
    score = strategy.score
    if isinstance(score, Difference):
        return f"ant {_plus(score.antennas)} less {_plus(score.against)}"
    if isinstance(score, Nth):
        return f"{score.n} reads"
    if score is None or score.antennas is None:
        return None
    own = " own" if score.trim_db or score.offset_db else ""
    return f"ant {_plus(score.antennas)}{own}"


def score_words(strategy: Strategy) -> str | None:
    """The score in words; None where all antennas are taken together."""
    score = strategy.score
    if isinstance(score, Difference):
        return f"{named(score.antennas)} less {named(score.against)}"
    if isinstance(score, Nth):
        return f"{score.n} reads of a tag"
    if score is None or score.antennas is None:
        return None
    own = ", each with its own power or cutoff" if score.trim_db or score.offset_db else ""
    return f"{named(score.antennas)} alone{own}"


def named(antennas: Sequence[int]) -> str:
    """One antenna, or several, by number."""
    return f"antenna{'s' if len(antennas) > 1 else ''} {_list(antennas)}"


def _list(antennas: Sequence[int]) -> str:
    *most, last = map(str, antennas)
    return f"{', '.join(most)} and {last}" if most else last


def _plus(antennas: Sequence[int]) -> str:
    return "+".join(map(str, antennas))
