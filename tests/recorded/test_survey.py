"""From the files of a case to its survey, and what a survey alone tells."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from strategist.errors import InputError
from strategist.survey.case import Case
from strategist.survey.columns import RULES, row_schema
from strategist.survey.faults import FaultList
from strategist.survey.findings import findings, power_findings, rssi_findings
from strategist.survey.many import distinct, order_by, strongest
from strategist.survey.numbering import shift_of
from strategist.survey.plain_csv import parse_plain
from strategist.survey.policy import Policy
from strategist.survey.profile import _kinds, aggregate, peaks, turn_on
from strategist.survey.reading import read_case_document, read_case_files
from strategist.survey.records import Predicted, ReadPoint, Survey, Tag
from strategist.survey.rssi import _student, area, area_at_equal_level, type_offsets
from strategist.survey.soundness import soundness, zero_event_bound
from strategist.survey.suspected import looks_like_mw, pc_fits, rssi_rises, under_two_epcs
from strategist.survey.tables import read_bytes, reason
from tests.optimise.made import survey_of
from tests.recorded.made import small_survey, without
from tests.survey.cases import READS, ROSTER, SITE

Recorded = Callable[..., None]

SURVEYS: dict[str, Survey] = {
    "few": small_survey(21, passes=4),
    "types": small_survey(22, passes=12, tags=40, types=("soft", "hard", None, "hard")),
    "three types": small_survey(23, passes=9, tags=33, types=("soft", "hard", "worn")),
    "gaps": without(small_survey(24, passes=8), 24),
    "coarse": small_survey(25, passes=6, levels=(10, 16, 22), step_db=2.0),
    "antennas": small_survey(26, passes=5, antennas=2),
    "come and go": small_survey(27, passes=8, lost=0.4),
    "one level": small_survey(28, passes=6, levels=(17,)),
    "low": small_survey(29, passes=6, levels=(18, 20, 22, 24)),
    "milliwatts": small_survey(30, passes=5, levels=(10, 16, 25, 40), step_db=1.0),
}


def faults_of(error: InputError) -> list[Any]:
    return [
        [f.source, f.line, f.column, f.value, f.allowed, f.wrong, str(f.path), f.count]
        for f in error.faults
    ]


def survey_told(survey: Survey) -> dict[str, Any]:
    """All that a survey holds, in columns."""
    return {
        "levels": survey.levels_dbm,
        "passes": list(survey.pass_ids),
        "tags": [[t.epc, t.tid, t.user, t.tag_type] for t in survey.tags],
        "roster": [
            survey.roster_pass,
            survey.roster_tag,
            survey.roster_wanted.astype(int),
            survey.roster_listed.astype(int),
        ],
        "reads": [survey.read_pass, survey.read_level, survey.read_tag, survey.read_rssi],
        "more": [
            None if one is None else [None if np.isnan(x) else float(x) for x in one]
            for one in (
                survey.read_antenna,
                survey.read_count,
                survey.read_t_s,
                survey.read_channel_mhz,
            )
        ],
        "tried": survey.tried.astype(int),
        "dwell": survey.dwell_s,
        "antennas": survey.antennas,
        "said": [survey.pass_condition, survey.pass_day],
        "weight": survey.pass_weight,
    }


def case_told(case: Case) -> dict[str, Any]:
    return {
        point.name: {**survey_told(point.survey), "warnings": list(point.warnings)}
        for point in case
    }


def read_or_faults(files: dict[str, str | bytes], read_point: str | None = None) -> Any:
    given = {
        f"{name}.json" if name == "site" else f"{name}.csv": (
            text.encode() if isinstance(text, str) else text
        )
        for name, text in files.items()
    }
    try:
        return case_told(read_case_files(given, read_point))
    except InputError as error:
        return faults_of(error)


def site(**policy: Any) -> str:
    return json.dumps({"site": "Test", "read_points": {"gate": policy}})


SOUND: dict[str, str | bytes] = {"reads": READS, "roster": ROSTER, "site": SITE}
FULL_READS = """\
read_point,pass_id,power_dbm,epc,rssi_dbm,antenna,reads,t_s,channel_mhz
gate,p10,16,3001,-50.5,2,3,0.25,865.7
gate,p2,15,3001,-50,1,,0.5,
gate,p2,15,3001,-50,1,2,0.25,866.3
gate, p2 ,15, 3002 ,-60,2,1,,
gate,p2,16,30ab,-61,1,1,1.5,
gate,p10,16,3003,-70,1,,,
other,p1,20,3001,-40,,,,
"""
FULL_ROSTER = """\
read_point,pass_id,epc,role,tid,user,tag_type
gate,p2,3001,wanted,E280,,soft
gate,p10,3001,wanted,,01,
gate,p2,3002,stray,,,
gate,p3,30AB,wanted,,,hard
other,p1,3001,wanted,,,
"""
FULL_TRIED = """\
read_point,pass_id,power_dbm,dwell_s
gate,p2,15,2
gate,p2,15,1
gate,p2,16,1.5
gate,p10,16,
gate,p10,17,3
other,p1,20,
"""
FULL_PASSES = """\
read_point,pass_id,condition,day,weight
gate,p2,cart full,2024-05-31,2
gate,p10,,2024-06-01,
gate,p3,cart full,,0.5
"""
FULL: dict[str, str | bytes] = {
    "reads": FULL_READS,
    "roster": FULL_ROSTER,
    "tried": FULL_TRIED,
    "passes": FULL_PASSES,
    "site": site(levels_dbm=[15, 16, 17]).replace("}}}", '}, "other": {}}}'),
}
BOTH = site(unlisted="?").replace("}}}", '}, "other": {}}}')
SHIFTED = {
    "reads": "read_point,pass_id,power_dbm,epc,rssi_dbm\n"
    + "".join(f"gate,p{n},{15 + n % 2},30{n + 1:02X},-50\n" for n in range(1, 9)),
    "roster": "read_point,pass_id,epc,role\n"
    + "".join(f"gate,p{n},30{n:02X},wanted\n" for n in range(1, 10)),
    "site": site(levels_dbm=[15, 16], unlisted="ignore"),
}

CASES: dict[str, dict[str, str | bytes]] = {
    "sound": SOUND,
    "full": FULL,
    "no levels": {**SOUND, "site": site()},
    "no levels, in mW": {
        **SOUND,
        "reads": READS.replace("power_dbm", "power_mw").replace(",15,", ",32,").replace("16", "40"),
        "site": site(),
    },
    "mW beside dBm": {
        **SOUND,
        "reads": READS.replace("power_dbm", "power_mw").replace(",15,", ",32,").replace("16", "40"),
        "tried": "read_point,pass_id,power_dbm\ngate,p1,15\ngate,p1,16\ngate,p2,16\n",
        "site": site(),
    },
    "mW off": {
        **SOUND,
        "reads": READS.replace("power_dbm", "power_mw").replace(",15,", ",33,").replace("16", "40"),
        "site": site(levels_dbm=[15, 16]),
    },
    "mW at the edge": {
        **SOUND,
        "reads": READS.replace("power_dbm", "power_mw").replace(",15,", ",31.99,")
        .replace(",16,", ",39.35,"),
        "site": site(levels_dbm=[15, 16]),
    },
    "unlisted ignored": {**FULL, "site": BOTH.replace("?", "ignore")},
    "unlisted refused": {**FULL, "site": BOTH.replace("?", "error")},
    "unlisted once": {
        **SOUND,
        "reads": READS + "gate,p2,15,30FF,-50\ngate,p1,15,30EE,-50\ngate,p2,16,30FF,-50\n",
        "site": site(levels_dbm=[15, 16], unlisted="error"),
    },
    "shifted": SHIFTED,
    "shifted, refused": {**SHIFTED, "site": site(levels_dbm=[15, 16], unlisted="error")},
    "shifted back": {
        **SHIFTED,
        "reads": SHIFTED["reads"],
        "roster": "read_point,pass_id,epc,role\n"
        + "".join(f"gate,p{n},30{n + 2:02X},wanted\n" for n in range(1, 10)),
        "site": site(levels_dbm=[15, 16], unlisted="error"),
    },
    "not at levels": {**SOUND, "site": site(levels_dbm=[15, 15.9, 17])},
    "predicted": {**SOUND, "site": site(levels_dbm=[15, 16, 17], predict_levels=True)},
    "untried read": {**FULL, "tried": FULL_TRIED.replace("gate,p10,16,\n", "")},
    "untried at the lowest": {**FULL, "tried": FULL_TRIED.replace("gate,p2,15,", "gate,p3,15,")},
    "zeros": {
        **SOUND,
        "reads": "read_point,pass_id,power_dbm,epc,rssi_dbm,t_s\ngate,p1,0,3001,0,0\n",
        "site": site(levels_dbm=[0, 15]),
    },
    "one column": {**SOUND, "reads": "epc\n3001\n"},
    "two powers": {**SOUND, "reads": "power_dbm,power_mw\n15,32\n"},
    "late": {**FULL, "tried": FULL_TRIED.replace("gate,p2,16,1.5", "gate,p2,16,1.4")},
    "no dwell": {**FULL, "tried": FULL_TRIED.replace(",2\n", ",\n").replace(",1\n", ",\n")
                 .replace(",1.5\n", ",\n").replace(",3\n", ",\n")},
    "passes without a roster": {
        **SOUND,
        "reads": READS + "gate,p9,15,3001,-50\ngate,p11,15,3001,-50\n",
    },
    "one antenna unnamed": {**FULL, "reads": FULL_READS.replace("-60,2", "-60,")},
    "antenna unknown": {
        **FULL,
        "site": site(levels_dbm=[15, 16, 17], antennas={"1": {}, "4": {}}).replace(
            "}}}}", '}}, "other": {}}}'
        ),
    },
    "antennas known": {
        **SOUND,
        "reads": "\n".join(
            line + (",antenna" if n == 0 else f",{1 + n % 2}")
            for n, line in enumerate(READS.splitlines())
        ),
        "site": site(levels_dbm=[15, 16], antennas={"1": {}, "2": {}, "4": {}}),
    },
    "no antenna at all": {
        **SOUND,
        "reads": "\n".join(
            line + ("antenna" if n == 0 else "")
            for n, line in enumerate(READS.replace("\n", ",\n").splitlines())
        ),
        "site": site(
            levels_dbm=[15, 16],
            reader={"antenna_power": "own", "mask_slots": 2},
            conditions={"aim": "worst"},
            allow=["power", "masks"],
        ),
    },
    "nothing assumed": {
        **SOUND,
        "site": site(levels_dbm=[15, 16], allow=["power", "cutoff"]),
    },
    "one assumed": {
        **SOUND,
        "site": site(levels_dbm=[15, 16], allow=["power", "ladder"]),
    },
    "two assumed": {
        **SOUND,
        "site": site(levels_dbm=[15, 16], reader={"mask_slots": 1}, conditions={"aim": "worst"}),
    },
    "twice on the roster": {**SOUND, "roster": ROSTER + "gate,p1,3001,stray\n"},
    "banks differ": {
        **FULL,
        "roster": FULL_ROSTER.replace("3001,wanted,,01,", "3001,wanted,E281,,hard"),
    },
    "no roster": {**FULL, "roster": FULL_ROSTER.replace("other,p1,3001,wanted,,,\n", "")},
    "unknown read point": {**SOUND, "reads": READS + "gait,p1,15,3001,-50\n"},
    "passes unknown": {**FULL, "passes": FULL_PASSES + "gate,p77,,,\ngate,p2,,,1\n"},
    "passes differ": {**FULL, "passes": FULL_PASSES + "gate,p2,cart empty,,\n"},
    "bad values": {
        "reads": "read_point,pass_id,power_dbm,epc,rssi_dbm,antenna,reads,t_s,channel_mhz\n"
        "gate,p1,40.5,3001,-50,1,1,0,840\n"
        "gate,p1,-20,3001,-120.5,1,1,0,840\n"
        "gate,p1,1e1,300,-50,0,0,-1,839\n"
        "gate,p1,+.5,3001,0.1,256,1.5,86401,961\n"
        ",p\x01,x,30-1,nan,1.0,0x1,86400,960\n"
        "gate,p1,-20,3001,-120,255,1.0,86400,960.0\n"
        f"gate,p1,-20,{'30' * 63},-120,255,1.0,86400,960.0\n",
        "roster": "read_point,pass_id,epc,role,tid,user,tag_type\n"
        "gate,p1,3001,Wanted,E2,0,\ngate,p1,3001,stray,E,00,\n",
        "tried": "read_point,pass_id,power_dbm,dwell_s\ngate,p1,15,0\ngate,p1,15,86401\n",
        "passes": "read_point,pass_id,condition,day,weight\n"
        "gate,p1,x,2024-02-30,0.0009\ngate,p1,x,2024-2-3,1000001\ngate,p1,x,2024-02-03,0.001\n",
        "site": SITE,
    },
    "bad mW": {
        **SOUND,
        "reads": "read_point,pass_id,power_mw,epc,rssi_dbm\n"
        "gate,p1,0,3001,-50\ngate,p1,-1,3001,-50\ngate,p1,0.01,3001,-50\n"
        "gate,p1,0.0099,3001,-50\ngate,p1,10000,3001,-50\ngate,p1,10100,3001,-50\n"
        "gate,p1,x,3001,-50\n",
        "site": site(),
    },
    "bad headers": {
        "reads": "read_point,pass_id,power_dbm,power_mw,epc,epc,rsi_dbm,\n",
        "roster": "read_point;pass_id;epc;role\n",
        "tried": "read_point,power_mw\n",
        "site": SITE,
    },
    "ragged": {
        **SOUND,
        "reads": READS + "gate,p1\n\ngate,p1,15,3001,-50,1\n",
        "roster": 'read_point,pass_id,epc,role\r\n"gate",p1,3001,"wanted"\r\ngate,p1\r\n',
    },
    "blank lines": {**SOUND, "reads": "\n\n" + READS.replace("\n", "\r\n\r\n") + " \n\n"},
    "quotes": {
        **SOUND,
        "reads": '"read_point","pass_id","power_dbm","epc","rssi_dbm"\n'
        + "\n".join(READS.splitlines()[1:]),
        "roster": ROSTER.replace("gate", '"gate"').replace("p1", '"p\n1"'),
    },
    "blanks behind a quote": {
        **SOUND,
        "reads": READS + '"gate",p1,15,3001,-50\n,,,,\n \n,\n\ngate,p1,16,3001,-51\n',
    },
    "zero byte": {**SOUND, "reads": b"\x00" + READS.encode(), "roster": b"\n\ng\xff"},
    "open quote": {**SOUND, "reads": READS + 'gate,p1,15,"3001,-50\n', "roster": ROSTER},
    "empty": {"reads": "", "roster": " \n ", "site": SITE},
    "headers alone": {"reads": READS.splitlines()[0], "roster": ROSTER.splitlines()[0],
                      "site": SITE},
    "no utf-8": {**SOUND, "reads": READS.encode() + b"g\xffte\n", "roster": b"\x00" + b"x"},
    "bom": {**SOUND, "reads": b"\xef\xbb\xbf" + READS.encode()},
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_cases(recorded: Recorded, name: str) -> None:
    recorded(read_or_faults(CASES[name]))


def test_files_that_cannot_be_read(recorded: Recorded, tmp_path: Path) -> None:
    """One that there is not, a folder, a name that no file can have, in any case of its error."""
    told = {}
    for name, path in {
        "none": tmp_path / "none",
        "folder": tmp_path,
        "too long": tmp_path / ("x" * 300),
        "zero byte": tmp_path / "a\0b",
    }.items():
        faults = FaultList()
        assert read_bytes(path, "reads.csv", faults) is None
        told[name] = [[f.source, f.line, f.value, f.allowed, f.wrong] for f in faults.faults()]
    told["words"] = [
        reason(error) for error in (OSError(13, "Not Allowed"), OSError("Odd"), ValueError("Bad x"))
    ]
    recorded(told)


def test_files_and_read_points_that_there_are_not(recorded: Recorded) -> None:
    recorded(
        {
            "files": read_or_faults({"reads": READS, "rooster": ROSTER}),
            "gait": read_or_faults(SOUND, "gait"),
            "gate": list(read_or_faults(FULL, "gate")),
        }
    )


def test_documents(recorded: Recorded) -> None:
    rows = [
        {"read_point": "gate", "pass_id": "p1", "power_dbm": 15, "epc": "3001", "rssi_dbm": -50.5},
        {"read_point": "gate", "pass_id": "p1", "power_dbm": "16", "epc": "3002", "rssi_dbm": "-5"},
    ]
    roster = [{"read_point": "gate", "pass_id": "p1", "epc": "3001", "role": "wanted", "tid": None}]
    told: dict[str, Any] = {}
    for name, reads in {
        "sound": rows,
        "none": [],
        "number for text": [rows[0] | {"epc": 3001}],
        "true": [rows[0] | {"power_dbm": True}],
        "list": [rows[0], rows[1] | {"pass_id": ["p1"]}, rows[0] | {"pass_id": {}}],
        "long": [rows[0] | {"rssi_dbm": 10**400}],
        "unknown": [rows[0] | {"rsi": 1}],
        "mW": [{**rows[0], "power_mw": 40, "power_dbm": None}],
    }.items():
        document = {"site": json.loads(SITE), "reads": reads, "roster": roster}
        try:
            text = json.dumps(document, default=str)
            told[name] = case_told(read_case_document(text.encode()))
        except (InputError, ValueError) as error:
            told[name] = faults_of(error) if isinstance(error, InputError) else str(error)
    recorded(told)


def test_what_a_cell_may_hold(recorded: Recorded) -> None:
    texts = (
        *(
            "",
            "0",
            "1",
            "-1",
            "1.0",
            "1.5",
            ".5",
            "5.",
            "1e2",
            "1e-7",
            "+1",
            "-0",
            "0.000001",
            "0.9999",
        ),
        *("86400", "86400.0000001", "86400.1", "840", "960", "960.5", "1000000", "0.001", "-20"),
        *("40", "40.0000001", "-120", "-120.5", "255", "256", "nan", "inf", "x", "wanted"),
        *("stray", "30", "3001ab", "300", "2024-05-31", "20240531", "2024-13-01", "cart full"),
        *("1" * 18, "1" * 19, "30" * 62, "30" * 63, "a" * 200, "a" * 201, "\u200b", "ü"),
    )
    told = {
        name: [
            f"{text[:12]}{'…' * (len(text) > 12)}: {str(value)[:14]}"
            for text in texts
            if (value := rule.value(text)) is not None
        ]
        for name, rule in RULES.items()
        if name not in ("pass_id", "condition", "user")
    }
    schemas = {
        kind: [
            str(row_schema(kind).get(key)) for key in ("required", "oneOf", "additionalProperties")
        ]
        for kind in ("reads", "roster", "tried", "passes")
    }
    kinds = {name: of["type"] for name, of in row_schema("reads")["properties"].items()}
    recorded({**told, "needed": schemas, "types": kinds})


def test_plain_files(recorded: Recorded) -> None:
    """Which files are split plainly, and into what."""
    texts = {
        "plain": b"a,b\n1,2\n1,3\n",
        "quoted names": b'"a","b"\n1,2',
        "quoted text": b'a,b\n"1",2\n',
        "crlf": b"a,b\r\n1,2\r\n2,2\r\n",
        "cr": b"a,b\r1,2\r",
        "no rows": b"a,b",
        "ragged": b"a,b\n1\n2,3,4",
        "blank": b"a,b\n\n2,3",
    }
    told = {}
    for name, text in texts.items():
        found = parse_plain(text.rstrip(), ["a", "b"])
        told[name] = (
            None
            if found is None
            else [found[1].tolist(), *([t.codes.tolist(), t.values] for t in found[0].values())]
        )
    recorded({name: str(found) for name, found in told.items()})


@pytest.mark.parametrize("name", ["few", "gaps"])
def test_profiles(recorded: Recorded, name: str) -> None:
    survey = SURVEYS[name]
    heard = peaks(survey)
    assert not heard.flags.writeable
    tag_class = np.arange(len(survey.tags)) % 3
    rng = np.random.default_rng(7)
    times = rng.integers(0, 3, len(survey.pass_ids))
    times[0] = 1
    free = np.where(survey.roster_wanted, -np.inf, rng.choice([-np.inf, -60.0, -50.0], len(heard)))
    told: dict[str, Any] = {}
    for way, more in {
        "once": {},
        "times": {"times": times},
        "free": {"free_below": free},
    }.items():
        profile, drifted = aggregate(survey, tag_class, np.roll(heard, 1, axis=1), **more)
        told[way] = {
            "rows": [
                profile.row_pass,
                profile.row_class,
                profile.row_wanted.astype(int),
                profile.row_count,
            ],
            "cost": profile.row_cost,
            "rssi": np.nan_to_num(profile.rssi, nan=1.0, neginf=-999.0).sum(axis=1),
            "drifted": np.nan_to_num(drifted.rssi, nan=1.0, neginf=-999.0).sum(axis=1),
            "passes": profile.pass_count,
            "classes": profile.classes,
            "group": profile.group_of,
            "counted": profile.counted(times).pass_count,
        }
    on = turn_on(survey)
    told["on"] = [on.level, on.gap.astype(int), np.nan_to_num(on.rssi, nan=1.0)]
    recorded(told)


def test_equal_passes_are_one_group(recorded: Recorded) -> None:
    """Passes alike but for the order of tags, a count, a role, a hair of RSSI or an empty pass."""
    one, two = ("3001", True, [-60.0, -50.0]), ("3002", False, [None, -55.0])
    third = ("3003", True, [-60.0, -50.0])
    passes = [
        [one, two],
        [two, one],
        [one, third],
        [one],
        [third],
        [one, ("3002", True, [None, -55.0])],
        [one, ("3002", False, [None, -55.1])],
        [("3001", True, [0.0, -0.0])],
        [],
        [one, two],
    ]
    survey = survey_of([10.0, 20.0], passes)
    told = {}
    for name, classes in {"alike": np.zeros(3, np.int64), "apart": np.arange(3)}.items():
        profile, _ = aggregate(survey, classes, peaks(survey))
        told[name] = [
            profile.group_of,
            profile.pass_count,
            profile.row_pass,
            profile.row_count,
            profile.row_wanted.astype(int),
            profile.rssi.ravel(),
        ]
    recorded(told)


def test_passes_of_one_kind_alone(recorded: Recorded) -> None:
    """One row for each of three passes, which are one group."""
    one = survey_of([10.0], [[("3001", True, [-60.0])]] * 3)
    profile, _ = aggregate(one, np.zeros(1, np.int64), peaks(one))
    recorded([profile.row_pass, profile.row_count, profile.pass_count, profile.group_of])


def test_rows_in_order(recorded: Recorded) -> None:
    table = np.array(
        np.reshape([1, -0.0, 1, 0.0, -2, 3, -1, 3, -np.inf, 1e9, 5, -7, 5, -70, -2, -3], (8, 2))
    )
    kinds, kind_of = _kinds(table)
    recorded([kinds.ravel(), kind_of])


def test_numbers_in_order(recorded: Recorded) -> None:
    base = SURVEYS["antennas"]
    cell = (base.read_pass * 99 + base.read_level) * 99 + base.read_tag
    in_order = base.with_reads(np.lexsort((-base.read_rssi, cell)))
    in_order = replace(in_order, read_rssi=np.append(-99.0, in_order.read_rssi[1:]))
    numbers = np.array([5, 3, 3, 9, 0])
    place = np.array([2, 0, 1, 1, 0, 2, 0])
    column = np.array([1.0, np.nan, 3.0, -3.0, 2.0, 0.5, 2.0])
    recorded(
        {
            "distinct": [distinct(numbers, below) for below in (10, 80, 81, 1000)],
            "order": order_by(place, column),
            "again": order_by(place, column, -np.arange(7)),
            "far": order_by(place * 2**60, column),
            "far, by two": order_by(place // 2 * 2**61, -place, np.arange(7) % 2),
            "the least first": order_by(np.array([0, 3, 1, 2])),
            "in order by cell": np.round(strongest(in_order).rssi, 2)[:12],
            "sorted": order_by(np.sort(place), np.arange(7.0)),
            "none": order_by(np.array([], np.int64)),
            "strongest": [
                [found.read_pass[::9], found.level[::9], found.tag[::9], found.rssi[::9]]
                for found in map(strongest, (SURVEYS["antennas"], SURVEYS["few"]))
            ],
        }
    )


@pytest.mark.parametrize("name", SURVEYS)
def test_what_a_survey_tells(recorded: Recorded, name: str) -> None:
    survey = SURVEYS[name]
    on = turn_on(survey)
    at_level = area_at_equal_level(survey, on)
    found = [soundness(survey), power_findings(survey, on), rssi_findings(survey, on)]
    recorded(
        {
            "findings": [[f.severity, f.kind, f.text] for f in findings("gate", found)],
            "area": at_level,
            "of strays near": area_at_equal_level(survey, on, on.level < 2),
            "offsets": type_offsets(survey, on),
            "rises": rssi_rises(survey),
        }
    )


def test_areas_and_intervals(recorded: Recorded) -> None:
    rng = np.random.default_rng(3)
    samples = [
        (np.round(rng.normal(-50, 5, n)), np.round(rng.normal(-53, 5, m)))
        for n, m in ((1, 1), (1, 5), (6, 1), (12, 20))
    ]
    recorded(
        {
            "areas": [area(a, b) for a, b in samples],
            "students": [_student(n) for n in (1, 2, 3, 4, 5, 10, 11, 60)],
            "bounds": [zero_event_bound(n) for n in (1, 2, 29, 30, 300)],
        }
    )


def reads_of(survey: Survey, rssi: Any) -> Survey:
    return replace(survey, read_rssi=np.asarray(rssi, float))


def test_findings_at_their_thresholds(recorded: Recorded) -> None:
    """One more and one less of each count and share that decides."""
    told: dict[str, Any] = {}
    for gone in range(3):  # of twenty tags, so many come and go: 0, 5, 10 %
        passes = [
            [(f"30{n:02X}", n % 2 == 0, [-60.0, None if n < gone else -55.0, -50.0])]
            for n in range(20)
        ]
        survey = survey_of([10.0, 11.0, 12.0], passes)
        told[f"gone {gone}"] = list(power_findings(survey, turn_on(survey)))
    for late in (1, 2, 3):  # of twenty wanted tags that turn on in one step: 5, 10, 15 %
        for step in (1.9, 2.0):
            entries = [
                (f"30{n:02X}", True, [None if n < late else -60.0, -50.0, -45.0]) for n in range(20)
            ]
            survey = survey_of([10.0, 10.0 + step, 15.0], [entries])
            told[f"late {late} {step}"] = list(power_findings(survey, turn_on(survey)))
    for low, stray, high in ((1, 1, 0), (0, 1, 1), (1, 0, 1), (2, 2, 2), (0, 0, 0)):
        first = [0] * low + [2] * high + [1] * (20 - low - high)  # of twenty wanted tags
        first += [0] * stray + [1] * (20 - stray)
        entries = [
            (f"30{n:02X}", n < 20, [None] * at + [-50.0] * (3 - at)) for n, at in enumerate(first)
        ]
        survey = survey_of([10.0, 11.0, 12.0], [entries])
        told[f"ends {low} {stray} {high}"] = list(power_findings(survey, turn_on(survey)))
    for stray in (0, 1, 2, 3):  # the first stray before, at and behind the level that reads all
        entries = [("3001", True, [None, -50.0, -50.0, -50.0])]
        curve = [None] * stray + [-60.0] * (4 - stray)
        survey = survey_of([10.0, 11.0, 12.0, 13.0], [[*entries, ("3002", False, curve)]])
        told[f"parts {stray}"] = list(power_findings(survey, turn_on(survey)))
    for count in (29, 30, 31, 40, 41):
        for piled in (1, 2, 3):
            for end in (-30.0, -90.0):
                values = [end] * piled + [-60.0 - 0.5 * n for n in range(count - piled)]
                entries = [(f"30{n:02X}", n % 2 == 0, [values[n]]) for n in range(count)]
                survey = survey_of([10.0], [entries])
                told[f"clipped {count} {piled} {end}"] = [
                    text
                    for _, kind, text, _ in rssi_findings(survey, turn_on(survey))
                    if "c" in kind
                ]
    for name, values in {
        "two": [-60.0] * 28 + [-50.0] * 12,
        "two, weak": [-60.0] * 12 + [-50.0] * 28,
        "three": [-60.0] * 20 + [-50.0] * 10 + [-40.0] * 10,
        "beside a pile": [-90.0] * 3 + [-89.0] * 2 + [-60.0 - 0.5 * n for n in range(35)],
        "below a pile": [-30.0] * 3 + [-31.0] * 2 + [-60.0 - 0.5 * n for n in range(35)],
    }.items():
        entries = [(f"30{n:02X}", n % 2 == 0, [value]) for n, value in enumerate(values)]
        survey = survey_of([10.0], [entries])
        told[f"values {name}"] = [kind for _, kind, *_ in rssi_findings(survey, turn_on(survey))]
    silent = survey_of([10.0, 11.0], [[("3001", True, [None, None])]])
    told["silent"] = list(power_findings(silent, turn_on(silent)))
    for first in (0, 1):  # two levels are a range, too
        entries = [
            ("3001", True, [None] * first + [-50.0] * (2 - first)),
            ("3002", False, [-60.0] * 2),
        ]
        survey = survey_of([10.0, 11.0], [entries])
        told[f"two levels {first}"] = list(power_findings(survey, turn_on(survey)))
    for step in (0.99, 1.0, 0.0):
        entries = [(f"30{n:02X}", n % 2 == 0, [-80.0 + step * (n % 12)]) for n in range(36)]
        survey = survey_of([10.0], [entries])
        told[f"steps {step}"] = [kind for _, kind, *_ in rssi_findings(survey, turn_on(survey))]
    for won in range(21):  # of twenty pairs of a wanted and a stray tag
        entries = [(f"30{n:02X}", False, [-70.0 + n]) for n in range(20)]
        survey = survey_of([10.0], [[*entries, ("40AA", True, [-70.5 + won])]])
        told[f"won {won}"] = [kind for _, kind, *_ in rssi_findings(survey, turn_on(survey))]
    recorded(told)


def test_soundness_at_its_thresholds(recorded: Recorded) -> None:
    told: dict[str, Any] = {}
    for passes in (1, 29, 30):
        survey = survey_of(
            [10.0],
            [[(f"30{p:02X}", True, [-50.0]), ("40AA", False, [None])] for p in range(passes)],
        )
        told[f"passes {passes}"] = [[kind, text] for _, kind, text, _ in soundness(survey)]
    for reads in (4, 5):
        entries = [(f"30{n:02X}", n > 0, [-50.0 - n]) for n in range(reads)]
        other = [*entries[:-1], (entries[-1][0], False, entries[-1][2])]
        survey = survey_of([10.0], [entries, entries, other, list(reversed(entries))])
        told[f"copies {reads}"] = [text for _, kind, text, _ in soundness(survey) if "rep" in kind]
    for unread in (0, 1, 2, 5):
        entries = [(f"30{n:02X}", True, [None if n < unread else -50.0]) for n in range(6)]
        survey = survey_of([10.0, 11.0], [[(e, w, [None, *c]) for e, w, c in entries]])
        listed = np.arange(len(survey.roster_listed)) < 4
        survey = replace(survey, roster_listed=listed | survey.roster_wanted)
        told[f"unread {unread}"] = [text for *_, text, _ in soundness(survey)]
    strays = survey_of([10.0], [[(f"30{n:02X}", n > 4, [-50.0]) for n in range(7)], []])
    strays = replace(strays, roster_listed=np.arange(7) != 2)
    told["unlisted"] = [text for *_, text, _ in soundness(strays)]
    many = replace(strays, roster_listed=np.arange(7) > 3)
    told["many unlisted"] = [text for *_, text, _ in soundness(many)]
    part = survey_of([10.0, 11.0], [[("3001", True, [-50.0, None])]] * 2)
    part = replace(part, tried=np.array([[True, True], [True, False]]))
    told["silent where tried"] = [text for *_, text, _ in soundness(part)]
    moved = [[(f"30{p:02X}", True, [None]), (f"30{p + 1:02X}", False, [-50.0])] for p in range(9)]
    told["shifted"] = [[kind, advice] for _, kind, _, advice in soundness(survey_of([10.0], moved))]
    told["no wanted"] = [
        text for *_, text, _ in soundness(replace(strays, roster_wanted=np.zeros(7, bool)))
    ]
    told["no stray"] = [
        text for *_, text, _ in soundness(replace(strays, roster_wanted=np.ones(7, bool)))
    ]
    recorded(told)


def test_units_and_signs_in_doubt(recorded: Recorded) -> None:
    told: dict[str, Any] = {}
    levels = {
        "mW": (10, 12.6, 15.8, 20),
        "three": (10, 20, 40),
        "whole": (10, 16, 25, 40),
        "half dB": (10, 11.2, 12.6, 14.1),
        "even": (10, 12, 14, 16),
        "nearly even": (10, 12, 14, 16.005),
        "not quite": (10, 16, 26, 40),
        "uneven": (10, 16, 20, 40),
        "zero": (0, 1, 10, 100),
        "one": (1, 10, 100, 1000),
        "down": (40, 25, 16, 10),
        "many digits": (31.623, 39.811, 50.119, 63.096),
    }
    told["mW"] = {name: looks_like_mw(np.array(one, float)) for name, one in levels.items()}
    base = SURVEYS["few"]
    for shift in (24.0, 25.0, 26.0, 30.0):
        told[f"scale {shift}"] = [
            text
            for *_, text, _ in soundness(reads_of(base, base.read_rssi + 10 + shift))
            if "RSSI" in text
        ]
    for upward in (9, 10, 11, 13, 14):
        for changes in (29, 30, 31, 40):
            passes = [
                [("3001", True, [-50.0, -49.0 if n < upward else -51.0])] for n in range(changes)
            ]
            survey = survey_of([10.0, 11.0], passes)
            told[f"falls {upward} {changes}"] = [
                text for _, kind, text, _ in soundness(survey) if kind == "rssi_falls"
            ]
    epcs = (
        "3001",
        "10003001",
        "0800AB011234",
        "AB01",
        "0800",
        "08003001",
        "1000AAAA",
        "080030011234",
    )
    told["two"] = [list(one) for one in under_two_epcs(epcs)]
    told["fits"] = [
        pc_fits(epc)
        for epc in (*epcs, "3000" + "30" * 12, "3400" + "30" * 12, "8000" + "30" * 32, "10")
    ]
    survey = survey_of([10.0], [[(epc, True, [-50.0]) for epc in epcs]])
    told["said"] = [text for _, kind, text, _ in soundness(survey) if "epc" in kind]
    recorded(told)


def test_shifted_passes(recorded: Recorded) -> None:
    """So many of twelve passes fit the next or the previous one's reads."""
    told: dict[str, Any] = {}
    for step in (1, -1):
        for wrong in (2, 3, 12):
            for waiting in (False, True):
                roster = [(p, p) for p in range(12)]
                wanted = [True] * 12
                if waiting:  # listed as strays in the neighbour
                    more = [(p, p - step) for p in range(12) if 0 <= p - step < 12]
                    roster, wanted = roster + more, wanted + [False] * len(more)
                reads = [
                    (p + step if p < wrong else p, level, p)
                    for p in range(12)
                    for level in (0, 0, 1)
                    if 0 <= p + step < 12
                ]
                found = shift_of(np.array(roster), np.array(wanted), np.array(reads), 12)
                told[f"{step} {wrong} {waiting}"] = found
    for judged in (14, 15, 16, 20):
        roster = np.array([(p, p) for p in range(judged)])
        reads = np.array([(p + 1 if p < 3 else p, 0, p) for p in range(judged)])
        told[f"of {judged}"] = shift_of(roster, np.ones(judged, bool), reads, judged)
    listed = np.array([(p, p) for p in range(8)])
    for unlisted in (7, 40):  # a tag that no roster lists is read in every pass
        reads = [(p + (2 < p < 6), 0, p) for p in range(8)]
        reads += [(0, 0, 0), (1, 0, 0), (2, 0, 1), *((p, 1, unlisted) for p in range(8))]
        told[f"unlisted {unlisted}"] = shift_of(listed, np.ones(8, bool), np.array(reads), 8)
    none = np.zeros((0, 3), np.int64)
    told["no reads"] = shift_of(roster, np.ones(judged, bool), none, judged)
    shift = told["1 12 False"]
    told["text"] = shift.text(tuple(f"p{n}" for n in range(12)))
    recorded(told)


