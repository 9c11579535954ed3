"""Compiled loops beside the same lines run as Python."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType


def as_python(module: ModuleType) -> ModuleType:
    """The source of a compiled module, run as it stands."""
    name = module.__name__.rsplit(".", maxsplit=1)[-1]
    path = Path(str(module.__file__)).with_name(f"{name}.py")
    spec = importlib.util.spec_from_file_location(f"as_python_{name}", path)
    assert spec and spec.loader
    source = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(source)
    return source
