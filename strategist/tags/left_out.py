"""Masks that were thought of and not taken: counted by reason, with a few examples, never kept."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass

from strategist.survey.answer import Declared
from strategist.tags.mask import Bank

Window = tuple[Bank, int, int]  # bank, pointer, length
_EXAMPLES = 3
_DIGITS = 24  # of an example's value; more tell nobody more


@dataclass(frozen=True)
class LeftOut(Declared):
    """Masks that were thought of and not taken: how many, why in words, and a few of them."""

    reason: str
    masks: int
    examples: tuple[str, ...] = ()


class Tally:
    """Counts different masks by the reason why they were left out.

    `step` and `bits_max` are the reader's: prefixes of a bank that are longer than `bits_max` are
    told by the bank alone, and the millions of them are never listed.
    """

    def __init__(self, step: int, bits_max: int) -> None:
        self._step, self._kept_steps = step, bits_max // step
        self._once: Counter[str] = Counter()
        self._seen: dict[str, set[tuple[Window, int]]] = defaultdict(set)
        self._banks: dict[str, dict[tuple[Bank, int], set[tuple[int, int]]]] = defaultdict(dict)
        self._examples: dict[str, list[str]] = defaultdict(list)

    def once(self, reason: str, window: Window, value: int) -> None:
        """Count a mask that comes only once."""
        self._once[reason] += 1
        self._show(reason, window, value)

    def note(self, reason: str, window: Window, value: int) -> None:
        """Count a mask that may come again. For what comes about once a tag: this is kept."""
        seen = self._seen[reason]
        before = len(seen)
        seen.add((window, value))
        if len(seen) > before:
            self._show(reason, window, value)

    def prefixes(self, reason: str, bank: Bank, start: int, value: int, length: int) -> None:
        """Count the aligned prefixes of a bank's first `length` bits that no mask can hold."""
        of_bank = self._banks[reason].setdefault((bank, start), set())
        steps = self._kept_steps + 1
        if length >= steps * self._step and (value, length) not in of_bank:
            of_bank.add((value, length))
            shown = steps * self._step
            self._show(reason, (bank, start, shown), value >> (length - shown))

    def left_out(self) -> tuple[LeftOut, ...]:
        """What was counted, by reason."""
        counts = Counter(self._once)
        counts.update({reason: len(masks) for reason, masks in self._seen.items()})
        for reason, banks in self._banks.items():
            counts[reason] += sum(map(self._different, banks.values()))
        return tuple(
            LeftOut(reason, counts[reason], tuple(self._examples[reason]))
            for reason in sorted(counts)
            if counts[reason]
        )

    def _different(self, banks: set[tuple[int, int]]) -> int:
        """How many different prefixes some banks have: each adds those that its neighbour in
        alphabetical order does not share."""
        longest = max((length for _, length in banks), default=0)
        ordered = sorted((value << (longest - length), length) for value, length in banks)
        total, before, reach = 0, 0, 0
        for value, length in ordered:
            shared = min(length, reach, longest - (value ^ before).bit_length())
            total += self._steps(length) - self._steps(shared)
            before, reach = value, length
        return total

    def _steps(self, length: int) -> int:
        return max(0, length // self._step - self._kept_steps)

    def _show(self, reason: str, window: Window, value: int) -> None:
        shown = self._examples[reason]
        if len(shown) >= _EXAMPLES:
            return
        bank, pointer, length = window
        digits = f"{value << (-length % 4):0{(length + 3) // 4}X}"
        cut = digits if len(digits) <= _DIGITS else f"{digits[:_DIGITS]}…"
        shown.append(f"{bank.upper()} bank, pointer {pointer}, length {length}: {cut} hex")
