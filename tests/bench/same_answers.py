"""Whether two checkouts give the same answers, byte for byte: every command on the demo and on
small generated read points.

`python -m tests.bench.same_answers OLD [NEW]` runs every command in both checkouts (NEW: this one),
each with its own `.venv`, and compares exit status, text, JSON and files, seconds and the method's
effort aside. It prints what differs and the ratio of the times, and ends with 1 where any does.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import importlib
import io
import json
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

__all__ = ["main"]

_HERE = Path(__file__).parents[2]
_DEMO = _HERE / "cases" / "linen-service"
_POLICIES: tuple[dict[str, Any], ...] = (
    {},
    {"allow": ["power", "cutoff", "masks"]},
    {"allow": ["ladder", "cutoff"]},
    {"stop_after": 2},
    {"limits": {"missed_rate_max": 0.02, "stray_rate_max": 0.01}},
    {"radio": {"region": "etsi-865-868", "antenna_gain_dbi": 6, "cable_loss_db": 1}},
    {"time": {"dwell_s": 2, "step_s": 0.4}},
    {"guard": {"power_db": 2, "rssi_db": 3}, "loss": {"missed": 1, "stray": 1}},
)
_COMMANDS = (
    *("check", "masks", "lawful", "solve", "assess", "trade-offs", "compare", "export", "report"),
    *("accept", "batch", "templates"),
)
_NO_MATTER = {"seconds", "assessed_seconds", "checksum"}
_PROOF = ("by", "guarded_bound", "sturdier_bound")  # what is no effort
_SECONDS = re.compile(r"\d+(\.\d+)? s\b|in \d+(\.\d+)? seconds?")


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("old", type=Path)
    parser.add_argument("new", type=Path, nargs="?", default=_HERE)
    parser.add_argument("--points", type=int, default=40, help="generated read points (40)")
    parser.add_argument("--demo", default="", help="of the demo these read points, by comma (all)")
    parser.add_argument("--only", default="", help="these commands, by comma (all)")
    parser.add_argument("--run", type=Path, help=argparse.SUPPRESS)  # a list of commands, here
    asked = parser.parse_args(argv)
    if asked.run:
        return _run(asked.run)
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        runs = _commands(work, asked.points, [name for name in asked.demo.split(",") if name])
        only = [name for name in asked.only.split(",") if name]
        kept = [run for run in runs if not only or run[0] in {*only, "solve"}]
        found = [_of(side, work, kept) for side in (asked.old.resolve(), asked.new.resolve())]
        return _compare(kept, *found)


def _commands(work: Path, points: int, demo: list[str]) -> list[list[str]]:
    """Every command on every read point; `{out}` stands for the checkout's own folder of answers.

    Those that need an answer of another command come after it.
    """
    made = _made(work / "made", points)
    site = json.loads((_DEMO / "site.json").read_text())["read_points"]
    runs = [["check", str(case), "--out", "{out}/check-" + case.name] for case in (_DEMO, made)]
    runs += [["--help"], *([name, "--help"] for name in _COMMANDS)]
    places = [(_DEMO, name) for name in site if not demo or name in demo]
    places += [(made, f"rp{number:05d}") for number in range(points)]
    for case, name in places:
        runs += _of_point(str(case), name)
    runs.append(["accept", "--miss-rate-max", "0.05", "--out", "{out}/plan"])
    runs.append(["lawful", "--region", "etsi-865-868", "--gain", "6", "--out", "{out}/lawful"])
    batch = "{out}/batch"
    runs.append(["batch", str(made), "--out", batch, "--workers", "2", "--unseen", "--sturdier"])
    runs.append(["templates", batch, "--at-most", "3", "--workers", "1", "--out", "{out}/site"])
    runs.append(
        ["report", batch, "--case", str(made), "--out", "{out}/page", "--data", "{out}/document"]
    )
    return runs


def _of_point(case: str, name: str) -> list[list[str]]:
    here, at = [case, "--read-point", name], "{out}/" + name
    best, other = f"{at}-solve", f"{at}-other"
    runs = [["solve", *here, "--out", best]]
    for command in ("masks", "assess"):
        runs.append([command, *here, "--out", f"{at}-{command}"])
    for view in ("counts", "techniques", "changes"):
        runs.append(["trade-offs", *here, "--view", view, "--out", f"{at}-{view}"])
    runs.append(["trade-offs", *here, "--set", "reader.mask_slots=1", "--out", other])
    runs.append(["trade-offs", *here, "--added-cable-loss", "1", "--out", f"{at}-cable"])
    given = ["--strategy", best]
    runs.append(["compare", *here, *given, "--out", f"{at}-alone"])
    runs.append(["compare", *here, *given, "--strategy", f"{other}.after", "--out", f"{at}-sides"])
    runs.append(["export", *here, *given, "--format", "gen2", "--out", f"{at}-gen2"])
    runs.append(["accept", *here, *given, "--against", case, "--out", f"{at}-accept"])
    return runs


def _made(folder: Path, points: int) -> Path:
    write = importlib.import_module("tests.bench.made_site").write_made_site
    write(folder, points, (6, 6, 8), kinds=8)
    path = folder / "site.json"
    site = json.loads(path.read_text())
    for number, policy in enumerate(site["read_points"].values()):
        policy.update(_POLICIES[number % len(_POLICIES)])
    path.write_text(json.dumps(site))
    return folder


def _of(side: Path, work: Path, runs: list[list[str]]) -> list[dict[str, Any]]:
    """What each command gave in one checkout."""
    out = work / f"out-{len(list(work.iterdir()))}"
    out.mkdir()
    here = [[part.replace("{out}", str(out)) for part in run] for run in runs]
    listed = out / "runs.json"
    listed.write_text(json.dumps(here))
    python = side / ".venv" / "bin" / "python"
    told = [str(python), str(Path(__file__)), ".", "--run", str(listed)]
    subprocess.run(told, cwd=side, env={**os.environ, "PYTHONPATH": str(side)}, check=True)
    found: list[dict[str, Any]] = json.loads((out / "found.json").read_text())
    return found


def _run(listed: Path) -> int:
    """Run the commands of a list in this process, and write what each gave beside it.

    The library is named here alone, since this file runs in either checkout.
    """
    command = importlib.import_module("strategist.__main__").main
    found = []
    for run in json.loads(listed.read_text()):
        text, errors, began = io.StringIO(), io.StringIO(), time.process_time()
        with contextlib.redirect_stdout(text), contextlib.redirect_stderr(errors):
            try:
                status = command(run)
            except SystemExit as refused:
                status = int(str(refused.code))
        spent = time.process_time() - began
        said = [_plain(one, listed.parent) for one in (text.getvalue(), errors.getvalue())]
        files = dict(_files(run, listed.parent))
        if run[0] == "batch":
            said[1] = ""  # its progress
        found.append({"status": status, "text": said[0], "errors": said[1], "spent": spent} | files)
    (listed.parent / "found.json").write_text(json.dumps(found))
    return 0


def _files(run: list[str], folder: Path) -> Iterator[tuple[str, Any]]:
    for option in ("--out", "--data"):
        path = Path(run[run.index(option) + 1]) if option in run else folder / "none"
        if path.is_dir():
            inside = sorted(p for p in path.iterdir() if p.suffix in {".jsonl", ".csv", ".json"})
            for file in inside:
                yield file.name, _read(file, folder)
        elif path.exists():
            yield option, _read(path, folder)
            if run[0] == "what-if" and "--set" in run:  # what `compare` takes
                after = json.loads(path.read_text())["after"]
                path.with_name(path.name + ".after").write_text(json.dumps(after))


def _read(path: Path, folder: Path) -> Any:
    text = path.read_text()
    if path.suffix == ".jsonl":
        return sorted(json.dumps(_told(json.loads(line))) for line in text.splitlines())
    if path.suffix == ".csv":
        rows = [{**row, "seconds": ""} for row in csv.DictReader(text.splitlines())]
        return _plain(json.dumps(rows), folder)
    try:
        return json.dumps(_told(json.loads(text)))
    except ValueError:
        return _plain(text, folder)


def _told(value: Any) -> Any:
    """A JSON value without what no two runs share; keys keep their order."""
    if isinstance(value, list):
        return [_told(one) for one in value]
    if not isinstance(value, dict):
        return value
    found = {key: _told(one) for key, one in value.items() if key not in _NO_MATTER}
    if isinstance(found.get("proof"), dict):
        found["proof"] = {key: found["proof"].get(key) for key in _PROOF}
    return found


def _plain(text: str, folder: Path) -> str:
    return _SECONDS.sub("", text.replace(str(folder), "").replace(str(folder.parent), ""))


def _compare(runs: list[list[str]], old: list[Any], new: list[Any]) -> int:
    times: dict[str, list[float]] = {}
    unlike = 0
    for run, before, after in zip(runs, old, new, strict=True):
        spent = times.setdefault(run[0], [0.0, 0.0, 0])
        for place, one in enumerate((before, after)):
            spent[place] += one.pop("spent")
        spent[2] += 1
        for key in dict.fromkeys([*before, *after]):
            one, other = str(before.get(key)), str(after.get(key))
            if one != other:
                unlike += 1
                at = next(
                    (n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), 0
                )
                at = max(0, at - 60)
                print(f"{' '.join(run)}: {key}\n  {one[at : at + 200]}\n  {other[at : at + 200]}")
    print(f"{len(runs)} commands, {unlike} differences")
    for name, (was, now, count) in times.items():
        ratio = now / was if was else 1.0
        print(f"  {name:<16} {count:>4.0f} times {was:8.2f} s {now:8.2f} s  ratio {ratio:.2f}")
    return 1 if unlike else 0


if __name__ == "__main__":
    sys.exit(main())
