"""Would the tests notice? `python -m tests.bench.mutants [ROOM …] [--each 30] [--seed 0]`.

Draws small errors (a `<` for a `<=`, a sum for a difference, one more, the other truth value) from
the core's source and runs the tests of its room on each, in a process of its own. Nothing is
written: the module with the error is made as it is imported. A test that fails without an error is
named and left out, and so are slow ones. Prints what survives, then, by room, the share killed of
those that change anything. Takes an hour or two on one core.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import importlib.abc
import importlib.machinery
import importlib.util
import io
import json
import os
import random
import resource
import signal
import sys
import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, ModuleType

import pytest

from tests.bench.errors import ROOT, Mutant, mutant_at, places_of
from tests.bench.survivors import SURVIVORS

# How hard is tried before something else is: another number there takes more or less time, and the
# answers stay the same.
_EQUIVALENT = ("strategist/optimise/tuning.py",)
_SLOW_S = 10.0  # of processor: a test that takes more is left out
_BROKE_OFF = 70  # exit code of a run that pytest itself did not survive
_WAIT = (10, 120)  # times their own, and s more: tests that are not through by then never will be


@dataclass(frozen=True)
class Room:
    """Modules by glob, and the tests that answer for them: first those named like the module."""

    sources: tuple[str, ...]
    tests: tuple[str, ...]
    mirrored: str


ROOMS = {
    "optimise": Room(
        ("strategist/optimise/*.py",),
        (
            *(
                f"tests/optimise/test_{name}.py"
                for name in ("chains", "finish", "known", "node", "search")
            ),
            "tests/second_reading",
            *(f"tests/optimise/test_{name}.py" for name in ("templates", "frontier", "sturdy")),
            "tests/batch/test_templates.py",
        ),
        "tests/optimise",
    ),
    "trust": Room(
        ("strategist/trust/*.py",),
        ("tests/trust", "tests/outside/test_statistics.py"),
        "tests/trust",
    ),
    "answers": Room(
        tuple(
            f"strategist/answers/{name}.py"
            for name in (
                *("accept", "assessment", "by_antenna", "cable", "changes", "check", "compare"),
                *("frontier", "full_assessment", "headline", "masks", "settings", "solution"),
                *("sturdier", "techniques", "what_if"),
            )
        ),
        ("tests/answers", "tests/trust/test_dependence.py"),
        "tests/answers",
    ),
    "passes": Room(
        (
            *(f"strategist/survey/{name}.py" for name in ("copies", "occasions", "variation")),
            *(f"strategist/answers/{name}.py" for name in ("conditions", "expected", "over")),
            "strategist/optimise/conditions.py",
            "strategist/trust/in_conditions.py",
        ),
        (
            *(f"tests/survey/test_{name}.py" for name in ("copies", "occasions", "variation")),
            *(f"tests/answers/test_{name}.py" for name in ("conditions", "expected")),
            "tests/optimise/test_conditions.py",
        ),
        "tests/survey",
    ),
    "scores": Room(
        (
            *(f"strategist/survey/{name}.py" for name in ("antennas", "score")),
            *(f"strategist/optimise/{name}.py" for name in ("outer", "scores")),
            *(f"strategist/optimise/own_{name}.py" for name in ("model", "part", "powers")),
            "strategist/trust/scores.py",
        ),
        (
            "tests/survey/test_antennas.py",
            *(f"tests/optimise/test_{name}.py" for name in ("scores", "own_powers")),
            "tests/second_reading",
            "tests/answers/test_own_powers.py",
        ),
        "tests/optimise",
    ),
    "intake": Room(("strategist/intake/*.py",), ("tests/intake",), "tests/intake"),
    "tags": Room(
        ("strategist/tags/*.py",),
        (
            "tests/tags",
            *(f"tests/outside/test_{name}.py" for name in ("gen2", "llrp", "tag_data_standard")),
            "tests/answers/test_masks.py",
        ),
        "tests/tags",
    ),
    "survey": Room(
        tuple(f"strategist/survey/{name}.py" for name in ("build", "tables", "rssi", "profile")),
        ("tests/survey",),
        "tests/survey",
    ),
    "radio": Room(
        ("strategist/radio/*.py",),
        ("tests/radio", "tests/outside/test_radio.py", "tests/outside/test_timing.py"),
        "tests/radio",
    ),
    "batch": Room(
        ("strategist/batch/templates.py", "strategist/batch/cross_reads.py"),
        ("tests/batch/test_templates.py", "tests/batch/test_cross_reads.py"),
        "tests/batch",
    ),
    "store": Room(
        ("api/store/*.py",),
        tuple(
            f"tests/api/test_{name}.py"
            for name in ("shares", "clocks", "batches", "surveys", "tokens", "store", "requests")
        ),
        "tests/api",
    ),
}


# running the tests on one


class _Loader(importlib.machinery.SourceFileLoader):
    def __init__(self, name: str, path: str, tree: ast.Module) -> None:
        super().__init__(name, path)
        self._tree = tree

    def get_code(self, fullname: str) -> CodeType:
        return compile(ast.fix_missing_locations(self._tree), self.path, "exec")


class _Finder(importlib.abc.MetaPathFinder):
    """Imports the module of a mutant with its error."""

    def __init__(self, mutant: Mutant) -> None:
        self._name = mutant.source.removesuffix(".py").replace("/", ".")
        self._path, self._tree = str(ROOT / mutant.source), mutant.tree

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        if fullname != self._name:
            return None
        loader = _Loader(fullname, self._path, self._tree)
        return importlib.util.spec_from_file_location(fullname, self._path, loader=loader)


def _processor_s() -> float:
    """Seconds of processor that this process and the ended ones of its own have taken."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


