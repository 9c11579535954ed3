"""What of a given strategy the reader cannot be set to."""

from __future__ import annotations

from strategist.optimise.strategy import Strategy
from strategist.survey.order import figure, some
from strategist.survey.policy import Reader

__all__ = ["not_settable"]


def not_settable(reader: Reader, strategy: Strategy) -> tuple[str, ...]:
    """Whole sentences on levels and a cutoff that are none of the reader's."""
    said = []
    levels = [figure(one) for one in strategy.levels_dbm if not reader.can_set_level(one)]
    if levels:
        said.append(
            f"The reader cannot be set to {some(levels)} dBm (see reader.power_levels_dbm in "
            "site.json)."
        )
    cutoff = strategy.cutoff_dbm
    if cutoff is not None and not reader.can_set_cutoff(cutoff):
        said.append(
            f"The reader cannot be set to a cutoff of {figure(cutoff)} dBm: it takes multiples of "
            f"{figure(reader.rssi_step_db or 0)} dB (reader.rssi_step_db in site.json; null for "
            "any cutoff)."
        )
    return tuple(said)
