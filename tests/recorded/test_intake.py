"""From raw files to a case, or to what is asked for: files of a few rows, in many spellings."""

from __future__ import annotations

import binascii
import io
import json
import struct
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import openpyxl
import pytest

import strategist
from strategist.errors import InputError
from strategist.intake.clock import Offset, _long, offset_of
from strategist.intake.delimited import sheet_of_text
from strategist.intake.json_rows import sheet_of_json
from strategist.intake.llrp_reports import is_llrp, sheet_of_llrp
from strategist.intake.llrp_xml import sheet_of_llrp_xml
from strategist.intake.presented import _groups, _hint, snapped
from strategist.intake.recognise import (
    _change_slowly,
    _is_level_of_signal,
    _is_long_hex,
    _is_short_number,
    _share,
)
from strategist.intake.runs import parts_of
from strategist.intake.sheet import Sheet
from strategist.intake.terms import KINDS, ROLES, TERMS, likeness, words_of
from strategist.intake.times import forms_of_times, times_of
from strategist.intake.values import (
    are_regular,
    epc_in,
    form_of_epcs,
    form_of_power,
    form_of_rssi,
    is_value,
    levels_of_mw,
    number,
    odd_rssi,
    plain_hex,
    why_no_epc,
)
from strategist.intake.workbook import sheets_of_workbook
from tests.intake.writers import message, tlv, tv

Recorded = Callable[..., None]

ONE, TWO, THREE = (f"3036451FD41E7800000000{n:02X}" for n in (1, 2, 3))
BEGIN = datetime(2026, 3, 9, 8, 0, 0)
LEVELS = (15, 17, 20)


def reads() -> list[tuple[str, int, datetime, str, float]]:
    """Three passes of 30 s, a minute apart, 10 s a level: (pass, level, time, EPC, RSSI)."""
    rows = []
    for p in range(3):
        for step, level in enumerate(LEVELS):
            for t, epc in enumerate((ONE, TWO, THREE)):
                if (p + t + step) % 4:
                    at = BEGIN + timedelta(minutes=p, seconds=10 * step + 2 * t + 1.25)
                    rows.append((f"p{p + 1}", level, at, epc, -60.0 + 2 * step - t - p / 2))
    return rows


HEAD = "time,epc,rssi_dbm,power_dbm"
ROWS = [(at.isoformat(), epc, f"{rssi:g}", f"{level}") for _, level, at, epc, rssi in reads()]
LOG = "\n".join([HEAD, *map(",".join, ROWS), ""])
BY_PASS = "\n".join(
    [
        "pass,epc,rssi,power",
        *(",".join((p, e, f"{r:g}", f"{lv}")) for p, lv, _, e, r in reads()),
        "",
    ]
)
STARTS = [BEGIN + timedelta(minutes=p) for p in range(3)]
SHEET = "\n".join(
    [
        "pass,start,end",
        *(f"p{p + 1},{at.isoformat()},{(at + timedelta(seconds=30)).isoformat()}"
          for p, at in enumerate(STARTS)),
        "",
    ]
)  # fmt: skip
BY_LEVEL = "\n".join(
    [
        "pass,level,from,to,ROSpecID",
        *(f"p{p + 1},{level} dBm,{(at + timedelta(seconds=10 * s)).isoformat()},"
          f"{(at + timedelta(seconds=10 * s + 9)).isoformat()},{level}"
          for p, at in enumerate(STARTS) for s, level in enumerate(LEVELS)),
        "",
    ]
)  # fmt: skip
ROSTER = [
    "read_point,pass_id,epc,role,tid,user,tag_type",
    *(f"p{p},…{tag},,," for p in (1, 2, 3) for tag in ("01,wanted", "02,stray")),
]
ALL_OF_IT = "\n".join(
    [
        "pass,time,epc,rssi,power",
        *(",".join((p, at.isoformat(), e, f"{r:g}", f"{lv}")) for p, lv, at, e, r in reads()),
        "",
    ]
)


def windows(*ends: tuple[float, float]) -> str:
    """A run sheet of passes that begin and end so many seconds after the first."""
    rows = (
        f"w{n},{BEGIN + timedelta(seconds=a)},{BEGIN + timedelta(seconds=b)}"
        for n, (a, b) in enumerate(ends)
    )
    return "\n".join(["pass,start,end", *rows, ""])


TAGS = f"epc,role\n{ONE},wanted\n{TWO},stray\n"


AS_DBM = {"forms": {"power": "dbm"}}


def faults_of(error: InputError) -> list[Any]:
    return [[f.source, f.line, f.column, f.value, f.allowed, f.wrong] for f in error.faults]


def told(
    log: str | bytes | dict[str, bytes] = LOG,
    sheet: str | None = SHEET,
    tags: str | None = TAGS,
    /,
    **mapping: Any,
) -> Any:
    """What an import comes to, or what it asks for."""
    logs = (
        log
        if isinstance(log, dict)
        else {"raw.csv": log if isinstance(log, bytes) else log.encode()}
    )
    try:
        found = strategist.import_log(
            logs,
            run_sheet=None if sheet is None else {"runs.csv": sheet.encode()},
            tags=None if tags is None else {"tags.csv": tags.encode()},
            mapping=strategist.parse_mapping(json.dumps(mapping).encode(), "m.json"),
        )
    except InputError as error:
        return faults_of(error)
    files = {
        name: text.replace(ONE[:-2], "…").replace("read-point,", "").splitlines()
        for name, text in found.files.items()
        if name not in ("mapping.json", "site.json")
    }
    files["reads.csv"] = files["reads.csv"][:1] + files["reads.csv"][1::6]
    if "tried.csv" in files:
        files["tried.csv"] = [*files["tried.csv"][:4], f"{len(files['tried.csv'])} rows"]
    if files["roster.csv"] == ROSTER:
        del files["roster.csv"]
    return {
        "points": [
            [p.read_point, p.passes, list(p.levels_dbm), p.tags, p.reads] for p in found.read_points
        ],
        "by": found.passes_by,
        "tally": list(vars(found.tally).values()),
        "columns": [f"{c.column}: {c.role} {c.form} {c.by}" for c in found.columns],
        "assumed": list(found.assumed),
        "findings": [[f.kind, f.text, f.advice] for f in found.findings],
        "files": files,
    }


def changed(
    row: Callable[[tuple[str, ...]], tuple[str, ...]], head: str = HEAD, mark: str = ","
) -> str:
    return "\n".join([head, *(mark.join(row(one)) for one in ROWS), ""])


def spaced(text: str) -> str:
    return " ".join(text[i : i + 4] for i in range(0, len(text), 4))


def micro(at: datetime) -> int:
    return round((at - datetime(1970, 1, 1)).total_seconds() * 1e6)


def at_of(row: tuple[str, ...]) -> datetime:
    return datetime.fromisoformat(row[0])


