"""PuLP and HiGHS, loaded when a model is first built: a search needs neither, and to load them
takes a good part of what a small read point takes."""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType
from typing import TYPE_CHECKING, Any

__all__ = ["highspy", "pulp"]


class _Late(ModuleType):
    """A module that is loaded when something of it is first asked for."""

    def __init__(self, name: str, load: Callable[[], ModuleType]) -> None:
        super().__init__(name)
        self._load = load

    def __getattr__(self, name: str) -> Any:
        value = getattr(self._load(), name)
        setattr(self, name, value)
        return value


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
    pulp, highspy = _Late("pulp", _pulp), _Late("highspy", _highspy)
