"""What a survey means, read a second time: from plain rows to passes, strategies and losses.

Nothing here, nor in the two files beside it, comes from the package under test: the input is the
JSON of a case, the output plain values. Figures are decimals, so that no rounding can hide.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

Row = Mapping[str, Any]
Tags = frozenset[str]
NO_TAGS: Tags = frozenset()


def exact(figure: float | int | str) -> Decimal:
    """A figure of JSON as it is written."""
    return Decimal(str(figure))


class NotAnsweredError(Exception):
    """The survey or the strategy does not allow an answer: a level that was not surveyed, say."""


@dataclass(frozen=True)
class Pass:
    """One presentation; `peak[level][epc]` is the strongest read, absent where there is none."""

    name: str
    wanted: Tags
    stray: Tags
    peak: Mapping[Decimal, Mapping[str, Decimal]]
    tried: frozenset[Decimal]


@dataclass(frozen=True)
class Survey:
    """The passes of a read point; `banks[epc][bank]` is a string of 0 and 1, absent: unrecorded."""

    levels: tuple[Decimal, ...]
    passes: tuple[Pass, ...]
    banks: Mapping[str, Mapping[str, str]]


@dataclass(frozen=True)
class Told:
    """What one pass came to."""

    missed: Tags
    stray: Tags
    steps: int


def read_survey(document: Mapping[str, Any], read_point: str) -> Survey:
    """The survey of a read point, with what its policy leaves out left out."""
    policy = document["site"]["read_points"][read_point]
    reads, roster = _of(document["reads"], read_point), _of(document["roster"], read_point)
    tried = None if document.get("tried") is None else _of(document["tried"], read_point)
    listed = {(row["pass_id"], row["epc"].upper()): row["role"] for row in roster}
    rule = policy.get("unlisted", "stray")
    unlisted = [row for row in reads if (row["pass_id"], row["epc"].upper()) not in listed]
    if rule == "error" and unlisted:
        raise NotAnsweredError("tags that are not on the roster were read")
    if rule == "ignore":
        reads = [row for row in reads if row not in unlisted]
    else:
        listed |= {(row["pass_id"], row["epc"].upper()): "stray" for row in unlisted}
    levels = tuple(sorted(exact(level) for level in policy["levels_dbm"]))
    names = {row["pass_id"] for row in [*reads, *unlisted, *roster, *(tried or [])]}
    passes = [_pass(name, listed, reads, levels, tried) for name in sorted(names)]
    return _left_out(Survey(levels, tuple(passes), _banks(roster, listed)), policy)


def _of(rows: Iterable[Row], read_point: str) -> list[Row]:
    return [row for row in rows if row["read_point"] == read_point]


def _pass(
    name: str,
    listed: Mapping[tuple[str, str], str],
    reads: Sequence[Row],
    levels: Sequence[Decimal],
    tried: Sequence[Row] | None,
) -> Pass:
    peak: dict[Decimal, dict[str, Decimal]] = {level: {} for level in levels}
    for row in reads:
        if row["pass_id"] == name:
            at, epc, rssi = (
                peak[exact(row["power_dbm"])],
                row["epc"].upper(),
                exact(row["rssi_dbm"]),
            )
            at[epc] = max(at.get(epc, rssi), rssi)
    roles = {role: {e for (p, e), r in listed.items() if (p, r) == (name, role)} for role in ROLES}
    at_levels = frozenset(levels)
    if tried is not None:
        at_levels = frozenset(exact(r["power_dbm"]) for r in tried if r["pass_id"] == name)
    return Pass(name, frozenset(roles["wanted"]), frozenset(roles["stray"]), peak, at_levels)


ROLES = ("wanted", "stray")


def _banks(
    roster: Sequence[Row], listed: Mapping[tuple[str, str], str]
) -> dict[str, dict[str, str]]:
    """CRC and PC word are no part of what is recorded: the EPC begins at bit 32, marked so by x."""
    banks = {epc: {"epc": 32 * "x" + _bits(epc)} for _, epc in listed}
    for row in roster:
        for bank in ("tid", "user"):
            if row.get(bank):
                banks[row["epc"].upper()][bank] = _bits(row[bank])
    return banks


def _bits(text: str) -> str:
    return "".join(f"{int(digit, 16):04b}" for digit in text)


def _left_out(survey: Survey, policy: Mapping[str, Any]) -> Survey:
    """Without pairs that were not surveyed, by the policy's rule."""
    whole = tuple(x for x in survey.levels if all(x in one.tried for one in survey.passes))
    full = tuple(one for one in survey.passes if one.tried >= set(survey.levels))
    if len(full) == len(survey.passes):
        return survey
    rule = policy.get("untried", "refuse")
    levels = whole if rule == "leave_out_level" else survey.levels
    passes = full if rule == "leave_out_pass" else survey.passes
    if rule == "refuse" or not levels or not passes:
        raise NotAnsweredError("pairs of pass and level that were not surveyed")
    return Survey(levels, passes, survey.banks)  # masks may tell from tags left out, too


