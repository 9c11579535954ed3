"""Draw what lies before a case: `python -m cases.raw_log [FOLDER]` writes cases/raw-log/.

The survey of one read point of the demo as a reader and people would write it down: a log with
semicolons, decimal commas, milliwatts and spaced hex, a run sheet by the clock, and a list of tags
by the labels that are stuck on them. The same seed gives the same bytes.
"""

from __future__ import annotations

import argparse
import csv
import io
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cases.generate import SEED, Drawn, draw
from cases.linen import PLACES

FOLDER = Path(__file__).parent / "raw-log"
BEGIN = datetime(2026, 3, 9, 8, 0, tzinfo=UTC)
PASS_S, LEVEL_S, DWELL_S = 600, 4, 3  # from pass to pass, from level to level, at a level
READ_POINT, PASSES = "soiled-chute", 60


@dataclass(frozen=True)
class Read:
    """One row of a log before it is put into words."""

    pass_id: str
    level: int
    at: datetime
    epc: str
    rssi: float


@dataclass(frozen=True)
class Facts:
    """What happened in a survey. `roster` has (pass, EPC, role, TID, user, type)."""

    read_point: str
    passes: tuple[str, ...]
    levels: tuple[int, ...]
    reads: tuple[Read, ...]
    roster: tuple[tuple[str, ...], ...]

    def start(self, pass_id: str, level: int | None = None) -> datetime:
        """When a pass began, or its turn at a level."""
        at = BEGIN + timedelta(seconds=PASS_S * self.passes.index(pass_id))
        step = 0 if level is None else self.levels.index(level)
        return at + timedelta(seconds=LEVEL_S * step)

    def end(self, pass_id: str, level: int | None = None) -> datetime:
        """When it was over."""
        last = self.levels[-1] if level is None else level
        return self.start(pass_id, last) + timedelta(seconds=DWELL_S)


def facts(read_point: str = READ_POINT, passes: int = PASSES, seed: int = SEED) -> Facts:
    """A survey drawn from a seed, with the times of its reads."""
    drawn = draw(read_point, passes, seed)
    levels = tuple(PLACES[read_point].levels_dbm)
    ids = tuple(dict.fromkeys(row[1] for row in drawn.roster))
    bare = Facts(read_point, ids, levels, (), tuple(row[1:] for row in drawn.roster))
    return Facts(read_point, ids, levels, _timed(bare, drawn), bare.roster)


def _timed(bare: Facts, drawn: Drawn) -> tuple[Read, ...]:
    groups: dict[tuple[str, int], list[tuple[str, ...]]] = {}
    for row in drawn.reads:
        groups.setdefault((row[1], int(row[2])), []).append(row)
    found = []
    for (pass_id, level), rows in groups.items():
        start = bare.start(pass_id, level)
        for i, row in enumerate(rows, 1):
            at = start + timedelta(milliseconds=round(1000 * DWELL_S * i / (len(rows) + 1)))
            found.append(Read(pass_id, level, at, row[3], float(row[4])))
    return tuple(found)


def spaced(epc: str) -> str:
    """Hex in words of two bytes."""
    return " ".join(epc[i : i + 4] for i in range(0, len(epc), 4))


def labels(made: Facts) -> dict[str, str]:
    """The label of each tag of the roster, in the order of the passes."""
    epcs = dict.fromkeys(row[1] for row in made.roster)
    return {epc: f"T{i:03d}" for i, epc in enumerate(epcs, 1)}


def files(made: Facts) -> dict[str, str]:
    """The three files."""
    label = labels(made)
    log = [("Zeit", "Antenne", "EPC", "RSSI (dBm)", "Leistung (mW)")]
    for one in made.reads:
        at = one.at.strftime("%d.%m.%Y %H:%M:%S,") + f"{one.at.microsecond // 1000:03d}"
        rssi = f"{one.rssi:.1f}".replace(".", ",")
        log.append((at, "1", spaced(one.epc), rssi, f"{10 ** (one.level / 10):.0f}"))
    runs = [("Run", "Day", "From", "To", "Wanted", "Stray", "Condition")]
    for i, name in enumerate(made.passes):
        of = {role: " ".join(label[row[1]] for row in made.roster if row[0] == name
              and row[2] == role) for role in ("wanted", "stray")}  # fmt: skip
        day, clock = "%d.%m.%Y", "%H:%M:%S"
        start, end = made.start(name), made.end(name)
        condition = "corridor full" if i % 3 == 2 else "as usual"
        runs.append(
            (name, start.strftime(day), start.strftime(clock), end.strftime(clock),
             of["wanted"], of["stray"], condition)
        )  # fmt: skip
    carried = {row[1]: row[3:] for row in made.roster}
    tags = [("Label", "EPC", "TID", "User memory", "Tag type")]
    tags += [(label[epc], epc, *carried[epc]) for epc in label]
    return {
        "log.csv": _text(log, ";"),
        "runs.csv": _text(runs, ","),
        "tags.csv": _text(tags, ","),
    }


def _text(rows: list[tuple[str, ...]], delimiter: str) -> str:
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return text.getvalue()


def main() -> None:
    """Write the files."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=FOLDER)
    folder = parser.parse_args().folder
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files(facts()).items():
        (folder / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
