"""Draw the demo case: `python -m cases.generate [FOLDER]` writes cases/linen-service/.

The site is fixed (`cases.linen`); a survey of it is drawn from a seed, and the same seed gives the
same bytes. `draw` gives new surveys of the same read points, `mint` new tags of the same kinds.
"""

from __future__ import annotations

import argparse
import csv
import json
import random
from dataclasses import dataclass
from pathlib import Path

from cases.linen import KINDS, MAKER, MOULDED, PLACES, TEXTILE, Group, Place
from cases.physics import Chip, Point, TagType, axis_of, read_pass, turn_loss_db, turned_loss_db

SEED = 2024
FOLDER = Path(__file__).parent / "linen-service"
READS = ("read_point", "pass_id", "power_dbm", "epc", "rssi_dbm", "antenna", "t_s")
ROSTER = ("read_point", "pass_id", "epc", "role", "tid", "user", "tag_type")
WASHES_MAX, WASHES_A_GRADE = 180, 45  # user memory, where written, begins with a grade of wear
SERIAL_BITS = 32  # serials are drawn at random from about four thousand million


@dataclass(frozen=True)
class Item:
    """One tag: what its banks hold (hex; "" is not recorded) and its chip."""

    epc: str
    tid: str
    user: str
    tag_type: str
    chip: Chip


@dataclass(frozen=True)
class Drawn:
    """A survey as it would be written down: rows in the columns of READS and ROSTER."""

    reads: list[tuple[str, ...]]
    roster: list[tuple[str, ...]]


Tags = list[tuple[Item, tuple[float, ...]]]  # each with its one-way gain (dB) by antenna


def mint(kind: str, rng: random.Random, with_tid: bool = True) -> Item:
    """A new tag of a kind of `cases.linen.KINDS`, with a random serial."""
    what = KINDS[kind]
    made = MOULDED if rng.random() < what.moulded_share else TEXTILE
    epc = what.epc(rng.getrandbits(SERIAL_BITS))
    tid = _tid(made, rng)
    user = f"{rng.randrange(WASHES_MAX) // WASHES_A_GRADE:02X}000000" if rng.random() < 0.5 else ""
    chip = Chip.draw(made, rng)
    return Item(epc, tid if with_tid else "", user if with_tid else "", made.name, chip)


def _tid(made: TagType, rng: random.Random) -> str:
    """A TID of 96 bits: E2h, X=1, maker, model, extended header 2000h, serial (TDS 16)."""
    return f"E2{(0b100 << 21 | MAKER << 12 | made.model):06X}2000{rng.getrandbits(48):012X}"


def draw(read_point: str, passes: int, seed: int, again: int = 0) -> Drawn:
    """A survey of `passes` passes at a read point, each at every level of its range.

    `again`: not that survey, but its passes presented so many times more, the same tags at the same
    places: pass p0001 as p0001-1, p0001-2 and so on.
    """
    return draw_at(PLACES[read_point], read_point, passes, seed, again)


def draw_at(place: Place, read_point: str, passes: int, seed: int, again: int = 0) -> Drawn:
    """The same at a place that need not be one of the site."""
    rng = random.Random(f"linen-service/{read_point}/{seed}")
    return draw_place(place, read_point, passes, rng, _fixed(read_point, place), again=again)


def draw_place(
    place: Place,
    read_point: str,
    passes: int,
    rng: random.Random,
    fixed: dict[str, Tags],
    *,
    again: int = 0,
) -> Drawn:
    """A survey of a place, under the name of a read point; `fixed` are the tags that are part of
    it."""
    before: dict[str, list[Item]] = {}
    drawn, more = Drawn([], []), Drawn([], [])
    luck = random.Random(f"{read_point} again")
    for number in range(1, passes + 1):
        pass_id = f"p{number:04d}"
        present = _present(place, fixed, before, rng)
        before = {group.name: [item for item, _ in tags] for group, tags in present}
        _write_pass(drawn, place, (read_point, pass_id), present, rng)
        for time in range(1, again + 1):
            _write_pass(more, place, (read_point, f"{pass_id}-{time}"), present, luck)
    return more if again else drawn


