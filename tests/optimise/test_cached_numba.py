"""Compiled code without a place to keep it: said once, and the answer is the same."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SAID = "No folder for compiled code can be written to"
NO_PLACE = """
import numba.core.caching
numba.core.caching.CacheImpl._locator_classes = []
"""
COMPILES = """
from strategist.optimise import cached_numba, kernel, walks

@cached_numba.compiled
def doubled(number):
    return 2 * number

print(doubled(21))
"""
WITHOUT_RIGHTS = """
import numpy
from strategist.optimise import kernel, walks

print(int(walks.sums_of_bytes(numpy.array([1.0, 2.0, 0, 0, 0, 0, 0, 0])).max()))
"""
NOBODY = ("setpriv", "--reuid", "65534", "--regid", "65534", "--clear-groups")


def run(command: Sequence[str]) -> subprocess.CompletedProcess[str]:
    """A command in a place without a home."""
    environment = os.environ | {"HOME": "/nonexistent", "PYTHONDONTWRITEBYTECODE": "1"}
    for name in ("XDG_CACHE_HOME", "NUMBA_CACHE_DIR"):
        environment.pop(name, None)
    return subprocess.run(
        command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )


def test_compiled_in_memory_where_there_is_no_place_for_a_cache() -> None:
    done = run([sys.executable, "-c", NO_PLACE + COMPILES])
    assert (done.returncode, done.stdout.strip()) == (0, "42"), done.stderr
    assert done.stderr.count(SAID) == 1 and "Traceback" not in done.stderr


def test_an_installation_that_cannot_be_written_to() -> None:
    """As a user without rights and without a home: all modules of compiled loops load, and what
    one of them compiles runs. A whole `solve` would compile for 20 s."""
    if os.geteuid() != 0 or shutil.which(NOBODY[0]) is None:
        pytest.skip("needs root and setpriv")
    python = [*NOBODY, sys.executable]
    if run([*python, "-c", "import numba, strategist.errors"]).returncode:
        pytest.skip("another user cannot read this installation")
    done = run([*python, "-c", WITHOUT_RIGHTS])
    assert (done.returncode, done.stdout.split()) == (0, ["3"]), done.stderr
    assert done.stderr.count(SAID) == 1 and done.stderr.startswith(SAID)
