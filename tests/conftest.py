"""The order of the tests, so that no processor waits at the end for one long file."""

from __future__ import annotations

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


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files that take longest first, the others as they were collected."""
    items.sort(key=lambda item: _PLACE.get(item.path, len(_PLACE)))
