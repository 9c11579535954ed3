"""PuLP and HiGHS, loaded when a model is first built: a search needs neither, and to load them
takes a good part of what a small read point takes."""

from __future__ import annotations

from types import ModuleType
from typing import TYPE_CHECKING

from strategist.survey.late import Late

__all__ = ["highspy", "pulp"]


def _pulp() -> ModuleType:
    import pulp  # noqa: PLC0415 (slow to load)

    module: ModuleType = pulp
    return module


def _highspy() -> ModuleType:
    import highspy  # noqa: PLC0415 (slow to load)

    module: ModuleType = highspy
    return module


if TYPE_CHECKING:
    import highspy
    import pulp
else:
    pulp, highspy = Late("pulp", _pulp), Late("highspy", _highspy)