def test_offsets_between_types(recorded: Recorded) -> None:
    """Four, five and six tags of a type, types as common as each other, tags without one."""
    told: dict[str, Any] = {}
    for counts in ((4, 9, 0), (5, 9, 0), (6, 6, 6), (5, 5, 0), (7, 0, 0), (8, 40, 0)):
        entries, tags = [], {}
        for kind, (name, count) in enumerate(zip(("hard", "soft", None), counts, strict=True)):
            for n in range(count):
                epc = f"3{kind}{n:02X}"
                tags[epc] = Tag(epc, tag_type=name)
                first = n % 3
                apart = 0.7 if counts[1] == 40 else 4
                near = n % 8 / 16 if counts[1] == 40 else n % 4
                curve = [None] * first + [-50.0 - apart * kind - near + first] * (3 - first)
                entries.append((epc, n % 2 == 0, curve))
        survey = survey_of([10.0, 12.0, 15.0], [entries, entries[:6]], tags)
        on = turn_on(survey)
        told[str(counts)] = {
            "offsets": type_offsets(survey, on),
            "said": [[kind, text] for _, kind, text, _ in rssi_findings(survey, on)],
        }
    recorded(told)


REFUSED: dict[str, Any] = {
    "unknown": {"levels": [15]},
    "near": {"lose": {"missed": 1}},
    "renamed": {"time": {"link": "fm0-640"}},
    "too small": {"loss": {"missed": 0}},
    "too large": {"loss": {"stray": 1e9}},
    "many": {"loss": {"missed": -1, "stray": "x", "late": 1}, "stop_after": 0.5, "x": 1},
    "empty levels": {"levels_dbm": []},
    "levels equal": {"levels_dbm": [15, 15]},
    "levels of words": {"levels_dbm": [15, "x", None, 41, True]},
    "levels an object": {"levels_dbm": {"a": 1}},
    "not one of": {"unlisted": "strays", "aim": 3, "allow": ["power", "masc", "power"]},
    "twice": {"allow": ["power", "power"]},
    "list for an object": {"reader": [1, 2], "guard": "x"},
    "object for a number": {"stop_after": {"a": 1}},
    "list for a number": {"stop_after": [1]},
    "empty text": {"unlisted": ""},
    "kinds": {"time": {"step_s": "x"}},
    "kinds in a list": {"time": {"step_s": [0.1, "x", -1]}},
    "no kinds": {"time": {"step_s": []}},
    "both ways": {"time": {"step_s": 0.1, "rf_mode": "fm0-640"}},
    "a limit": {"radio": {"limit": {"dbm": 70, "kind": "erpp", "low_mhz": 900}}},
    "band": {"radio": {"limit": {"dbm": 7, "kind": "erp", "low_mhz": 910, "high_mhz": 900}}},
    "both rules": {
        "radio": {
            "region": "etsi-865-868",
            "limit": {"dbm": 7, "kind": "erp", "low_mhz": 900, "high_mhz": 910},
        }
    },
    "antennas": {"antennas": {"0": {}, "x": {}, "2": {"gain": 1}, "10": {"cable_loss_db": -1}}},
    "antennas listed": {"antennas": [1, 2]},
    "antennas of words": {"antennas": {"1": 3, "2": {"cable_loss_db": "x"}}},
    "options": {"options": {"": {}, "a": {"case": 1}, "b" * 201: {}}},
    "conditions": {"conditions": {"aim": "cvarr", "tail": 2}},
    "reader": {"reader": {"mask_slots": 33, "mask_step_bits": 0, "rssi_step_db": 0, "slot": 1}},
    "reader's levels": {"reader": {"power_levels_dbm": []}},
    "no object": 3,
    "null": None,
}


