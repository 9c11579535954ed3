"""Small case folders for the tests of the survey."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np

from strategist.survey.records import Survey

DATA = Path(__file__).parent / "data"

READS = """\
read_point,pass_id,power_dbm,epc,rssi_dbm
gate,p1,15,3001,-50
gate,p1,16,3001,-48
gate,p1,16,3002,-60.5
gate,p2,16,3001,-49
"""
ROSTER = """\
read_point,pass_id,epc,role
gate,p1,3001,wanted
gate,p1,3002,stray
gate,p2,3001,wanted
"""
READER = '"reader": {"ladder_steps_max": 5, "mask_slots": 3, "mask_step_bits": 8}'  # looked up
SITE = f'{{"site": "Test", "read_points": {{"gate": {{"levels_dbm": [15, 16], {READER}}}}}}}'


def write_case(
    folder: Path,
    reads: str = READS,
    roster: str = ROSTER,
    site: str = SITE,
    tried: str | None = None,
) -> Path:
    """A case folder with the given texts; sound unless one of them is not."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "reads.csv").write_bytes(reads.encode())
    (folder / "roster.csv").write_bytes(roster.encode())
    (folder / "site.json").write_bytes(site.encode())
    if tried is not None:
        (folder / "tried.csv").write_bytes(tried.encode())
    return folder


def broken_case(folder: Path, name: str) -> Path:
    """A sound case of which one file is replaced by `data/NAME`; its first word is the file."""
    write_case(folder)
    kind = name.split("_", maxsplit=1)[0]
    suffix = ".json" if kind == "site" else ".csv"
    shutil.copy(DATA / name, folder / f"{kind}{suffix}")
    return folder


def plain(survey: Survey) -> tuple[object, ...]:
    """All that a survey holds, in a form that can be compared."""
    values = (getattr(survey, name) for name in survey.__dataclass_fields__)
    return tuple(value.tolist() if isinstance(value, np.ndarray) else value for value in values)
