"""A small search of the demo's reads by numpy, apart from everything in `strategist`.

Losses of each technique alone are exact. `family_masks` are the masks that a planner would write
down from the numbering alone; `best_joint` tries every ladder and every cutoff with each of them:
`python -m tests.cases.sweep` prints the figures of the demo's README.
"""

from __future__ import annotations

import csv
import itertools
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

DEMO = Path(__file__).parents[2] / "cases" / "linen-service"
Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Field:
    """One read point: entry e is a tag in a pass; `rssi[e, l]` is -inf where it was not read."""

    levels: list[float]
    policy: dict[str, Any]
    rssi: Floats
    of_pass: npt.NDArray[np.int64]
    wanted: Bools
    epc: list[str]
    tid: list[str]

    @property
    def read(self) -> Bools:
        return self.rssi > -np.inf

    def costs(self, reported: Bools) -> Floats:
        """Loss of what is reported; a second axis (levels, say) stays."""
        weights = self.policy["loss"]
        missed = self.wanted.astype(float) @ ~reported
        stray = (~self.wanted).astype(float) @ reported
        return np.asarray(weights["missed"] * missed + weights["stray"] * stray)

    def reports(self, accepted: Bools, steps: tuple[int, ...]) -> Bools:
        """What a ladder of level indices reports; it stops for a pass that holds enough tags."""
        reported = accepted[:, steps[0]].copy()
        for step in steps[1:]:
            full = np.bincount(self.of_pass, reported) >= self.policy["stop_after"]
            reported |= accepted[:, step] & ~full[self.of_pass]
        return reported

    def ladder(self, accepted: Bools, steps: tuple[int, ...]) -> float:
        """Loss of a ladder of level indices."""
        return float(self.costs(self.reports(accepted, steps)))


def load(read_point: str, folder: Path = DEMO, score: dict[str, Any] | None = None) -> Field:
    """The arrays of a read point of a case that the generator wrote.

    `score` is a difference of antennas as in a strategy's JSON: in place of the strongest read its
    dB stand in `rssi`. None: the strongest read of all antennas.
    """
    policy = json.loads((folder / "site.json").read_text())["read_points"][read_point]
    entries: dict[tuple[str, str], tuple[bool, str]] = {}
    for row in _rows(folder / "roster.csv", read_point):
        entries[row["pass_id"], row["epc"]] = (row["role"] == "wanted", row["tid"])
    reads = list(_rows(folder / "reads.csv", read_point))
    for row in reads:
        entries.setdefault((row["pass_id"], row["epc"]), (False, ""))  # unlisted is stray
    number = {entry: index for index, entry in enumerate(entries)}
    passes = {pass_id: i for i, pass_id in enumerate(dict.fromkeys(p for p, _ in entries))}
    size = (len(entries), len(policy["levels_dbm"]))
    sides = np.full((2, *size), -np.inf)  # those that count for a tag, those against it
    against = [] if score is None else score["against"]
    for row in reads:
        level = policy["levels_dbm"].index(float(row["power_dbm"]))
        antenna = int(row["antenna"] or 0)
        if score is None or antenna in [*score["antennas"], *against]:
            place = (int(antenna in against), number[row["pass_id"], row["epc"]], level)
            sides[place] = max(sides[place], float(row["rssi_dbm"]))
    rssi = sides[0]
    if score is not None:
        facing, other = np.maximum(sides, score["floor_dbm"])
        rssi = np.where((sides > -np.inf).any(axis=0), facing - other, -np.inf)
    return Field(
        policy["levels_dbm"],
        policy,
        rssi,
        np.array([passes[p] for p, _ in entries]),
        np.array([wanted for wanted, _ in entries.values()]),
        [epc for _, epc in entries],
        [tid for _, tid in entries.values()],
    )


def _rows(path: Path, read_point: str) -> Iterator[dict[str, str]]:
    with path.open(newline="") as file:
        yield from (row for row in csv.DictReader(file) if row["read_point"] == read_point)


def best_power(field: Field) -> float:
    """The best single level, nothing else."""
    return float(field.costs(field.read).min())


def best_ladder(field: Field) -> float:
    """The best ladder that ends at the highest level, nothing else."""
    top = len(field.levels) - 1
    return min(
        field.ladder(field.read, (*below, top))
        for count in range(field.policy["reader"]["ladder_steps_max"])
        for below in itertools.combinations(range(top), count)
    )


