"""A strategy in a few words."""

from __future__ import annotations

from strategist.answers.by_antenna import brief_score
from strategist.optimise.strategy import Strategy
from strategist.survey.order import figure


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