class _Outcomes:
    """What pytest says of each test: those that fail or are slow, and each file's seconds."""

    def __init__(self) -> None:
        self.failed: list[str] = []
        self.slow: list[str] = []
        self.seconds: dict[str, float] = defaultdict(float)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        before = _processor_s()
        try:
            return (yield)
        finally:
            taken = _processor_s() - before
            if taken > _SLOW_S:
                self.slow.append(item.nodeid)
            else:
                self.seconds[item.nodeid.split("::")[0]] += taken

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and report.nodeid not in self.failed:
            self.failed.append(report.nodeid)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed:
            self.failed.append(report.nodeid)


@dataclass(frozen=True)
class Clean:
    """The tests of a room as they are: files that can notice, the fastest first; tests that fail
    without an error; slow ones, which are left out, too (most start programs, which import what is
    on disk, without the error); the processor and the wall time of all, in seconds."""

    files: tuple[str, ...]
    failing: tuple[str, ...]
    slow: tuple[str, ...]
    seconds: float
    wall: float


def clean_run(room: Room) -> Clean:
    """Run the tests of a room without an error."""
    reading, writing = os.pipe()
    started = time.monotonic()
    child = os.fork()
    if not child:
        outcomes = _Outcomes()
        _pytest(room.tests, [outcomes])
        with os.fdopen(writing, "w") as out:
            json.dump([outcomes.failed, outcomes.slow, outcomes.seconds], out)
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as told:
        failed, slow, by_file = json.load(told)
    used = os.wait4(child, 0)[2]
    files = sorted((name for name in by_file if name not in failed), key=by_file.__getitem__)
    cpu, wall = used.ru_utime + used.ru_stime, time.monotonic() - started
    return Clean(tuple(files), tuple(failed), tuple(slow), cpu, wall)


def _passes(mutant: Mutant, files: Sequence[str], clean: Clean) -> bool:
    """Whether the tests pass, in a session of its own; what takes far longer than without the
    error goes in circles or waits for ever, and does not pass."""
    child = os.fork()
    if not child:
        os.setsid()
        limit_s = int(5 * clean.seconds) + 30
        resource.setrlimit(resource.RLIMIT_CPU, (limit_s, limit_s))
        signal.alarm(int(_WAIT[0] * clean.wall) + _WAIT[1])
        sys.meta_path.insert(0, _Finder(mutant))
        if "strategist.machine.code" in (ROOT / mutant.source).read_text(encoding="utf-8"):
            from strategist.machine.code import set_interpreted  # noqa: PLC0415  nothing before it

            set_interpreted(True)  # much sooner than to compile each error
        left_out = (*clean.failing, *clean.slow)
        os._exit(_pytest(["-x", *(f"--deselect={name}" for name in left_out), *files]))
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)  # servers that its tests left behind
    if code == _BROKE_OFF:
        raise RuntimeError(f"the tests on {mutant.name} broke off")
    return code == 0