def _write_pass(
    drawn: Drawn,
    place: Place,
    names: tuple[str, str],
    present: list[tuple[Group, Tags]],
    rng: random.Random,
) -> None:
    """A pass of a read point (both by name) at every level, with who is there."""
    _write_roster(drawn, *names, present)
    tags = [tag for _, group_tags in present for tag in group_tags]
    for level in place.levels_dbm:
        for turn in range(max(1, len(place.stands))):
            heard = read_pass(place.radio, [(i.chip, gain[turn]) for i, gain in tags], level, rng)
            drawn.reads.extend(
                (*names, str(level), item.epc, f"{rssi:.1f}", *_when(place, turn, rng))
                for (item, _), rssi in zip(tags, heard, strict=True)
                if rssi is not None
            )


def _when(place: Place, turn: int, rng: random.Random) -> tuple[str, str]:
    """Antenna and time of a read, some time in the antenna's turn; empty where there is but one."""
    if not place.stands:
        return "", ""
    return str(turn + 1), f"{place.turn_s * (turn + rng.random()):.2f}"


def _present(
    place: Place, fixed: dict[str, Tags], before: dict[str, list[Item]], rng: random.Random
) -> list[tuple[Group, Tags]]:
    """Who is there in one pass, and how well the field reaches each tag."""
    present = []
    for group in place.groups:
        if group.fixed:
            present.append((group, fixed[group.name]))
            continue
        count = rng.randint(*group.count)
        items = before.get(group.next_of or "", [])[:count]
        while len(items) < count:
            items = [*items, mint(rng.choice(group.kinds), rng, place.with_tid)]
        load = rng.uniform(*group.load_db)
        gains = [(item, _gains(place, group, rng)) for item in items]
        present.append((group, [(item, tuple(db - load for db in own)) for item, own in gains]))
    return present


def _fixed(read_point: str, place: Place) -> dict[str, Tags]:
    """The tags that are part of the site: the same in every survey of it."""
    rng = random.Random(f"linen-service/{read_point}/fixed")
    return {
        group.name: [
            (mint(rng.choice(group.kinds), rng, place.with_tid), _gains(place, group, rng))
            for _ in range(group.count[0])
        ]
        for group in place.groups
        if group.fixed
    }


def _gains(place: Place, group: Group, rng: random.Random) -> tuple[float, ...]:
    """One-way gain (dB) of a tag somewhere in its group's box, turned at random: by antenna."""
    x, y, z = (rng.uniform(*span) for span in group.box)
    spot: Point = (x, y, z)
    if not place.stands:
        return (place.radio.gain_db(spot) - turn_loss_db(rng) - rng.uniform(*group.tag_db),)
    axis, tag_db = axis_of(rng), rng.uniform(*group.tag_db)
    return tuple(
        place.radio.gain_db(spot, stand)
        - turned_loss_db(axis, (x - stand.at[0], y - stand.at[1], z - stand.at[2]))
        - tag_db
        for stand in place.stands
    )


def _write_roster(
    drawn: Drawn, read_point: str, pass_id: str, present: list[tuple[Group, Tags]]
) -> None:
    for group, tags in present:
        role = "wanted" if group.wanted else "stray"
        drawn.roster.extend(
            (read_point, pass_id, item.epc, role, item.tid, item.user, item.tag_type)
            for item, _ in tags
            if group.listed
        )


def write_case(folder: Path, seed: int = SEED, passes: int | None = None) -> None:
    """Write reads.csv, roster.csv and site.json of a survey of the whole site.

    `passes` None draws at each read point as many as its survey had.
    """
    folder.mkdir(parents=True, exist_ok=True)
    drawn = [draw(name, passes or place.passes, seed) for name, place in PLACES.items()]
    write_csv(folder / "reads.csv", READS, [row for one in drawn for row in one.reads])
    write_csv(folder / "roster.csv", ROSTER, [row for one in drawn for row in one.roster])
    site = {
        "site": "Linen service demo",
        "read_points": {
            name: {"levels_dbm": list(place.levels_dbm), **place.policy}
            for name, place in PLACES.items()
        },
    }
    text = json.dumps(site, indent=1) + "\n"
    (folder / "site.json").write_text(text, encoding="utf-8", newline="\n")


def write_csv(path: Path, columns: tuple[str, ...], rows: list[tuple[str, ...]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(rows)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m cases.generate", description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=FOLDER, metavar="FOLDER")
    write_case(parser.parse_args().folder)
