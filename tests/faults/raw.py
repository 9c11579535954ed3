"""Faults in raw files that `import` takes, and in what goes with them."""

from __future__ import annotations

from typing import Any

from tests.faults.provoked import Fault

LOG = """\
time,epc,rssi,antenna,power
2026-03-09 08:00:01,3001AA55,-50,1,20
2026-03-09 08:00:02,3001AA56,-52,1,20
2026-03-09 08:01:01,3001AA55,-51,1,20
"""
RUNS = """\
pass,start,end
p1,2026-03-09 08:00:00,2026-03-09 08:00:30
p2,2026-03-09 08:01:00,2026-03-09 08:01:30
"""
TAGS = """\
epc,role
3001AA55,wanted
3001AA56,stray
"""
GIVEN = "import log.csv --run-sheet runs.csv --tags tags.csv --read-point gate --out new"
MAPPED = f"{GIVEN} --mapping m.json"
NO_SHEET = "import log.csv --tags tags.csv --out new"
NO_TAGS = "import log.csv --run-sheet runs.csv --read-point gate --out new"


def raw(log: Any = LOG, runs: str = RUNS, tags: str = TAGS, said: str = "") -> dict[str, Any]:
    """The raw files, with what a mapping file says."""
    return {"log.csv": log, "runs.csv": runs, "tags.csv": tags, "m.json": said}