def _pytest(arguments: Sequence[str], plugins: Sequence[object] = ()) -> int:
    quiet = ("-q", "-n0", "-p", "no:cacheprovider", "-p", "no:hypothesispytest")
    with (
        open(os.devnull, "w") as nowhere,
        contextlib.redirect_stdout(nowhere),
        contextlib.redirect_stderr(io.StringIO()),
    ):
        os.chdir(ROOT)
        try:
            return int(pytest.main([*quiet, *arguments], plugins=plugins))
        except BaseException:  # not a test's: else a fork would go on with the parent's work
            return _BROKE_OFF


def _warm() -> None:
    """What every child needs, loaded once: nothing of ours, which the errors go into."""
    for name in (
        "llvmlite.binding",
        "pandas",
        "scipy.stats",
        "pulp",
        "pydantic",
        "flask",
        "sqlalchemy",
    ):
        importlib.import_module(name)
    assert not any(name.startswith(("strategist", "api.")) for name in sys.modules)


# the bench


def _sources(room: Room, named: Sequence[str] = ()) -> list[str]:
    return sorted(
        str(path.relative_to(ROOT))
        for pattern in room.sources
        for path in ROOT.glob(pattern)
        if path.name != "__init__.py"
        and str(path.relative_to(ROOT)) not in _EQUIVALENT
        and (not named or path.stem in named)
    )


def drawn(room: Room, each: int, seed: int, named: Sequence[str] = ()) -> list[Mutant]:
    """So many errors of a room (or of its modules so named), the same ones each time."""
    every = [place for source in _sources(room, named) for place in places_of(source)]
    chosen = [mutant_at(*at) for at in random.Random(seed).sample(every, min(each, len(every)))]
    return sorted(chosen, key=lambda mutant: (mutant.source, mutant.line))


def _unharmed(room: Room) -> Mutant:
    """A module of a room imported as mutants are, without an error: its tests must pass."""
    source = _sources(room)[0]
    tree = ast.parse((ROOT / source).read_text(encoding="utf-8"))
    return Mutant(source, 0, "", tree)


def noticed(mutant: Mutant, room: Room, clean: Clean) -> bool:
    """Whether a test of the room fails: those of the same name are asked first."""
    named = f"{room.mirrored}/test_{Path(mutant.source).stem}.py"
    first = [named] if named in clean.files else []
    rest = [name for name in clean.files if name not in first]
    return not _passes(mutant, [*first, *rest], clean)


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.mutants", description=__doc__)
    parser.add_argument("rooms", nargs="*", metavar="ROOM", help=", ".join(ROOMS))
    parser.add_argument("--each", type=int, default=30, help="errors a room (default 30)")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--modules", nargs="*", default=(), metavar="NAME", help="these alone")
    given = parser.parse_args(arguments)
    _warm()
    table = []
    for name in given.rooms or ROOMS:
        room = ROOMS[name]
        clean = clean_run(room)
        if not clean.files or not _passes(_unharmed(room), clean.files, clean):
            print(f"{name}: its tests do not run, or differ from run to run", flush=True)
            return 1
        for failing in clean.failing:
            print(f"left out, fails without an error: {failing}", flush=True)
        if clean.slow:
            print(f"left out, slow: {len(clean.slow)} tests of {name}", flush=True)
        counts = {"killed": 0, "equivalent": 0, "survived": 0}
        for mutant in drawn(room, given.each, given.seed, given.modules):
            if mutant.name in SURVIVORS:
                kind = "equivalent"
            else:
                kind = "killed" if noticed(mutant, room, clean) else "survived"
            counts[kind] += 1
            if kind == "survived":
                print(f"survived  {mutant.source}:{mutant.line}  {mutant.text}", flush=True)
        real = counts["killed"] + counts["survived"]
        share = counts["killed"] / max(1, real)
        row = f"{name:10} {counts['killed']:4} of {real:4} = {share:4.0%}"
        table.append(f"{row}, {counts['equivalent']} change nothing")
        print(table[-1], flush=True)
    print("\n".join(["", *table]))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
