"""A strategy in one line: in figures for a table, in words elsewhere."""

from __future__ import annotations

from strategist.answers.by_antenna import brief_score
from strategist.answers.headline import setting_words
from strategist.optimise.strategy import Strategy
from strategist.survey.order import figure

__all__ = ["brief", "in_words"]


def in_words(strategy: Strategy) -> str:
    """A strategy as the headline has it, as part of a sentence."""
    words = setting_words(strategy)
    return f"{words[0].lower()}{words[1:]}"


def brief(strategy: Strategy) -> str:
    """A strategy in some 28 columns: levels, antennas, cutoff (dBm, or dB of difference), masks."""
    parts = ["/".join(figure(level) for level in strategy.levels_dbm)]
    if (score := brief_score(strategy)) is not None:
        parts.append(score)
    if strategy.cutoff is not None:
        parts.append(f"cut {figure(strategy.cutoff)}")
    if strategy.masks:
        parts.append(f"{len(strategy.masks)} mask{'s' if len(strategy.masks) > 1 else ''}")
    return ", ".join(parts)
