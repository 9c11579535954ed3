"""Cases of any number of generated read points, written one read point at a time."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, TextIO

from strategist.survey.records import ReadPoint
from tests.bench.made_large import large_read_point

DIFFERENT = 100  # surveys drawn; further read points repeat them under other names and policies


def write_made_site(
    folder: Path,
    points: int,
    size: tuple[int, int, int],
    *,
    kinds: int = 24,
    policy: dict[str, Any] | None = None,
) -> Path:
    """A case of read points of `size` (passes, levels, tags a pass) with a policy that each shares.

    Read points past the first hundred have the survey of one of these and another weight of a
    missed tag, so that none is the same problem.
    """
    folder.mkdir(parents=True)
    site: dict[str, Any] = {}
    texts = []
    with (folder / "reads.csv").open("w") as reads, (folder / "roster.csv").open("w") as roster:
        reads.write("read_point,pass_id,power_dbm,epc,rssi_dbm\n")
        roster.write("read_point,pass_id,epc,role,tid,user\n")
        for number in range(points):
            if number < DIFFERENT:
                point = large_read_point(*size, kinds=kinds, seed=number)
                texts.append(_rows(point))
                levels = point.survey.levels_dbm.tolist()
            name = f"rp{number:05d}"
            for file, text in zip((reads, roster), texts[number % DIFFERENT], strict=True):
                _write(file, name, text)
            missed = 5 + number // DIFFERENT / 10
            site[name] = {"levels_dbm": levels, "loss": {"missed": missed}} | (policy or {})
    (folder / "site.json").write_text(json.dumps({"site": "Made", "read_points": site}))
    return folder


def _write(file: TextIO, name: str, text: str) -> None:
    file.write(text.replace("\n,", f"\n{name},")[1:] + "\n")


def _rows(point: ReadPoint) -> tuple[str, str]:
    """Reads and roster as rows without the name of the read point, each begun by a line end."""
    survey = point.survey
    role = ("stray", "wanted")
    passes, tags, levels = survey.pass_ids, survey.tags, survey.levels_dbm
    reads = [
        f"\n,{passes[p]},{levels[at]:g},{tags[t].epc},{rssi:g}"
        for p, at, t, rssi in zip(
            survey.read_pass, survey.read_level, survey.read_tag, survey.read_rssi, strict=True
        )
    ]
    roster = [
        f"\n,{passes[p]},{tags[t].epc},{role[int(wanted)]},{tags[t].tid},{tags[t].user}"
        for p, t, wanted in zip(
            survey.roster_pass, survey.roster_tag, survey.roster_wanted, strict=True
        )
    ]
    return "".join(reads), "".join(roster)
