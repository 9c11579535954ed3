"""Draw the case of two doors on one reader: `python -m cases.two_doors` writes cases/two-doors/.

At one door bags of soiled linen come in, at the other carts of clean linen go out. Each hears what
belongs to the other, and one reader has one chain of masks and one cutoff for both.
"""

from __future__ import annotations

import argparse
import json
import random
from dataclasses import replace
from pathlib import Path

from cases.generate import READS, ROSTER, draw_place, write_csv
from cases.linen import LINK, RADIO, Group, Place
from cases.physics import Field, Mirror

FOLDER = Path(__file__).parent / "two-doors"
SEED, PASSES = 7, 24
_POLICY = {
    "aim": "survey",
    "loss": {"missed": 4, "stray": 1},
    "reader": {"ladder_steps_max": 2, "mask_slots": 2, "mask_step_bits": 8},
    "radio": RADIO,
    "time": {"rf_mode": LINK},
}

BAG_DOOR = Place(
    radio=Field((Mirror(2, -1.1, 0.5), Mirror(1, 2.2, 0.8))),
    groups=(
        Group(
            "bag",
            ("bag",),
            (1, 2),
            ((0.5, 1.0), (-0.3, 0.3), (-0.3, 0.2)),
            wanted=True,
            load_db=(0.0, 8.0),
        ),
        Group(
            "in the bag",
            ("sheet", "towel"),
            (2, 3),
            ((0.5, 1.0), (-0.3, 0.3), (-0.4, 0.2)),
            load_db=(2.0, 10.0),
        ),
        Group(
            "bags outside",
            ("bag",),
            (1, 3),
            ((2.2, 3.6), (-1.2, 1.2), (-0.8, 0.0)),
            load_db=(1.0, 5.0),
        ),
    ),
    levels_dbm=range(16, 31, 2),
    passes=PASSES,
    policy={**_POLICY, "stop_after": 2},
)
CART_DOOR = Place(
    radio=Field((Mirror(2, -1.2, 0.5), Mirror(1, 1.8, 0.6))),
    groups=(
        Group(
            "clean cart",
            ("sheet", "towel"),
            (4, 6),
            ((0.5, 1.2), (-0.4, 0.4), (-0.6, 0.5)),
            wanted=True,
            load_db=(0.0, 4.0),
        ),
        Group("cart", ("cart",), (1, 1), ((0.5, 1.2), (-0.4, 0.4), (-0.9, -0.8))),
        Group(
            "bags at the other door",
            ("bag",),
            (1, 3),
            ((1.6, 3.0), (-1.2, 1.2), (-0.6, 0.4)),
            load_db=(0.0, 4.0),
        ),
    ),
    levels_dbm=range(16, 31, 2),
    passes=PASSES,
    policy={**_POLICY, "stop_after": 6},
)


def screened() -> Place:
    """The cart door with a screen towards the other one."""
    groups = (*CART_DOOR.groups[:2], replace(CART_DOOR.groups[2], load_db=(14.0, 18.0)))
    return replace(CART_DOOR, groups=groups)


def _write(folder: Path, places: dict[str, Place], more: dict[str, object], seed: int) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    drawn = [
        draw_place(place, name, place.passes, random.Random(f"two-doors/{name}/{seed}"), {})
        for name, place in places.items()
    ]
    write_csv(folder / "reads.csv", READS, [row for one in drawn for row in one.reads])
    write_csv(folder / "roster.csv", ROSTER, [row for one in drawn for row in one.roster])
    points = {
        name: {"levels_dbm": list(place.levels_dbm), **place.policy}
        for name, place in places.items()
    }
    text = json.dumps({"site": "Two doors", "read_points": points} | more, indent=1) + "\n"
    (folder / "site.json").write_text(text, encoding="utf-8", newline="\n")


def write_case(folder: Path, seed: int = SEED) -> None:
    """The two doors on one reader, and in `with-screen` the cart door with a screen."""
    option = {"screen": {"case": "with-screen", "price": 250}}
    cart = replace(CART_DOOR, policy={**CART_DOOR.policy, "options": option})
    reader = {"read_points": ["bag-door", "cart-door"], "shares": ["masks", "cutoff"]}
    more = {"readers": {"door-reader": reader}, "cost": {"visit": 100, "setting": 20}}
    _write(folder, {"bag-door": BAG_DOOR, "cart-door": cart}, more, seed)
    _write(folder / "with-screen", {"cart-door": screened()}, {}, seed)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m cases.two_doors", description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=FOLDER, metavar="FOLDER")
    write_case(parser.parse_args().folder)
