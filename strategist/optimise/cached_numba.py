"""numba's compiler, which does without its cache where no folder can be written to.

An installation that nobody may write to, run by a user without a home (a service, a container), has
no place for compiled code, and numba then refuses to compile at all. Functions release the GIL.
"""

from __future__ import annotations

import functools
import logging
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

__all__ = ["compiled"]

_LOG = logging.getLogger("strategist")  # Python itself shows warnings that nobody handles
_NO_PLACE = "cannot cache function"  # numba's words; its error has no type of its own

F = TypeVar("F", bound=Callable[..., Any])


def compiled(function: F) -> F:
    """As `numba.njit`; where there is no place for a cache the function is compiled in memory."""
    try:
        found = numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError as error:
        if _NO_PLACE not in str(error):
            raise
        _say_so()
        found = numba.njit(nogil=True, error_model="numpy")(function)
    return cast(F, found)


@functools.cache
def _say_so() -> None:
    _LOG.warning(
        "No folder for compiled code can be written to: it is compiled in memory, which takes some "
        "8 s at each start. Set NUMBA_CACHE_DIR to a folder that can be written to."
    )
