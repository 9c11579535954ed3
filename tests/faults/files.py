"""Faults in the files of a case, in strategies and in power tables."""

from __future__ import annotations

from tests.faults.provoked import READS, ROSTER, Fault, policy, strategy

READS_CSV, ROSTER_CSV, SITE_JSON = "case/reads.csv", "case/roster.csv", "case/site.json"
WITH = "compare case --strategy strategy.json"

TABLES = (
    Fault(
        "no reads", "reads.csv: no such file. Put it there, or correct its name.", {READS_CSV: None}
    ),
    Fault(
        "no site", "site.json: no such file. Put it there, or correct its name.", {SITE_JSON: None}
    ),
    Fault("empty roster", "roster.csv is empty. Give a header line and rows.", {ROSTER_CSV: ""}),
    Fault(
        "roster without rows",
        "roster.csv has no row below the header. Give at least one.",
        {ROSTER_CSV: "read_point,pass_id,epc,role\n"},
    ),
    Fault(
        "semicolons",
        (
            "reads.csv, line 1: no comma stands between the column names. Separate columns by "
            "commas."
        ),
        {READS_CSV: READS.replace(",", ";")},
    ),
    Fault(
        "unknown column",
        (
            'reads.csv, line 1: unknown column "rsi_dbm". Known columns: read_point, pass_id, '
            "power_dbm, epc, rssi_dbm, power_mw, antenna, reads, t_s, channel_mhz (nearest: "
            '"rssi_dbm").\n'
            "reads.csv, line 1, rssi_dbm: the column is missing. Add it to the header and to "
            "each row."
        ),
        {READS_CSV: ("rssi_dbm", "rsi_dbm")},
    ),
    Fault(
        "column twice",
        (
            "reads.csv, line 1, epc: the column stands 2 times. Give each column once.\n"
            "reads.csv, line 1, rssi_dbm: the column is missing. Add it to the header and to "
            "each row."
        ),
        {READS_CSV: ("rssi_dbm", "epc")},
    ),
    Fault(
        "two powers",
        (
            "reads.csv, line 1: the columns power_dbm and power_mw exclude each other. Give one "
            "of the two."
        ),
        {READS_CSV: ("power_dbm", "power_dbm,power_mw")},
    ),
    Fault(
        "row too short",
        "reads.csv, line 2: the row has 4 fields. Give 5 fields, as in the header.",
        {READS_CSV: ("gate,p1,15,3001,-50", "gate,p1,15,3001")},
    ),
    Fault(
        "open quote",
        (
            "roster.csv, line 2: a quote is opened and not closed, or text follows a closing "
            "quote. Write quotes in pairs, and a quote within a field twice."
        ),
        {ROSTER_CSV: ("gate,p1,3001", 'gate,"p1,3001')},
    ),
    Fault(
        "not UTF-8",
        "roster.csv, line 2: byte 0xe4 at offset 29 is no UTF-8 text. Give text in UTF-8.",
        {ROSTER_CSV: b"read_point,pass_id,epc,role\ng\xe4te,p1,3001,wanted\n"},
    ),
    Fault(
        "binary",
        "reads.csv, line 1: byte 0x00 at offset 2 is no UTF-8 text. Give text in UTF-8.",
        {READS_CSV: b"\x50\x4b\x00\x01"},
    ),
    Fault(
        "power in words",
        ('reads.csv, line 2, power_dbm: "high" is not valid. Give a number from -20 to 40 (dBm).'),
        {READS_CSV: ("p1,15", "p1,high")},
    ),
    Fault(
        "power too high",
        ('reads.csv, line 2, power_dbm: "45" is not valid. Give a number from -20 to 40 (dBm).'),
        {READS_CSV: ("p1,15", "p1,45")},
    ),
    Fault(
        "no RSSI",
        "reads.csv, line 4, rssi_dbm is missing. Give a number from -120 to 0 (dBm).",
        {READS_CSV: ("-60.5", "")},
    ),
    Fault(
        "RSSI above zero",
        ('reads.csv, line 4, rssi_dbm: "60.5" is not valid. Give a number from -120 to 0 (dBm).'),
        {READS_CSV: ("-60.5", "60.5")},
    ),
    Fault(
        "EPC with prefix",
        (
            'reads.csv, line 4, epc: "0x3002" is not valid. Give hex of 1 to 62 whole bytes '
            "without prefix."
        ),
        {READS_CSV: ("3002", "0x3002")},
    ),
    Fault(
        "EPC of half a byte",
        (
            'roster.csv, line 3, epc: "300" is not valid. Give hex of 1 to 62 whole bytes '
            "without prefix."
        ),
        {ROSTER_CSV: ("3002", "300")},
    ),
    Fault(
        "wrong role",
        'roster.csv, line 3, role: "foreign" is not valid. Give wanted or stray.',
        {ROSTER_CSV: ("stray", "foreign")},
    ),
    Fault(
        "level not listed",
        (
            "reads.csv, line 2, power_dbm: 15.5 dBm is no level of the read point. Give one of "
            "levels_dbm in site.json, 15, 16 (nearest: 15 dBm, 0.5 dB away), or add the level "
            "to it."
        ),
        {READS_CSV: ("p1,15,", "p1,15.5,")},
    ),
    Fault(
        "tag twice in a pass",
        (
            'roster.csv, line 3, epc: 3001 is listed already for pass "p1", in line 2. Give '
            "each tag once in a pass."
        ),
        {ROSTER_CSV: ("3002,stray", "3001,stray")},
    ),
    Fault(
        "two TIDs of a tag",
        (
            'roster.csv, line 4, tid: "E3" differs from "E2" in line 2, which is of the '
            "same EPC. Give the same for each row of a tag."
        ),
        {
            ROSTER_CSV: ROSTER.replace("role\n", "role,tid\n")
            .replace("wanted\n", "wanted,E2\n", 1)
            .replace("stray\n", "stray,\n")
            .replace("wanted\n", "wanted,E3\n")
        },
    ),
    Fault(
        "read point without roster",
        (
            'roster.csv, read_point: no row of read point "dock". Give at least one, or leave '
            "the read point out of the other files."
        ),
        {READS_CSV: READS + "dock,p1,15,3001,-50\n"},
    ),
    Fault(
        "unlisted tag",
        (
            'reads.csv, line 4, epc: 3009 is not on the roster of pass "p1" (1 such read of '
            "this tag), and unlisted is error. Add the tag to the roster, or set unlisted to "
            "stray or ignore in site.json."
        ),
        {READS_CSV: ("3002", "3009")} | policy(unlisted="error"),
    ),
    Fault(
        "read of a pair not tried",
        (
            "reads.csv, line 5, pass_id: tried.csv does not list pass p2 at 16 dBm. Add the "
            "pair to tried.csv, or correct the read."
        ),
        {"case/tried.csv": "read_point,pass_id,power_dbm\ngate,p1,15\ngate,p1,16\ngate,p2,15\n"},
    ),
    Fault(
        "pairs not surveyed",
        (
            "site.json, read_points.gate.untried: 1 pair of pass and level was not surveyed: p2 "
            "at 15 dBm. Survey them (plan says which are worth it, and when it is enough), or set "
            "untried to leave_out_level or leave_out_pass."
        ),
        {"case/tried.csv": "read_point,pass_id,power_dbm\ngate,p1,15\ngate,p1,16\ngate,p2,16\n"},
    ),
)
SITES = (
    Fault(
        "cut off",
        ("site.json, line 1: no JSON at column 26: no value begins here. Correct the text there."),
        {SITE_JSON: '{"read_points": {"gate": '},
    ),
    Fault(
        "comma lacking",
        ("site.json, line 1: no JSON at column 14: a comma is missing. Correct the text there."),
        {SITE_JSON: '{"site": "x" "read_points": {}}'},
    ),
    Fault(
        "key twice",
        'site.json: the key "read_points" stands twice in one object. Give each key once.',
        {SITE_JSON: '{"read_points": {}, "read_points": {}}'},
    ),
    Fault(
        "a list",
        "site.json is a list. Give an object with the keys read_points, site, readers, cost, "
        "arbitration.",
        {SITE_JSON: "[]"},
    ),
    Fault(
        "no read points",
        (
            'site.json, read_points is missing. Give an object such as {"dock-1": '
            '{"levels_dbm": [15.0, 16.0]}}.'
        ),
        {SITE_JSON: "{}"},
    ),
    Fault(
        "unknown key",
        (
            'site.json, read_points.gate.loss.mised: unknown key "mised". Known keys: missed, '
            'stray (nearest: "missed").'
        ),
        policy(loss={"mised": 5}),
    ),
    Fault(
        "unknown limit",
        (
            'site.json, read_points.gate.limits.missed_rate: unknown key "missed_rate". Known '
            'keys: missed_rate_max, stray_rate_max (nearest: "missed_rate_max").'
        ),
        policy(limits={"missed_rate": 0.1}),
    ),
    Fault(
        "old key",
        (
            'site.json, read_points.gate.time.link: the key "link" has another name now. '
            "Write rf_mode."
        ),
        policy(time={"link": "miller4-256"}),
    ),
    Fault(
        "no levels",
        (
            "site.json, read_points.gate.levels_dbm is empty. Give a list of one or more, each "
            "a number from -20 to 40 (dBm), or null."
        ),
        policy(levels_dbm=[]),
    ),
    Fault(
        "level twice",
        "site.json, read_points.gate.levels_dbm: a level is named twice. Name each once.",
        policy(levels_dbm=[15, 15, 16]),
    ),
    Fault(
        "level in words",
        (
            'site.json, read_points.gate.levels_dbm.1: "16" is not valid. Give a number from '
            "-20 to 40."
        ),
        policy(levels_dbm=[15, "16"]),
    ),
    Fault(
        "weight of zero",
        (
            "site.json, read_points.gate.loss.missed: 0 is too small. Give a number from 0.001 "
            "to 1,000,000."
        ),
        policy(loss={"missed": 0}),
    ),
    Fault(
        "half a mask",
        (
            "site.json, read_points.gate.reader.mask_slots: 1.5 is not valid. Give a whole "
            "number from 0 to 32 (masks)."
        ),
        policy(reader={"mask_slots": 1.5}),
    ),
    Fault(
        "too many steps",
        (
            "site.json, read_points.gate.reader.ladder_steps_max: 50 is too large. Give a whole "
            "number from 1 to 32 (levels)."
        ),
        policy(reader={"ladder_steps_max": 50}),
    ),
    Fault(
        "null for a group",
        (
            "site.json, read_points.gate.guard: null is not valid. Give an object with the keys "
            "power_db, rssi_db."
        ),
        policy(guard=None),
    ),
    Fault(
        "yes for true",
        'site.json, read_points.gate.serial_masks: "yes" is not valid. Give true or false.',
        policy(serial_masks="yes"),
    ),
    Fault(
        "unknown technique",
        (
            'site.json, read_points.gate.allow.1: "mask" is not valid. Give one of power, '
            "ladder, cutoff, masks, antennas."
        ),
        policy(allow=["power", "mask"]),
    ),
    Fault(
        "technique twice",
        "site.json, read_points.gate.allow: a technique is named twice. Name each once.",
        policy(allow=["power", "power"]),
    ),
    Fault(
        "unknown choice",
        (
            'site.json, read_points.gate.untried: "skip" is not valid. Give one of refuse, '
            "leave_out_level, leave_out_pass."
        ),
        policy(untried="skip"),
    ),
    Fault(
        "unknown region",
        (
            'site.json, read_points.gate.radio.region: "etsi" is not valid. Give one of '
            "fcc-902-928, etsi-865-868, etsi-915-921, or null."
        ),
        policy(radio={"region": "etsi"}),
    ),
    Fault(
        "region and limit",
        (
            "site.json, read_points.gate.radio: region and limit exclude each other. Give one "
            "of the two."
        ),
        policy(
            radio={
                "region": "etsi-865-868",
                "limit": {"dbm": 33, "kind": "erp", "low_mhz": 865, "high_mhz": 868},
            }
        ),
    ),
    Fault(
        "half a limit",
        (
            "site.json, read_points.gate.radio.limit.low_mhz is missing. Give a number from 840 "
            "to 960 (MHz).\n"
            "site.json, read_points.gate.radio.limit.high_mhz is missing. Give a number from "
            "840 to 960 (MHz)."
        ),
        policy(radio={"limit": {"dbm": 33, "kind": "erp"}}),
    ),
    Fault(
        "dwell without a step",
        (
            "site.json, read_points.gate.time: dwell_s is given, but not how long a step takes. "
            "Give step_s (measured) or rf_mode (estimated) as well."
        ),
        policy(time={"dwell_s": 1}),
    ),
    Fault(
        "two ways to a step",
        (
            "site.json, read_points.gate.time: step_s and rf_mode exclude each other. Give "
            "step_s where it was measured, else rf_mode to have it estimated."
        ),
        policy(time={"step_s": 0.1, "rf_mode": "fm0-640"}),
    ),
    Fault(
        "dwell too short",
        (
            "site.json, read_points.gate.time.dwell_s: 0.1 s is too short for any ladder: one "
            "step without masks takes up to 0.5 s (as given). Let loads stay longer, or give a "
            "shorter step under time."
        ),
        policy(time={"dwell_s": 0.1, "step_s": 0.5}),
    ),
    Fault(
        "nothing lawful",
        (
            "site.json, read_points.gate.levels_dbm: no level surveyed is lawful. Survey lower "
            "levels. At most 6.15 dBm at the reader port. ETSI EN 302 208, lower band (V3.3.1 "
            "and V3.4): 2 W e.r.p. (35.16 dBm e.i.r.p.); gain 29 dBi counted in full, cable "
            "loss 0 dB. The standard also sets channels and, above 0.5 W and above 1 W, the "
            "antenna's beamwidth; the band is not open in every country."
        ),
        policy(radio={"region": "etsi-865-868", "antenna_gain_dbi": 29, "polarisation": "linear"}),
    ),
    Fault(
        "no level that can be set",
        (
            "site.json, read_points.gate.reader.power_levels_dbm: no level that the reader can "
            "be set to was surveyed and is lawful. Give one that was surveyed and is lawful: "
            "15, 16."
        ),
        policy(reader={"power_levels_dbm": [20]}),
    ),
    Fault(
        "antenna by name",
        (
            "site.json, read_points.gate.antennas: the keys are not antennas. Give numbers from "
            '1 to 255, such as {"3": {}}.'
        ),
        policy(antennas={"left": {}}),
    ),
)
STRATEGIES = (
    Fault(
        "no strategy file",
        "strategy.json: no such file. Put it there, or correct its name.",
        {"strategy.json": None},
        WITH,
    ),
    Fault(
        "no JSON",
        (
            "strategy.json, line 1: no JSON at column 1: no value begins here. Correct the text "
            "there."
        ),
        {"strategy.json": "levels: 16"},
        WITH,
    ),
    Fault(
        "no levels of a strategy",
        (
            "strategy.json, levels_dbm is missing. Give a list of 1 to 1,000, each a number "
            "from -20 to 40."
        ),
        {"strategy.json": "{}"},
        WITH,
    ),
    Fault(
        "level not surveyed",
        "strategy.json, levels_dbm.0: 17 dBm was not surveyed. Give one that was: 15, 16.",
        strategy(levels_dbm=[17]),
        WITH,
    ),
    Fault(
        "levels descend",
        (
            "strategy.json, levels_dbm: the levels do not ascend. Give them in ascending order, "
            "each once."
        ),
        strategy(levels_dbm=[16, 15]),
        WITH,
    ),
    Fault(
        "cutoff too low",
        ("strategy.json, cutoff_dbm: -200 is too small. Give a number from -120 to 0, or null."),
        strategy(cutoff_dbm=-200),
        WITH,
    ),
    Fault(
        "pattern too short",
        ("strategy.json, masks.0: the pattern has 2 hex digits. Give 4 for a length of 16 bits."),
        strategy(masks=[{"bank": "epc", "pointer": 32, "length": 16, "pattern": "30"}]),
        WITH,
    ),
    Fault(
        "unknown bank",
        'strategy.json, masks.0.bank: "EPC" is not valid. Give one of epc, tid, user.',
        strategy(masks=[{"bank": "EPC", "pointer": 32, "length": 8, "pattern": "30"}]),
        WITH,
    ),
    Fault(
        "masks not joined",
        (
            "strategy.json, masks: the masks are not joined. Give join (and, or) with each mask "
            "but the first."
        ),
        strategy(masks=[{"bank": "epc", "pointer": 32, "length": 8, "pattern": "30"}] * 2),
        WITH,
    ),
    Fault(
        "unknown key of a strategy",
        (
            'strategy.json, cutoff: unknown key "cutoff". Known keys: levels_dbm, stop_after, '
            'cutoff_dbm, masks, score, cutoff_db, step_s (nearest: "cutoff_db").'
        ),
        strategy(cutoff=-60),
        WITH,
    ),
)
ALL = (*TABLES, *SITES, *STRATEGIES)