# what a strategy does


def through(survey: Survey, masks: Sequence[Mapping[str, Any]]) -> Tags:
    """The tags that a mask chain lets through, read left to right."""
    return frozenset(epc for epc, banks in survey.banks.items() if _lets_through(masks, banks))


def _lets_through(masks: Sequence[Mapping[str, Any]], banks: Mapping[str, str]) -> bool:
    if not masks:
        return True
    verdict = _test(masks[0], banks)
    for mask in masks[1:]:
        one = _test(mask, banks)
        verdict = {"and": verdict and one, "or": verdict or one}[mask["join"]]
    return verdict


def _test(mask: Mapping[str, Any], banks: Mapping[str, str]) -> bool:
    asked = _bits(mask["pattern"])[: mask["length"]]
    held = banks.get(mask["bank"], "")[mask["pointer"] : mask["pointer"] + mask["length"]]
    return (held == asked) != mask.get("negate", False)


def walk(steps: Sequence[Tags], stop_after: int) -> tuple[Tags, int]:
    """What is reported, and after how many steps, if the steps accept so and so many tags."""
    reported = NO_TAGS
    for number, accepted in enumerate(steps, 1):
        reported |= accepted
        if len(reported) >= stop_after:
            return reported, number
    return reported, len(steps)


def accepted(one: Pass, level: Decimal, cutoff: Decimal | None) -> Tags:
    """The tags whose strongest read at a level reaches the cutoff."""
    return frozenset(
        epc for epc, rssi in one.peak[level].items() if cutoff is None or rssi >= cutoff
    )


def accepted_under_guard(
    survey: Survey, one: Pass, level: Decimal, cutoff: Decimal | None, guard: tuple[Decimal, ...]
) -> Tags:
    """The same if power and RSSI drift the wrong way: down for wanted tags, up for strays."""
    power, rssi = guard
    below = max([x for x in survey.levels if x <= level - power], default=survey.levels[0])
    above = min([x for x in survey.levels if x >= level + power], default=survey.levels[-1])
    weaker = {e: r - rssi for e, r in one.peak[below].items() if e in one.wanted}
    stronger = {e: r + rssi for e, r in one.peak[above].items() if e in one.stray}
    return frozenset(e for e, r in (weaker | stronger).items() if cutoff is None or r >= cutoff)


def guard_of(policy: Mapping[str, Any]) -> tuple[Decimal, Decimal]:
    guard = policy.get("guard", {})
    return exact(guard.get("power_db", 1)), exact(guard.get("rssi_db", 2))


def told(
    survey: Survey, strategy: Mapping[str, Any], guard: tuple[Decimal, Decimal] | None = None
) -> list[Told]:
    """What a strategy does to each pass, as surveyed or under the guards."""
    levels = [exact(level) for level in strategy["levels_dbm"]]
    if not set(levels) <= set(survey.levels):
        raise NotAnsweredError("a level that was not surveyed")
    cutoff = None if strategy.get("cutoff_dbm") is None else exact(strategy["cutoff_dbm"])
    let = through(survey, strategy.get("masks", []))
    found = []
    for one in survey.passes:
        steps = [
            let
            & (
                accepted(one, level, cutoff)
                if guard is None
                else accepted_under_guard(survey, one, level, cutoff, guard)
            )
            for level in levels
        ]
        reported, walked = walk(steps, strategy.get("stop_after", 1))
        found.append(Told(one.wanted - reported, one.stray & reported, walked))
    return found


def loss_of(policy: Mapping[str, Any], missed: int, stray: int) -> Decimal:
    weights = policy.get("loss", {})
    return exact(weights.get("missed", 5)) * missed + exact(weights.get("stray", 1)) * stray


def total(policy: Mapping[str, Any], found: Sequence[Told]) -> Decimal:
    """The loss over all passes."""
    return loss_of(
        policy, sum(len(one.missed) for one in found), sum(len(one.stray) for one in found)
    )
