"""From a survey of a UHF RFID read point to the proven best power, ladder, cutoff and masks.

The names listed in `__init__.pyi` are the library. Each is loaded when it is first used, so that
importing the package costs nothing (numpy, pandas and the solver together take most of a second).
"""

from __future__ import annotations

import importlib
import re
from pathlib import Path
from typing import Any

__version__ = "0.3.0"

_LISTED = Path(__file__).with_suffix(".pyi").read_text(encoding="utf-8")
_HOME = {
    name: home for home, name in re.findall(r"^from (\S+) import[\s(]+(\w+) as", _LISTED, re.M)
}
__all__ = list(_HOME)


def __getattr__(name: str) -> Any:
    """Load a public name from the module it lives in."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(importlib.import_module(_HOME[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
