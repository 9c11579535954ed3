"""Libraries that are loaded when something of them is first asked for: to load one takes as long as
a small read point does."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np

__all__ = ["Late", "special"]

# They take a third of what scipy.special does.
_UNUSED = ("f2py", "testing")


class Late(ModuleType):
    """A module that is loaded when something of it is first asked for."""

    def __init__(self, name: str, load: Callable[[], ModuleType]) -> None:
        super().__init__(name)
        self._load = load

    def __getattr__(self, name: str) -> Any:
        value = getattr(self._load(), name)
        setattr(self, name, value)
        return value


def _special() -> ModuleType:
    """scipy.special, while parts of numpy that it lists and does not use are put off."""
    put_off = [name for name in _UNUSED if f"numpy.{name}" not in sys.modules]
    for name in put_off:
        part = Late(f"numpy.{name}", partial(_of_numpy, name))
        sys.modules[part.__name__] = part
        setattr(np, name, part)
    try:
        from scipy import special  # noqa: PLC0415 (slow to load)
    finally:
        for name in put_off:
            _forget(name)
    module: ModuleType = special
    return module


def _of_numpy(name: str) -> ModuleType:
    """The real part of numpy, should anything of it be asked for after all."""
    _forget(name)
    part: ModuleType = getattr(np, name)
    return part


def _forget(name: str) -> None:
    """Numpy as it was before a part was put off; what has been loaded meanwhile stays."""
    if isinstance(sys.modules.get(f"numpy.{name}"), Late):
        del sys.modules[f"numpy.{name}"]
        delattr(np, name)


if TYPE_CHECKING:
    from scipy import special
else:
    special = Late("scipy.special", _special)
