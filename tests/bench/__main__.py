"""The benchmark: `python -m tests.bench [--tables race growth …] [--quick] [--limit 300]`.

Prints plain text as it goes. Every measurement has a fresh process on one core. No test is timed;
read ratios, and run it on a machine that has little else to do.
"""

from __future__ import annotations

import argparse
import platform
import sys
from importlib.metadata import PackageNotFoundError, version

from tests.bench.tables import TABLES, ContradictionError, Plan

PACKAGES = ("highspy", "pulp", "ortools", "numpy")


def main(arguments: list[str]) -> int:
    """Print the tables asked for; returns 1 where two results contradict each other."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("--tables", nargs="+", choices=TABLES, default=list(TABLES))
    sizes = parser.add_mutually_exclusive_group()
    sizes.add_argument("--quick", action="store_true", help="small sizes; the table large has none")
    sizes.add_argument(
        "--real", action="store_true", help="in the race only 60 passes × 13 levels × 92 masks"
    )
    parser.add_argument(
        "--limit", type=float, default=300.0, help="seconds for each measurement (default 300)"
    )
    given = parser.parse_args(arguments)
    print(f"Python {platform.python_version()}, {', '.join(_versions())}", flush=True)
    for name in given.tables:
        print(flush=True)
        try:
            for line in TABLES[name](Plan(given.limit, given.quick, given.real)):
                print(line, flush=True)
        except ContradictionError as contradiction:
            print(f"CONTRADICTION: {contradiction}", flush=True)
            return 1
    return 0


def _versions() -> list[str]:
    found = []
    for package in PACKAGES:
        try:
            found.append(f"{package} {version(package)}")
        except PackageNotFoundError:
            found.append(f"{package} not installed")
    return found


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
