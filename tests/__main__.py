"""All checks: `python -m tests [arguments for pytest]`: formatting, lint, types, tests.

The tests run on all processors, each file on one (`pytest-xdist`; fixtures of a file are shared).
Each check runs whatever the others found. The exit status is that of the first that failed; pytest
comes last, so that its closing line ends the output.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
CHECKS = (
    ("ruff", "format", "--check", "."),
    ("ruff", "check", "."),
    ("mypy",),
    # one more than there are processors: tests of the API wait for each other's processes
    (
        "pytest",
        "-n",
        str((os.cpu_count() or 1) + 1),
        "--dist",
        "loadfile",
        "--no-loadscope-reorder",
    ),
)


def main(arguments: list[str]) -> int:
    """Run the checks; `arguments` go to pytest. Returns the exit status."""
    failed: list[tuple[str, int]] = []
    for check in CHECKS:
        name = " ".join(check)
        if failed and check == CHECKS[-1]:
            print(f"== failed so far: {', '.join(found for found, _ in failed)}", flush=True)
        print(f"== {name}", flush=True)
        more = arguments if check == CHECKS[-1] else []
        status = subprocess.call([sys.executable, "-m", *check, *more], cwd=ROOT)
        if status:
            failed.append((name, status))
    return failed[0][1] if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