ALL = (
    Fault(
        "no log",
        "log.csv: no such file. Put it there, or correct its name.",
        raw() | {"log.csv": None},
        GIVEN,
    ),
    Fault(
        "no folder to write in",
        "a/b: the folder a does not exist. Give a new folder in one that exists.",
        raw(),
        "import log.csv --out a/b",
    ),
    Fault(
        "out holds files",
        (
            "case is a folder that holds files. Give a folder that does not exist yet, or is "
            "empty: nothing is overwritten."
        ),
        raw(),
        "import log.csv --out case",
    ),
    Fault(
        "log twice",
        "log.csv is given twice. Give each log once.",
        raw(),
        "import log.csv log.csv --out new",
    ),
    Fault(
        "nothing given",
        "strategist import: LOG and --out are missing. See strategist import --help.",
        raw(),
        "import",
    ),
    Fault("empty log", "log.csv is empty. Give a header line and rows.", raw(""), GIVEN),
    Fault(
        "log of a header",
        "log.csv has no row below the header. Give at least one.",
        raw("time,epc,rssi,power\n"),
        GIVEN,
    ),
    Fault(
        "log of no EPC",
        (
            'log.csv, epc is none of the columns "time", "label", "rssi", "antenna", "power". '
            'If one of the columns is, say which in the mapping file, as {"log": {"columns": '
            '{"epc": "COLUMN"}}}.'
        ),
        raw(LOG.replace("epc", "label").replace("3001AA", "tag ")),
        GIVEN,
    ),
    Fault(
        "log of no RSSI",
        (
            'log.csv, rssi is none of the columns "time", "epc", "phase", "antenna", "power". '
            'If one of the columns is, say which in the mapping file, as {"log": {"columns": '
            '{"rssi": "COLUMN"}}}.'
        ),
        raw(LOG.replace("rssi", "phase").replace("-5", "9")),
        GIVEN,
    ),
    Fault(
        "RSSI in words",
        (
            'log.csv, rssi: too few values of the column "rssi" are the RSSI of the read '
            "(strong, -52, -51). Correct the values of this column, or leave out the rows that "
            "have none."
        ),
        raw(LOG.replace("-50", "strong")),
        GIVEN,
    ),
    Fault(
        "RSSI without its sign",
        (
            "log.csv, rssi is all positive, and RSSI in dBm is negative (50, 51, 52). It may "
            "be dBm without their minus sign, or no dBm at all. Say which in the mapping file, "
            'as {"log": {"forms": {"rssi": "minus_dbm"}}}.'
        ),
        raw(LOG.replace("-5", "5")),
        GIVEN,
    ),
    Fault(
        "EPC in words",
        (
            'log.csv, line 2, epc: "pallet" is not valid. Give hex of 1 to 62 bytes, or an EPC '
            "tag URI."
        ),
        raw(LOG.replace("3001AA55", "pallet", 1)),
        GIVEN,
    ),
    Fault(
        "EPC that lacks a digit",
        (
            'log.csv, line 2, epc: "3001AA5" is not valid. Give whole bytes of hex; a digit is '
            "lacking (a leading zero?)."
        ),
        raw(LOG.replace("3001AA55", "3001AA5", 1)),
        GIVEN,
    ),
    Fault(
        "EPC that was rounded",
        (
            'log.csv, line 2, epc: "3.0E+23" is not valid. Give hex; a spreadsheet has rounded '
            "this one: format the column as text and export again."
        ),
        raw(LOG.replace("3001AA55", "3.0E+23", 1)),
        GIVEN,
    ),
    Fault(
        "pure identity",
        (
            'log.csv, line 2, epc: "urn:epc:id:sgtin:9521141.012345.5" is not valid. Give a '
            "tag URI (urn:epc:tag:…) or hex: a pure identity lacks the filter value; say "
            '"epc_filter": 0 to 7 in the mapping file.'
        ),
        raw(LOG.replace("3001AA55", "urn:epc:id:sgtin:9521141.012345.5", 1)),
        GIVEN,
    ),
    Fault(
        "antenna 0",
        (
            'log.csv, line 2, antenna: "0" is not valid. Give a whole number from 1 to 255; or '
            'leave the column out, as {"log": {"columns": {"antenna": null}}}.'
        ),
        raw(LOG.replace(",1,20", ",0,20", 1)),
        GIVEN,
    ),
    Fault(
        "date of two readings",
        (
            "log.csv, time may be day.month.year or month/day/year (03/04/2026 08:00:01, "
            "03/04/2026 08:00:02, 03/04/2026 08:01:01). Say which in the mapping file, as "
            '{"log": {"forms": {"time": "d.m.y"}}}.'
        ),
        raw(LOG.replace("2026-03-09", "03/04/2026")),
        GIVEN,
    ),
    Fault(
        "level in odd units",
        (
            "log.csv, power is in no known form (3333). Known: dBm, mW, tenths of a dBm, "
            'hundredths of a dBm. Say which in the mapping file, as {"log": {"forms": '
            '{"power": "dbm"}}}.'
        ),
        raw(LOG.replace(",20", ",3333")),
        GIVEN,
    ),
    Fault(
        "row that lacks fields",
        "log.csv, line 2: the row has 3 fields. Give 5 fields, as in the header.",
        raw(LOG.replace(",1,20\n", "\n", 1)),
        GIVEN,
    ),
    Fault(
        "decimal commas",
        (
            "log.csv, line 2: the row has 6 fields. Give 5 fields, as in the header; where "
            "numbers have decimal commas, another mark than a comma has to stand between the "
            "columns."
        ),
        raw(LOG.replace("-50", "-50,5")),
        GIVEN,
    ),
    Fault(
        "quote left open",
        (
            "log.csv, line 2: a quote is opened and not closed, or text follows a closing "
            "quote. Write quotes in pairs, and a quote within a field twice."
        ),
        raw(LOG.replace("3001AA55", '"3001AA55', 1)),
        GIVEN,
    ),
    Fault(
        "column name twice",
        (
            'log.csv, line 1: the column name "rssi" stands more than once. Give each column '
            "name once."
        ),
        raw(LOG.replace("antenna", "rssi")),
        GIVEN,
    ),
    Fault(
        "zero byte",
        (
            "log.csv, line 2 holds a zero byte. Give text, a workbook (.xlsx), JSON lines, or "
            "LLRP reports."
        ),
        raw(LOG.replace("-50", "-5\0")),
        GIVEN,
    ),
    Fault("packed", "log.csv is packed (gzip). Unpack it.", raw(b"\x1f\x8b\x08"), GIVEN),
    Fault(
        "old workbook",
        "log.csv is a workbook of the old format. Save it as .xlsx, or as CSV.",
        raw(b"\xd0\xcf\x11\xe0"),
        GIVEN,
    ),
    Fault(
        "PDF",
        "log.csv is a PDF. Give text, a workbook (.xlsx), JSON lines, or LLRP reports.",
        raw(b"%PDF-1.7"),
        GIVEN,
    ),
    Fault(
        "broken workbook",
        (
            "log.csv cannot be read as a workbook (.xlsx). Open it in a spreadsheet program "
            "and save it again as .xlsx, or as CSV."
        ),
        raw(b"PK\x03\x04"),
        GIVEN,
    ),
    Fault(
        "broken JSON line",
        ("log.csv, line 2: no JSON at column 9: no value begins here. Correct the text there."),
        raw('{"epc": "3001AA55", "rssi": -50}\n{"epc": '),
        GIVEN,
    ),
    Fault(
        "JSON of numbers",
        ('log.csv, line 1: the entry "1" is no object. Give an object with a key for each column.'),
        raw("[1, 2]"),
        GIVEN,
    ),
    Fault("JSON of nothing", "log.csv holds no object. Give at least one.", raw("[]"), GIVEN),
    Fault(
        "broken XML",
        (
            "log.csv, line 1: no well-formed XML at column 9. Correct the text there, or write "
            "the file anew."
        ),
        raw("<a><b></a>"),
        GIVEN,
    ),
    Fault(
        "XML without reports",
        "log.csv holds no tag report. Give at least one TagReportData.",
        raw("<a></a>"),
        GIVEN,
    ),
    Fault(
        "XML with a document type",
        (
            "log.csv holds <!DOCTYPE, by which a small file can grow without end. Give XML "
            "without a document type."
        ),
        raw("<!DOCTYPE a><a></a>"),
        GIVEN,
    ),
    Fault(
        "LLRP cut off",
        (
            "log.csv: the file ends 52 bytes before the end of the message that begins at byte "
            "0. Give the whole file: it was cut off."
        ),
        raw(b"\x04\x3d\x00\x00\x00\x40\x00\x00\x00\x01\x00\xf0"),
        GIVEN,
    ),
    Fault(
        "passes untold",
        (
            "log.csv, pass: nothing tells which read is of which pass. Give a pass column in "
            "the log; or times in the log, and a run sheet with start and end; or how long the "
            "pauses between passes are (pause_s in the mapping file)."
        ),
        raw(),
        NO_SHEET,
    ),
    Fault(
        "pause below zero",
        (
            'strategist import: --pause: "-1" is not valid. Give a number of seconds above 0. '
            "See strategist import --help."
        ),
        raw(),
        f"{NO_SHEET} --pause -1",
    ),
    Fault(
        "pause of other passes",
        (
            "runs.csv has 2 rows, and pauses of 5000 s or more make 1 group of the reads. Give "
            "another pause (pause_s in the mapping file) so that there are as many (more than "
            "1 and up to 59 s make 2 groups of the reads, which is right if no row went "
            "without reads)."
        ),
        raw(runs="pass,power\np1,20\np2,20\n"),
        f"{GIVEN} --pause 5000",
    ),
    Fault(
        "roles untold",
        (
            "tag list, role: nothing tells which tags are wanted. Give a tag list with columns "
            "epc and role (wanted or stray) and, where the role changes, pass; or a column "
            "wanted on the run sheet."
        ),
        raw(),
        NO_TAGS,
    ),
    Fault(
        "unknown role",
        'tags.csv, line 3, role: "foreign" is not valid. Give wanted or stray.',
        raw(tags=TAGS.replace("stray", "foreign")),
        GIVEN,
    ),
    Fault(
        "tag without EPC",
        "tags.csv, line 3, epc is missing. Give the EPC of the tag.",
        raw(tags=TAGS.replace("3001AA56", "")),
        GIVEN,
    ),
    Fault(
        "two roles of a tag",
        (
            "tags.csv, line 4, role: 3001AA55 is stray in pass p1, and wanted by line 2. Give "
            "each tag one role in a pass."
        ),
        raw(tags=f"{TAGS}3001AA55,stray\n", runs=RUNS.split("p2", maxsplit=1)[0]),
        GIVEN,
    ),
    Fault(
        "tag of an unknown pass",
        (
            'tags.csv, line 2, pass: there is no pass "p9". Known passes, by the log and the '
            "run sheet: p1, p2."
        ),
        raw(tags="epc,role,pass\n3001AA55,wanted,p9\n"),
        GIVEN,
    ),
    Fault(
        "tag of an unknown read point",
        ('tags.csv, line 2, read_point: there is no read point "door". Known read points: gate.'),
        raw(tags="epc,role,read_point\n3001AA55,wanted,door\n"),
        GIVEN,
    ),
    Fault(
        "level untold",
        (
            "log.csv, power: nothing tells at which level the reads were. Give a column of "
            "levels in the log, or on the run sheet."
        ),
        raw(LOG.replace("power", "phase").replace(",20", ",x")),
        GIVEN,
    ),
    Fault(
        "clocks an hour apart",
        (
            "log.csv, time: the clocks of log and run sheet seem to be 1 hour (3600 s) apart: "
            "0 of 3 reads looked at lie inside a pass, and 3 would if the log's times were 1 "
            'hour (3600 s) later. If so, say "clock_offset_s": 3600 in the mapping file.'
        ),
        raw(LOG.replace(" 08:", " 07:")),
        GIVEN,
    ),
    Fault(
        "clocks a year apart",
        (
            "log.csv, time: the clocks of log and run sheet seem to be 365 days (31536000 s) "
            "apart: 0 of 3 reads looked at lie inside a pass, and 3 would if the log's times "
            'were 365 days (31536000 s) later. If so, say "clock_offset_s": 31536000 in the '
            "mapping file."
        ),
        raw(LOG.replace("2026", "2025")),
        GIVEN,
    ),
    Fault(
        "passes that overlap",
        (
            "runs.csv, line 3, start: the pass begins before that of line 2 ends, and 1 read "
            "is in both. Give passes that do not overlap."
        ),
        raw(runs=RUNS.replace("08:00:30", "08:01:20")),
        GIVEN,
    ),
    Fault(
        "end before start",
        "runs.csv, line 2, end is not after the start. Give an end after the start.",
        raw(runs=RUNS.replace("08:00:30", "07:00:30")),
        GIVEN,
    ),
    Fault(
        "pass without name",
        "runs.csv, line 2, pass is missing. Give the number or name of the pass.",
        raw(runs=RUNS.replace("p1", "")),
        GIVEN,
    ),
    Fault(
        "pass without start",
        "runs.csv, line 3, start is missing. Give the time at which the pass began.",
        raw(runs=RUNS.replace("2026-03-09 08:01:00", "")),
        GIVEN,
    ),
    Fault(
        "run sheet of other columns",
        (
            "runs.csv has no column that is recognised: a, b. Call its columns read_point, "
            "pass, start, end, duration, power, rospec, condition, weight, wanted, stray, date "
            '(those that it has), or say in a mapping file which they are, as {"run_sheet": '
            '{"columns": {"pass": "COLUMN"}}}.'
        ),
        raw(runs="a,b\nx,y\n"),
        GIVEN,
    ),
    Fault(
        "name that is no tag",
        (
            "runs.csv, line 2, wanted: no known tag is called so: box. Give EPCs, or a tag "
            "list in which these words are the label or the list of tags."
        ),
        raw(runs=RUNS.replace("end", "end,wanted").replace("0\n", "0,box\n")),
        NO_TAGS,
    ),
    Fault(
        "mapping of unknown key",
        (
            'm.json, logs: unknown key "logs". Known keys: log, run_sheet, tags, read_point, '
            "passes_by, pause_s, clock_offset_s, levels_by_rospec, epc_filter, levels_dbm, "
            'antennas (nearest: "log").'
        ),
        raw(said='{"logs": {}}'),
        MAPPED,
    ),
    Fault(
        "mapping of unknown column",
        (
            'm.json, log.columns.rssi: log.csv has no column "RSSI dBm". Give one of its '
            "columns: time, epc, rssi, antenna, power."
        ),
        raw(said='{"log": {"columns": {"rssi": "RSSI dBm"}}}'),
        MAPPED,
    ),
    Fault(
        "mapping of unknown form",
        (
            'm.json, log.forms.rssi: "watt" is not valid. Give one of dbm, mw, tenths_dbm, '
            "hundredths_dbm, minus_dbm, hex, pc_epc, pc_epc_crc, iso, d.m.y, m/d/y, "
            "time_of_day, epoch_s, epoch_ms, epoch_us, uptime_us, seconds."
        ),
        raw(said='{"log": {"forms": {"rssi": "watt"}}}'),
        MAPPED,
    ),
    Fault(
        "mapping of a role elsewhere",
        (
            'm.json, log.columns: a log has no column of the kind "wanted". Known: read_point, '
            "pass, epc, rssi, power, antenna, reads, rospec, tid, time, date."
        ),
        raw(said='{"log": {"columns": {"wanted": "epc"}}}'),
        MAPPED,
    ),
    Fault(
        "mapping by a column that lacks",
        (
            "m.json, passes_by is column, and the log has no pass column. Add it, or tell "
            "passes otherwise."
        ),
        raw(said='{"passes_by": "column"}'),
        MAPPED,
    ),
    Fault(
        "mapping without a pause",
        (
            "m.json, pause_s is missing. Give how many seconds the pauses between passes take "
            "at least."
        ),
        raw(said='{"passes_by": "pauses"}'),
        MAPPED,
    ),
    Fault(
        "mapping with hours",
        (
            'm.json, clock_offset_s: "1h" is not valid. Give a number from -1,000,000,000 to '
            "1,000,000,000."
        ),
        raw(said='{"clock_offset_s": "1h"}'),
        MAPPED,
    ),
)
