"""`lawful`: the highest lawful level for an antenna and cable, and the distance to keep."""

from __future__ import annotations

import argparse

import strategist
from strategist.commands.arguments import (
    OK,
    Commands,
    add_command,
    add_out,
    give,
    number,
    placed,
    refuse_out,
    whole,
)

_dbm = number("a level from -20 to 40 (dBm)", lambda found: -20 <= found <= 40)


def add(commands: Commands) -> None:
    what = "say the highest lawful level for an antenna and cable, and how near people may come"
    command = add_command(commands, "lawful", _lawful, what)
    command.add_argument(
        "--region", required=True, metavar="NAME", help="band and rule, as in site.json"
    )
    command.add_argument(
        "--gain",
        required=True,
        type=number("a gain from -30 to 30 (dBi)", lambda found: -30 <= found <= 30),
        metavar="DBI",
        help="antenna gain from the data sheet (in dBic for a circular one)",
    )
    command.add_argument(
        "--polarisation",
        choices=("circular", "linear"),
        help="polarisation of the antenna, where the rule or the gain depends on it",
    )
    command.add_argument(
        "--cable-loss",
        dest="cable",
        type=number("a loss from 0 to 30 (dB)", lambda found: 0 <= found <= 30),
        default=0.0,
        metavar="DB",
        help="loss of the cable between reader port and antenna (default: 0)",
    )
    command.add_argument(
        "--hops", type=whole(1, 1000), metavar="N", help="hopping channels, where the rule asks"
    )
    command.add_argument(
        "--level",
        type=_dbm,
        metavar="DBM",
        help="conducted level for which to compute the exposure distance (default: the highest "
        "lawful level)",
    )
    command.add_argument(
        "--exposure",
        choices=("icnirp", "fcc"),
        help="limits of exposure (default: fcc in its own band, else icnirp)",
    )
    add_out(command)


def _lawful(arguments: argparse.Namespace) -> int:
    refuse_out(arguments.out)
    with placed({"region": "--region"}):
        strategist.region_named(arguments.region)
    radio = strategist.Radio(
        region=arguments.region,
        hop_channels=arguments.hops,
        antenna_gain_dbi=arguments.gain,
        polarisation=arguments.polarisation,
        cable_loss_db=arguments.cable,
        exposure=arguments.exposure,
    )
    limit = strategist.power_limit(radio, arguments.level)
    give(arguments.out, limit.to_json(), strategist.power_limit_text(limit))
    return OK
