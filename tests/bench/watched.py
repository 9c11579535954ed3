"""Tests run in a process of their own: once as they are, watched line by line, and once on each
error of `tests.bench.mutants`, only those that run the line of the error.

Nothing is written into the package: the module with the error is made as it is imported.
"""

from __future__ import annotations

import ast
import contextlib
import functools
import importlib.abc
import importlib.machinery
import importlib.util
import io
import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

import pytest

from tests.bench.errors import ROOT, Mutant

__all__ = ["Watched", "killer", "watch"]

_SLOW_S = 10.0  # of processor: a test that takes more is left out
_COMPILED = "/loops/"  # its functions run no line of Python
_BROKE_OFF = 70  # exit code of a run that pytest itself did not survive
_TIMES, _MORE_S = (
    5,
    20,
)  # tests that take so much longer than without the error never will be through
_WAIT = (10, 120)  # the same by the clock


@dataclass(frozen=True)
class Watched:
    """The tests of a room as they are: seconds of processor by test, of those that can notice;
    tests that fail without an error and slow ones, both left out (most slow ones start programs,
    which import what is on disk, without the error); and by source file and line who runs it."""

    seconds: dict[str, float]
    failing: tuple[str, ...]
    slow: tuple[str, ...]
    runs: dict[str, dict[int, list[str]]]

    def sees(self, mutant: Mutant) -> tuple[list[str], list[str]]:
        """The tests that run the line of an error, and the others in files where one runs its
        module.

        What is done once for several tests (a fixture, what a cache keeps) counts for the first
        of them, so those of the second list are asked where the first ones notice nothing.
        """
        inside, lines = _statement(mutant)
        modules = [mutant.source]
        if _is_compiled(mutant.source) or not inside:
            modules += _importers(mutant.source)
            first = self._run_in(modules)
        else:
            by_line = self.runs.get(mutant.source, {})
            first = {test for line in lines for test in by_line.get(line, ())}
        files = {_file_of(test) for test in self._run_in(modules)}
        others = [test for test in self.seconds if _file_of(test) in files and test not in first]
        return sorted(first & self.seconds.keys()), others

    def _run_in(self, modules: Sequence[str]) -> set[str]:
        """Tests that run a line inside a function of these modules."""
        return {
            test
            for module in modules
            for line, tests in self.runs.get(module, {}).items()
            if line in _lines_inside(module)
            for test in tests
        }


def _file_of(test: str) -> str:
    return test.split("::", maxsplit=1)[0]


def _is_compiled(source: str) -> bool:
    return _COMPILED in source


@functools.cache
def _tree(source: str) -> ast.Module:
    return ast.parse((ROOT / source).read_text(encoding="utf-8"))


@functools.cache
def _lines_inside(source: str) -> frozenset[int]:
    """Lines of statements inside functions."""
    return frozenset(
        line
        for node in ast.walk(_tree(source))
        if isinstance(node, ast.FunctionDef)
        for statement in node.body
        for line in range(statement.lineno, (statement.end_lineno or 0) + 1)
    )


def _statement(mutant: Mutant) -> tuple[bool, range]:
    """Whether the innermost statement of an error is inside a function, and the lines of it (of a
    statement with a body, those of its head)."""
    found: ast.stmt | None = None
    for node in ast.walk(_tree(mutant.source)):
        if isinstance(node, ast.stmt) and node.lineno <= mutant.line <= (node.end_lineno or 0):
            found = node  # the walk is by breadth: the last one is the innermost
    assert found is not None
    body = getattr(found, "body", None)
    end = body[0].lineno - 1 if body else found.end_lineno or 0
    lines = range(found.lineno, max(end, found.lineno) + 1)
    return found.lineno in _lines_inside(mutant.source), lines


