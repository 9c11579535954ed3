"""Faults in plans of measurements and of sites, in antennas, aims and conditions, in batches,
acceptance runs and pages."""

from __future__ import annotations

import json
from typing import Any

from tests.faults.provoked import READS, ROSTER, SITE, Fault, policy, strategy

READS_CSV, ROSTER_CSV, SITE_JSON, PASSES_CSV = (
    f"case/{name}" for name in ("reads.csv", "roster.csv", "site.json", "passes.csv")
)
BY_ANTENNA = """\
read_point,pass_id,power_dbm,epc,rssi_dbm,antenna
gate,p1,15,3001,-50,1
gate,p1,16,3001,-48,2
gate,p1,16,3002,-60.5,1
gate,p2,16,3001,-49,1
"""
PASSES = "read_point,pass_id,condition\ngate,p1,full\ngate,p2,empty\n"
DOOR = {
    "case/screen/reads.csv": READS.replace("gate", "door"),
    "case/screen/roster.csv": ROSTER.replace("gate", "door"),
    "case/screen/site.json": SITE.replace("gate", "door"),
}
UNMEASURED = {READS_CSV: None, ROSTER_CSV: None}
ANTENNAS = {READS_CSV: BY_ANTENNA}
WITH = "compare case --strategy strategy.json"
OTHER = {"other.json": json.dumps({"read_point": "door", "strategy": {"levels_dbm": [16]}})}


def site(**keys: Any) -> dict[str, Any]:
    """The change of site.json that gives the site these keys."""
    return {SITE_JSON: json.dumps({"read_points": {"gate": {"levels_dbm": [15, 16]}}} | keys)}


def reader(**keys: Any) -> dict[str, Any]:
    """The change of site.json that puts the read point on a reader with these keys."""
    return site(readers={"r1": {"read_points": ["gate"]} | keys})


def option(**keys: Any) -> dict[str, Any]:
    """The change of site.json that gives the read point an option with these keys."""
    return policy(options={"screen": keys})


def mask(**keys: Any) -> dict[str, Any]:
    """A strategy file with a mask that has these keys."""
    one = {"bank": "epc", "pointer": 32, "length": 8, "pattern": "30"}
    return strategy(masks=[one | keys])


