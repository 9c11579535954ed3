"""Would the tests notice? `python -m tests.bench.mutants [ROOM …] [--each 12] [--seed 0]`.

Draws small errors (a `<` for a `<=`, a sum for a difference, one more, the other truth value) from
the core's source and runs on each the tests of its room that run its line, then, where these notice
nothing, the others that run its module. Prints what survives, then, by room, the share killed of
those that change anything. `--keep FOLDER` notes there what was found, so that the same command
goes on where it stopped (after `--seconds`, say) and asks nothing twice. Needs `coverage`, and for
a dozen errors a room about half an hour on one core. Loops that are compiled (folders `loops`) are
compiled anew for each error.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib
import json
import random
import signal
import sys
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from tests.bench.errors import ROOT, Mutant, mutant_at, places_of
from tests.bench.rooms import ROOMS, Room
from tests.bench.survivors import SURVIVORS
from tests.bench.watched import Watched, killer, watch


def _warm() -> None:
    """What every child needs, loaded once: nothing of ours, which the errors go into."""
    for name in ("pandas", "scipy.stats", "pulp", "pydantic", "flask", "sqlalchemy"):
        importlib.import_module(name)
    assert not any(name.startswith(("strategist", "api.")) for name in sys.modules)


def drawn(room: Room, each: int, seed: int, named: Sequence[str] = ()) -> list[Mutant]:
    """So many errors of a room (or of its modules so named), the same ones each time."""
    modules = [name for name in room.modules() if not named or Path(name).stem in named]
    every = [place for source in modules for place in places_of(source)]
    chosen = [mutant_at(*at) for at in random.Random(seed).sample(every, min(each, len(every)))]
    return sorted(chosen, key=lambda mutant: (mutant.source, mutant.line))


class Kept:
    """What was found, in a folder (without one, for this run alone)."""

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder
        self._verdicts: dict[str, str] = {}
        if folder is not None:
            folder.mkdir(parents=True, exist_ok=True)
            if (folder / "verdicts.jsonl").exists():
                for line in (folder / "verdicts.jsonl").read_text(encoding="utf-8").splitlines():
                    row = json.loads(line)
                    self._verdicts[row["of"]] = row["verdict"]

    def watched(self, name: str) -> Watched:
        """The tests of a room, watched once for the same source and tests."""
        room = ROOMS[name]
        if self._folder is None:
            return watch(room.tests)
        path = self._folder / f"{name}-{_print_of([*room.modules(), *room.tests])}.json"
        if not path.exists():
            path.write_text(json.dumps(asdict(watch(room.tests))), encoding="utf-8")
        told = json.loads(path.read_text(encoding="utf-8"))
        runs = {
            source: {int(line): tests for line, tests in by_line.items()}
            for source, by_line in told.pop("runs").items()
        }
        return Watched(**told, runs=runs)

    def verdict(self, mutant: Mutant, room: Room, watched: Watched) -> str:
        """ "equivalent", "survived", or what killed it."""
        if mutant.name in SURVIVORS:
            return "equivalent"
        at = f"{mutant.source}:{mutant.line} {mutant.text}"
        killed = f"{at} {_print_of([mutant.source])}"  # what one test notices is noticed
        survived = f"{at} {_print_of([*room.modules(), *room.tests])}"
        known = self._verdicts.get(killed) or self._verdicts.get(survived)
        if known is None:
            known = _judged(mutant, watched)
            self._note(survived if known == "survived" else killed, known)
        return known

    def _note(self, key: str, verdict: str) -> None:
        self._verdicts[key] = verdict
        if self._folder is not None:
            with open(self._folder / "verdicts.jsonl", "a", encoding="utf-8") as out:
                out.write(json.dumps({"of": key, "verdict": verdict}) + "\n")


def _print_of(names: Sequence[str]) -> str:
    """A fingerprint of files and folders."""
    found = hashlib.sha256()
    for name in names:
        path = ROOT / name
        for file in sorted(path.rglob("*.py")) if path.is_dir() else [path]:
            found.update(file.read_bytes())
    return found.hexdigest()[:12]


def _judged(mutant: Mutant, watched: Watched) -> str:
    for tests in watched.sees(mutant):
        found = killer(mutant, tests, watched) if tests else None
        if found is not None:
            return found
    return "survived"


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.mutants", description=__doc__)
    parser.add_argument("rooms", nargs="*", metavar="ROOM", help=", ".join(ROOMS))
    parser.add_argument("--each", type=int, default=12, help="errors a room (default 12)")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--modules", nargs="*", default=(), metavar="NAME", help="these alone")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="notes what was found there")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="begins nothing after")
    given = parser.parse_args(arguments)
    end = time.monotonic() + given.seconds
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # ends the child in hand, too
    _warm()
    kept, table = Kept(given.keep), []
    for name in given.rooms or ROOMS:
        room, counts = ROOMS[name], Counter[str]()
        if time.monotonic() > end:
            print(f"{name}: not begun after {given.seconds:.0f} s", flush=True)
            return 1
        watched = kept.watched(name)
        for test in watched.failing:
            print(f"left out, fails without an error: {test}", flush=True)
        if watched.slow:
            print(f"left out, slow: {len(watched.slow)} tests of {name}", flush=True)
        for mutant in drawn(room, given.each, given.seed, given.modules):
            if time.monotonic() > end:
                print(f"{name}: not through after {given.seconds:.0f} s", flush=True)
                return 1
            found = kept.verdict(mutant, room, watched)
            counts[found if found in ("equivalent", "survived") else "killed"] += 1
            if found == "survived":
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
