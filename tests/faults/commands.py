"""Faults in what is typed."""

from __future__ import annotations

from tests.faults.provoked import Fault

ALL = (
    Fault("no command", "strategist: COMMAND is missing. See strategist --help.", argv=""),
    Fault(
        "unknown command",
        'strategist: there is no command "slove" (nearest: solve). See strategist --help.',
        argv="slove case",
    ),
    Fault(
        "no case", "strategist solve: CASE is missing. See strategist solve --help.", argv="solve"
    ),
    Fault(
        "no such folder",
        ("nowhere: no such folder. Give the folder of a case (reads.csv, roster.csv, site.json)."),
        argv="solve nowhere",
    ),
    Fault(
        "unknown option",
        (
            "strategist solve: there is no option --sed (nearest: --seed). See strategist solve "
            "--help."
        ),
        argv="solve case --sed 1",
    ),
    Fault(
        "value lacking",
        "strategist solve: --time-limit: a value is missing. See strategist solve --help.",
        argv="solve case --time-limit",
    ),
    Fault(
        "no number",
        (
            'strategist solve: --time-limit: "soon" is not valid. Give a number of seconds '
            "above 0. See strategist solve --help."
        ),
        argv="solve case --time-limit soon",
    ),
    Fault(
        "time below zero",
        (
            'strategist solve: --time-limit: "-1" is not valid. Give a number of seconds '
            "above 0. See strategist solve --help."
        ),
        argv="solve case --time-limit -1",
    ),
    Fault(
        "seed below zero",
        (
            'strategist solve: --seed: "-1" is not valid. Give a whole number from 0 to '
            "2147483647. See strategist solve --help."
        ),
        argv="solve case --seed -1",
    ),
    Fault(
        "unknown read point",
        ('--read-point: there is no read point "gat". Known read points: gate (nearest: "gate").'),
        argv="solve case --read-point gat",
    ),
    Fault(
        "out is a folder",
        "case is a folder. Give the name of a file.",
        argv="solve case --out case",
    ),
    Fault(
        "out in no folder",
        (
            "nowhere/result.json: the folder nowhere does not exist. Give a file in a folder "
            "that exists."
        ),
        argv="solve case --out nowhere/result.json",
    ),
    Fault(
        "export without strategy",
        "strategist export: --strategy is missing. See strategist export --help.",
        argv="export case --format gen2",
    ),
    Fault(
        "unknown form",
        (
            'strategist export: --format: "xml" is not valid. Give one of gen2, llrp. See '
            "strategist export --help."
        ),
        argv="export case --strategy strategy.json --format xml",
    ),
    Fault(
        "llrp without table",
        (
            "--power-table is missing. Give the reader's own table of transmit powers "
            "(index,power_dbm), since LLRP sets a power by its index in that table."
        ),
        argv="export case --strategy strategy.json --format llrp",
    ),
    Fault(
        "table without use",
        "--power-table is of no use here. Add --format llrp, or leave it out.",
        argv="export case --strategy strategy.json --format gen2 --power-table table.csv",
    ),
    Fault(
        "level not in the table",
        (
            "--power-table has no entry of 16 dBm. Give a level that it has; nearest: 15 dBm "
            "(index 1) or 17 dBm (index 2). Or list its levels as reader.power_levels_dbm in "
            "site.json and solve again: no others are proposed then."
        ),
        {"table.csv": "index,power_dbm\n1,15\n2,17\n"},
        argv="export case --strategy strategy.json --format llrp --power-table table.csv",
    ),
    Fault(
        "table without header",
        (
            "table.csv, line 1: the header is not index,power_dbm. Begin with a line "
            "index,power_dbm."
        ),
        {"table.csv": "1,15\n"},
        argv="export case --strategy strategy.json --format llrp --power-table table.csv",
    ),
    Fault(
        "word in the table",
        ('table.csv, line 2: "one,15" is not valid. Give a whole number and a number of dBm.'),
        {"table.csv": "index,power_dbm\none,15\n"},
        argv="export case --strategy strategy.json --format llrp --power-table table.csv",
    ),
    Fault(
        "sturdier of a strategy",
        "--sturdier: strategy.json holds no sturdier strategy. Leave --sturdier out.",
        argv="export case --strategy strategy.json --sturdier --format gen2",
    ),
    Fault(
        "unknown key",
        (
            'site.json: there is no key "reader.mask_slot". Give a key of the reference '
            '(nearest: "reader.mask_slots").'
        ),
        argv="keys reader.mask_slot",
    ),
    Fault(
        "starter twice",
        "case/site.json: there is one already. Edit it, or move it away and try again.",
        argv="new case",
    ),
    Fault(
        "starter without reads",
        (
            "case/reads.csv: no such file. Put it there, or name read points that are still to "
            "be measured (--read-point)."
        ),
        {"case/reads.csv": None, "case/site.json": None},
        "new case",
    ),
    Fault(
        "starter beside reads",
        (
            "--read-point is of no use beside case/reads.csv, which names the read points and "
            "levels. Leave it out."
        ),
        {"case/site.json": None},
        "new case --read-point gate --levels 15,16",
    ),
    Fault(
        "starter without levels",
        "--levels is missing. Give it, too: without reads.csv both are needed.",
        {"case/reads.csv": None, "case/site.json": None},
        "new case --read-point gate",
    ),
    Fault(
        "starter of words for levels",
        (
            'strategist new: --levels: "low" is not valid. Give levels from -20 to 40 (dBm), '
            "e.g. 15,20,25,30. See strategist new --help."
        ),
        argv="new case --levels low",
    ),
    Fault(
        "unknown region",
        ('--region: "etsi" is not valid. Give one of fcc-902-928, etsi-865-868, etsi-915-921.'),
        argv="lawful --region etsi --gain 8",
    ),
    Fault(
        "gain too high",
        (
            'strategist lawful: --gain: "80" is not valid. Give a gain from -30 to 30 (dBi). '
            "See strategist lawful --help."
        ),
        argv="lawful --region etsi-865-868 --gain 80",
    ),
    Fault(
        "no batch",
        "case holds no results.jsonl. Give the folder of a batch.",
        argv="templates case",
    ),
    Fault(
        "case twice",
        "CASE: case is given twice. Give each case once.",
        argv="batch case ./case --out out",
    ),
    Fault(
        "page of no result",
        (
            "other.json, read_point is missing. Give a text.\n"
            "other.json, strategy is missing. Give an object with the keys levels_dbm, "
            "stop_after, cutoff_dbm, masks, score, cutoff_db, step_s.\n"
            "other.json, outcome is missing. Give an object with the keys passes, wanted, "
            "missed, stray_presented, stray, missed_rate, stray_rate, predicted.\n"
            "other.json, guarded_loss is missing. Give a number.\n"
            "other.json, guarded is missing. Give an object with the keys power_db, rssi_db, "
            "predicted, loss, missed, stray, stand_ins.\n"
            "other.json, rates is missing. Give an object with the keys missed_by_tag, "
            "missed_by_pass, stray_by_pass, stray_per_pass, sentences, dependence.\n"
            "other.json, margins is missing. Give an object with the keys power, rssi.\n"
            "other.json, warnings is missing. Give a list, each a text."
        ),
        {"other.json": '{"loss": 5}'},
        "report other.json --out page.html",
    ),
)
