"""The public names: each loads, and none before it is used."""

from __future__ import annotations

import ast
import json
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import strategist
import strategist.errors

ROOT = Path(__file__).parent.parent


def test_the_errors_are_public() -> None:
    assert set(strategist.errors.__all__) <= set(strategist.__all__)


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
        "from strategist.answers.assessment import Assessment; from strategist import choose",
    ],
)
def test_choose_is_the_function_whatever_was_imported_before(code: str) -> None:
    run = f"{code}; assert choose.__name__ == 'choose' and callable(choose), choose"
    subprocess.run([sys.executable, "-c", run], check=True)


def test_the_base_install_holds_what_every_command_loads() -> None:
    """Each library that is imported anywhere, but for those of extras that a command can do
    without: pyarrow (a second form of a table), distributed and psycopg (other machines)."""
    declared = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    base = {re.split("[^A-Za-z0-9]", one)[0].lower() for one in declared["dependencies"]}
    comes_with = {"markupsafe": "jinja2", "werkzeug": "flask", "dask": "distributed"}
    build = {"cython"}  # in sources that are compiled, where nothing of it is left
    imported = {
        name.split(".")[0]
        for folder in ("strategist", "api")
        for file in (ROOT / folder).rglob("*.py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        for name in (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
            if isinstance(node, ast.ImportFrom) and not node.level
            else []
        )
    }
    others = {comes_with.get(name, name) for name in imported - sys.stdlib_module_names - build}
    assert others - base - {"strategist", "api"} <= {"pyarrow", "distributed", "psycopg"}
    assert "matplotlib" in others


def test_what_is_installed_is_all_there_is() -> None:
    """Each folder of code, each file that goes with it, and each loop to be compiled is listed."""
    listed = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    tool = listed["tool"]["setuptools"]
    files = [
        path
        for folder in ("strategist", "api")
        for path in (ROOT / folder).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    ]
    packages = {path.parent for path in files if path.name == "__init__.py"}
    names = {".".join(path.relative_to(ROOT).parts) for path in packages}
    assert set(tool["packages"]) == {re.sub("^api", "strategist_api", name) for name in names}
    loops = {f"{path.relative_to(ROOT)}" for path in files if path.parent.name == "loops"}
    sources = {path for path in loops if path.endswith(".py") and "__init__" not in path}
    assert {one["sources"][0] for one in tool["ext-modules"]} == sources
    assert {one["name"].replace(".", "/") + ".py" for one in tool["ext-modules"]} == sources
    patterns = tool["package-data"]["*"]
    for path in files:
        home = next(parent for parent in path.parents if parent in packages)
        made = path.suffix in {".py", ".so", ".c"}  # modules, and what is compiled of them
        assert made or any(path.relative_to(home).match(pattern) for pattern in patterns), path


def test_help_loads_no_slow_library() -> None:
    code = (
        "import sys, contextlib, strategist.__main__ as front\n"
        "with contextlib.suppress(SystemExit): front.main(['--help'])\n"
        "slow = {'numpy', 'pandas', 'pulp', 'scipy', 'pydantic', 'highspy'} & set(sys.modules)\n"
        "assert not slow, slow"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)


def test_release_notes_begin_with_this_version() -> None:
    notes = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    newest = re.search(r"^- \*\*(\d+\.\d+\.\d+)\*\*", notes, re.M)
    assert newest is not None
    assert newest[1] == strategist.__version__


def test_check_loads_no_library_that_takes_long() -> None:
    """It is what planners run most, and it takes longer to load these than to check a case."""
    code = (
        "import sys; from strategist.__main__ import main; main(['check', sys.argv[1]]); "
        "slow = {'pandas', 'scipy', 'pulp', 'highspy', 'matplotlib', 'openpyxl', 'numpy.typing'}; "
        "assert not slow & set(sys.modules), slow & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code, str(ROOT / "cases/linen-service")], check=True)


def test_solve_loads_no_library_that_it_does_not_use(tmp_path: Path) -> None:
    """By the aim `survey`, which is asked for where an answer must be quick. From 1.18 on, scipy's
    functions load its linear algebra themselves."""
    case = tmp_path / "case"
    shutil.copytree(ROOT / "cases/linen-service", case)
    site = json.loads((case / "site.json").read_text(encoding="utf-8"))
    site["read_points"]["soiled-chute"]["aim"] = "survey"
    (case / "site.json").write_text(json.dumps(site), encoding="utf-8")
    code = (
        "import sys; from strategist.__main__ import main; "
        "main(['solve', sys.argv[1], '--read-point', 'soiled-chute']); "
        "slow = {'pandas', 'matplotlib', 'openpyxl', 'scipy.stats', "
        "'scipy.optimize'}; import scipy; old = int(scipy.__version__.split('.')[1]) < 18; "
        "slow |= {'scipy.linalg'} if old else set(); "
        "assert not slow & set(sys.modules), slow & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code, str(case)], check=True)
