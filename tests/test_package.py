"""The public names: typed and late-loaded names agree, and `choose` stays the function."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import strategist
import strategist.errors

SOURCE = Path(strategist.__file__).read_text(encoding="utf-8")


def test_types_and_late_names_are_the_same() -> None:
    """What mypy sees under TYPE_CHECKING is what runs."""
    block = next(node for node in ast.parse(SOURCE).body if isinstance(node, ast.If))
    typed = {
        node.module.removeprefix("strategist."): tuple(alias.name for alias in node.names)
        for node in block.body
        if isinstance(node, ast.ImportFrom) and node.module
    }
    assert typed == strategist._LATE
    errors = {name for name in strategist.__all__ if name not in strategist._HOME}
    assert errors == set(strategist.errors.__all__)


@pytest.mark.parametrize("name", strategist.__all__)
def test_name_loads(name: str) -> None:
    assert getattr(strategist, name) is not None


def test_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'chose'"):
        _ = strategist.chose
    assert "choose" in dir(strategist)


@pytest.mark.parametrize(
    "code",
    [
        "from strategist import Options, choose",
        "import strategist.choose; from strategist import choose",
        "from strategist import choose; import strategist.choose; choose = strategist.choose",
        "from strategist.choose import Result; from strategist import choose",
    ],
)
def test_choose_is_the_function_whatever_was_imported_before(code: str) -> None:
    run = f"{code}; assert choose.__name__ == 'choose' and callable(choose), choose"
    subprocess.run([sys.executable, "-c", run], check=True)


def test_help_loads_no_slow_library() -> None:
    code = (
        "import sys, contextlib, strategist.__main__ as front\n"
        "with contextlib.suppress(SystemExit): front.main(['--help'])\n"
        "slow = {'numpy', 'pandas', 'pulp', 'scipy', 'pydantic', 'highspy'} & set(sys.modules)\n"
        "assert not slow, slow"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
