"""Small generated sites for the tests of the batch: many read points that are solved in no time."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

LEVELS = (15, 18, 21)


def epc_of(point: str, number: int) -> str:
    """An EPC of no scheme, of a tag that belongs to a read point."""
    return f"00{sum(map(ord, point)) % 256:02X}{number:04X}"


def write_site(
    folder: Path,
    points: int,
    seed: int = 0,
    *,
    bad: tuple[int, ...] = (),
    policy: dict[str, Any] | None = None,
) -> Path:
    """A case of read points d00, d01, …; those of `bad` have a read that is none.

    Two tags of each read point are wanted there, and heard as stray at the next one.
    """
    rng = random.Random(seed)
    names = [f"d{number:02d}" for number in range(points)]
    roster, reads = [], []
    for number, name in enumerate(names):
        other = names[number - 1]
        for load in range(6):
            tags = [(epc_of(name, load), "wanted"), (epc_of(name, load + 1), "wanted")]
            tags += [(epc_of(other, load), "stray"), (f"{number:04X}FF{load:02X}", "stray")]
            for epc, role in dict(tags).items():
                roster.append(f"{name},p{load},{epc},{role}")
                first = rng.randrange(3 if role == "wanted" else 4)
                base = rng.randrange(-66, -52) if role == "wanted" else rng.randrange(-74, -60)
                reads += [
                    f"{name},p{load},{level},{epc},{base + step}"
                    for step, level in enumerate(LEVELS)
                    if step >= first
                ]
        if number in bad:
            reads.append(f"{name},p0,15,{epc_of(name, 0)},loud")
    folder.mkdir(parents=True)
    head = "read_point,pass_id,power_dbm,epc,rssi_dbm"
    (folder / "reads.csv").write_text("\n".join([head, *reads]) + "\n")
    (folder / "roster.csv").write_text("\n".join(["read_point,pass_id,epc,role", *roster]) + "\n")
    its = {"levels_dbm": list(LEVELS), "reader": {"mask_slots": 1}, "aim": "survey"}
    its |= policy or {}
    site = {"site": "Made", "read_points": dict.fromkeys(names, its)}
    (folder / "site.json").write_text(json.dumps(site))
    return folder


def rows(out: Path, name: str = "results.jsonl") -> list[dict[str, Any]]:
    """The lines of a results folder, without what the clock says and the checksum of that."""
    found = [json.loads(line) for line in (out / name).read_text().splitlines()]
    for row in found:
        del row["checksum"]
        if "result" in row:
            row["result"]["seconds"] = 0
    return found