EITHER = [f"2C00F15{n}0000000000000000" for n in range(2, 7)]
IMPORTS: dict[str, Callable[[], Any]] = {
    "plain": told,
    "by column": lambda: told(BY_PASS, None),
    "by column, said": lambda: told(BY_PASS, SHEET, passes_by="column"),
    "windows, said": lambda: told(LOG, SHEET, passes_by="windows"),
    "windows without times": lambda: told(BY_PASS, SHEET, passes_by="windows"),
    "pauses without times": lambda: told(BY_PASS, SHEET, passes_by="pauses", pause_s=20),
    "column lacking": lambda: told(LOG, SHEET, passes_by="column"),
    "pauses": lambda: told(LOG, None, pause_s=30),
    "one pass by pauses": lambda: told(LOG, None, pause_s=1000),
    "one pass of a sheet": lambda: told(LOG, "pass,condition\na,x\n", pause_s=1000),
    "windows of two at once": lambda: told(
        "read point,time,epc,rssi,power\n" + "".join(
            f"{point},2026-03-09T08:00:{s:02},{ONE},-{50 + s},15\n"
            for point in ("north", "south") for s in (5, 20, 35)
        ) + f"south,,{ONE},-60,15\n",
        "read point,pass,start,end\nnorth,a,2026-03-09 08:00:00,2026-03-09 08:00:30\n"
        "south,b,2026-03-09 08:00:10,2026-03-09 08:00:40\n",
    ),
    "pauses of a sheet": lambda: told(LOG, "pass,condition\na,x\nb,\nc,y\n", pause_s=30),
    "pauses that do not fit": lambda: told(LOG, "pass,condition\na,x\nb,\n", pause_s=30),
    "pauses not said": lambda: told(LOG, "pass,condition\na,x\nb,\nc,y\n"),
    "pauses without a length": lambda: told(LOG, None, passes_by="pauses"),
    "nothing tells passes": lambda: told(LOG, None),
    "by level": lambda: told(changed(lambda r: r[:3], "time,epc,rssi"), BY_LEVEL),
    "by level and log": lambda: told(LOG, BY_LEVEL),
    "levels differ": lambda: told(LOG, BY_LEVEL.replace("17 d", "17.06 d"), run_sheet=AS_DBM),
    "hardly differ": lambda: told(LOG, BY_LEVEL.replace("17 d", "17.05 d"), run_sheet=AS_DBM),
    "no level": lambda: told(changed(lambda r: r[:3], "time,epc,rssi"), SHEET),
    "ROSpecs": lambda: told(
        changed(lambda r: (*r[:3], r[3]), "time,epc,rssi,ROSpecID"), BY_LEVEL, passes_by="windows"
    ),
    "ROSpecs mapped": lambda: told(
        changed(lambda r: (*r[:3], r[3]), "time,epc,rssi,ROSpecID"),
        levels_by_rospec={"15": 25, "17": 27},
    ),
    "ROSpecs unknown": lambda: told(changed(lambda r: (*r[:3], r[3]), "time,epc,rssi,ROSpecID")),
    "ROSpecs by column": lambda: told(BY_PASS.replace("power", "ROSpecID"), BY_LEVEL),
    "ROSpecs of two levels": lambda: told(
        BY_PASS.replace("power", "ROSpecID"), BY_LEVEL.replace(",17\n", ",15\n")
    ),
    "ROSpecs of none": lambda: told(
        BY_PASS.replace("power", "ROSpecID"), BY_LEVEL.replace("ROSpecID", "x")
    ),
    "ROSpecs outside": lambda: told(
        changed(lambda r: r, "time,epc,rssi,ROSpecID") + f"2026-03-10T08:00:00,{ONE},-60,15\n",
        SHEET,
    ),
    "levels of a few": lambda: told(
        changed(lambda r: r[:3], "time,epc,rssi"), BY_LEVEL.replace("17 dBm", "")
    ),
    "known levels": lambda: told(levels_dbm=[15.04, 17.06, 20, 25]),
    "read point": lambda: told(read_point="gate"),
    "semicolons": lambda: told(
        changed(
            lambda r: (
                at_of(r).strftime("%d.%m.%Y %H:%M:%S,%f"),
                spaced(r[1]),
                r[2].replace(".", ","),
                f"{10 ** (float(r[3]) / 10):.0f}",
            ),
            "Zeit;EPC;Pegel;Leistung (mW)",
            ";",
        )
    ),
    "US dates": lambda: told(
        changed(lambda r: (at_of(r).strftime("%m/%d/%Y %I:%M:%S %p"), *r[1:]))
    ),
    "dates either way": lambda: told(
        changed(lambda r: (at_of(r).strftime("%m-%d-%Y %H:%M:%S"), *r[1:]))
    ),
    "time of day": lambda: told(changed(lambda r: (at_of(r).strftime("%H:%M:%S.%f"), *r[1:]))),
    "day apart": lambda: told(
        changed(
            lambda r: (at_of(r).strftime("%Y-%m-%d"), at_of(r).strftime("%H:%M:%S"), *r[1:]),
            f"date,{HEAD}",
        )
    ),
    "two days apart": lambda: told(
        "time,date,epc,rssi,power\n"
        + "".join(f"08:00:0{s},2026-03-{d:02},{ONE},-{50 + s + d},15\n"
                  for d in (9, 10, 12) for s in (1, 2, 5, 7)),
        "pass,start,end\n"
        + "".join(f"d{d},2026-03-{d:02} 08:00:00,2026-03-{d:02} 08:00:06\n" for d in (9, 10, 12)),
    ),
    "sheet by time of day": lambda: told(LOG, SHEET.replace("2026-03-09T", "")),
    "both by time of day": lambda: told(
        changed(lambda r: (at_of(r).strftime("%H:%M:%S.%f"), *r[1:])),
        SHEET.replace("2026-03-09T", ""),
    ),
    "past midnight": lambda: told(
        changed(
            lambda r: ((at_of(r) + timedelta(hours=15, minutes=59)).strftime("%H:%M:%S"), *r[1:])
        ),
        "pass,start,end\na,23:59:00,23:59:40\nb,00:00:00,00:00:30\nc,00:01:00,00:01:30\n",
    ),
    "seconds": lambda: told(changed(lambda r: (f"{micro(at_of(r)) / 1e6:.3f}", *r[1:]))),
    "milliseconds": lambda: told(changed(lambda r: (f"{micro(at_of(r)) // 1000}", *r[1:]))),
    "microseconds": lambda: told(changed(lambda r: (f"{micro(at_of(r))}", *r[1:]))),
    "uptime": lambda: told(changed(lambda r: (f"{micro(at_of(r)) % 10**12}", *r[1:]))),
    "uptime said": lambda: told(
        changed(lambda r: (f"{micro(at_of(r)) % 10**12}", *r[1:])),
        log={"forms": {"time": "uptime_us"}},
    ),
    "uptime by pauses": lambda: told(
        changed(lambda r: (f"{micro(at_of(r)) % 10**12}", *r[1:])),
        None,
        log={"forms": {"time": "uptime_us"}},
        pause_s=30,
    ),
    "zones": lambda: told(
        changed(lambda r: (f"{r[0]}+01:00", *r[1:])), SHEET.replace(":00,", ":00+01:00,")
    ),
    "zones apart": lambda: told(
        changed(lambda r: (f"{(at_of(r) - timedelta(hours=1)).isoformat()}Z", *r[1:])),
        SHEET.replace(":00,2026", ":00+01:00,2026").replace(":30\n", ":30+01:00\n"),
    ),
    "zone of the log alone": lambda: told(changed(lambda r: (f"{r[0]}+02:00", *r[1:]))),
    "zone of the sheet alone": lambda: told(
        LOG, SHEET.replace(":00,", ":00+02:00,").replace(":30\n", ":30+02:00\n")
    ),
    "zone of starts alone": lambda: told(
        changed(lambda r: (f"{r[0]}+02:00", *r[1:])),
        SHEET.replace(":00,2026", ":00+02:00,2026"),
    ),
    "one zone": lambda: told(changed(lambda r: (f"{r[0]}Z", *r[1:]))),
    "clock off by an hour": lambda: told(
        changed(lambda r: ((at_of(r) + timedelta(hours=1)).isoformat(), *r[1:]))
    ),
    "clock off, said": lambda: told(
        changed(lambda r: ((at_of(r) + timedelta(hours=1)).isoformat(), *r[1:])),
        clock_offset_s=-3600,
    ),
    "clock off by seconds": lambda: told(
        changed(lambda r: ((at_of(r) + timedelta(seconds=12)).isoformat(), *r[1:]))
    ),
    "hundredths": lambda: told(
        changed(lambda r: (r[0], f"0x{r[1]}", f"{float(r[2]) * 100:.0f}", f"{r[3]}0"),
                "Tag Time,UII,RSSI x100,power ddbm")
    ),
    "no unit": lambda: told(
        changed(lambda r: (r[0], r[1], f"{float(r[2]) * 10:.0f}", f"{float(r[3]) * 100:.0f}"),
                "time,epc,rssi,power")
    ),
    "minus signs": lambda: told(
        changed(lambda r: (r[0], r[1].lower(), f"\u2212{r[2][1:]} dBm", f"{r[3]} dBm"))
    ),
    "without minus": lambda: told(changed(lambda r: (r[0], r[1], r[2][1:], r[3]))),
    "without minus, said": lambda: told(
        changed(lambda r: (r[0], r[1], r[2][1:], r[3])), log={"forms": {"rssi": "minus_dbm"}}
    ),
    "odd RSSI": lambda: told(LOG + ",".join((*ROWS[0][:2], "20", "15")) + "\n"),
    "odd power": lambda: told(changed(lambda r: (*r[:3], f"{float(r[3]) + 0.13}"))),
    "PC words": lambda: told(changed(lambda r: (r[0], f"3000{r[1]}", *r[2:]))),
    "no such EPC": lambda: told(LOG.replace(THREE, "3.4E+21").replace(TWO, "30123")),
    "long EPC": lambda: told(LOG.replace(THREE, "30" * 63)),
    "URIs": lambda: told(
        LOG.replace(THREE, "urn:epc:tag:sgtin-96:1.9521141.031200.3"),
        SHEET,
        f"epc,role\nurn:epc:id:sgtin:9521141.031200.3,wanted\n{TWO},stray\n",
        epc_filter=1,
    ),
    "URI without its filter": lambda: told(
        LOG, SHEET, "epc,role\nurn:epc:id:sgtin:9521141.031200.3,wanted\n"
    ),
    "no header": lambda: told("\n".join(map(",".join, ROWS))),
    "no header, semicolons": lambda: told("\n".join(map(";".join, ROWS))),
    "unknown names": lambda: told(changed(lambda r: r, "a,b,c,d")),
    "unknown names, said": lambda: told(
        changed(lambda r: r, "a,b,c,d"),
        log={"columns": {"time": "a", "epc": "b", "rssi": "c", "power": "d"}},
    ),
    "said wrongly": lambda: told(
        log={"columns": {"epc": "EPC", "start": "time"}}, run_sheet={"columns": {"pass": "p"}}
    ),
    "two of a kind": lambda: told(changed(lambda r: (*r, r[2]), f"{HEAD},rssi")),
    "twins": lambda: told(
        changed(
            lambda r: (r[0], r[0], r[1], r[2], r[2], r[3]),
            "last seen time,first seen time,epc,mean rssi,peak rssi,power",
        )
    ),
    "twins by order": lambda: told(
        changed(
            lambda r: (r[0], r[0], r[1], r[2], r[2], r[3]),
            "last timestamp,first timestamp,epc,max rssi,peak rssi,power",
        )
    ),
    "twins of two clocks": lambda: told(
        changed(
            lambda r: (r[0], r[0], r[0], r[1], r[2], r[3]),
            "last timestamp,first timestamp uptime,first timestamp utc,epc,rssi,power",
        )
    ),
    "twins alike": lambda: told(
        changed(lambda r: (r[0], r[0], r[1], r[2], r[2], r[3]),
                "a timestamp,b timestamp,epc,a rssi,b rssi,power")
    ),
    "twins of another kind": lambda: told(
        changed(lambda r: (*r, r[3]), "time,epc,rssi,first power,last power")
    ),
    "unknown twins": lambda: told(
        changed(lambda r: (*r[:3], r[1], *[r[2]] * 6), "t,a,b,c,d,e,f,g,h,ü")
    ),
    "unknown clocks": lambda: told(changed(lambda r: (r[0], *r), "t,u,a,b,c")),
    "antennas": lambda: told(
        changed(lambda r: (*r, "1" if r[1] == ONE else "3", "2"), f"{HEAD},antenna,reads")
    ),
    "antennas, named": lambda: told(
        changed(lambda r: (*r, "1"), f"{HEAD},antenna"), antennas=[1, 2]
    ),
    "antenna of a half": lambda: told(changed(lambda r: (*r, "1.5"), f"{HEAD},antenna")),
    **{
        f"antenna {number}": lambda number=number: told(
            changed(lambda r: (*r, number), f"{HEAD},antenna")
        )
        for number in ("0", "1", "255", "256", "1.0")
    },
    "reads of a row": lambda: told(changed(lambda r: (*r, "1000000000"), f"{HEAD},reads")),
    "too many of a row": lambda: told(changed(lambda r: (*r, "1000000001"), f"{HEAD},reads")),
    "longest EPC": lambda: told(LOG.replace(THREE, "30" * 62)),
    "PC word alone": lambda: told(
        changed(lambda r: (r[0], "0000" if r[1] == THREE else r[1], *r[2:])),
        log={"forms": {"epc": "pc_epc"}},
    ),
    "no reads of a row": lambda: told(changed(lambda r: (*r, "0"), f"{HEAD},reads")),
    "a word for a number": lambda: told(LOG.replace(",20\n", ",high\n")),
    "TIDs": lambda: told(
        changed(lambda r: (*r, "E280" if r[1] != THREE else "E281"), f"{HEAD},tid")
    ),
    "rows twice": lambda: told(LOG + ",".join(ROWS[3]) + "\n" + ",".join(ROWS[4]) + "\n"),
    "rows without": lambda: told(
        LOG
        + "\n".join(
            ",".join(row)
            for row in (
                (ROWS[0][0], "", *ROWS[0][2:]),
                (*ROWS[0][:2], "", ROWS[0][3]),
                (*ROWS[0][:3], ""),
                ("2026-03-09T09:00:00", *ROWS[0][1:]),
                ("", *ROWS[0][1:]),
            )
        )
        + "\n"
    ),
    "nothing inside": lambda: told(
        LOG.replace("2026-03-09", "2026-03-10"),
        SHEET.replace("2026-03-09T08", "2026-05-09T09"),
    ),
    "two logs": lambda: told(
        {
            "a.csv": "\n".join([HEAD, *map(",".join, ROWS[:9])]).encode(),
            "b.csv": "\n".join(
                [HEAD.replace(",", ";") + ";antenna", *(";".join((*r, "2")) for r in ROWS[9:])]
            ).encode(),
        }
    ),
    "two logs apart": lambda: told(
        {
            "a.csv": "\n".join([HEAD, *map(",".join, ROWS[:9])]).encode(),
            "b.csv": changed(lambda r: (r[0].partition("T")[2], *r[1:])).encode(),
        }
    ),
    "no log": lambda: told({}),
    "no EPCs": lambda: told(changed(lambda r: (r[0], r[2], r[3]), "time,rssi,power")),
    "hardly RSSI": lambda: told(changed(lambda r: (r[0], r[1], "x", r[3]))),
    "nothing recognised": lambda: told("x,y\na,b\n", "x,y\na,b\n", "x,y\na,b\n"),
    "EPCs that may have PC words": lambda: told(
        "pass,epc,rssi,power\n" + "".join(f"p1,{w},-50,15\n" for w in EITHER), None
    ),
    **{
        f"levels like mW{unit}": lambda unit=unit: told(
            "pass,epc,rssi,power\n" + "".join(f"p1,{ONE},-50,{dbm}{unit}\n"
            for dbm in (10, 16, 25, 40)), None
        )
        for unit in ("", " dBm", " mW")
    },
    "names with marks": lambda: told(
        "\n".join(["read point,pass,epc,rssi,power", *(
            f'"gate, ""x""",{name},{ONE},-50,{level}'
            for name, level in (("p1", 15), ('"p,2"', 15), ('"p ""3"""', 17))
        )]), None,
    ),
    "no tags": lambda: told(LOG, SHEET, None),
    "tags of passes": lambda: told(
        LOG, SHEET, f"epc,role,pass\n{ONE},w,\n{ONE},stray,p2\n{TWO},s,p1-p3\n{THREE},yes,p1;p3\n"
    ),
    "tags carry": lambda: told(
        LOG,
        SHEET,
        f"epc,role,tid,user,type\n{ONE},wanted,E280,01,soft\n{ONE},wanted,,02,\n{TWO},stray,E2,,\n",
    ),
    "tags wrong": lambda: told(
        LOG,
        SHEET,
        f"epc,role,pass,tid\n{ONE},mine,,\n,wanted,,\n{TWO},stray,p9,E\n{ONE},wanted,p1,\n"
        f"{ONE},stray,p1,\n{TWO},wanted,p1-p9,\n",
    ),
    "tags of read points": lambda: told(
        LOG, SHEET, f"epc,role,read point\n{ONE},wanted,read-point\n{TWO},stray,gate\n"
    ),
    "no role": lambda: told(LOG, SHEET, f"epc,label\n{ONE},a\n"),
    "tags on the sheet": lambda: told(
        LOG,
        SHEET.replace("end", "end,wanted,stray")
        .replace(":30\n", f":30,T1,{TWO} T3\n", 1)
        .replace(":30\n", ":30,small,T3;T1\n", 1)
        .replace(":30\n", ":30,T1 T3,\n"),
        f"epc,label,list\n{ONE},T1,small\n{TWO},T2,small\n{THREE},T3,\n",
    ),
    "tags on the sheet, wrong": lambda: told(
        LOG,
        SHEET.replace("end", "end,wanted,stray").replace(":30\n", ":30,T1 T9,T1 T8\n"),
        f"epc,label\n{ONE},T1\n",
    ),
    "sheet of two": lambda: told(
        LOG,
        "read point,pass,start,end,condition,weight,date\n"
        "north,a,2026-03-09 08:00:00,2026-03-09 08:00:30,full,2,2026-03-09\n"
        ",b,2026-03-09 08:01:00,,,0.5,\n"
        "south,a,2026-03-09 08:02:00,2026-03-09 08:02:30,empty,,2026-03-10\n",
    ),
    "sheet of a third": lambda: told(
        "read point,pass,epc,rssi,power\n" + "".join(
            f"{point},p{n},{epc},-{50 + n},{15 + 2 * n}\n"
            for n, point in enumerate(("north", "south", "south")) for epc in (ONE, TWO)
        ),
        "read point,pass,level\nnorth,p0,15\nsouth,p1,17\nsouth,p2,19\nwest,p9,25\n",
    ),
    "sheet by durations": lambda: told(
        LOG,
        "pass,start,duration\na,2026-03-09 08:00:00,30\nb,2026-03-09 08:01:00,25.5\n"
        "c,2026-03-09 08:02:00,\n",
    ),
    "sheet that overlaps": lambda: told(
        LOG,
        "pass,start,end\na,2026-03-09 08:00:00,2026-03-09 08:01:10\n"
        "b,2026-03-09 08:01:00,2026-03-09 08:01:30\nc,2026-03-09 08:02:00,2026-03-09 08:01:30\n",
    ),
    "sheet without starts": lambda: told(
        LOG, "pass,start,end\na,2026-03-09 08:00:00,2026-03-09 08:01:10\nb,,\n"
    ),
    "sheet without passes": lambda: told(
        LOG, "start,end\n2026-03-09 08:00:00,2026-03-09 08:00:30\n2026-03-09 08:01:00,\n"
    ),
    "sheet without passes, by level": lambda: told(
        LOG, "start,level\n2026-03-09 08:00:00,15\n2026-03-09 08:01:00,17\n"
    ),
    "days either way": lambda: told(
        LOG, SHEET.replace("end", "end,date").replace(":30\n", ":30,03/04/2026\n")
    ),
    "passes and times": lambda: told(ALL_OF_IT, BY_LEVEL),
    "passes and times, no power": lambda: told(ALL_OF_IT.replace("power", "phase"), BY_LEVEL),
    "passes and times, few levels": lambda: told(
        ALL_OF_IT.replace("power", "phase"), BY_LEVEL.replace("17 dBm", "")
    ),
    "tags on the sheet, PC words": lambda: told(
        changed(lambda r: (r[0], f"3000{r[1]}", *r[2:])),
        SHEET.replace("end", "end,wanted,stray")
        .replace(":30\n", f":30,{ONE},3000{TWO}\n", 1)
        .replace(":30\n", f":30,3000{ONE},{THREE}\n", 1)
        .replace(":30\n", ":30,,\n"),
        f"epc,label\n{ONE},a\n{THREE},c\n",
    ),
    "levels by pass": lambda: told(
        ALL_OF_IT.replace("power", "phase"), "pass,level\np3,20\np1,15\np2,17\n"
    ),
    "levels by pass, twice": lambda: told(
        ALL_OF_IT.replace("power", "phase"), "pass,level\np1,15\np2,17\np2,20\np3,25\n"
    ),
    "levels by read point": lambda: told(
        ALL_OF_IT.replace("power", "phase").replace("pass,", "gate,pass,").replace("\np", "\nn,p"),
        "pass,level,read point\np1,15,n\np2,17,n\np1,20,s\np3,25,s\n",
    ),
    "no pass in some rows": lambda: told(BY_PASS.replace("\np2,", "\n,"), None),
    "overlaps": lambda: told(LOG, windows((0, 70), (60, 90), (120, 150))),
    "overlap of a read": lambda: told(LOG, windows((0, 62), (60, 90), (120, 150))),
    "overlap of none": lambda: told(LOG, windows((0, 61), (60, 90), (120, 150))),
    "overlap just so": lambda: told(LOG, windows((0, 61.26), (60, 90), (120, 150))),
    "nested": lambda: told(LOG, windows((0, 100), (10, 15), (60, 90), (120, 150))),
    "in any order": lambda: told(LOG, windows((120, 150), (0, 30), (60, 90))),
    "many overlaps": lambda: told(LOG, windows(*((n, 40 + n) for n in range(8)))),
    "just at the end": lambda: told(LOG, windows((0, 27.25), (61.25, 90), (120, 150))),
    "silent pass": lambda: told(LOG, SHEET + "p4,2026-03-09T08:03:00,2026-03-09T08:03:30\n"),
    "log with read points": lambda: told(
        "gate,"
        + LOG.replace("\n2026", "\nnorth,2026", 9).replace("\n2026", "\n,2026"),
        SHEET,
        TAGS,
        read_point="south",
    ),
    "passes at once": lambda: told(
        "\n".join(
            [
                f"pass,{HEAD}",
                *(f"{'ab'[i % 2]},{','.join(row)}" for i, row in enumerate(ROWS)),
                *(f"{'ba'[i % 2]},{','.join(row)}" for i, row in enumerate(ROWS)),
            ]
        ),
        None,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", IMPORTS)
def test_imports(recorded: Recorded, name: str) -> None:
    """What is as in the plain import is left out of the others."""
    found = IMPORTS[name]()
    if name != "plain" and isinstance(found, dict):
        same = told()
        found = {key: value for key, value in found.items() if value != same[key]}
        for key in ("columns", "assumed"):
            found[key] = [one for one in found.get(key, ()) if one not in same[key]]
        files = found.get("files", {})
        found["files"] = {n: rows for n, rows in files.items() if rows != same["files"].get(n)}
    recorded(found)


def test_antennas_that_fall_silent(recorded: Recorded) -> None:
    """Of twenty passes, antenna 2 reports in the first or last ones alone, in so many."""
    found = {}
    for passes, silent, first, each in (
        *((20, silent, first, 3) for silent in (4, 5, 6) for first in (False, True)),
        *((20, 6, False, 1), (25, 6, False, 1), (26, 6, True, 1), (28, 7, False, 2)),
        *((29, 7, False, 2), (16, 4, False, 3), (27, 7, False, 1), (26, 7, False, 1)),
    ):
        rows = ["pass,epc,rssi,power,antenna"]
        for p in range(passes):
            for antenna in (1, 2):
                quiet = p < silent if first else p >= passes - silent
                if antenna == 1 or not quiet:
                    rows += [
                        f"p{p + 1},{epc},{-60 - antenna - p % 3},{15 + n},{antenna}"
                        for n, epc in enumerate((ONE, TWO, THREE)[:each])
                    ]
        findings = told("\n".join(rows), None)["findings"]
        found[f"{passes} {silent} {first} {each}"] = [text for _, text, _ in findings]
    for middle in (5, 6):  # as many passes before antenna 2 as behind it, or one more
        rows = ["pass,epc,rssi,power,antenna"]
        rows += [f"p{p + 1},{epc},-60,{15 + p % 2},1" for p in range(11) for epc in (ONE, TWO)]
        rows += [f"p{middle + 1},{epc},-{60 + n},15,2" for epc in (ONE, TWO) for n in range(10)]
        found[f"middle {middle}"] = [x for _, x, _ in told("\n".join(rows), None)["findings"]]
    rows = [
        f"{BEGIN + timedelta(seconds=n / 2 + 1)},{ONE},-{60 + n % 5},{15 + n % 3}"
        for n in range(50)
    ]
    for count in (49, 50):
        log = "\n".join([HEAD, *rows[:count], f"2026-03-09T09:00:00,{ONE},-60,15", ""])
        found[f"outside 1 of {count + 1}"] = told(log)["findings"]
    recorded(found)


def test_values(recorded: Recorded) -> None:
    texts = (
        *(
            "",
            "1",
            "-1.5",
            "1,5",
            "+.5",
            "-60 dBm",
            "20mW",
            "3 s",
            "1.5 V",
            "1.2.3",
            "\u22125",
            "5.",
        ),
        *("0x30AB", "30-AB-01", "30:AB", "30ABH", '="3001"', "3.4E+21", "300", "1e5", "30" * 66),
        *("30" * 67, "urn:epc:raw:16.x3066", "urn:epc:id:sgtin:9521141.031200.3", "rssi", "12:30"),
        *("2026-03-09", "12345678", "abcdef12", "pass 1", "30 AB 01"),
    )
    recorded(
        {
            text[:40]: [number(text), plain_hex(text, 1), is_value(text), why_no_epc(text)]
            for text in texts
        }
    )


def test_forms_of_values(recorded: Recorded) -> None:
    pc = [f"3000{one}" for one in (ONE, TWO)]

    def on_air(value: str) -> str:
        return f"{value}{binascii.crc_hqx(bytes.fromhex(value), 0xFFFF) ^ 0xFFFF:04X}"

    crc = [on_air(one) for one in pc]
    words = ["10003001", "0800AB", "0800AB01", "1800300130013001"]
    either = "2C00F1520000000000000000"
    epcs = [[], [ONE], pc, [ONE, pc[0]], words[:1], words[:2], words[2:], [words[0], *words[2:]]]
    epcs += [[on_air("0800AB01")], ["F800" + "30" * 62], ["0800E6AB", "0801E6AC", "0802E6AD"]]
    epcs += [crc, [crc[0], pc[1]], [either], [either, ONE], [either, pc[0]], [crc[0], crc[1], ONE]]
    epcs += [
        ["10003001", "1001AB01"],
        ["10003001", "1001AB01", "1002AB02"],
        ["10003001", "10003002"],
        *([f"080{n}AB0{n}" for n in range(heads)] for heads in (1, 2, 3)),
    ]
    arrays = {
        "dBm": [-60.0, -45.5, -70],
        "positive": [60.0, 45, 70],
        "tenths": [-600.0, -455, -700],
        "hundredths": [-6000.0, -4550, -7000],
        "strong": [-14.0, -10, -12],
        "edge": [-95.0] * 19 + [-15.0],
        "weak": [-96.0] * 19 + [-50.0],
        "limits": [-120.0, 0.0, *[-60.0] * 60],
        "beyond": [-120.5, *[-60.0] * 60],
        "tenths, strong": [-150.0],
        "hundredths, strong": [-1500.0],
        "none": [],
    }
    powers = {
        "with zero": [0.0, 150.0],
        "dBm": [15.0, 17, 20],
        "quarters": [15.25, 17.5, 20],
        "odd": [15.13, 17],
        "tenths": [150.0, 175, 200],
        "hundredths": [1500.0, 1725, 2000],
        "mW": [32.0, 50, 100],
        "mW spaced": [10.0, 16, 25, 40],
        "both": [10.0, 20, 30, 40],
        "limits": [-20.0, 40.0],
        "none": [],
    }
    odd = {}
    for count in (49, 50, 98, 100):
        for last in (20.0, 0.0, -120.0, -121.0):
            values = np.array([-60.0, -61.0, last])
            form, places = odd_rssi(values, np.array([count - 2, 1, 1]))
            odd[f"{count} {last}"] = [form, *places.tolist()]
    recorded(
        {
            "epcs": [str(form_of_epcs(one)) for one in epcs],
            "in": [epc_in(pc[0], form) for form in ("hex", "pc_epc", "pc_epc_crc")],
            "rssi": {name: form_of_rssi(np.array(one, float)) for name, one in arrays.items()},
            "power": {name: form_of_power(np.array(one, float)) for name, one in powers.items()},
            "regular": [are_regular(np.array(one)) for one in ([15.25], [15.250001], [15.2])],
            "mW": [
                levels_of_mw(np.array(one, float))
                for one in ([32, 50, 100], [31.6], [32.4], [1.58, 2], [33], [0.1], [1.12, 1.41])
            ],
            "mW known": levels_of_mw(np.array([32.0, 50]), np.array([15.0, 17.0])),
            "odd": odd,
        }
    )  # fmt: skip


def test_times_as_written(recorded: Recorded) -> None:
    texts = (
        *("2026-03-09 08:00:00", "2026-03-09T08:00:00.5Z", "2026-03-09T08:00:00.1234567+01:30"),
        *("2026/03/09 08:00", "09.03.2026 08:00:00,25", "3/9/2026 8:00:01 PM", "12:00:00 AM"),
        *("12:30 pm", "08:00:00.001", "24:00:00", "23:60:00", "23:59:60", "23:59:61", "2026-02-29"),
        *("2024-02-29", "2026-00-10", "2026-13-01", "2026-04-31", "9.3.26 8:00:00", "13.13.2026"),
        *("1599-12-31", "1600-01-01", "2599-12-31", "2600-01-01", "1969-12-31 23:59:59-00:30"),
        *(
            "1.5",
            "940000000",
            "939999999",
            "4200000000",
            "4200000001",
            "1772000000000",
            "1772000000000000",
        ),
        *("940000000000", "4200000000000", "4200000000001", "940000000000000"),
        *("4200000000000000", "4200000000000001", "939999999999", "939999999999999"),
        *("soon", "", "8", "2026-03-09 08.00.00", "x" * 70, "2026-03-09 08:00:00\u00a0"),
    )
    found: dict[str, Any] = {}
    for text in texts:
        found[text[:40]] = [
            *(f"{form}" for form in forms_of_times([text])),
            *(f"day {form}" for form in forms_of_times([text], dates=True)),
        ]
    for form in ("iso", "d.m.y", "m/d/y", "time_of_day", "epoch_s", "epoch_ms", "seconds"):
        times = times_of(texts, form)
        told_of = [None if wall == np.iinfo(np.int64).min else int(wall) for wall in times.wall]
        zone = np.where(times.bad, 0, times.wall - times.utc)
        found[f"as {form}"] = [
            f"{texts[i][:24]}: {t} {zone[i]}" for i, t in enumerate(told_of) if t
        ]
        found[f"zoned {form}"] = times.zoned
    found["zoned in part"] = [
        times_of(cells, "iso").zoned
        for cells in (["2026-03-09T08:00:00Z", ""], [""], ["2026-03-09T08:00:00Z", texts[0]])
    ]
    found["alike but for a mark"] = times_of(["08:00:00", "12345678"], "time_of_day").wall[0]
    found["bad"] = times_of(["08:00:00", "12345678", "19:59:59", "00:00:00"], "time_of_day").bad
    samples = [["1772000000", "soon"], ["1772000000", "4300000000"], ["900000000", "1772000000"],
               ["2026-03-09 08:00:00", "2026-03-10"], ["1.2.2026 8:00", "1/2/2026 8:00"],
               ["1/2/2026 8:00", "32/2/2026 8:00"], ["32.1.2026 8:00"], ["1.32.2026 8:00"],
               ["2026-03-09 08:00:00", "2026-03-10 08:00:00"], ["1.2.2026 8:00", "13.2.2026 8:00"],
               ["1/2/2026 8:00", "1/13/2026 8:00"], ["1/2/2026 8:00", "2/3/2026 8:00"],
               ["08:00:00", "09:00:00"], ["08:00:00", "2026-03-09 08:00:00"], [],
               ["1-2-2026", "13-2-2026"], ["1.2.2026 8:00", "2.3.2026 8:00"]]  # fmt: skip
    found["samples"] = [
        [" ".join(forms_of_times(one)), " ".join(forms_of_times(one, dates=True))]
        for one in samples
    ]
    recorded(found)


def test_columns_by_what_they_hold(recorded: Recorded) -> None:
    levels = {
        "once": "10 10 20 20",
        "never": "10 10 10 10",
        "each time": "10 11 12 13",
        "half of them": "10 11 12 13 13 13",
        "three": "10 10 20",
        "at the ends": "5 5 40 40",
        "below": "4.9 4.9 40 40",
        "above": "5 5 40.1 40.1",
        "words": "5 5 x x",
    }
    texts = (*("12345678901234567", "30AB30AB30AB30AB", "30AB30AB30AB30", "2026030908000000"),
             *("30:AB:30:AB:30:AB:30:AB", "urn:epc:x", "2026-03-09 08:00:00", "3" * 24, "3" * 23),
             *("-120", "-120.5", "-5", "-5.5", "x", "1234567", "12345678", ""))  # fmt: skip
    recorded(
        {
            "slowly": {name: _change_slowly(text.split()) for name, text in levels.items()},
            "many": [_change_slowly([f"{5 + n / 4}" for n in range(m) for _ in "abc"])
                     for m in (100, 101)],
            **{
                text: [_is_long_hex(text), _is_level_of_signal(text), _is_short_number(text)]
                for text in texts
            },
            "shares": [_share([f"{n}" for n in range(hits)] + list("abcde")[:misses], str.isdigit)
                       for hits, misses in ((9, 1), (8, 1), (18, 2), (17, 2), (27, 3), (0, 0))],
            "few looked at": _share([f"{n}" for n in range(500)] + ["x"] * 300, str.isdigit),
        }
    )  # fmt: skip


def test_names_of_columns(recorded: Recorded) -> None:
    headers = (
        *("PeakRSSI", "peak rssi (dBm)", "reader RSSI", "RSSI x100", "Tag ID", "id", "dBm", "pass"),
        *("Pass No.", "tx power (mW)", "First Seen (UTC)", "FirstSeenTimestampUTC", "Antenna Port"),
        *(
            "antennaID",
            "read point",
            "wanted tags",
            "max rssi value",
            "level",
            "phase",
            "",
            "TIDHex",
        ),
        *("start time", "time", "Uhrzeit (local)", "no of reads", "Last Value", "tag type"),
    )
    recorded(
        {
            header: [
                list(words_of(header)),
                *(f"{role} {sure}" for role in TERMS if (sure := likeness(header, role))),
            ]
            for header in headers
        }
        | {kind: list(ROLES[kind]) for kind in KINDS}
    )


def sheet_told(sheet: Sheet) -> dict[str, Any]:
    columns, lines = sheet.load(range(len(sheet.names)))
    return {
        "names": list(sheet.names),
        "named": sheet.named,
        "notes": list(sheet.notes),
        "part": sheet.part,
        "hints": dict(sheet.hints),
        "lines": lines,
        "cells": [[column[i] for i in range(len(lines))] for column in columns],
        "sample": [list(row) for row in sheet.sample],
    }


def sheet_or_faults(ask: Callable[[], Sheet]) -> Any:
    try:
        return sheet_told(ask())
    except InputError as error:
        return faults_of(error)


TEXTS: dict[str, str | bytes] = {
    "commas": "a,b\n1,2\n3,4\n",
    "semicolons, decimal commas": "a;b;c\n1,5;2,5;x\n3,5;4,5;y\n",
    "tabs": "a\tb\n1\t2\n",
    "bars": "a|b\n1|2\n",
    "blanks": "a b\n1 2\n",
    "one column": "a\nx\ny\n",
    "sep": "sep=;\na;b\n1;2\n",
    "sep alone": "sep=;\n",
    "titles": "Report\n\nof Monday\na,b,c\n1,2,3\n4,5,6\n7,8,9\n1,1,1\n",
    "a title with a comma": "Report, of Monday\na;b\n" + "1,5;2,5\n" * 28,
    "no header": "1,2\n3,4\n",
    "twice": "a,a\n1,2\n",
    "nameless": "a,,c\n1,2,3\n",
    "headers inside": "a,b\n1,2\na,b\n3,4\n",
    "headers inside, quoted": 'a,b\n"1",2\na,b\n3,4\n',
    "quotes": 'a,b\n"1,5",2\n"x\ny",4\n',
    "open quote": 'a,b\n1,2\n"1,2\n',
    "ragged": "a,b\n1,2\n1\n1,2,3\n5,6\n",
    "ragged, no header": "1;2\n3\n4;5\n6;7\n",
    "cr": "a,b\r1,2\r3,4\r",
    "crlf": "a,b\r\n1,2\r\n\r\n3,4\r\n\r\n",
    "utf-16": "a,b\n1,2\n".encode("utf-16"),
    "utf-16-le": "a,b\n1,2\n".encode("utf-16-le"),
    "utf-16-be": "a,b\n1,2\n".encode("utf-16-be"),
    "utf-8 with mark": "\ufeffa,b\n1,2\n".encode(),
    "latin": "ä,b\n1,2\n".encode("cp1252"),
    "broken utf-16": "a,b\n1,2\n".encode("utf-16") + b"\x00",
    "zero byte": b"a,b\n1,2\n1,\x002\n" + b"3,4\n" * 20,
    "empty": b" \n\x00",
    "long line": "a,b\n1," + "2" * 100_001 + "\n",
    "wide": ",".join(f"c{i}" for i in range(1001)) + "\n" + ",".join("x" * 1001) + "\n",
    "many titles": "t\n" * 51 + "a,b\n" + "1,2\n" * 60,
    "fifty titles": "t\n" * 50 + "a,b\n" + "1,2\n" * 60,
}


def test_delimited_text(recorded: Recorded) -> None:
    found = {}
    for name, text in TEXTS.items():
        data = text if isinstance(text, bytes) else text.encode()
        one = sheet_or_faults(lambda data=data: sheet_of_text(data, "x.csv"))
        if name in ("fifty titles", "a title with a comma"):
            one = {key: one[key] for key in ("names", "notes")}
        found[name] = one
    recorded(found, less=["part", "hints"])


def test_json_rows(recorded: Recorded) -> None:
    texts = {
        "lines": '{"a": 1, "b": {"c": 1.50, "d": null}}\n\n{"b": {"c": true}, "e": [1, 2]}\n',
        "array": '[{"a": "x"}, {"a": false, "b": 1e5}]',
        "deep": '{"a": {"b": {"c": {"d": {"e": 1}}}}}',
        "no object": '{"a": 1}\n5\n',
        "broken": '{"a": 1}\n{"a": \n',
        "broken array": '[{"a": 1},\n {"a"]',
        "none": "[]",
        "not utf-8": b'{"a": 1}\n{"a": "\xff"}\n',
        "wide": "{" + ", ".join(f'"k{i}": 1' for i in range(1001)) + "}",
        "long": '{"a": "' + "x" * 1_000_000 + '"}',
    }
    recorded(
        {
            name: sheet_or_faults(
                lambda text=text: sheet_of_json(
                    text if isinstance(text, bytes) else text.encode(), "x.json"
                )
            )
            for name, text in texts.items()
        },
        less=["part", "hints", "sample"],
    )


def test_llrp_reports(recorded: Recorded) -> None:
    epc = tv(13, "12s", bytes.fromhex(ONE))
    data = tlv(241, struct.pack(">H", 32) + bytes.fromhex("30AB0102"))
    more = tv(1, "H", 2) + tv(6, "b", -61) + tv(2, "Q", micro(BEGIN)) + tv(8, "H", 3)
    report = message(61, tlv(240, epc + more + tv(9, "I", 5)) + tlv(240, data + tv(6, "b", 1)))
    streams = {
        "reports": report + message(62, b"") + message(61, b"", 2) + message(63, b"1234"),
        "uptime": message(61, tlv(240, epc + tv(3, "Q", 12345))),
        "both clocks": message(61, tlv(240, epc + tv(3, "Q", 12345) + tv(2, "Q", 5))),
        "cut off": report[:-3],
        "behind it": report + b"xx",
        "unknown": message(61, tlv(240, epc + tv(33, "H", 1))),
        "other parameters": message(61, tlv(300, b"ab") + tlv(240, epc + tlv(350, b"x"))),
        "too long": message(61, tlv(240, struct.pack(">HH", 241, 50))),
        "odd bits": message(61, tlv(240, tlv(241, struct.pack(">H", 12) + b"ab"))),
        "short of bits": message(61, tlv(240, tlv(241, struct.pack(">H", 24) + b"ab"))),
        "whole bits": message(61, tlv(240, tlv(241, struct.pack(">H", 16) + b"ab"))),
        "no count": message(61, tlv(240, tlv(241, b"a"))),
        "no bits": message(61, tlv(240, tlv(241, struct.pack(">H", 0)))),
        "no report": message(62, b""),
        "half a parameter": message(61, b"\x00\xf0"),
        "size of nothing": message(61, struct.pack(">HH", 240, 3)),
    }
    heads = [
        report,
        report[:9],
        message(61, b"", 3),
        message(61, b"", 0),
        message(70, b""),
        b"x" * 20,
    ]
    heads += [struct.pack(">HII", 1 << 10 | 61, n, 1) for n in (9, 10, 2**26 - 1, 2**26)]
    recorded(
        {
            **{
                name: sheet_or_faults(lambda one=one: sheet_of_llrp(one, "x.bin"))
                for name, one in streams.items()
            },
            "heads": [is_llrp(head) for head in heads],
        },
        less=["part", "sample"],
    )


def test_llrp_in_xml(recorded: Recorded) -> None:
    def of(inner: str) -> str:
        return f'<a:R xmlns:a="urn:x" xmlns="urn:x"><TagReportData>{inner}</TagReportData></a:R>'

    epc = f"<EPC_96><EPC>{ONE}</EPC></EPC_96>"
    texts = {
        "report": of(
            epc + "<PeakRSSI><PeakRSSI>-60</PeakRSSI></PeakRSSI><C1G2_PC><P> 3000 </P></C1G2_PC>"
        ),
        "date": of(
            epc + "<FirstSeenTimestampUTC><M>2026-03-09T08:00:00Z</M></FirstSeenTimestampUTC>"
        ),
        "number": of(epc + "<FirstSeenTimestampUTC><M>1772</M></FirstSeenTimestampUTC><Other/>"),
        "empty": of("<EPC_96><EPC></EPC></EPC_96>"),
        "broken": "<R><TagReportData></R>",
        "none": "<R/>",
        "entities": '<!DOCTYPE x [<!ENTITY a "b">]><R/>',
    }
    recorded(
        {
            name: sheet_or_faults(lambda text=text: sheet_of_llrp_xml(text.encode(), "x.xml"))
            for name, text in texts.items()
        },
        less=["part", "sample"],
    )


def workbook(*tables: list[tuple[Any, ...]]) -> bytes:
    book, file = openpyxl.Workbook(), io.BytesIO()
    for number_of, table in enumerate(tables):
        sheet = book.active if not number_of else book.create_sheet(f"s{number_of}")
        for row in table:
            sheet.append(row)
    book.save(file)
    return file.getvalue()


def test_workbooks(recorded: Recorded) -> None:
    books = {
        "titles": workbook(
            [("Report",), (), ("a", "b", None, "d"), (1, 2.5, None, True), (3.0, None, None, "x ")]
        ),
        "no header": workbook([(1, 2), (3, 4)]),
        "times": workbook(
            [
                ("day", "at", "span", "both"),
                (datetime(2026, 3, 9), BEGIN, timedelta(seconds=90), datetime(2026, 3, 9)),
                (datetime(2026, 3, 10), None, None, BEGIN),
            ]
        ),
        "wider below": workbook([("a", "b"), (1, 2, 3), (4, 5)]),
        "twice": workbook([("a", "a"), (1, 2)]),
        "sheets": workbook([], [("a", "b"), (1, 2)], [("c", "d"), ("x", "y")]),
        "empty": workbook([]),
        "formula": workbook([("a", "b"), (1, "=A1")]),
        "large": workbook([("a", "b"), (1e15, 123456789012345.0), (1e14, 0.1)]),
        "broken": b"PK\x03\x04nothing",
    }
    found: dict[str, Any] = {}
    for name, data in books.items():
        try:
            found[name] = [sheet_told(one) for one in sheets_of_workbook(data, "x.xlsx")]
        except InputError as error:
            found[name] = faults_of(error)
    recorded(found, less=["hints", "sample"])


def test_files_by_what_they_begin_with(recorded: Recorded) -> None:
    files = {
        "old": b"\xd0\xcf\x11\xe0xxxx",
        "gzip": b"\x1f\x8bxxxx",
        "pdf": b"%PDF-1",
        "json": b'\n [{"epc": "30AB", "rssi": -60}]',
        "xml": b"\xef\xbb\xbf <R/>",
        "llrp": message(62, b""),
        "book of two": workbook([("epc", "rssi")], [("epc", "rssi"), ("30AB", -60)]),
    }
    recorded({name: told({name: data}, None) for name, data in files.items()})


def test_books_of_sheets(recorded: Recorded) -> None:
    rows = [(at, epc, rssi, level) for _, level, at, epc, rssi in reads()]
    head = ("time", "epc", "rssi", "power")
    book = workbook([("remarks",), ("none",)], [head, *rows])
    both = workbook([head, *rows], [head, *rows])
    recorded(
        {
            "the one": told({"a.xlsx": book})["assumed"],
            "two": told({"a.xlsx": both}),
            "said": told({"a.xlsx": both}, log={"sheet": "s1"})["tally"],
            "said wrongly": told({"a.xlsx": both}, log={"sheet": "s7"}),
        }
    )


def test_clocks_apart(recorded: Recorded) -> None:
    """Reads every 5 s inside windows of 30 s a minute, and the log's clock off."""
    start = np.arange(20) * 60_000_000
    times = np.concatenate([start + s * 1_000_000 for s in (1, 6, 11, 16, 21, 26)])
    found = {}
    for off in (0.0, 1.0, 8.0, 29.0, 45.0, 3600.0, 5400.5, 86400.0, -7200.0, 33.3):
        for length in (30, 50):
            offset = offset_of(times + int(off * 1e6), start, start + length * 1_000_000)
            found[f"{off} {length}"] = (
                None
                if offset is None
                else [offset.seconds, offset.inside, offset.without, offset.sure, offset.text()]
            )
    rng = np.random.default_rng(4)  # windows of 6 s at odd times, read all along; not the first two
    odd = np.cumsum(rng.integers(40, 200, 16)) * 1_000_000
    inside = np.concatenate([odd[2:] + s * 250_000 for s in range(1, 24)])
    for off in (
        0.3,
        0.6,
        7.3,
        -9.7,
        33.4,
        -250.6,
        299.1,
        301.0,
        3603.0,
        38_711.5,
        -50_050.2,
        51_000,
    ):
        offset = offset_of(inside + round(off * 1e6), odd, odd + 6_000_000)
        found[f"odd {off}"] = None if offset is None else [offset.seconds, offset.inside]
    found["none"] = offset_of(times[:0], start, start)
    found["sure"] = [
        Offset(1.0, inside, without, 100).sure
        for inside, without in ((79, 0), (80, 0), (80, 50), (80, 51), (81, 49))
    ]
    far = np.concatenate([start[2:] + s * 1_000_000 for s in (1, 6, 11, 16, 21, 26)])
    for hours in (-10, 14, 15):  # none is read in the first two passes
        offset = offset_of(far + hours * 3_600_000_000, start, start + 30_000_000)
        found[f"far {hours}"] = None if offset is None else [offset.seconds, offset.inside]
    inside = [5, 4]  # of a hundred reads, so many more inside with the shift
    for more in inside:
        at = np.concatenate([np.full(100 - more, 10**12), np.arange(more) * 10**6 + 3600 * 10**6])
        offset = offset_of(at, np.array([0]), np.array([100 * 10**6]))
        found[f"gains {more}"] = None if offset is None else [offset.seconds, offset.inside]
    found["long"] = [_long(s) for s in (1.5, 3599, 3600, 7200, 5400, 86400, 172800, 90000)]
    recorded(found)  # fmt: skip


def test_pauses_and_levels(recorded: Recorded) -> None:
    times = np.array([0, 1, 5, 6, 30, 31, 100]) * 1_000_000
    times[2] = np.iinfo(np.int64).min
    groups = {
        f"{pause}": [group.tolist(), pauses.tolist()]
        for pause in (4.0, 5.0, 24.0, 25.0, 69.0)
        for group, pauses in [_groups(times, pause)]
    }
    hints = [_hint(np.array([69.0, 24.0, 24.0, 5.0]), n) for n in range(7)]
    known = np.array([15.0, 17.0])
    levels = np.array([15.05, 15.051, 14.95, 17.2, np.nan])
    recorded(
        {
            "groups": groups,
            "hints": hints,
            "snapped": snapped(levels, known),
            "not": [snapped(levels, known[:0]), snapped(levels[4:], known)],
            "parts": [
                parts_of(cell, lambda text: text in ("a b", "a", "b", "c"))
                for cell in (
                    "a b",
                    "a;b",
                    "a b;c",
                    "a;b c",
                    "x;a b",
                    "a c",
                    "a, x",
                    "a/c",
                    "a | b",
                    "",
                )
            ],
        }
    )
