"""Which masks may be tried on the tags of a survey, listed a second time.

For two kinds of surveys: data without known structure with `serial_masks`, where every prefix of a
bank and every single step counts; and SGTIN-96 EPCs with class E2h TIDs of 32 bits, where pieces of
the structural fields count, which the tag data standard lays out.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from typing import Any

from tests.second_reading.survey import Survey, Tags

_COMPANY_BITS = (40, 37, 34, 30, 27, 24, 20)  # by partition; company and item share 44 bits
_SGTIN_HEADER, _SGTIN_BITS = "00110000", 32 + 96
_E2_STARTS = (0, 8, 9, 10, 11, 20, 32)  # class, X, S, F, mask designer, model, end

Window = tuple[str, int, int]  # bank, first bit, length


def selections(survey: Survey, policy: Mapping[str, Any]) -> dict[Tags, int]:
    """The tags that one mask can select → its bits; of masks that select the same tags, or all the
    others, one: made of whole fields, then of parts of them, then the shortest."""
    step = policy.get("reader", {}).get("mask_step_bits", 8)
    longest = policy.get("reader", {}).get("mask_bits_max", 96)
    everything = frozenset(survey.banks)
    best: dict[Tags, tuple[int, int]] = {}
    found = _plain(survey, step) if policy.get("serial_masks") else _structural(survey, step)
    for (bank, start, bits), value, rank in found:
        selected = frozenset(
            epc for epc, banks in survey.banks.items() if _held(banks, bank, start, bits) == value
        )
        recorded = frozenset(epc for epc, banks in survey.banks.items() if bank in banks)
        if bits > longest or selected in (everything, recorded):
            continue
        if rank == 2 and len(selected) < 2:
            continue  # a plain value of one tag alone says nothing about others
        key = min(selected, everything - selected, key=sorted)
        best[key] = min(best.get(key, (rank, bits)), (rank, bits))
    return {selected: bits for selected, (_, bits) in best.items()}


def _held(banks: Mapping[str, str], bank: str, start: int, bits: int) -> str | None:
    held = banks.get(bank, "")[start : start + bits]
    return held if len(held) == bits else None


def _plain(survey: Survey, step: int) -> Iterator[tuple[Window, str, int]]:
    for banks in survey.banks.values():
        for bank, held in banks.items():
            first = 32 if bank == "epc" else 0
            for begin in range(first, len(held) - step + 1, step):
                yield (bank, begin, step), held[begin : begin + step], 2
                bits = begin + step - first
                yield (bank, first, bits), held[first : first + bits], 2


def _structural(survey: Survey, step: int) -> Iterator[tuple[Window, str, int]]:
    for banks in survey.banks.values():
        for bank, held in banks.items():
            first, starts = (32, _sgtin_starts(held)) if bank == "epc" else (0, list(_E2_STARTS))
            for field, after in itertools.pairwise(starts):
                begin = first + -(-(field - first) // step) * step
                if begin >= after:
                    continue
                for end in range(begin + step, starts[-1] + 1, step):
                    whole = begin == field and end in starts
                    yield (bank, begin, end - begin), held[begin:end], 0 if whole else 1


def _sgtin_starts(held: str) -> list[int]:
    """Where header, filter, partition, company and item begin, and where the serial does."""
    assert len(held) == _SGTIN_BITS and held[32:40] == _SGTIN_HEADER
    return [32, 40, 43, 46, 46 + _COMPANY_BITS[int(held[43:46], 2)], 90]


def chains(survey: Survey, policy: Mapping[str, Any]) -> dict[Tags, tuple[int, int]]:
    """The tags that a mask chain can let through → the fewest masks for it, and then bits.

    Each mask may be negated and is joined by "and" or "or" to what stands before it.
    """
    everything = frozenset(survey.banks)
    found = {everything: (0, 0)}
    if "masks" not in policy.get("allow", ["masks"]):
        return found
    single = selections(survey, policy)
    signed = [(tags, bits) for one, bits in single.items() for tags in (one, everything - one)]
    last = dict(sorted(signed, key=lambda x: -x[1]))
    for masks in range(1, policy.get("reader", {}).get("mask_slots", 3) + 1):
        for tags, bits in last.items():
            found[tags] = min(found.get(tags, (masks, bits)), (masks, bits))
        longer: dict[Tags, int] = {}
        for tags, bits in last.items():
            for other, more in signed:
                for joined in (tags & other, tags | other):
                    longer[joined] = min(longer.get(joined, bits + more), bits + more)
        last = longer
    return found
