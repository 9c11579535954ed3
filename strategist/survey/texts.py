"""A column of text as the rows of a table hold it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from strategist.survey.records import Ints

Codes = np.ndarray[tuple[Any, ...], np.dtype[np.int32]] | Ints


@dataclass(frozen=True, eq=False)
class Texts:
    """A column of text: row i holds `values[codes[i]]`; each value stands once in `values`.

    Codes may be of any width: of ten million rows, eight bytes each would be most of the table.
    """

    codes: Codes
    values: tuple[str, ...]

    def __getitem__(self, row: int) -> str:
        return self.values[int(self.codes[row])]

    def take(self, rows: Ints) -> Texts:
        """The column of some of the rows."""
        return Texts(self.codes[rows], self.values)

    def used(self) -> Ints:
        """The codes that any row holds, ascending."""
        if len(self.codes) < len(self.values):
            return np.array(sorted(set(self.codes.tolist())), np.int64)
        return np.flatnonzero(np.bincount(self.codes, minlength=len(self.values)))