ALL = (
    Fault(
        "plan of nothing",
        "strategist plan: CASE is missing. See strategist plan --help.",
        {},
        "plan",
    ),
    Fault(
        "plan within less than nothing",
        (
            'strategist plan: --within: "-1" is not valid. Give a loss from 0 to '
            "1,000,000,000. See strategist plan --help."
        ),
        {},
        "plan case --within -1",
    ),
    Fault(
        "plan of long passes",
        (
            'strategist plan: --minutes-a-pass: "2000" is not valid. Give a number of minutes '
            "from 0 to 1,440. See strategist plan --help."
        ),
        {},
        "plan case --minutes-a-pass 2000",
    ),
    Fault(
        "plan of a level in words",
        (
            'strategist plan: --seconds-a-level: "soon" is not valid. Give a number of seconds '
            "from 0 to 3,600. See strategist plan --help."
        ),
        {},
        "plan case --seconds-a-level soon",
    ),
    Fault(
        "sheet in no folder",
        ("nowhere/x.html: the folder nowhere does not exist. Give a file in a folder that exists."),
        {},
        "plan case --sheet nowhere/x.html",
    ),
    Fault(
        "first plan of no read point",
        ("site.json, read_points is empty. Give at least one read point, with its levels_dbm."),
        UNMEASURED | {SITE_JSON: '{"read_points": {}}'},
        "plan case",
    ),
    Fault(
        "first plan of an unknown read point",
        '--read-point: there is no read point "gat". Give one of gate.',
        UNMEASURED,
        "plan case --read-point gat",
    ),
    Fault(
        "first plan without levels",
        "site.json, read_points.gate.levels_dbm is missing. Give the levels to choose from.",
        UNMEASURED | policy(levels_dbm=None),
        "plan case",
    ),
    Fault(
        "first plan of no level that can be set",
        (
            "site.json, read_points.gate.levels_dbm: no level is lawful for the antenna and "
            "cable and can be set at the reader. Give one that is, or correct radio or "
            "reader.power_levels_dbm."
        ),
        UNMEASURED | policy(reader={"power_levels_dbm": [20]}),
        "plan case",
    ),
    Fault(
        "first plan of a tiny rate",
        (
            "site.json, read_points.gate.limits.missed_rate_max: it takes more than 2,000 "
            "passes to show a rate of 0.01 %. Give a higher rate."
        ),
        UNMEASURED | policy(limits={"missed_rate_max": 0.0001}),
        "plan case",
    ),
    Fault(
        "sheet of two read points",
        "--sheet is of one read point, and there are 2. Name one with --read-point.",
        UNMEASURED | {SITE_JSON: SITE.replace('"gate"', '"door": {"levels_dbm": [15]}, "gate"')},
        "plan case --sheet x.html",
    ),
    Fault(
        "plan without a roster",
        "roster.csv: no such file. Put it there, or correct its name.",
        {ROSTER_CSV: None},
        "plan case",
    ),
    Fault(
        "site of nothing",
        "strategist site: CASE is missing. See strategist site --help.",
        {},
        "site",
    ),
    Fault(
        "site that is a file",
        (
            "strategy.json is no folder. Give the folder of a case (reads.csv, roster.csv, "
            "site.json)."
        ),
        {},
        "site strategy.json",
    ),
    Fault(
        "no setting at all",
        (
            'strategist site: --at-most: "0" is not valid. Give a whole number from 1 to 1000. '
            "See strategist site --help."
        ),
        {},
        "site case --at-most 0",
    ),
    Fault(
        "budget in words",
        (
            'strategist site: --budget: "much" is not valid. Give an amount of 0 or more. See '
            "strategist site --help."
        ),
        {},
        "site case --budget much",
    ),
    Fault(
        "reader of an unknown read point",
        (
            'site.json, readers.r1.read_points.0: there is no read point "gat". Known read '
            'points: gate (nearest: "gate").'
        ),
        reader(read_points=["gat"]),
        "site case",
    ),
    Fault(
        "reader of no read point",
        (
            "site.json, readers.r1.read_points is empty. Give a list of one or more, each a "
            "text of 1 to 200 characters."
        ),
        reader(read_points=[]),
        "site case",
    ),
    Fault(
        "reader without read points",
        (
            "site.json, readers.r1.read_points is missing. Give a list of one or more, each a "
            "text of 1 to 200 characters."
        ),
        site(readers={"r1": {}}),
        "site case",
    ),
    Fault(
        "read point on two readers",
        'site.json: "gate" is on more than one of the readers. Name each read point once.',
        site(readers={"r1": {"read_points": ["gate"]}, "r2": {"read_points": ["gate"]}}),
        "site case",
    ),
    Fault(
        "read point twice on a reader",
        "site.json, readers.r1.read_points: one is named twice. Name each once.",
        reader(read_points=["gate", "gate"]),
        "site case",
    ),
    Fault(
        "reader that shares what is no part",
        ('site.json, readers.r1.shares.0: "mask" is not valid. Give one of masks, cutoff, ladder.'),
        reader(shares=["mask"]),
        "site case",
    ),
    Fault(
        "reader of no cycle",
        (
            "site.json, readers.r1.cycle_s: 0 is too small. Give a number above 0 and at most "
            "86,400 (s), or null."
        ),
        reader(cycle_s=0),
        "site case",
    ),
    Fault(
        "cycle of steps of unknown length",
        (
            "site.json, read_points.gate.time: its reader has a cycle_s, and nothing says how "
            "long a step takes. Give step_s (measured) or rf_mode (estimated)."
        ),
        reader(cycle_s=1),
        "site case",
    ),
    Fault(
        "readers in a list",
        (
            'site.json, readers is a list. Give an object such as {"reader-1": {"read_points": '
            '["dock-1", "dock-2"]}}.'
        ),
        site(readers=["r1"]),
        "site case",
    ),
    Fault(
        "unknown key of a reader",
        (
            'site.json, readers.r1.share: unknown key "share". Known keys: read_points, '
            'shares, cycle_s (nearest: "shares").'
        ),
        reader(share=["masks"]),
        "site case",
    ),
    Fault(
        "negative cost",
        "site.json, cost.visit: -1 is too small. Give a number from 0 to 1,000,000,000.",
        site(cost={"visit": -1}),
        "site case",
    ),
    Fault(
        "unknown cost",
        (
            'site.json, cost.visits: unknown key "visits". Known keys: visit, setting, option '
            '(nearest: "visit").'
        ),
        site(cost={"visits": 1}),
        "site case",
    ),
    Fault(
        "cost with its currency",
        ('site.json, cost.visit: "100 EUR" is not valid. Give a number from 0 to 1,000,000,000.'),
        site(cost={"visit": "100 EUR"}),
        "site case",
    ),
    Fault(
        "cost of everything",
        ("site.json, cost: 100 is not valid. Give an object with the keys visit, setting, option."),
        site(cost=100),
        "site case",
    ),
    Fault(
        "option without a case",
        (
            "site.json, read_points.gate.options.screen.case is missing. Give a text of 1 to "
            "200 characters."
        ),
        option(),
        "site case",
    ),
    Fault(
        "option of a case that is not there",
        (
            "gate, option screen: case/screen: no such folder. Give the folder of a case "
            "(reads.csv, roster.csv, site.json)."
        ),
        option(case="screen"),
        "site case",
    ),
    Fault(
        "option below price",
        (
            "site.json, read_points.gate.options.screen.price: -1 is too small. Give a number "
            "from 0 to 1,000,000,000, or null."
        ),
        option(case="screen", price=-1),
        "site case",
    ),
    Fault(
        "unknown key of an option",
        (
            'site.json, read_points.gate.options.screen.cost: unknown key "cost". Known keys: '
            'case, read_point, price (nearest: "case").'
        ),
        option(case="screen", cost=5),
        "site case",
    ),
    Fault(
        "options in a list",
        (
            'site.json, read_points.gate.options is a list. Give an object such as {"screen": '
            '{"case": "with-screen", "price": 400.0}}.'
        ),
        policy(options=["screen"]),
        "site case",
    ),
    Fault(
        "option of another read point",
        (
            "site.json, read_points.gate.options.screen.read_point: the case screen has no "
            'read point "gate". Give the name that it has there: door.'
        ),
        option(case="screen") | DOOR,
        "site case",
    ),
    Fault(
        "option of an unknown name",
        (
            "site.json, read_points.gate.options.screen.read_point: the case screen has no "
            'read point "dor". Give the name that it has there: door (nearest: "door").'
        ),
        option(case="screen", read_point="dor") | DOOR,
        "site case",
    ),
    Fault(
        "option with a fault",
        (
            'gate, option screen: reads.csv, line 2, rssi_dbm: "50" is not valid. Give a '
            "number from -120 to 0 (dBm)."
        ),
        option(case="screen", read_point="door")
        | DOOR
        | {"case/screen/reads.csv": DOOR["case/screen/reads.csv"].replace("-50", "50")},
        "site case",
    ),
    Fault(
        "arbitration of one read point",
        (
            "site.json, arbitration.doors.read_points: 1 entry is too few. Give a list of 2, "
            "each a text of 1 to 200 characters."
        ),
        site(arbitration={"doors": {"read_points": ["gate"]}}),
        "site case",
    ),
    Fault(
        "arbitration of an unknown read point",
        (
            'site.json, arbitration.doors.read_points.1: there is no read point "dor". Known '
            "read points: gate."
        ),
        site(arbitration={"doors": {"read_points": ["gate", "dor"]}}),
        "site case",
    ),
    Fault(
        "unknown key of an arbitration",
        (
            'site.json, arbitration.doors.cost: unknown key "cost". Known keys: read_points, '
            "keep, facing, price."
        ),
        site(arbitration={"doors": {"read_points": ["gate", "gate"], "cost": 1}}),
        "site case",
    ),
    Fault(
        "arbitration in a list",
        (
            'site.json, arbitration is a list. Give an object such as {"doors": '
            '{"read_points": ["dock-1", "dock-2"]}}.'
        ),
        site(arbitration=[1]),
        "site case",
    ),
    Fault(
        "own powers at a site",
        (
            "site.json, read_points.gate.reader.antenna_power: powers by antenna are not "
            "planned for a site. Set it to shared, or leave this read point out of the site's "
            "case; `strategist solve` finds the powers of one read point by itself."
        ),
        policy(reader={"antenna_power": "own"}),
        "site case",
    ),
    Fault(
        "antenna not named in a row",
        (
            "reads.csv, line 3, antenna is missing. Give an antenna, since other rows of this "
            "read point name theirs."
        ),
        {READS_CSV: BY_ANTENNA.replace("-48,2", "-48,")},
        "solve case",
    ),
    Fault(
        "antenna zero",
        (
            'reads.csv, line 3, antenna: "0" is not valid. Give a whole number from 1 to 255, '
            "or empty."
        ),
        {READS_CSV: BY_ANTENNA.replace("-48,2", "-48,0")},
        "solve case",
    ),
    Fault(
        "antenna that site.json lacks",
        ('reads.csv, line 3, antenna: "2" is not valid. Give one of the antennas in site.json: 1.'),
        ANTENNAS | policy(antennas={"1": {}}),
        "solve case",
    ),
    Fault(
        "antennas in a list",
        (
            'site.json, read_points.gate.antennas is a list. Give an object such as {"1": '
            '{"antenna_gain_dbi": 8.5}, "2": {}}.'
        ),
        ANTENNAS | policy(antennas=[1, 2]),
        "solve case",
    ),
    Fault(
        "gain of an antenna too high",
        (
            "site.json, read_points.gate.antennas.1.antenna_gain_dbi: 99 is too large. Give a "
            "number from -30 to 30 (dBi), or null."
        ),
        ANTENNAS | policy(antennas={"1": {"antenna_gain_dbi": 99}, "2": {}}),
        "solve case",
    ),
    Fault(
        "unknown key of an antenna",
        (
            'site.json, read_points.gate.antennas.1.gain: unknown key "gain". Known keys: '
            'antenna_gain_dbi, cable_loss_db (nearest: "antenna_gain_dbi").'
        ),
        ANTENNAS | policy(antennas={"1": {"gain": 9}, "2": {}}),
        "solve case",
    ),
    Fault(
        "unknown power of antennas",
        (
            'site.json, read_points.gate.reader.antenna_power: "each" is not valid. Give one '
            "of shared, own."
        ),
        policy(reader={"antenna_power": "each"}),
        "solve case",
    ),
    Fault(
        "RSSI step of zero",
        (
            "site.json, read_points.gate.reader.rssi_step_db: 0 is too small. Give a number "
            "from 0.01 to 20 (dB), or null."
        ),
        policy(reader={"rssi_step_db": 0}),
        "solve case",
    ),
    Fault(
        "unknown aim",
        ('site.json, read_points.gate.aim: "future" is not valid. Give one of expected, survey.'),
        policy(aim="future"),
        "solve case",
    ),
    Fault(
        "unknown aim over conditions",
        (
            'site.json, read_points.gate.conditions.aim: "best" is not valid. Give one of '
            "mean, worst, cvar."
        ),
        policy(conditions={"aim": "best"}),
        "solve case",
    ),
    Fault(
        "tail of nothing",
        (
            "site.json, read_points.gate.conditions.tail: 0 is too small. Give a number above "
            "0 and at most 1."
        ),
        policy(conditions={"aim": "cvar", "tail": 0}),
        "solve case",
    ),
    Fault(
        "conditions by a word",
        (
            'site.json, read_points.gate.conditions: "worst" is not valid. Give an object with '
            "the keys aim, tail."
        ),
        policy(conditions="worst"),
        "solve case",
    ),
    Fault(
        "no step of time",
        (
            "site.json, read_points.gate.time.step_s is empty. Give a number above 0 and at "
            "most 3,600 or a list of one or more, each a number above 0 and at most 3,600 (s), "
            "or null."
        ),
        policy(time={"step_s": []}),
        "solve case",
    ),
    Fault(
        "step of time below zero",
        (
            "site.json, read_points.gate.time.step_s.1: -1 is too small. Give a number above 0 "
            "and at most 3,600."
        ),
        policy(time={"step_s": [0.1, -1]}),
        "solve case",
    ),
    Fault(
        "unknown RF mode",
        (
            'site.json, read_points.gate.time.rf_mode: "fm1" is not valid. Give one of '
            "fm0-640, fm0-320, miller2-320, miller4-256, miller8-160, or null."
        ),
        policy(time={"rf_mode": "fm1"}),
        "solve case",
    ),
    Fault(
        "band upside down",
        (
            "site.json, read_points.gate.radio.limit: high_mhz is below low_mhz. Give the "
            "lower edge of the band first."
        ),
        policy(radio={"limit": {"dbm": 33, "kind": "erp", "low_mhz": 868, "high_mhz": 865}}),
        "solve case",
    ),
    Fault(
        "pass named twice",
        "passes.csv, line 3, pass_id: p1 is named already, in line 2. Name each pass once.",
        {PASSES_CSV: PASSES.replace("p2", "p1")},
        "solve case",
    ),
    Fault(
        "pass without weight",
        (
            'passes.csv, line 2, weight: "0" is not valid. Give a number from 0.001 to '
            "1,000,000, or empty."
        ),
        {
            PASSES_CSV: PASSES.replace("condition", "weight")
            .replace("full", "0")
            .replace("empty", "1")
        },
        "solve case",
    ),
    Fault(
        "day of another form",
        (
            'passes.csv, line 2, day: "9.3.2026" is not valid. Give a date such as 2024-05-31, '
            "or empty."
        ),
        {
            PASSES_CSV: PASSES.replace("condition", "day")
            .replace("full", "9.3.2026")
            .replace("empty", "2026-03-09")
        },
        "solve case",
    ),
    Fault(
        "unknown column of passes",
        (
            'passes.csv, line 1: unknown column "state". Known columns: read_point, pass_id, '
            "condition, day, weight."
        ),
        {PASSES_CSV: PASSES.replace("condition", "state")},
        "solve case",
    ),
    Fault(
        "listened for no time",
        (
            'tried.csv, line 2, dwell_s: "0" is not valid. Give a number from 0.000001 to '
            "86,400 (seconds), or empty."
        ),
        {"case/tried.csv": "read_point,pass_id,power_dbm,dwell_s\ngate,p1,15,0\n"},
        "solve case",
    ),
    Fault(
        "read before the pass",
        (
            'reads.csv, line 2, t_s: "-1" is not valid. Give a number from 0 to 86,400 '
            "(seconds), or empty."
        ),
        {READS_CSV: BY_ANTENNA.replace("antenna", "t_s").replace("-50,1", "-50,-1")},
        "solve case",
    ),
    Fault(
        "no reads summed up",
        ('reads.csv, line 2, reads: "0" is not valid. Give a whole number of 1 or more, or empty.'),
        {READS_CSV: BY_ANTENNA.replace("antenna", "reads").replace("-50,1", "-50,0")},
        "solve case",
    ),
    Fault(
        "channel elsewhere",
        (
            'reads.csv, line 2, channel_mhz: "1" is not valid. Give a number from 840 to 960 '
            "(MHz), or empty.\n"
            'reads.csv, line 3, channel_mhz: "2" is not valid. Give a number from 840 to 960 '
            "(MHz), or empty.\n"
            'reads.csv, line 4, channel_mhz: "1" is not valid. Give a number from 840 to 960 '
            "(MHz), or empty.\n"
            'reads.csv, line 5, channel_mhz: "1" is not valid. Give a number from 840 to 960 '
            "(MHz), or empty."
        ),
        {READS_CSV: BY_ANTENNA.replace("antenna", "channel_mhz")},
        "solve case",
    ),
    Fault(
        "unknown kind of score",
        'strategy.json, score.kind: "mean" is not valid. Give one of difference, nth, peak.',
        strategy(score={"kind": "mean"}),
        WITH,
    ),
    Fault(
        "zeroth read",
        "strategy.json, score.n: 0 is too small. Give a whole number from 1 to 1,000.",
        strategy(score={"kind": "nth", "n": 0}),
        WITH,
    ),
    Fault(
        "difference against nothing",
        (
            "strategy.json, score.against is missing. Give a list of 1 to 255, each a whole "
            "number from 1 to 255."
        ),
        ANTENNAS | strategy(score={"kind": "difference", "antennas": [1]}),
        WITH,
    ),
    Fault(
        "difference without one",
        ("strategy.json: cutoff_db goes with a score that is a difference alone. Give cutoff_dbm."),
        strategy(cutoff_db=3),
        WITH,
    ),
    Fault(
        "score of an unknown antenna",
        ("strategy.json, score.antennas: no read names antenna 3. Give antennas of gate: 1, 2."),
        ANTENNAS | strategy(score={"kind": "peak", "antennas": [3]}),
        WITH,
    ),
    Fault(
        "mask too long",
        ("strategy.json, masks.0.length: 300 is too large. Give a whole number from 1 to 255."),
        mask(length=300),
        WITH,
    ),
    Fault(
        "mask in no hex",
        "strategy.json, masks.0: the pattern is no hex. Give hex digits without prefix.",
        mask(pattern="zz"),
        WITH,
    ),
    Fault(
        "mask with bits behind it",
        (
            "strategy.json, masks.0: the pattern has ones behind its length. Fill the last "
            "byte up with zeros."
        ),
        mask(length=4, pattern="3F"),
        WITH,
    ),
    Fault(
        "first mask joined",
        (
            "strategy.json, masks: the masks are not joined. Give join (and, or) with each "
            "mask but the first."
        ),
        mask(join="and"),
        WITH,
    ),
    Fault(
        "no strategy in the list",
        "strategy.json is empty. Give a strategy, or results of solve.",
        {"strategy.json": "[]"},
        WITH,
    ),
    Fault(
        "strategy of another read point",
        '--strategy: there is no read point "door". Known read points: gate.',
        OTHER,
        "export case --strategy other.json --format gen2",
    ),
    Fault(
        "change without a value",
        (
            'strategist trade-offs: --set: "stop_after" is not valid. Give KEY=VALUE. See '
            "strategist trade-offs --help."
        ),
        {},
        "trade-offs case --set stop_after",
    ),
    Fault(
        "change of an unknown key",
        (
            '--set, reader.mask_slot: unknown key "mask_slot". Known keys: ladder_steps_max, '
            "mask_slots, mask_step_bits, mask_bits_max, antenna_power, rssi_step_db, "
            'power_levels_dbm (nearest: "mask_slots").'
        ),
        {},
        "trade-offs case --set reader.mask_slot=1",
    ),
    Fault(
        "change of a level not surveyed",
        "--set, levels_dbm: 17 dBm was not surveyed. Give surveyed levels: 15, 16.",
        {},
        "trade-offs case --set levels_dbm=[17]",
    ),
    Fault(
        "techniques with a change",
        (
            "--view: techniques are told of the read point as it is, and something is changed. "
            "Give counts or changes, or leave the changes out."
        ),
        {},
        "trade-offs case --view techniques --set stop_after=2",
    ),
    Fault(
        "rate above one",
        (
            'strategist accept: --miss-rate-max: "5" is not valid. Give a share from 0.000001 '
            "to 0.999. See strategist accept --help."
        ),
        {},
        "accept --miss-rate-max 5",
    ),
    Fault(
        "confidence in per cent",
        (
            'strategist accept: --confidence: "95" is not valid. Give a share from 0.5 to '
            "0.999999. See strategist accept --help."
        ),
        {},
        "accept --confidence 95",
    ),
    Fault(
        "run without a survey",
        ("CASE is missing. Give the folder of the survey of the run, or leave --strategy out."),
        {},
        "accept --strategy strategy.json",
    ),
    Fault(
        "run without a strategy",
        "--strategy is missing. Give the strategy installed, or the result it is from.",
        {},
        "accept case",
    ),
    Fault(
        "failures of a run",
        (
            "--allowed-failures is of no use with CASE: a run is judged by the misses that it "
            "has. Leave it out."
        ),
        {},
        "accept case --strategy strategy.json --allowed-failures 1",
    ),
    Fault(
        "drift against another read point",
        '--against: there is no read point "gate". Known read points: door.',
        DOOR,
        "accept case --strategy strategy.json --against case/screen",
    ),
    Fault(
        "line of a batch without checksum",
        (
            "b/results.jsonl, line 1: the line has no checksum. Run the batch again: it does "
            "only such lines anew."
        ),
        {"b/results.jsonl": "{}\n"},
        "templates b",
    ),
    Fault(
        "batch of nothing",
        (
            "b/results.jsonl has no result of any read point. Run the batch again and see its "
            "errors."
        ),
        {"b/results.jsonl": ""},
        "templates b",
    ),
    Fault(
        "extra loss below zero",
        (
            'strategist templates: --max-extra-loss: "-1" is not valid. Give a loss of 0 or '
            "more. See strategist templates --help."
        ),
        {},
        "templates case --max-extra-loss -1",
    ),
    Fault(
        "batch into a file",
        "strategy.json is no folder. Give a folder that you may write to.",
        {},
        "batch case --out strategy.json",
    ),
    Fault(
        "page of a folder",
        "case/results.jsonl: no such file. Put it there, or correct its name.",
        {},
        "report case --out x.html",
    ),
    Fault(
        "page of nothing",
        "other.json holds no result. Give one result or more.",
        {"other.json": "[]"},
        "report other.json --out x.html",
    ),
    Fault(
        "page of a strategy",
        (
            "strategy.json is a strategy alone, without its counts. Give what `strategist "
            "compare` writes of it."
        ),
        {},
        "report strategy.json --out x.html",
    ),
    Fault(
        "starter of no row",
        "reads.csv has no row below the header. Give at least one.",
        {SITE_JSON: None, READS_CSV: "read_point,pass_id,power_dbm,epc,rssi_dbm\n"},
        "new case",
    ),
    Fault(
        "flag with a value",
        ('strategist solve: --detail takes no value. Leave "1" out. See strategist solve --help.'),
        {},
        "solve case --detail=1",
    ),
    Fault(
        "argument too many",
        'strategist solve: "more" is one argument too many. See strategist solve --help.',
        {},
        "solve case more",
    ),
    Fault(
        "option mistyped before a command",
        "strategist: there is no option --hlep (nearest: --help). See strategist --help.",
        {},
        "--hlep",
    ),
    Fault(
        "several lacking",
        "strategist report: RESULT and --out are missing. See strategist report --help.",
        {},
        "report",
    ),
    Fault(
        "check of what is not there",
        (
            "nowhere: no such folder. Give the folder of a case (reads.csv, roster.csv, "
            "site.json).\n"
            "Unusable: 1 fault, listed above."
        ),
        {},
        "check nowhere",
        status=1,
    ),
)
