"""Parts of a read point, and who chooses for them."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from strategist.optimise.strategy import Strategy
from strategist.survey.records import ReadPoint

__all__ = ["Chooser"]

# The best strategy of each of several completely surveyed read points, in their order. Whoever
# judges a choice is handed one: `trust` knows the optimiser by its strategies alone.
Chooser = Callable[[Sequence[ReadPoint]], Sequence[Strategy]]
