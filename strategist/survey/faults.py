"""Faults of several files, gathered before the one raise, in bounded memory."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import replace

from strategist.errors import Fault, InputError
from strategist.survey.records import Ints

FAULTS_SHOWN = 1000  # of one source; a file with more is a wrong file, not a file to mend
_COMPARED, _COMPARED_CHARACTERS = 1000, 200  # names, and characters of one, for the nearest


class FaultList:
    """Faults in the order of their sources and lines; the first 1,000 of a source and a count."""

    def __init__(self) -> None:
        self._kept: dict[str, dict[str | None, list[Fault]]] = {}
        self._found: Counter[str] = Counter()

    def __bool__(self) -> bool:
        return bool(self._found)

    def add(self, fault: Fault) -> None:
        """Take a fault; faults of one column come in the order of their lines."""
        self._found[fault.source] += 1
        kept = self._kept.setdefault(fault.source, {}).setdefault(fault.column, [])
        if len(kept) < FAULTS_SHOWN:
            kept.append(fault)

    def add_rows(
        self,
        source: str,
        column: str | None,
        lines: Ints,
        found: Callable[[int], str],
        allowed: Callable[[int], str],
        *,
        wrong: Callable[[int], str] = lambda _: "",
    ) -> None:
        """Take one fault for each of `lines`; `found(i)` and the others word the i-th."""
        for i in range(min(len(lines), FAULTS_SHOWN)):
            at, told = int(lines[i]), wrong(i)
            self.add(Fault(source, at, column, found(i), allowed(i), wrong=told))
        if len(lines) > FAULTS_SHOWN:
            self._found[source] += len(lines) - FAULTS_SHOWN

    def add_each(self, source: str, count: int, faults: Iterable[Fault]) -> None:
        """Take `count` faults of a source; only the first ones are drawn from `faults`."""
        shown = min(count, FAULTS_SHOWN)
        for fault in itertools.islice(faults, shown):
            self.add(fault)
        self._found[source] += count - shown

    def take(self, error: InputError) -> None:
        """Take the faults of an error."""
        for fault in error.faults:
            self.add(fault)

    def extend(self, other: FaultList) -> None:
        """Take all the faults of another list."""
        for source, count in other._found.items():
            kept = [fault for column in other._kept[source].values() for fault in column]
            for fault in kept:
                self.add(fault)
            self._found[source] += count - len(kept)

    def at_lines(self, line_of: Callable[[int], int]) -> FaultList:
        """The same faults with their lines counted anew."""
        moved = FaultList()
        moved._found = Counter(self._found)
        moved._kept = {
            source: {
                column: [
                    fault if fault.line is None else replace(fault, line=line_of(fault.line))
                    for fault in faults
                ]
                for column, faults in columns.items()
            }
            for source, columns in self._kept.items()
        }
        return moved

    def faults(self) -> tuple[Fault, ...]:
        """What was found, source by source in the order of lines; the last says what is not shown.

        Faults of a whole file come before those of its lines.
        """
        shown: list[Fault] = []
        for source, columns in self._kept.items():
            of_source = [fault for column in columns.values() for fault in column]
            of_source.sort(key=lambda fault: fault.line or 0)
            shown += of_source[:FAULTS_SHOWN]
            more = self._found[source] - min(len(of_source), FAULTS_SHOWN)
            if more:
                allowed = f"Correct the first {FAULTS_SHOWN:,}, which are listed, then try again."
                found = f"{more:,} more fault{'' if more == 1 else 's'}"
                shown.append(Fault(source, None, None, found, allowed, count=more, wrong=found))
        return tuple(shown)

    def raise_any(self) -> None:
        """Raise InputError with all faults if there are any."""
        if self:
            raise InputError(self.faults())


def nearest_hint(name: str, known: Iterable[str]) -> str:
    """` (nearest: "…")` for the known name most like `name`, or nothing.

    Nothing either where the name is too long, or the known ones too many, to be compared at once.
    """
    listed = list(known)
    if len(name) > _COMPARED_CHARACTERS or len(listed) > _COMPARED:
        return ""
    import difflib  # noqa: PLC0415 (loaded where something is wrong)

    nearest = difflib.get_close_matches(name, listed, n=1, cutoff=0.4)
    return f' (nearest: "{nearest[0]}")' if nearest else ""
