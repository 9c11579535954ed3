"""Orders and sets of millions of reads, where a general sort takes most of the time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strategist.survey.kept import kept
from strategist.survey.records import Floats, Ints, Survey

_MOST = 2**62  # of a number that stands for several
_SPARSE = 16  # marks for each number, beyond which they are sorted


def distinct(numbers: Ints, below: int) -> Ints:
    """The distinct ones of numbers from 0 to `below` − 1, ascending: marked, where they are many
    of that range, else sorted."""
    if below > _SPARSE * len(numbers):
        return np.unique(numbers)
    marked = np.zeros(below, bool)
    marked[numbers] = True
    return np.flatnonzero(marked)


def order_by(place: Ints, *columns: Floats | Ints) -> Ints:
    """The order by whole numbers from 0 on, then by columns (NaN last); that of equal rows is
    any, or as it was.

    Where all fit into one number, that is sorted, which takes a third of the time.
    """
    kinds = [np.unique(column) for column in columns]
    most = math.prod((int(place.max(initial=0)) + 1, *(max(len(values), 1) for values in kinds)))
    if most > _MOST:
        return np.lexsort((*columns[::-1], place))
    whole = place.copy()
    for column, values in zip(columns, kinds, strict=True):
        whole *= len(values)
        whole += np.searchsorted(values, column)
    if (whole[1:] >= whole[:-1]).all():
        return np.arange(len(whole))
    return np.argsort(whole)


def _cells(survey: Survey) -> Ints:
    """One number for each read's pass, level and tag."""
    levels, tags = len(survey.levels_dbm), len(survey.tags)
    cell: Ints = (survey.read_pass * levels + survey.read_level) * tags + survey.read_tag
    return cell


@kept
def by_cell(survey: Survey) -> Ints | slice:
    """The order of the reads by pass, level, tag and RSSI, in which they are where they were read
    from files."""
    cell, rssi = _cells(survey), survey.read_rssi
    same = cell[1:] == cell[:-1]
    if ((cell[1:] > cell[:-1]) | (same & (rssi[1:] >= rssi[:-1]))).all():
        return slice(None)
    return np.lexsort((rssi, cell))


@dataclass(frozen=True, eq=False)
class Strongest:
    """The strongest read of each tag that was read in a pass at a level, by pass, level, tag."""

    read_pass: Ints
    level: Ints
    tag: Ints
    rssi: Floats

    @property
    def cell(self) -> tuple[Ints, Ints, Ints]:
        """Passes, levels, tags."""
        return self.read_pass, self.level, self.tag


@kept
def strongest(survey: Survey) -> Strongest:
    order = by_cell(survey)
    cell = _cells(survey)[order]
    last = np.flatnonzero(np.append(cell[1:] != cell[:-1], np.ones(min(len(cell), 1), bool)))
    return Strongest(
        survey.read_pass[order][last],
        survey.read_level[order][last],
        survey.read_tag[order][last],
        survey.read_rssi[order][last],
    )
