"""Answers as flat tables of their values, compared with what was recorded."""

from __future__ import annotations

import functools
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np

__all__ = ["changes", "drop", "flat", "read", "write"]

_Leaf = str | float | bool | None | list[Any]
_NEAR = 1e-7  # of a number: what is summed up elsewhere may differ in the last digits


def flat(value: Any, less: Sequence[str] = ()) -> dict[str, _Leaf]:
    """Each value by its path (`rates.missed`, `masks.0.start`), those of keys in `less` left out.

    Takes JSON, dataclasses and arrays; a list of plain values stays together.
    """
    found: dict[str, _Leaf] = {}

    def walk(path: str, value: Any) -> None:
        if is_dataclass(value) and not isinstance(value, type):
            value = {field.name: getattr(value, field.name) for field in fields(value)}
        if isinstance(value, np.ndarray | np.generic):
            value = value.tolist()
        if isinstance(value, Mapping):
            for key, item in value.items():
                if key not in less:
                    walk(f"{path}.{key}" if path else str(key), item)
            if not value:
                found[path] = "{}"
        elif isinstance(value, list | tuple | set | frozenset):
            items = sorted(value) if isinstance(value, set | frozenset) else list(value)
            if all(_is_plain(item) for item in items):
                found[path] = [_plain(item) for item in items]
            else:
                for number, item in enumerate(items):
                    walk(f"{path}.{number}", item)
        else:
            found[path] = _plain(value)

    walk("", value)
    return found


def _is_plain(value: Any) -> bool:
    return value is None or isinstance(value, str | float | int | np.generic)


def _plain(value: Any) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return float(f"{value:.12g}") if math.isfinite(value) else str(value)
    if value is None or isinstance(value, str | int):
        return value
    raise TypeError(f"{type(value).__name__} has no recorded form")


def changes(before: Mapping[str, _Leaf], after: Mapping[str, _Leaf]) -> list[str]:
    """A line for each value that is no longer the same."""
    nothing = "(none)"
    return [
        f"{path}: {before.get(path, nothing)!r} → {after.get(path, nothing)!r}"
        for path in dict.fromkeys([*before, *after])
        if not _same(before.get(path, nothing), after.get(path, nothing))
    ]


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_same, one, other))
    if (type(one) is float and type(other) in (float, int)) or type(other) is float:
        return type(one) in (float, int) and math.isclose(one, other, rel_tol=_NEAR, abs_tol=_NEAR)
    return type(one) is type(other) and bool(one == other)


def read(path: Path) -> dict[str, dict[str, _Leaf]]:
    """What was recorded in a file, by test; nothing where there is none."""
    return _read(path, path.stat().st_mtime_ns) if path.exists() else {}


@functools.lru_cache(maxsize=1)
def _read(path: Path, written: int) -> dict[str, dict[str, _Leaf]]:
    """`written`: a file is read once as it stands."""
    found: dict[str, dict[str, _Leaf]] = json.loads(path.read_text(encoding="utf-8"))
    return found


def write(path: Path, test: str, values: Mapping[str, _Leaf]) -> None:
    """Record what a test answers, a value a line."""
    _write(path, {**read(path), test: dict(values)})


def drop(path: Path, tests: Sequence[str]) -> None:
    """Remove what some tests answered."""
    _write(path, {name: values for name, values in read(path).items() if name not in tests})


def _write(path: Path, every: Mapping[str, Mapping[str, _Leaf]]) -> None:
    tests = (f"{json.dumps(name)}: {{\n{_lines(every[name])}\n}}" for name in sorted(every))
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("{\n" + ",\n".join(tests) + "\n}\n", encoding="utf-8")


def _lines(values: Mapping[str, _Leaf]) -> str:
    return ",\n".join(f"{json.dumps(path)}: {json.dumps(value)}" for path, value in values.items())
