"""An import in words: what each column was taken for, what was assumed, what became of the rows."""

from __future__ import annotations

from collections.abc import Iterator

from strategist.intake.imported import Imported, Recognised
from strategist.report.lines import paragraph, plain
from strategist.survey.order import figure

_SAMPLE_WIDTH = 34
_BY = {"column": "a column of the log", "windows": "the times on the run sheet"}


def import_text(imported: Imported) -> str:
    """What was imported, in lines of 80 columns where names allow."""
    return "\n".join(
        [
            *_columns(imported),
            *_listed("Assumed", imported.assumed),
            *_points(imported),
            *_rows(imported),
            *_findings(imported),
            *_listed("Reading the case", imported.warnings),
        ]
    )


def _columns(imported: Imported) -> Iterator[str]:
    for file in dict.fromkeys(column.file for column in imported.columns):
        mine = [column for column in imported.columns if column.file == file]
        yield f"{plain(file)}"
        wide = min(24, max(len(plain(column.column)) for column in mine))
        for column in mine:
            yield f"  {plain(column.column):{wide}}  {_taken(column)}"


def _taken(column: Recognised) -> str:
    sample = ", ".join(column.sample)
    if len(sample) > _SAMPLE_WIDTH:
        sample = sample[: _SAMPLE_WIDTH - 1] + "…"
    if column.role is None:
        return f"{'not used':22} {plain(sample)}"
    form = f" ({column.form})" if column.form else ""
    by = {"mapping": " *", "content": " ?"}.get(column.by or "", "")
    return f"{column.role + form + by:22} {plain(sample)}"


def _listed(head: str, lines: tuple[str, ...]) -> Iterator[str]:
    if lines:
        yield head
        for line in lines:
            yield from paragraph(plain(line))


def _points(imported: Imported) -> Iterator[str]:
    yield "Case"
    for point in imported.read_points:
        low, high = point.levels_dbm[0], point.levels_dbm[-1]
        yield from paragraph(
            f"{plain(point.read_point)}: {_count(point.passes, 'pass', 'es')}, "
            f"{_count(len(point.levels_dbm), 'level')} of {figure(low)} to {figure(high)} dBm, "
            f"{_count(point.tags, 'tag')} in {_count(point.reads, 'read')}"
        )
    by = _BY.get(imported.passes_by, "pauses between reads")
    yield from paragraph(f"Passes are told by {by}.")


def _count(number: int, word: str, ending: str = "s") -> str:
    return f"{number:,} {word}{'' if number == 1 else ending}"


def _rows(imported: Imported) -> Iterator[str]:
    tally = imported.tally
    yield "Rows of the log"
    counts = {
        "rows": tally.rows,
        "reads of the case": tally.reads,
        "outside every pass": tally.outside_passes,
        "without an EPC": tally.without_epc,
        "without RSSI": tally.without_rssi,
        "without a level": tally.without_level,
        f"reads of {tally.unlisted_tags} tags on no list": tally.reads_of_unlisted_tags,
    }
    always = {"rows", "reads of the case", "outside every pass"}
    for words, count in counts.items():
        if count or words in always:
            yield f"  {count:>11,}  {words}"
    if tally.listed_tags_never_read:
        yield f"  {tally.listed_tags_never_read:>11,}  listed tags that no row names"


def _findings(imported: Imported) -> Iterator[str]:
    if not imported.findings:
        return
    yield "Suspicious"
    for one in imported.findings:
        where = f"{one.read_point}: " if one.read_point else ""
        yield from paragraph(plain(f"{where}{one.text} -> {one.advice}"))