@functools.cache
def _importers(source: str) -> list[str]:
    """The modules that import this one by name."""
    package, _, name = source.removesuffix(".py").replace("/", ".").rpartition(".")
    found = []
    for folder in ("strategist", "api"):
        for path in (ROOT / folder).rglob("*.py"):
            other = str(path.relative_to(ROOT))
            for node in ast.walk(_tree(other)):
                if isinstance(node, ast.ImportFrom) and (
                    _module(node, other) == f"{package}.{name}"
                    or (_module(node, other) == package and name in {n.name for n in node.names})
                ):
                    found.append(other)
                    break
    return found


def _module(node: ast.ImportFrom, inside: str) -> str:
    """The whole name of what a source file imports from, dots in front resolved."""
    around = inside.removesuffix(".py").split("/")[: -node.level] if node.level else []
    return ".".join([*around, *([node.module] if node.module else [])])


# imported with an error


class _Loader(importlib.machinery.SourceFileLoader):
    def __init__(self, name: str, path: str, tree: ast.Module) -> None:
        super().__init__(name, path)
        self._tree = tree

    def get_code(self, fullname: str) -> CodeType:
        return compile(ast.fix_missing_locations(self._tree), self.path, "exec")


class _Finder(importlib.abc.MetaPathFinder):
    """Imports the module of a mutant with its error, from an extension where that is compiled."""

    def __init__(self, mutant: Mutant, extension: str | None) -> None:
        self.name = mutant.source.removesuffix(".py").replace("/", ".")
        self._path, self._tree, self._extension = str(ROOT / mutant.source), mutant.tree, extension

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        if fullname != self.name:
            return None
        if self._extension is not None:
            return importlib.util.spec_from_file_location(fullname, self._extension)
        loader = _Loader(fullname, self._path, self._tree)
        return importlib.util.spec_from_file_location(fullname, self._path, loader=loader)


def _extension(mutant: Mutant, folder: Path) -> str | None:
    """The module of a mutant, compiled in a folder; None where that is no C."""
    source = (ROOT / mutant.source).read_text(encoding="utf-8")
    head = "".join(line for line in source.splitlines(True) if line.startswith("# cython:"))
    path = folder / Path(mutant.source).name
    path.write_text(head + ast.unparse(ast.fix_missing_locations(mutant.tree)), encoding="utf-8")
    command = (sys.executable, "-m", "Cython.Build.Cythonize", "-i", "-q", str(path))
    flags = os.environ | {"CFLAGS": "-O1 -g0 -ffp-contract=off"}
    done = subprocess.run(command, env=flags, cwd=folder, capture_output=True, check=False)
    return None if done.returncode else str(next(folder.glob("*.so")))


# running tests


