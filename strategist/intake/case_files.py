"""The files of a case from sorted rows: the same rows give the same bytes, whatever their order."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from strategist.intake.roster import Roster
from strategist.intake.runs import Runs
from strategist.survey.order import figure, natural
from strategist.survey.records import Floats, Ints
from strategist.survey.texts import Texts

_CHUNK = 100_000  # rows that are put into words at once
_PASSES_HEADER = ("read_point", "pass_id", "condition", "day", "weight")
_ROSTER_HEADER = ("read_point", "pass_id", "epc", "role", "tid", "user", "tag_type")


@dataclass(frozen=True, eq=False)
class Reads:
    """Reads to be written: names as texts, numbers as they are (NaN: not given)."""

    point: Texts
    passes: Texts
    epc: Texts
    level: Floats
    rssi: Floats
    antenna: Floats | None = None
    count: Floats | None = None
    since_s: Floats | None = None

    def __len__(self) -> int:
        return len(self.level)


def reads_csv(reads: Reads) -> str:
    """reads.csv, by read point, pass, level, tag, RSSI and what else there is."""
    extra = {"antenna": reads.antenna, "reads": reads.count, "t_s": reads.since_s}
    given = {name: column for name, column in extra.items() if column is not None}
    ranks = [_ranks(reads.point, natural), _ranks(reads.passes, natural), _ranks(reads.epc, str)]
    keys = [*reversed(list(given.values())), reads.rssi, ranks[2], reads.level, ranks[1], ranks[0]]
    order = np.lexsort(keys)
    header = ["read_point", "pass_id", "power_dbm", "epc", "rssi_dbm", *given]
    return ",".join(header) + "\n" + "".join(_read_lines(reads, given, order))


def _ranks(column: Texts, key: Any) -> Ints:
    place = {value: i for i, value in enumerate(sorted(column.values, key=key))}
    return np.array([place[value] for value in column.values], np.int64)[column.codes]


def _read_lines(reads: Reads, given: dict[str, Floats], order: Ints) -> Iterator[str]:
    texts = [_quoted(reads.point), _quoted(reads.passes), reads.epc]
    for begin in range(0, len(order), _CHUNK):
        rows = order[begin : begin + _CHUNK]
        point, passes, epc = (_texts(column, rows) for column in texts)
        columns = [point, passes, _figures(reads.level[rows]), epc, _figures(reads.rssi[rows])]
        columns += [_figures(column[rows]) for column in given.values()]
        yield "\n".join(map(",".join, zip(*columns, strict=True))) + "\n"


def _texts(column: Texts, rows: Ints) -> list[str]:
    found: list[str] = np.array(column.values, object)[column.codes[rows]].tolist()
    return found


def _quoted(column: Texts) -> Texts:
    return Texts(column.codes, tuple(_cell(value) for value in column.values))


def _cell(text: str) -> str:
    text = text.replace("\n", " ").replace("\r", " ")
    return '"' + text.replace('"', '""') + '"' if any(c in text for c in ',"') else text


def _figures(numbers: Floats) -> list[str]:
    values, back = np.unique(numbers, return_inverse=True)
    words = ["" if np.isnan(value) else figure(value) for value in values]
    found: list[str] = np.array(words, object)[back].tolist()
    return found


def table_csv(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A small table, in the order given."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return text.getvalue()


def site_json(levels: dict[str, Floats]) -> str:
    """A first site.json: the levels of each read point; all else has its default."""
    points = {name: {"levels_dbm": [_plain(v) for v in found]} for name, found in levels.items()}
    return json.dumps({"site": "", "read_points": points}, indent=1, ensure_ascii=False) + "\n"


def _plain(value: float) -> float | int:
    return int(value) if float(value).is_integer() else float(figure(value))


def files_of(
    reads: Reads,
    roster: Roster,
    runs: Runs | None,
    passes: Mapping[str, tuple[str, ...]],
    levels: dict[str, Floats],
) -> dict[str, str]:
    """The files of the case by name; tried.csv and passes.csv only where they say something.

    `levels` are those of each read point, as by `levels_by_point`.
    """
    place = {point: i for i, point in enumerate(sorted(passes, key=natural))}
    rows = [
        (*key, role, *roster.carried.get(key[2], ("", "", "")))
        for key, role in roster.roles.items()
    ]
    order = sorted({row[1] for row in rows}, key=natural)
    rank = {name: i for i, name in enumerate(order)}
    rows.sort(key=lambda row: (place.get(row[0], len(place)), rank[row[1]], row[2]))
    files = {
        "reads.csv": reads_csv(reads),
        "roster.csv": table_csv(_ROSTER_HEADER, rows),
        "site.json": site_json(levels),
    }
    tried = _tried(reads, runs, passes)
    if tried:
        header = ("read_point", "pass_id", "power_dbm", "dwell_s")
        files["tried.csv"] = table_csv(header[: len(tried[0])], tried)
    told = _told_of_passes(runs)
    if told:
        files["passes.csv"] = table_csv(_PASSES_HEADER, told)
    return files


def levels_by_point(
    reads: Reads,
    runs: Runs | None,
    passes: Mapping[str, tuple[str, ...]],
    known: Sequence[float],
) -> dict[str, Floats]:
    """The levels (dBm) of each read point: the `known` ones, those of its reads and those that the
    run sheet gives it; none where all three are silent."""
    found: dict[str, Floats] = {}
    for point in passes:
        code = reads.point.values.index(point) if point in reads.point.values else -1
        levels = [reads.level[reads.point.codes == code], np.array(known, np.float64)]
        if runs is not None:
            mine = np.array([name == point for name in runs.points], bool)
            levels.append(runs.level[mine & np.isfinite(runs.level)])
        found[point] = np.unique(np.concatenate(levels))
    return found


def _tried(
    reads: Reads, runs: Runs | None, passes: Mapping[str, tuple[str, ...]]
) -> list[tuple[str, ...]]:
    """The pairs of pass and level that the run sheet lists, with how long each was listened to;
    none where it does not list levels, or these are all and it gives no times."""
    if runs is None or not np.isfinite(runs.level).all():
        return []
    names = zip(runs.points, runs.passes, runs.level.tolist(), strict=True)
    dwell: dict[tuple[str, str, float], float] = {}
    for pair, seconds in zip(names, runs.dwell.tolist(), strict=True):
        dwell[pair] = max(dwell.get(pair, seconds), seconds)
    rows = zip(
        reads.point.codes.tolist(), reads.passes.codes.tolist(), reads.level.tolist(), strict=True
    )
    for point, one, level in set(rows):
        dwell.setdefault((reads.point.values[point], reads.passes.values[one], level), np.nan)
    levels = {one: {level for p, _, level in dwell if p == one} for one in passes}
    timed = not all(np.isnan(list(dwell.values())))
    if len(dwell) == sum(len(passes[one]) * len(levels[one]) for one in passes) and not timed:
        return []
    place = {point: i for i, point in enumerate(passes)}
    order = sorted(dwell, key=lambda pair: (place[pair[0]], natural(pair[1]), pair[2]))
    found: list[tuple[str, ...]] = [(*pair[:2], figure(pair[2])) for pair in order]
    if not timed:
        return found
    seconds = ["" if np.isnan(dwell[pair]) else figure(dwell[pair]) for pair in order]
    return [(*row, one) for row, one in zip(found, seconds, strict=True)]


def _told_of_passes(runs: Runs | None) -> list[tuple[str, str, str, str, str]]:
    """What the run sheet says of each pass: condition, day, weight."""
    if runs is None or not {"condition", "weight", "date"} & runs.has:
        return []
    said: dict[tuple[str, str], tuple[str, str, str]] = {}
    for i, key in enumerate(zip(runs.points, runs.passes, strict=True)):
        weight = runs.weight[i]
        now = (runs.conditions[i], runs.days[i], "" if np.isnan(weight) else f"{weight:.10g}")
        before = said.get(key, ("", "", ""))
        said[key] = (before[0] or now[0], before[1] or now[1], before[2] or now[2])
    order = sorted(said, key=lambda key: (natural(key[0]), natural(key[1])))
    return [(*key, *said[key]) for key in order]
