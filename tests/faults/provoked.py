"""Faults that are provoked one by one: what is changed or typed, and what has to be said of it."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

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
SITE = '{"read_points": {"gate": {"levels_dbm": [15, 16]}}}'
STRATEGY = '{"levels_dbm": [16]}'
TABLE = "index,power_dbm\n1,15\n2,16\n"


@dataclass(frozen=True)
class Fault:
    """A fault in files or in what is typed: `files` (name → text, or what of it is replaced by
    what) stand beside a sound case, `argv` is typed, and `said` is the whole of standard error."""

    name: str
    said: str
    files: dict[str, Any] = field(default_factory=dict)
    argv: str = "solve case"
    status: int = 2


def write(folder: Path, files: dict[str, Any]) -> None:
    """The sound case and what goes with it, with the changes of a fault; None: no such file."""
    texts: dict[str, Any] = {
        "case/reads.csv": READS,
        "case/roster.csv": ROSTER,
        "case/site.json": SITE,
        "strategy.json": STRATEGY,
        "table.csv": TABLE,
        "other.json": STRATEGY,
    }
    for name, change in files.items():
        if isinstance(change, tuple):
            old, new = change
            assert old in texts[name]
            texts[name] = texts[name].replace(old, new, 1)
        else:
            texts[name] = change
    for name, text in texts.items():
        if text is not None:
            path = folder / name
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(text if isinstance(text, bytes) else text.encode())


def policy(**keys: Any) -> dict[str, Any]:
    """The change of site.json that gives the read point these keys."""
    point = {"levels_dbm": [15, 16]} | keys
    return {"case/site.json": json.dumps({"read_points": {"gate": point}})}


def strategy(**keys: Any) -> dict[str, Any]:
    """A strategy file with these keys."""
    return {"strategy.json": json.dumps({"levels_dbm": [16]} | keys)}
