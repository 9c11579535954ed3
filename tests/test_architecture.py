"""The house of DEVELOPERS.md: imports go from left to right, and some rooms keep to themselves."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import strategist

ROOT = Path(__file__).parent.parent
SOURCES = sorted((ROOT / "strategist").rglob("*.py")) + sorted((ROOT / "api").rglob("*.py"))

# Rooms from left to right; those of one rank do not import each other. `questions` is a file: the
# table that commands and the API are made from.
RANK = {
    "errors": 0,
    "survey": 1,
    "tags": 2,
    "radio": 2,
    "intake": 3,
    "optimise": 3,
    "trust": 4,
    "answers": 5,
    "report": 6,
    "batch": 7,
    "questions": 8,
    "commands": 9,
    "__main__": 10,
}
# The package's __init__ names modules of every room without loading them, and the commands use
# these names: slow libraries load late without a single import inside a function.
FRONT = "strategist/__init__.py"
TRUST_MAY_TAKE = {"strategist.optimise.strategy"}  # the evaluator shares no code with the model
SOLVERS = {"pulp", "highspy"}


def imported(tree: ast.AST) -> Iterator[tuple[str, tuple[str, ...], int]]:
    """(module, names taken from it, line) of every import, wherever it stands."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, (), node.lineno
        elif isinstance(node, ast.ImportFrom):
            module = "." * node.level + (node.module or "")
            yield module, tuple(alias.name for alias in node.names), node.lineno


def late(tree: ast.AST) -> Iterator[tuple[str, int]]:
    """(module, line) of every import inside a function."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            for module, _, line in imported(node):
                yield module, line


def breaches(file: str, source: str) -> list[str]:
    """What a file (path from the root) does against the house."""
    tree = ast.parse(source)
    found = []
    for module, names, line in imported(tree):
        where = f"{file}:{line}"
        top = module.split(".")[0]
        if not top and not file.startswith("api/"):
            found.append(f"{where} imports relatively")
        if top == "api" and file.startswith("api/"):  # which is installed as strategist_api
            found.append(f"{where} imports {module} by a name that it may not have")
        if top in SOLVERS and not file.startswith("strategist/optimise/"):
            found.append(f"{where} imports {module} outside optimise/")
        if top == "importlib" and file.startswith("strategist/") and file != FRONT:
            found.append(f"{where} imports by name: only {FRONT} may")
        if file.startswith("strategist/") and top in {"flask", "api"}:
            found.append(f"{where} imports {module}")
        if top == "strategist":
            found += [f"{where} {why}" for why in _inside(file, module, names)]
    found += [
        f"{file}:{line} imports {module} inside a function"
        for module, line in late(tree)
        if module.split(".")[0] in {"strategist", "api", ""}
    ]
    return found


def _inside(file: str, module: str, names: tuple[str, ...]) -> Iterator[str]:
    """Breaches of one import of the project's own package."""
    if file == FRONT:
        return
    if file.startswith("api/"):
        if module == "strategist.errors":
            return
        if module != "strategist" or set(names) - set(dir(strategist)):
            yield f"imports {module} ({', '.join(names)}): api uses the public names only"
        return
    own = file.removeprefix("strategist/").removesuffix(".py").split("/")[0]
    if module == "strategist":
        if own not in {"questions", "commands", "__main__"}:
            yield "imports the package itself, which hides what it takes"
        return
    other = module.split(".")[1]
    for room in (own, other):
        if room not in RANK:
            yield f"room {room} has no place in the house"
            return
    if own != other and RANK[other] >= RANK[own]:
        yield f"imports {module}: {other} is not to the left of {own}"
    if own == "trust" and other == "optimise" and module not in TRUST_MAY_TAKE:
        yield f"imports {module}: of optimise, trust takes the strategy only"


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_file_keeps_to_the_house(path: Path) -> None:
    assert breaches(path.relative_to(ROOT).as_posix(), path.read_text(encoding="utf-8")) == []


COMMANDS = ("strategist/commands/", "strategist/questions.py", "strategist/__main__.py", "api/")


def test_the_library_names_no_option_of_a_command() -> None:
    """What it says is read in an answer of the API, too; commands put the option in its place."""
    said = [
        (path.name, node.value)
        for path in SOURCES
        if not path.relative_to(ROOT).as_posix().startswith(COMMANDS)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    ]
    assert len(said) > 1000
    assert [one for one in said if re.search(r"--[a-z]{2}", one[1])] == []


@pytest.mark.parametrize(
    ("file", "source"),
    [
        ("strategist/survey/x.py", "from strategist.tags.mask import Mask"),
        ("strategist/tags/x.py", "from strategist.radio.link import dbm"),
        ("strategist/optimise/x.py", "import strategist.trust.evaluate"),
        ("strategist/trust/x.py", "from strategist.optimise.model import Model"),
        ("strategist/trust/x.py", "from strategist.answers.assessment import choose"),
        ("strategist/report/x.py", "if TYPE_CHECKING:\n    from strategist.batch import run"),
        ("strategist/report/x.py", "from strategist import choose"),
        ("strategist/report/x.py", "def f():\n    from strategist.survey import records"),
        ("strategist/report/x.py", "import importlib"),
        ("strategist/report/x.py", "from .text import result_text"),
        ("strategist/trust/x.py", "def f():\n    import pulp"),
        ("strategist/answers/x.py", "import highspy"),
        ("strategist/batch/x.py", "from flask import Flask"),
        ("strategist/attic/x.py", "from strategist.errors import Fault"),
        ("api/app.py", "from api.log import to_stderr"),
        ("api/app.py", "from strategist.survey.reading import read_case"),
        ("api/app.py", "from strategist import no_such_name"),
        ("api/app.py", "import pulp"),
    ],
)
def test_breach_is_seen(file: str, source: str) -> None:
    assert breaches(file, source) != []


@pytest.mark.parametrize(
    ("file", "source"),
    [
        ("strategist/optimise/x.py", "import pulp\nfrom strategist.tags.mask import Mask"),
        ("strategist/trust/x.py", "from strategist.optimise.strategy import Strategy"),
        ("strategist/report/x.py", "def f():\n    import matplotlib"),
        ("api/app.py", "from flask import Flask\nfrom strategist import choose, read_case"),
    ],
)
def test_what_is_allowed_passes(file: str, source: str) -> None:
    assert breaches(file, source) == []
