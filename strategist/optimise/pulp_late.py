"""PuLP, loaded when a model is first built: a search needs none, and loading it takes a good part
of what a small read point takes."""

from __future__ import annotations

import importlib
from types import ModuleType
from typing import TYPE_CHECKING, Any

__all__ = ["pulp"]


class _Late(ModuleType):
    """A module that is imported when something of it is first asked for."""

    def __getattr__(self, name: str) -> Any:
        value = getattr(importlib.import_module(self.__name__), name)
        setattr(self, name, value)
        return value


if TYPE_CHECKING:
    import pulp
else:
    pulp = _Late("pulp")