def test_policies_that_are_refused(recorded: Recorded) -> None:
    told = {}

    def short(found: Any) -> Any:
        """A fault without its file and what is the same in others."""
        if not isinstance(found, list):
            return list(found)
        return [
            [str(column)[12:60], value[:20], allowed[:60], allowed[-20:], wrong[:60], count]
            for _, _, column, value, allowed, wrong, _, count in found
        ]

    for name, policy in REFUSED.items():
        text = json.dumps({"site": "x", "read_points": {"gate": policy}})
        told[name] = short(read_or_faults({**SOUND, "site": text}))
    for name, text in {
        "site": {"site": 3, "read_points": []},
        "names": {"read_points": {"": {}, "a" * 201: {}, "b\n": {}}},
        "nothing": {},
        "a list": [1],
        "much": {"read_points": {f"g{n}": {"x": 1} for n in range(1002)}},
        "readers": {"read_points": {"gate": {}}, "readers": {"r": {"read_points": ["gait"]}}},
        "readers of one": {"read_points": {"gate": {}}, "readers": {"r": {"read_points": []}}},
        "arbitration": {"read_points": {"gate": {}}, "arbitration": {"a": {"rule": "first"}}},
        "cost": {"read_points": {"gate": {}}, "cost": {"visit": -1, "visits": 2}},
    }.items():
        found = short(read_or_faults({**SOUND, "site": json.dumps(text)}))
        told[name] = [*found[:3], len(found), found[-1]]
    recorded(told)


