"""What makes a command begin and end sooner: libraries are spared what they load and do not need
here, and garbage is seldom looked for."""

from __future__ import annotations

import atexit
import contextlib
import dataclasses
import functools
import gc
import os
import sys
from collections.abc import Callable, Iterator
from types import ModuleType
from typing import Any

_COLLECT = (100_000, 20, 100)  # as Python sets it, that takes 30 ms of a start
_METADATA, _MASKED = "importlib.metadata", "numpy.ma"
_TYPING = "numpy._typing"
_WRITES = "_create_fn"  # in dataclasses before Python 3.13, which writes all at once
_DOCS = ("numpy._core._add_newdocs", "numpy._core._add_newdocs_scalars")


def begin() -> None:
    """Load numpy and pydantic, which every command needs; look for garbage less often, since what
    is loaded stays, and at the end not at all, which takes another 30 ms. For a process of its own:
    what is changed of other modules stays."""
    gc.set_threshold(*_COLLECT)
    atexit.unregister(gc.freeze)  # of a command before it in the same process
    atexit.register(gc.freeze)
    _write_methods_later()
    _load_pydantic()
    _load_numpy()


def _write_methods_later() -> None:
    """Of a class of data all methods but `__init__` are written when they are called: `dataclasses`
    compiles six of each, 30 ms of a hundred classes, and most are never called."""
    write = vars(dataclasses).get(_WRITES)
    if write is not None and not isinstance(write, functools.partial):
        vars(dataclasses)[_WRITES] = functools.partial(_written, write)


def _written(write: Callable[..., Any], name: str, *text: Any, **names: Any) -> Callable[..., Any]:
    made = functools.cache(lambda: write(name, *text, **names))

    def method(self: object, *others: object) -> Any:
        return made()(self, *others)

    method.__name__ = name
    return made() if name == "__init__" else method


def _load_pydantic() -> None:
    """Without a search for plugins, which takes 50 ms, and without what that would read the
    metadata of packages with, 20 ms."""
    if os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__") != "__all__":
        return
    holds = {"entry_points": None}  # imported, and not called
    with contextlib.suppress(ImportError), _standing_in(_METADATA, **holds):
        import pydantic.plugin._loader  # noqa: F401, PLC0415 (not for --help; none: slow as ever)


def _load_numpy() -> None:
    """Without masked arrays, 10 ms, which are loaded when anything else is asked of them; without
    the texts of its help and its types of annotations, 5 ms each; and without threads for algebra,
    which finds no large matrix here (60 ms of another processor)."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with _standing_in(*_DOCS), _standing_in(_TYPING, NDArray=_OfAny):
        import numpy as np  # noqa: PLC0415 (not for --help)

    if _MASKED not in sys.modules:
        vars(np)["ma"] = _Masked(_MASKED)


@contextlib.contextmanager
def _standing_in(*names: str, **holds: object) -> Iterator[None]:
    """Empty modules, or such as hold what is imported of them, in place of those not yet loaded."""
    stands = {name: ModuleType(name) for name in names if name not in sys.modules}
    for module in stands.values():
        vars(module).update(holds)
    sys.modules.update(stands)
    try:
        yield
    finally:
        for name in stands:
            del sys.modules[name]


class _OfAny:
    """An array of anything, which numpy writes in a few annotations."""

    def __class_getitem__(cls, _: object) -> type:
        return cls


class _Masked(ModuleType):
    """`numpy.ma`, which is asked of arrays whether they are masked; there is no such array as long
    as it is not loaded."""

    def is_masked(self, x: Any) -> bool:
        return _MASKED in sys.modules and bool(sys.modules[_MASKED].is_masked(x))

    def isMaskedArray(self, x: Any) -> bool:  # noqa: N802 (numpy's name)
        return _MASKED in sys.modules and bool(sys.modules[_MASKED].isMaskedArray(x))

    def __getattr__(self, name: str) -> Any:
        import numpy.ma  # noqa: PLC0415 (takes the place of this one)

        return getattr(numpy.ma, name)
