"""Which tags carry a value by meaning: in a field of structure, or in plain data that repeats.

Any other tag that shows the value, in a serial number or in bits as good as random, meets it by
chance: a mask on it, or its negation, would fit that one tag and say nothing of the next. Tags are
counted, never how often one of them was presented. Sets of tags are the bits of a number.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping

from strategist.tags.mask import Bank

SHARED_BY = 3  # a plain value on fewer tags says nothing of next week's, nor does its negation
_CHANCE = 0.001  # probability that some value of a random byte repeats as often
_BYTE = 8


class Runs:
    """The tags that have a run of one nature (structure, or plain data) at some bits of a bank."""

    def __init__(self) -> None:
        self.tags: dict[tuple[Bank, int, int], int] = defaultdict(int)
        self._over: dict[tuple[Bank, int, int], int] = {}

    def over(self, bank: Bank, begin: int, stop: int) -> int:
        """The tags whose run holds all bits `begin … stop−1`; ask when all runs are in."""
        key = (bank, begin, stop)
        if key not in self._over:
            found = 0
            for (of, first, end), tags in self.tags.items():
                if of == bank and first <= begin and stop <= end:
                    found |= tags
            self._over[key] = found
        return self._over[key]


class Repeats:
    """Plain values that repeat more than random numbers would, byte by byte.

    `selected(bank, begin, length)` gives the tags by their value there.
    """

    def __init__(self, plain: Runs, selected: Callable[[Bank, int, int], Mapping[int, int]]):
        self._plain, self._selected = plain, selected
        self._found: dict[tuple[Bank, int, int], int] = {}

    def tags(self, bank: Bank, begin: int, length: int) -> int:
        """The tags whose plain value in a window repeats.

        A window is judged by the whole bytes around it: a few bits take all their values in a
        serial number and in a number that means something.
        """
        stop = -(-(begin + length) // _BYTE) * _BYTE
        return self._repeating(bank, begin - begin % _BYTE, stop)

    def _repeating(self, bank: Bank, begin: int, stop: int) -> int:
        """The tags whose bytes `begin … stop−1` repeat, each among tags alike before it."""
        key = (bank, begin, stop)
        if key in self._found:
            return self._found[key]
        tags = self._plain.over(bank, begin, stop)
        if stop - begin > _BYTE:
            tags &= self._repeating(bank, begin, stop - _BYTE)
        carried = {v: of & tags for v, of in self._selected(bank, begin, stop - begin).items()}
        alike: dict[int, int] = defaultdict(int)  # by the bytes before the last one
        for value, of in carried.items():
            alike[value >> _BYTE] += of.bit_count()
        found = 0
        for value, of in carried.items():
            count = of.bit_count()
            if count >= SHARED_BY and _beyond_chance(count, alike[value >> _BYTE]):
                found |= of
        self._found[key] = found
        return found


def _beyond_chance(count: int, tags: int) -> bool:
    """Whether a byte on so many of some tags is more than the commonest of random ones."""
    chance = 2.0**-_BYTE
    if count <= chance * tags:  # no more than its mean: as likely as not
        return False
    term = tail = math.exp(
        math.lgamma(tags + 1)
        - math.lgamma(count + 1)
        - math.lgamma(tags - count + 1)
        + count * math.log(chance)
        + (tags - count) * math.log1p(-chance)
    )
    for more in range(count, tags):  # binomial: so many or more of one value
        term *= (tags - more) / (more + 1) * chance / (1 - chance)
        tail += term
        if term < 1e-15 * tail:
            break
    return bool(2**_BYTE * tail < _CHANCE)
