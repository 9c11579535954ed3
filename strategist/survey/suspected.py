"""Is the survey in the units it claims, and does each tag go by one EPC? What went wrong on the way
from the reader to the files looks like a strange site."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from strategist.survey.findings import Found
from strategist.survey.order import figure, some
from strategist.survey.profile import peaks
from strategist.survey.records import Floats, Survey

_LEVELS_MIN = 4  # fewer levels may be spaced like milliwatts by choice
_STRONG_DBM = -20.0  # readers report less; common practice, no source
_CHANGES_MIN = 30  # fewer steps from level to level tell nothing of the sign
_RISES_MIN = 0.35  # share in which RSSI rises: 0.94 in the demo, 0.85 in a measured sweep


def suspected(survey: Survey) -> Found:
    """Levels in milliwatts taken for dBm, RSSI of another scale or sign, a tag under two EPCs."""
    yield from _milliwatts(survey.levels_dbm)
    yield from _scale(survey)
    yield from _sign(survey)
    yield from _two_epcs(survey)


def _milliwatts(levels: Floats) -> Found:
    if not looks_like_mw(levels):
        return
    dbm = np.round(10 * np.log10(levels))
    text = (
        f"The {len(levels)} levels are spaced like milliwatts, not like dBm: "
        f"{some([figure(level) for level in levels])} as mW are "
        f"{figure(dbm[0])} to {figure(dbm[-1])} dBm in even steps."
    )
    advice = "If they are milliwatts, call the column power_mw (when importing: the form mw)."
    yield "weak", "levels_in_mw", text, advice


def looks_like_mw(levels: Floats) -> bool:
    """Whether levels that claim to be dBm are even steps of whole or half dB as rounded mW."""
    if len(levels) < _LEVELS_MIN or levels.min() <= 0:
        return False
    steps = np.diff(levels)
    if np.allclose(steps, steps[0], atol=0.01):
        return False
    exact = 10 * np.log10(levels)
    nearest = np.round(2 * exact) / 2
    rounded = [round(float(10 ** (dbm / 10)), _decimals(mw)) == mw
               for dbm, mw in zip(nearest, levels, strict=True)]  # fmt: skip
    even = np.diff(nearest)
    return all(rounded) and bool(np.all(even == even[0]) and even[0] > 0)


def _decimals(number: float) -> int:
    return len(f"{number:.6f}".rstrip("0").partition(".")[2])


def _scale(survey: Survey) -> Found:
    rssi = survey.read_rssi
    if not len(rssi) or np.median(rssi) < _STRONG_DBM:
        return
    count = int((rssi >= _STRONG_DBM).sum())
    text = (
        f"{count:,} of {len(rssi):,} reads have an RSSI of {figure(_STRONG_DBM)} dBm or more, "
        "stronger than tags answer."
    )
    advice = "Look up how the reader reports RSSI: another unit, or divided once too often?"
    yield "weak", "rssi_scale", text, advice


def _sign(survey: Survey) -> Found:
    """RSSI of one tag in one pass rises with the level: the tag has more to send back."""
    rises, changes = rssi_rises(survey)
    if changes >= _CHANGES_MIN and rises < _RISES_MIN * changes:
        text = (
            f"RSSI falls where power rises: in {changes - rises:,} of {changes:,} steps from one "
            "level to the next at which a tag was read."
        )
        advice = "Check the sign of the RSSI, and that levels and reads belong together."
        yield "weak", "rssi_falls", text, advice


def rssi_rises(survey: Survey) -> tuple[int, int]:
    """In how many steps from a level to the next one at which a tag was read in a pass the peak
    RSSI rises, and in how many it changes."""
    found = peaks(survey)
    entry, level = np.nonzero(np.isfinite(found))
    change = np.diff(found[entry, level])[np.diff(entry) == 0]
    return int((change > 0).sum()), int((change != 0).sum())


def _two_epcs(survey: Survey) -> Found:
    pairs = list(under_two_epcs(tag.epc for tag in survey.tags))
    if pairs:
        long, short, how = pairs[0]
        seem = "1 tag seems" if len(pairs) == 1 else f"{len(pairs)} tags seem"
        text = (
            f"{seem} to go by two EPCs: {long} is {short} {how}"
            f"{', and so on' if len(pairs) > 1 else ''}."
        )
        advice = "Write each EPC one way, without PC word and CRC, in the reads and on the roster."
        yield "weak", "tag_under_two_epcs", text, advice


def under_two_epcs(epcs: Iterable[str]) -> Iterator[tuple[str, str, str]]:
    """(longer, shorter, how they differ) for EPCs that are another one with its PC word, or with
    PC word and CRC."""
    bare = set(epcs)
    digits = set(map(len, bare))
    for epc in sorted(one for one in bare if {len(one) - 4, len(one) - 8} & digits):
        if pc_fits(epc) and epc[4:] in bare:
            yield epc, epc[4:], "with its PC word"
        elif len(epc) >= 12 and pc_fits(epc[:-4]) and epc[4:-4] in bare:
            yield epc, epc[4:-4], "with PC word and CRC"


def pc_fits(value: str) -> bool:
    """Whether the first word of hex could be a PC word that counts the words behind it (Gen2: its
    first five bits)."""
    return len(value) >= 8 and (int(value[:2], 16) >> 3) * 4 == len(value) - 4