def test_parts_of_a_survey(recorded: Recorded) -> None:
    """Some passes, levels or tags of it, what was measured of it, and its tables."""
    base = SURVEYS["antennas"]
    passes, levels = len(base.pass_ids), len(base.levels_dbm)
    rng = np.random.default_rng(5)
    pairs = rng.random((passes, levels)) < 0.2
    base = replace(
        base,
        predicted=Predicted(pairs, 1.0, 2.0, 0.9),
        dwell_s=rng.integers(1, 9, (passes, levels)).astype(float),
        read_count=np.arange(len(base.read_rssi)) % 3 + 1,
        pass_condition=tuple("ab"[n % 2] for n in range(passes)),
        pass_day=tuple(f"2024-05-0{n + 1}" for n in range(passes)),
        pass_weight=np.arange(1.0, passes + 1),
    )
    bare = replace(base, predicted=None, dwell_s=None, pass_weight=None, pass_condition=())
    some_passes, some_levels = np.arange(passes) % 2 == 0, np.arange(levels) % 3 > 0
    out = np.arange(len(base.tags)) % 4 == 1
    one = replace(base, predicted=replace(base.predicted, pairs=pairs & ~some_passes[:, None]))
    told: dict[str, Any] = {}
    for name, survey in {
        "passes": base.keep(passes=some_passes),
        "levels": base.keep(levels=some_levels),
        "both": base.keep(passes=some_passes, levels=some_levels),
        "bare": bare.keep(passes=some_passes),
        "all": base.keep(passes=np.ones(passes, bool)),
        "none predicted": one.keep(passes=some_passes),
        "without tags": base.without_tags(out),
        "as measured": base.as_measured(),
        "measured already": bare.as_measured(),
        "each once": base.each_once(),
    }.items():
        sums = (
            *(survey.levels_dbm, survey.roster_pass, survey.roster_tag, survey.read_pass),
            *(survey.read_level, survey.read_tag, survey.read_rssi, survey.tried, survey.measured),
            None if survey.predicted is None else survey.predicted.pairs,
            *(survey.dwell_s, survey.pass_weight),
        )
        told[name] = [
            repr(survey),
            *survey.pass_ids,
            *survey.pass_condition,
            *survey.pass_day,
            *(None if one is None else float(one.sum()) for one in sums),
            survey is base or survey is bare,
        ]
    for kind in ("reads", "roster", "tried", "passes"):
        for name, survey in {"base": base, "bare": bare}.items():
            frame = survey.to_frame(kind)
            rows = [[str(x) for x in row] for row in frame.iloc[::7].values.tolist()]
            told[f"{kind} {name}"] = [list(frame.columns), [len(frame)], *rows[:2]]
    points = [ReadPoint(base, Policy(), ("x",) * n) for n in range(3)]
    told["points"] = [repr(point) for point in points]
    told["untried"] = without(base.as_measured(), 3).untried_pairs()[:3]
    recorded(told)