def _processor_s() -> float:
    """Seconds of processor that this process and the ended ones of its own have taken."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


class _Failures:
    """The tests that fail."""

    def __init__(self) -> None:
        self.failed: list[str] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and report.nodeid not in self.failed:
            self.failed.append(report.nodeid)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed:
            self.failed.append(report.nodeid)


class _Chosen(_Failures):
    """Runs some tests alone, those of the quickest files first."""

    def __init__(self, seconds: dict[str, float]) -> None:
        super().__init__()
        self._seconds = seconds
        self._of_file: dict[str, float] = defaultdict(float)
        for test, taken in seconds.items():
            self._of_file[_file_of(test)] += taken

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = [item for item in items if item.nodeid in self._seconds]
        items.sort(key=lambda item: self._of_file[_file_of(item.nodeid)])


class _Watcher(_Failures):
    """Notes the seconds of each test, and the lines that it runs."""

    def __init__(self) -> None:
        super().__init__()
        import coverage  # noqa: PLC0415  no part of what tests need

        self._coverage = coverage.Coverage(data_file=None, source=["strategist", "api"])
        self.seconds: dict[str, float] = {}

    def __enter__(self) -> _Watcher:
        self._coverage.start()
        return self

    def __exit__(self, *error: object) -> None:
        self._coverage.stop()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self._coverage.switch_context(item.nodeid)
        before = _processor_s()
        try:
            return (yield)
        finally:
            self.seconds[item.nodeid] = _processor_s() - before
            self._coverage.switch_context("")

    def runs(self) -> dict[str, dict[int, list[str]]]:
        data = self._coverage.get_data()
        return {
            str(Path(name).relative_to(ROOT)): {
                line: tests for line, tests in data.contexts_by_lineno(name).items() if any(tests)
            }
            for name in data.measured_files()
        }


def watch(tests: Sequence[str]) -> Watched:
    """Run tests (files or folders) without an error."""
    told = _in_a_child(lambda: _watch(tests))
    if not isinstance(told, dict):
        raise RuntimeError(f"the tests broke off: {told}")
    runs = {
        source: {int(line): at for line, at in by_line.items()}
        for source, by_line in told.pop("runs").items()
    }
    return Watched(**told, runs=runs)


def _watch(tests: Sequence[str]) -> dict[str, Any]:
    with _Watcher() as watcher:
        _pytest(tests, watcher)
    slow = [test for test, taken in watcher.seconds.items() if taken > _SLOW_S]
    left_out = {*slow, *watcher.failed}
    files = {name for name in watcher.failed if "::" not in name}  # that cannot be collected
    seconds = {
        test: taken
        for test, taken in watcher.seconds.items()
        if test not in left_out and _file_of(test) not in files
    }
    return asdict(Watched(seconds, tuple(watcher.failed), tuple(slow), watcher.runs()))


def killer(mutant: Mutant, tests: Collection[str], watched: Watched) -> str | None:
    """The test that fails, or else what ended them all ("time": they take far longer than without
    the error, go in circles or wait for ever; "no C"); None where all pass."""
    with tempfile.TemporaryDirectory() as folder:
        extension = None
        if _is_compiled(mutant.source):
            extension = _extension(mutant, Path(folder))
            if extension is None:
                return "no C"
        return _killer(mutant, tests, watched, extension)


def _killer(
    mutant: Mutant, tests: Collection[str], watched: Watched, extension: str | None
) -> str | None:
    seconds = {test: watched.seconds[test] for test in tests}
    limit_s = int(_TIMES * sum(seconds.values())) + _MORE_S

    def run() -> list[str]:
        resource.setrlimit(resource.RLIMIT_CPU, (limit_s, limit_s))
        signal.alarm(_WAIT[0] * limit_s // _TIMES + _WAIT[1])
        sys.meta_path.insert(0, _Finder(mutant, extension))
        chosen = _Chosen(seconds)
        code = _pytest(["-x", *sorted({_file_of(test) for test in tests})], chosen)
        return chosen.failed or ([] if code == 0 else [f"pytest ends with {code}"])

    failed = _in_a_child(run)
    if isinstance(failed, str):
        return failed
    return str(failed[0]) if failed else None


def _in_a_child(run: Callable[[], Any]) -> Any:
    """What a function gives in a process and session of its own; where that is ended, by what."""
    with tempfile.TemporaryFile("w+") as told:
        child = os.fork()
        if not child:
            os.setsid()
            told.write(json.dumps(run()))
            told.flush()
            os._exit(0)
        try:
            code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        finally:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(child, signal.SIGKILL)  # servers that its tests left behind, too
        if code:
            return "time" if -code in (signal.SIGXCPU, signal.SIGALRM) else f"ended by {-code}"
        told.seek(0)
        return json.load(told)


def _pytest(arguments: Sequence[str], plugin: object) -> int:
    quiet = ("-q", "-n0", "-p", "no:cacheprovider", "-p", "no:hypothesispytest")
    with (
        open(os.devnull, "w") as nowhere,
        contextlib.redirect_stdout(nowhere),
        contextlib.redirect_stderr(io.StringIO()),
    ):
        os.chdir(ROOT)
        try:
            return int(pytest.main([*quiet, *arguments], plugins=[plugin]))
        except BaseException:  # not a test's: else a fork would go on with its parent's work
            return _BROKE_OFF
