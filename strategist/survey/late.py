"""Libraries that are loaded when something of them is first asked for: to load one takes as long as
a small read point does."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from threading import Lock
from types import ModuleType
from typing import TYPE_CHECKING, Any

__all__ = ["Late", "optimize", "special", "stats"]

_loading = Lock()


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
    """The functions of scipy.special by themselves: with the rest of that package, which serves
    arrays of other libraries, they take ten times as long to load. All of it where they stand
    elsewhere in another version."""
    import scipy  # noqa: PLC0415 (slow to load)

    package = ModuleType("scipy.special")
    package.__path__ = [str(Path(scipy.__file__).with_name("special"))]
    with _loading:  # nobody may take for the package what stands in for it
        alone = sys.modules.setdefault(package.__name__, package) is package
        try:
            from scipy.special import _ufuncs  # noqa: PLC0415
        except ImportError:
            pass
        else:
            functions: ModuleType = _ufuncs
            return functions
        finally:
            if alone:
                del sys.modules[package.__name__]
        from scipy import special as whole  # noqa: PLC0415
    module: ModuleType = whole
    return module


def _stats() -> ModuleType:
    with _loading:
        from scipy import stats  # noqa: PLC0415 (slow to load)
    module: ModuleType = stats
    return module


def _optimize() -> ModuleType:
    with _loading:
        from scipy import optimize  # noqa: PLC0415 (slow to load)
    module: ModuleType = optimize
    return module


if TYPE_CHECKING:
    from scipy import optimize, special, stats
else:
    special = Late("scipy.special", _special)
    stats = Late("scipy.stats", _stats)
    optimize = Late("scipy.optimize", _optimize)