def test_surveys_that_contradict_themselves(recorded: Recorded) -> None:
    base = SURVEYS["few"]
    last = len(base.tags)
    made: dict[str, dict[str, Any]] = {
        "levels": {"levels_dbm": base.levels_dbm[::-1].copy()},
        "levels equal": {"levels_dbm": np.repeat(base.levels_dbm[:1], len(base.levels_dbm))},
        "no passes": {"pass_ids": ()},
        "shape": {"tried": base.tried[:, 1:]},
        "pair": {
            "predicted": Predicted(~base.tried | (np.arange(8) == 1), 1, 1, None),
            "tried": base.tried & (np.arange(8) != 1),
        },
        "length": {"roster_tag": base.roster_tag[1:]},
        "beyond": {"read_tag": np.where(base.read_tag == 0, last, base.read_tag)},
        "below": {"read_tag": np.where(base.read_tag == 0, -1, base.read_tag)},
        "twice": {"roster_tag": np.zeros_like(base.roster_tag)},
        "off the roster": {"read_tag": np.arange(len(base.read_tag)) % last},
        "untried": {"tried": np.zeros_like(base.tried)},
        "weights": {"pass_weight": np.ones(2)},
        "days": {"pass_day": ("x",)},
        "antenna": {"read_antenna": np.ones_like(base.read_tag)},
    }
    told = {}
    for name, change in made.items():
        try:
            told[name] = replace(base, **change).size
        except ValueError as error:
            told[name] = f"refused: {error}"
    assert not any(a.flags.writeable for a in (base.read_tag, base.tried, base.levels_dbm))
    recorded(told)
