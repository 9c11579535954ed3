"""The loops of the optimiser, compiled by Cython when the package is installed.

The files are Python with the types of C, and say the same as Python (`tests/optimise/test_loops`).
They check no place in an array: the functions of `optimise` over them lay the arrays out. What is
long runs without the interpreter's lock, so that a worker's lease is renewed meanwhile.
"""

from __future__ import annotations

from strategist.errors import NotCompiledError

try:
    from strategist.optimise.loops import bounds, joins, prices, tables, walks
except ModuleNotFoundError as error:
    if error.name != "cython":  # which the sources import, and what is compiled does not
        raise
    raise NotCompiledError from None
if any(str(one.__file__).endswith(".py") for one in (bounds, joins, prices, tables, walks)):
    raise NotCompiledError
