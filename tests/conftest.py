"""The order of the tests, so that no processor waits at the end for one long file; and whether what
is compiled is there, and no older than its source."""

from __future__ import annotations

import sysconfig
from pathlib import Path

import pytest

LONGEST_FIRST = (
    "api/test_durable.py",
    "test_readme.py",
    "api/pages/test_browser.py",
    "api/test_readme_session.py",
    "optimise/test_sturdy.py",
    "api/test_attack.py",
    "api/test_openapi.py",
    "outside/test_measured_sweep.py",
    "batch/test_run.py",
    "batch/test_cluster.py",
    "optimise/test_brute_force.py",
    "optimise/test_never_worse.py",
    "test_failures.py",
)
_PLACE = {Path(__file__).parent / name: place for place, name in enumerate(LONGEST_FIRST)}

_CODE = Path(__file__).parents[1] / "strategist"


def pytest_configure() -> None:
    """Tests of what was compiled of another source would tell nothing."""
    for folder in sorted(_CODE.glob("*/loops")):
        if said := not_compiled(folder):
            pytest.exit(said, returncode=pytest.ExitCode.USAGE_ERROR)


def not_compiled(folder: Path) -> str:
    """Which sources of a folder are not compiled for this Python as they stand, and what to do."""
    suffix = sysconfig.get_config_var("EXT_SUFFIX")
    stale = [
        source.name
        for source in sorted(folder.glob("[!_]*.py"))
        for made in [source.with_suffix(suffix)]
        if not made.exists() or made.stat().st_mtime < source.stat().st_mtime
    ]
    said = f"{', '.join(stale)} in {folder} must be compiled again: run pip install -e '.[dev]'"
    return said if stale else ""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files that take longest first, the others as they were collected."""
    items.sort(key=lambda item: _PLACE.get(item.path, len(_PLACE)))