def best_cutoff(field: Field) -> float:
    """The best cutoff at the highest level, nothing else."""
    top = field.rssi[:, -1:]
    cutoffs = np.append(np.unique(top[top > -np.inf]), -1e9)
    return float(field.costs((top >= cutoffs) & (top > -np.inf)).min())


def best_mask_pair(field: Field) -> float:
    """The best chain of up to two masks at the highest level, nothing else: over every window of
    whole bytes of EPC and TID and every value found in it.

    One level has no stop, so a chain's loss is a sum over the tags that it lets through.
    """
    weights = field.policy["loss"]
    worth = np.where(field.wanted, -weights["missed"], weights["stray"]) * field.read[:, -1]
    base = float(weights["missed"] * field.wanted.sum())
    masks = _all_masks(field).astype(float)
    alone = masks @ worth
    both = (masks * worth) @ masks.T
    a, b, everything = alone[:, None], alone[None, :], worth.sum()
    let_through = (both, a + b - both, a - both, everything - b + both, everything - a - b + both)
    out = min(float(part.min()) for part in let_through)
    single = min(0.0, everything, float(alone.min()), everything - float(alone.max()))
    return float(base + min(out, everything - float(both.max()), single))


def _all_masks(field: Field) -> Bools:
    masks: set[bytes] = set()
    for bank in (field.epc, field.tid):
        data = np.array([list(bytes.fromhex(text or "00" * 12)) for text in bank], dtype=np.uint8)
        recorded = np.array([bool(text) for text in bank])
        for start, end in itertools.combinations(range(data.shape[1] + 1), 2):
            values, inverse = np.unique(data[:, start:end], axis=0, return_inverse=True)
            hits = np.bincount(inverse[recorded], minlength=len(values))
            for value in np.flatnonzero(hits > 1):
                masks.add(((inverse == value) & recorded).tobytes())
    return np.array([np.frombuffer(mask, dtype=bool) for mask in sorted(masks)])


def family_masks(field: Field) -> dict[str, Bools]:
    """Selections by the byte that holds the scheme, the class and the TID's model."""
    byte = np.array([list(bytes.fromhex(epc)) for epc in field.epc])
    bags = byte[:, 5] == 0x0A  # asset types 10240-11263, at bits 72-79 of the EPC bank
    linen = np.isin(byte[:, 5], (0x14, 0x15))  # 20480-22527
    textile = np.array([tid[4:8] == "01A2" for tid in field.tid])
    uniform = byte[:, 0] == 0x30
    return {
        "none": np.ones(len(bags), bool),
        "bags": bags,
        "linen": linen,
        "linen, no carts": byte[:, 0] != 0x34,
        "uniforms": uniform,
        "textile uniforms": uniform & textile,
    }


def best_joint(
    field: Field, mask: Bools, steps_max: int, cutoffs: Iterable[float] | None = None
) -> tuple[float, list[float], float]:
    """(loss, levels, cutoff) over every ladder and cutoff behind one mask selection.

    `cutoffs` None: none, and every RSSI that was read of the tags selected.
    """
    best: tuple[float, list[float], float] = (np.inf, [], -np.inf)
    heard = field.rssi[mask & field.read.any(axis=1)]
    for cutoff in cutoffs or (-np.inf, *np.unique(heard[heard > -np.inf])):
        accepted = mask[:, None] & field.read & (field.rssi >= cutoff)
        for count in range(1, steps_max + 1):
            for steps in itertools.combinations(range(len(field.levels)), count):
                loss = field.ladder(accepted, steps)
                if loss < best[0]:
                    best = (loss, [field.levels[step] for step in steps], float(cutoff))
    return best


if __name__ == "__main__":
    for name in json.loads((DEMO / "site.json").read_text())["read_points"]:
        one = load(name)
        alone = (best_power(one), best_ladder(one), best_cutoff(one), best_mask_pair(one))
        print(name, "alone: power, ladder, cutoff, two masks", alone)
        most = one.policy["reader"]["ladder_steps_max"]
        for label, selected in family_masks(one).items():
            if (one.wanted & selected).any():
                print("  ", label, "power", best_joint(one, selected, 1, [-np.inf]))
                print("  ", label, "power and cutoff", best_joint(one, selected, 1))
                print("  ", label, "power and ladder", best_joint(one, selected, most, [-np.inf]))
                print("  ", label, "all", best_joint(one, selected, most), flush=True)
