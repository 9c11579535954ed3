"""The loop that reads files, compiled as those of `optimise.loops` are."""

from __future__ import annotations

from strategist.errors import NotCompiledError

try:
    from strategist.survey.loops import splits
except ModuleNotFoundError as error:
    if error.name != "cython":  # which the source imports, and what is compiled does not
        raise
    raise NotCompiledError from None
if str(splits.__file__).endswith(".py"):
    raise NotCompiledError
