"""How long `import` takes for large logs, and how much memory: `python -m tests.bench.intake`.

Each make is imported in a process of its own, on one processor, beside a bare read of the same
file by pandas (of LLRP, of its bytes); the ratio of processor times is what can be compared between
machines.
"""

from __future__ import annotations

import argparse
import json
import os
import struct
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

TAGS, LEVELS, PASS_S = 40, 16, 200  # in a pass; each pair of pass and level has several reads
FIRST = 1_773_043_200  # 2026-03-09 08:00 by UTC
IMPORT = """
import strategist, sys
from pathlib import Path
given = [{Path(name).name: Path(name)} for name in sys.argv[1:4]]
found = strategist.import_log(given[0], run_sheet=given[1], tags=given[2],
                              mapping=strategist.ImportMapping(
                                  read_point="dock",
                                  levels_by_rospec={str(level): level for level in range(15, 31)}))
strategist.write_case(sys.argv[4], found.files)
assert found.tally.reads == found.tally.rows, found.tally
"""
BARE = """
import pandas, sys
first = open(sys.argv[1], "rb").readline()
if first.startswith(b"{"):
    pandas.read_json(sys.argv[1], lines=True)
elif first.isascii():
    pandas.read_csv(sys.argv[1], sep=next(by for by in ";\t," if by.encode() in first), dtype=str)
else:
    open(sys.argv[1], "rb").read()
"""


def write(folder: Path, rows: int, make: str) -> tuple[Path, Path, Path]:
    """A log of so many rows with its run sheet and tag list."""
    rng = np.random.default_rng(1)
    passes = max(2, rows // (TAGS * LEVELS * 20))
    stamp = np.sort(rng.integers(0, passes * 150_000, rows))
    at, within = np.divmod(stamp, 150_000)
    level = 15 + within * LEVELS // 150_000
    tag = rng.integers(0, TAGS, rows) + at * (TAGS // 4)
    rssi = -30 - rng.integers(0, 80, rows) / 2
    epcs = [f"3066C4409047E14{i:09X}" for i in range(int(tag.max()) + 1)]
    milli = FIRST * 1000 + at * PASS_S * 1000 + within
    log, runs, tags = (folder / f"{name}-{make}.csv" for name in ("log", "runs", "tags"))
    _LOGS[make](log, epcs, list(zip(milli.tolist(), tag.tolist(), rssi.tolist(), level.tolist(),
                                    strict=True)))  # fmt: skip
    with runs.open("w") as file:
        file.write("pass,start,end\n")
        for i in range(passes):
            ends = (FIRST + i * PASS_S, FIRST + i * PASS_S + 150)
            file.write(f"p{i:05d},{','.join(str(np.datetime64(one, 's')) for one in ends)}\n")
    with tags.open("w") as file:
        file.write("epc,role\n")
        for i, epc in enumerate(epcs):
            file.write(f"{epc},{'wanted' if i % 3 else 'stray'}\n")
    return log, runs, tags


Rows = list[tuple[int, int, float, int]]  # ms since 1970, tag, RSSI, level


def _plain(log: Path, epcs: list[str], rows: Rows, by: str = ",") -> None:
    with log.open("w") as file:
        file.write(by.join(("time", "epc", "rssi_dbm", "power_dbm", "antenna")) + "\n")
        times = np.datetime_as_string(np.array([row[0] for row in rows], "datetime64[ms]"))
        for when, (_, tag, rssi, level) in zip(times, rows, strict=True):
            file.write(by.join((when, epcs[tag], str(rssi), str(level), "1")) + "\n")


def _tabs(log: Path, epcs: list[str], rows: Rows) -> None:
    _plain(log, epcs, rows, "\t")


def _semicolons(log: Path, epcs: list[str], rows: Rows) -> None:
    spaced = [" ".join(epc[i : i + 4] for i in range(0, 24, 4)) for epc in epcs]
    mw = {one: f"{10 ** (one / 10):.0f}" for one in range(15, 15 + LEVELS)}
    times = np.datetime_as_string(np.array([row[0] for row in rows], "datetime64[ms]"))
    with log.open("w") as file:
        file.write("Zeit;EPC;Pegel (dBm);Leistung (mW);Antenne\n")
        for when, (_, tag, rssi, level) in zip(times, rows, strict=True):
            day = f"{when[8:10]}.{when[5:7]}.{when[:4]} {when[11:19]},{when[20:]}"
            file.write(f"{day};{spaced[tag]};{str(rssi).replace('.', ',')};{mw[level]};1\n")


def _json(log: Path, epcs: list[str], rows: Rows) -> None:
    with log.open("w") as file:
        for ms, tag, rssi, level in rows:
            row = {"timestamp": ms, "epc": epcs[tag], "rssi": rssi, "tx power": level}
            file.write(json.dumps(row) + "\n")


def _llrp(log: Path, epcs: list[str], rows: Rows) -> None:
    """Messages with a tag report each; the level is that of the ROSpec."""
    with log.open("wb") as file:
        for ms, tag, rssi, level in rows:
            body = b"\x8d" + bytes.fromhex(epcs[tag]) + struct.pack(">BI", 0x89, level)
            body += struct.pack(">BHBbBQ", 0x81, 1, 0x86, int(rssi), 0x82, ms * 1000)
            report = struct.pack(">HH", 240, len(body) + 4) + body
            file.write(struct.pack(">HII", 1 << 10 | 61, len(report) + 10, 1) + report)


_LOGS = {
    "plain": _plain, "tabs": _tabs, "semicolons": _semicolons, "json": _json, "llrp": _llrp
}  # fmt: skip


def measured(code: str, *arguments: str) -> tuple[float, float]:
    """(processor seconds, peak MiB) of Python code in a process of its own on one processor."""
    process = subprocess.Popen([sys.executable, "-c", code, *arguments])
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(process.pid, {min(os.sched_getaffinity(0))})
    _, status, used = os.wait4(process.pid, 0)
    if status:
        raise SystemExit("the import failed")
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def main() -> None:
    """Print a line for each make."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", nargs="?", type=int, default=1_000_000)
    parser.add_argument("--makes", nargs="+", choices=_LOGS, default=list(_LOGS))
    given = parser.parse_args()
    rows = given.rows
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for make in given.makes:
            files = [str(path) for path in write(folder, rows, make)]
            seconds, peak = measured(IMPORT, *files, str(folder / f"case-{make}"))
            bare, _ = measured(BARE, files[0])
            size = Path(files[0]).stat().st_size / 1e6
            print(
                f"{make:12} {rows:,} rows, {size:.0f} MB: {seconds:.1f} s of processor, peak "
                f"{peak:.0f} MiB; bare read {bare:.1f} s, ratio {seconds / bare:.1f}"
            )


if __name__ == "__main__":
    main()
