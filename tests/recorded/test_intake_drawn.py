"""The intake on small inputs drawn from a seed, so many that ties, ends and rare forms are met."""

from __future__ import annotations

import json
import random
import struct
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np

import strategist
from strategist.errors import InputError
from strategist.intake.case_files import Reads
from strategist.intake.clock import _middle, offset_of
from strategist.intake.delimited import sheet_of_text
from strategist.intake.json_rows import sheet_of_json
from strategist.intake.llrp_reports import sheet_of_llrp
from strategist.intake.sheet import Sheet
from strategist.intake.suspicions import (
    _antennas,
    _at_once,
    _levels,
    _outside,
    _repeated,
    _silent,
    _tids,
)
from strategist.intake.times import NEVER, forms_of_times, times_of
from strategist.intake.values import (
    form_of_epcs,
    form_of_power,
    form_of_rssi,
    is_value,
    levels_of_mw,
    number,
    odd_rssi,
    plain_hex,
)
from strategist.intake.workbook import sheets_of_workbook
from strategist.survey.texts import Texts
from tests.intake.writers import message, tlv, tv
from tests.recorded.test_intake import workbook
from tests.recorded.told import faults_told

Recorded = Callable[..., None]


def table(read: Callable[..., Sheet], *given: Any) -> str:
    """A sheet in a line: names, then rows by their line."""
    try:
        sheet = read(*given)
        columns, lines = sheet.load(range(len(sheet.names)))
    except InputError as error:
        return faults_told(error)
    rows = [f"{line}:{'|'.join(column[i] for column in columns)}" for i, line in enumerate(lines)]
    alone = sheet.load([len(sheet.names) - 1])[0] if sheet.names else columns
    ends = ([column[i] for column in some[-1:] for i in range(len(lines))]
            for some in (alone, columns))  # fmt: skip
    last = "" if next(ends) == next(ends) else "another last column"
    head = f"{'|'.join(sheet.names)} {sheet.named} [{'; '.join(sheet.notes)}]"
    sample = f"{len(sheet.sample)} sampled, first {'|'.join(next(iter(sheet.sample), ()))}"
    return f"{head} {' '.join(rows)} ({sample}) {last}"


def test_clocks(recorded: Recorded) -> None:
    """Few reads in short windows, far off or near."""
    shifts: tuple[float, ...] = (
        0,
        0.3,
        0.5,
        2,
        3,
        10,
        10.5,
        11,
        60,
        60.5,
        298,
        299.7,
        300,
        302,
        309.5,
        310.5,
        900,
    )
    shifts += (3590, 3600, 5410, 7200, 7210.5, 50_400, 50_390, 50_410, 50_411, 51_300, 51_310)
    found = []
    for seed in range(220):
        rng = random.Random(seed)
        begins = np.cumsum(
            [rng.choice((0, 1, 7.5, 40, 700)) + 0.5 for _ in range(rng.randint(1, 6))]
        )
        ends = begins + rng.choice((0.4, 0.5, 1, 5, 30))
        off = rng.choice(shifts) * rng.choice((-1, 1))
        inside = [
            rng.uniform(b, e) for b, e in zip(begins[rng.randint(0, 2) :], ends, strict=False)
        ]
        outside = [rng.choice((-1000.0, 3, 20.25, 5000)) for _ in range(rng.choice((0, 0, 1, 2)))]
        reads = np.array([*inside, *rng.choices(inside or [1.0], k=rng.randint(0, 3)), *outside])
        times = np.round((reads + off) * 1e6).astype(np.int64)
        if rng.random() < 0.2:
            times = np.append(times, NEVER)
        order = rng.sample(range(len(begins)), len(begins))
        starts, stops = (np.round(x[order] * 1e6).astype(np.int64) for x in (begins, ends))
        one = offset_of(times, starts, stops)
        found.append(
            f"{off:g}: none" if one is None
            else f"{off:g}: {one.seconds:g} {one.inside} {one.without} {one.reads} {one.sure}"
        )  # fmt: skip
    nothing = np.empty(0, np.int64)
    found.append(str(offset_of(nothing, nothing + 1, nothing)))
    found.append(str(offset_of(np.array([5]), nothing, nothing)))
    plateaus = [(low / 2, high / 2) for low in range(-9, 9, 2) for high in (low, low + 3, low + 40)]
    plateaus += [(-70.0, 70.0), (-59.5, 61.0), (845.5, 960.0), (3599.5, 3600.5), (3590.0, 3650.0)]
    plateaus += [(61.5, 180.0), (0.5, 1.0), (0.5, 60.0), (899.5, 900.0), (10.0, 71.0)]
    plateaus += [(839.5, 1000.0), (840.0, 1000.0), (700.0, 960.5), (700.0, 960.0)]
    for low, high in plateaus:
        shift = [_middle(lambda s, low=low, high=high: low <= s <= high, x) for x in (low, high)]
        found.append(f"{low} to {high}: {shift}")
    recorded({"found": found})


def test_delimited(recorded: Recorded) -> None:
    found: dict[str, str] = {}
    for seed in range(260):
        rng = random.Random(seed)
        mark = rng.choice(",;\t| ,;")
        width = rng.choice((1, 2, 2, 3, 3, 4))
        cells = (
            "1",
            "2,5",
            "x",
            "",
            "a b",
            "30AB30AB",
            '"q"',
            '"1;2"',
            '"a""b"',
            "08:00",
            "a,b",
            "-",
        )

        def row(some: Sequence[str], rng: Any = rng, mark: str = mark, width: int = width) -> str:
            return mark.join(rng.choice(some) for _ in range(width))

        plain = cells[:4] if rng.random() < 0.6 else cells
        names = [rng.choice("abcdef") + rng.choice(("", " ", "x")) for _ in range(width)]
        if rng.random() < 0.85:
            names = [f"{name.strip()}{n}" for n, name in enumerate(names)]
        head = mark.join(names)
        lines = [*(["title"] * rng.choice((0, 0, 0, 1, 2))), head] * (rng.random() < 0.85)
        lines += [row(plain) for _ in range(rng.choice((1, 2, 3, 5, 8)))]
        if rng.random() < 0.15:
            lines.insert(rng.randint(1, len(lines)), head)
        if rng.random() < 0.15:
            lines.insert(
                rng.randint(1, len(lines)), row(plain) + rng.choice((mark, mark + "z", '"'))
            )
        if rng.random() < 0.15:
            lines.insert(rng.randint(0, len(lines)), rng.choice(("", " ", mark * (width - 1))))
        text = rng.choice(("\n", "\n", "\r\n", "\r")).join(lines) + rng.choice(
            ("", "\n", "\n\n", " ")
        )
        found[f"{seed}"] = table(sheet_of_text, text.encode(), "x")
    recorded(found)


def test_samples_of_long_text(recorded: Recorded) -> None:
    """Rows from the beginning and from further on."""
    found = {}
    for count in (1999, 2000, 2001, 4500, 9000):
        for head in ("a,b\n", ""):
            text = head + "".join(f"{n},{n % 7}\n" for n in range(count))
            sheet = sheet_of_text(text.encode(), "x")
            first = [int(row[0]) for row in sheet.sample]
            found[f"{count} {head!r}"] = [len(first), first[-1], sum(first), *first[::250]]
            load = sheet.load([1])
            found[f"{count} {head!r} loaded"] = [int(load[1][0]), int(load[1][-1]), len(load[1])]
    recorded(found)


def test_encodings(recorded: Recorded) -> None:
    """Text in each encoding, cut off or not, also where few letters have a byte that is 0."""
    found = {}
    texts = (
        "a,b\n1,2\n",
        "\nä,b\n\n1,2\n",
        "日本,語日\n1,日本語\n",
        "日本語日本語日本語,語\n日本,1\n",
    )
    for n, text in enumerate(texts):
        for encoding in ("utf-8", "utf-16-le", "utf-16-be", "utf-16", "utf-8-sig", "cp1252"):
            data = text.encode(encoding, errors="replace")
            for cut in (0, 1):
                one = data[: len(data) - cut]
                found[f"{n} {encoding} {cut}"] = table(sheet_of_text, one, "x")
    for data in (b"\na\n\0b,c\n", b"\n\nab\0\0cd\n", b"a\0\0b" * 4, b"\nab\0" * 9, b"a\n\xffb\0"):
        found[repr(data)] = table(sheet_of_text, data, "x")
        found[f"{data!r} as JSON"] = table(sheet_of_json, data, "x")
    recorded(found)


def test_times(recorded: Recorded) -> None:
    found: dict[str, str] = {}
    texts = []
    for seed in range(400):
        rng = random.Random(seed)
        day, month = (rng.choice((0, 1, 2, 9, 12, 13, 28, 29, 30, 31, 32)) for _ in range(2))
        year = rng.choice((2024, 2023, 2000, 1900, 24, 99, 100, 1599, 1600, 2599, 2600))
        hour, minute = rng.choice((0, 1, 11, 12, 13, 23, 24)), rng.choice((0, 1, 59, 60))
        second = rng.choice((0, 9, 59, 60, 61))
        mark = rng.choice("-./")
        date = rng.choice(
            (f"{year}{mark}{month:02}{mark}{day:02}", f"{day}{mark}{month}{mark}{year}",
             f"{day:02}{mark}{month:02}{mark}{year}", "")
        )  # fmt: skip
        colon = rng.choice("::.")
        clock = f"{hour}{colon}{minute:02}"
        if rng.random() < 0.7:
            clock += f"{colon}{second:02}"
            if rng.random() < 0.4:
                clock += rng.choice(".,") + "1234567890"[: rng.choice((1, 3, 6, 7, 9, 10))]
        clock += rng.choice(("", "", "", " AM", "pm", " PM"))
        zone = rng.choice(("", "", "Z", "+01:00", "-0130", " +1", "-12:59"))
        text = f"{date}{rng.choice(('T', ' ', ', ', '  '))}{clock}{zone}" if date else clock + zone
        texts.append(rng.choice((text, text, text, date or clock)))
    for form in ("iso", "d.m.y", "m/d/y", "time_of_day"):
        times = times_of(texts, form)
        for i, text in enumerate(texts):
            if times.wall[i] != NEVER:
                zone_s = (times.wall[i] - times.utc[i]) / 1e6
                at = f"{form} {times.wall[i] / 1e6:.6f} {zone_s:g}"
                found[text] = f"{found.get(text, '')} {at}".strip()
        found[f"zoned {form}"] = str(times.zoned)
    numbers = ["940000000", "1772000000.25", "4200000000", "939999999.5", "1,5", "0", "-1", "x", "",
               "1772000000123", "1772000000123456", "9e12", "1e14", "1e300", "nan"]  # fmt: skip
    for form in ("epoch_s", "epoch_ms", "epoch_us", "uptime_us", "seconds"):
        times = times_of(numbers, form)
        found[form] = f"{times.zoned} " + " ".join(
            "-" if wall == NEVER else f"{wall}" for wall in times.wall.tolist()
        )
    recorded(found)


def test_forms_of_times(recorded: Recorded) -> None:
    found = []
    dates: tuple[str, ...] = (
        "1.2.2026",
        "13.2.2026",
        "2.13.2026",
        "31.1.2026",
        "32.1.2026",
        "0.1.2026",
        "1.0.2026",
    )
    dates += ("12/31/2026", "31/12/2026", "1/2/2026", "12-12-2026", "2026-01-02", "26-01-02", "")
    clocks = ("8:00", "08:00:01", "8.00", "", "8:00 pm")
    for seed in range(150):
        rng = random.Random(seed)
        some = [
            f"{rng.choice(dates)} {rng.choice(clocks)}".strip() for _ in range(rng.choice((1, 2)))
        ]
        some = [one for one in some if one]
        both = (" ".join(forms_of_times(some, dates=dates)) for dates in (False, True))
        found.append(f"{' & '.join(some)}: {', '.join(both)}")
    recorded({"found": sorted(set(found))})


def test_values(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    marks = '0123456789ABCDEFabfhxX-:. ,_+="mWdB%sTZ/'
    for seed in range(500):
        rng = random.Random(seed)
        text = "".join(rng.choices(marks, k=rng.choice((1, 2, 4, 8, 9))))
        if rng.random() < 0.5:
            text = rng.choice(("", "-", "+", '="', "0x")) + str(rng.randint(0, 99999))
            text += rng.choice(
                ("", ".5", ",25", " dBm", "mW", " s", "dB", '"', "h", "E+5", ".", "/1")
            )
        read = number(text)
        told = [
            "-" if np.isnan(read) else f"{read:g}",
            plain_hex(text) or "-",
            "V" * is_value(text),
        ]
        if told != ["-", "-", ""]:
            found[text] = " ".join(told)
    recorded(found)


def test_units(recorded: Recorded) -> None:
    """Which units values may be in; limits of each unit are among them."""
    rng = np.random.default_rng(5)
    found = []
    ends = (-120.0, -120.5, -95, -95.5, -60, -15, -14.5, -5, 0, 0.5, 20, 45.25, -19.75, -20, -20.25,
            33, 39.75, 40, 40.25, 12.5, 10.1)  # fmt: skip
    for n in range(300):
        some = rng.choice(ends, rng.integers(1, 5)) * rng.choice([1, 1, -1, 10, 100])
        if n % 3 == 0:
            some = np.append(some, np.full(40, -60.0 if n % 2 else -600.0))
        if n % 5 == 0:
            some = np.round(10 ** (rng.choice([10, 12.5, 13, 20, 27, 30.5], 3) / 10), n % 3)
        rows = rng.integers(1, 60, len(some))
        odd = odd_rssi(some, rows)
        mw = levels_of_mw(some[:4]) if (some > 0).all() else np.empty(0)
        told = [*form_of_rssi(some), "|", *form_of_power(some), "|", odd[0], *map(str, odd[1]), "|"]
        shown = " ".join(f"{x:g}" for x in some[:4])
        found.append(f"{shown} ({len(some)}): {' '.join(told)} {' '.join(f'{x:g}' for x in mw)}")
    recorded({"found": found})


def test_forms_of_epcs(recorded: Recorded) -> None:
    heads = (
        "3036451FD41E780000000001",
        "E2",
        "0800AB01",
        "10003001",
        "30",
        "2C00F152",
        "F8",
        "3074",
    )
    found = []
    for seed in range(160):
        rng = random.Random(seed)
        some = []
        for _ in range(rng.choice((1, 1, 2, 3))):
            epc = rng.choice(heads)
            words = rng.choice((len(epc) // 4, len(epc) // 4, 6, 1, 31))
            pc = f"{words << 11 | rng.choice((0, 0x400, 0x34, 0x100)):04X}"
            some.append(
                rng.choice((epc, pc + epc, pc + epc, pc + epc + rng.choice(("0000", "AB", ""))))
            )
        found.append(f"{' '.join(some)}: {form_of_epcs(some)}")
    recorded({"found": found})


def test_damaged_reports(recorded: Recorded) -> None:
    """Each byte of a stream of reports as another one, and the stream cut off at each."""
    epc = tv(13, "12s", bytes.fromhex("3036451FD41E780000000001"))
    data = tlv(241, struct.pack(">H", 32) + bytes.fromhex("30AB0102"))
    whole = message(61, tlv(240, epc + tv(1, "H", 2) + tv(6, "b", -61) + tv(8, "H", 3)))
    whole += message(62, b"") + message(61, tlv(240, data + tv(6, "b", 1) + tv(7, "H", 9)), 2)
    found: dict[str, str] = {}
    for at in range(len(whole)):
        streams = [whole[:at] + bytes([new % 256]) + whole[at + 1 :]
                   for new in (whole[at] + 1, whole[at] - 1, whole[at] ^ 0x80, 0)]  # fmt: skip
        for n, stream in enumerate([*streams, whole[:at]]):
            found[f"{at} {n}"] = table(sheet_of_llrp, stream, "x")
    found["as it is"] = table(lambda: sheet_of_llrp(whole, "x"))
    recorded({key: told.removeprefix("EPC|AntennaID|PeakRSSI|") for key, told in found.items()})


def test_parameters_of_each_kind(recorded: Recorded) -> None:
    sizes = {"H": 2, "Q": 8, "b": 1, "I": 4, "12s": 12}
    layouts = ("H", *"QQQQ", "b", *"HHIHHH", "12s", *"HHIHIHH")
    found = {}
    for kind in range(1, 22):
        layout = layouts[kind - 1] if kind < 21 else "H"
        value = bytes(range(200, 212)) if layout == "12s" else 1 << (8 * sizes[layout] - 2)
        parameters = tv(6, "b", -60) + tv(kind, layout, value) + tv(8, "H", 7)
        stream = message(61, tlv(240, parameters))
        found[f"{kind}"] = table(sheet_of_llrp, stream, "x")
    for kind in (0, 1, 64, 65, 99, 100, 101, 1022, 1023):
        for version in (0, 1, 2, 3):
            stream = message(61, tlv(240, tv(6, "b", -60))) + message(kind, b"", version)
            found[f"message {kind} {version}"] = table(sheet_of_llrp, stream, "x")
    recorded(found)


def test_json(recorded: Recorded) -> None:
    found = {}
    for seed in range(60):
        rng = random.Random(seed)

        def value(depth: int, rng: Any = rng) -> Any:
            if depth and rng.random() < 0.35:
                return {rng.choice("ab"): value(depth - 1) for _ in range(rng.randint(0, 2))}
            return rng.choice((None, True, False, 1, 2.50, "x", " y ", [1, "z"], ""))

        rows = [{rng.choice("abc"): value(4) for _ in range(rng.randint(0, 3))} for _ in range(3)]
        texts = [json.dumps(row) for row in rows]
        if rng.random() < 0.2:
            texts.insert(rng.randint(0, 3), rng.choice(("", "5", "[]", '{"a"', "NaN")))
        text = "\n".join(texts) if rng.random() < 0.6 else f"[{', '.join(texts)}]"
        found[f"{seed}"] = table(sheet_of_json, text.encode(), "x")
    recorded(found)


def test_books(recorded: Recorded) -> None:
    cells: tuple[Any, ...] = (
        None,
        None,
        "a",
        "b ",
        1,
        2.0,
        2.5,
        -1e15,
        1e16,
        True,
        "",
        "08:00",
        1e14 + 0.5,
        123456789,
    )
    cells += (datetime(2026, 3, 9), datetime(2026, 3, 9, 8), timedelta(seconds=90.5))
    found: dict[str, Any] = {}
    for seed in range(40):
        rng = random.Random(seed)
        width = rng.choice((1, 2, 3, 4))
        head = [tuple(f"{'xyz'[n % 3]}{n}" for n in range(width))] * (rng.random() < 0.7)
        title = [("t",)] * rng.choice((0, 0, 1, 2)) + [()] * rng.choice((0, 0, 1))
        widths = rng.choices((width, width, width - 1, width + 1), k=rng.choice((1, 2, 4)))
        rows = [tuple(rng.choices(cells, k=one)) for one in widths]
        data = workbook([*title, *head, *rows])
        try:
            sheets = sheets_of_workbook(data, "x")
        except InputError as error:
            found[f"{seed}"] = faults_told(error)
            continue
        found[f"{seed}"] = [
            f"{one.part} {dict(one.hints)} {table(lambda one: one, one)}" for one in sheets
        ]
    recorded(found)


EPCS = [f"3036451FD41E7800000000{n:02X}" for n in range(1, 6)]
BEGIN = datetime(2026, 3, 9, 8)


def drawn_files(
    seed: int,
) -> tuple[list[list[str]], list[list[str]], list[list[str]], dict[str, Any]]:
    """Log, run sheet and tag list as rows, and the mapping: a survey of few reads, with this and
    that not as it should be."""
    rng = random.Random(seed)
    passes, antennas, levels = (
        rng.choice((2, 3, 6, 11)),
        rng.choice((0, 1, 2, 3)),
        rng.choice((1, 2, 3)),
    )
    by_column, with_levels = rng.random() < 0.4, rng.random() < 0.4
    points = rng.choice((["gate"], ["gate"], ["north", "south"]))
    quiet = rng.choice((None, 0, passes - 1, passes // 2))
    silent = {(a, p) for a in range(1, antennas) for p in range(passes)
              if rng.random() < 0.2 or (a == 1 and p >= passes // 2)}  # fmt: skip
    log, sheet = [], []
    late = rng.choice((0, 0, 0, 0, 0, 0, 3600, 12.5))
    for p in range(passes):
        point = points[p % len(points)]
        for step in range(levels):
            begin = BEGIN + timedelta(minutes=p, seconds=10 * step)
            end = begin + timedelta(seconds=rng.choice((10, 8, 12)) if levels == 1 else 9)
            level = str(15 + 2 * step)
            cells = [point, f"p{p + 1}", begin.isoformat(), end.isoformat(), level, str(40 + step)]
            cells += [rng.choice(("dry", "wet", "")), rng.choice(("1", "2.5", "")), "2026-03-09"]
            sheet.append(cells)
            for epc in rng.choices(EPCS, k=rng.choice((1, 2, 4, 6))) if p != quiet else ():
                for antenna in range(max(1, antennas)):
                    if (antenna, p) in silent:
                        continue
                    at = begin + timedelta(seconds=rng.choice((0, 1, 4.25, 8, 8.999999)) + late)
                    at += timedelta(hours=2 * (rng.random() < 0.03))
                    rssi = rng.choice(("-50", "-61.5", "-70", "" if rng.random() < 0.2 else "-55"))
                    tid = f"E280{EPCS.index(epc) // rng.choice((1, 1, 1, 2)):04X}"
                    row = [point, f"p{p + 1}", at.isoformat(), epc, rssi, level, str(40 + step),
                           str(antenna + 1), str(rng.choice((1, 1, 3))), tid]  # fmt: skip
                    log += [row] * (2 if rng.random() < 0.08 else 1)
    if rng.random() < 0.3:
        log += [["", "", BEGIN.isoformat(), "", "-50", "15", "40", "1", "1", ""]]
    if rng.random() < 0.3 and log:
        log[-1] = [*log[-1][:5], "16", *log[-1][6:]]
    rng.shuffle(log)
    roles = ("wanted", "wanted", "stray")
    tags = [[epc, rng.choice(roles), "", rng.choice(("E280", "")), "", "soft"]
            for epc in rng.sample(EPCS, rng.choice((2, 4, 5)))]  # fmt: skip
    tags += [[EPCS[0], "stray", rng.choice(("p1", "p2", "p1-p2", "p2;p1")), "", "01", ""]] * (
        rng.random() < 0.4
    )
    heads = [
        ["read point", "pass", "time", "epc", "rssi", "power", "rospec", "antenna", "reads", "tid"],
        ["read point", "pass", "start", "end", "level", "rospec", "condition", "weight", "date"],
        ["epc", "role", "pass", "tid", "user", "type"],
    ]
    less: list[set[str]] = [set(), set(), set()]
    less[0] |= {"pass"} if not by_column else set()
    less[0] |= {"antenna"} if not antennas else set()
    less[0] |= {name for name in ("reads", "tid", "rospec", "read point", "time")
                if rng.random() < (0.3 * by_column if name == "time" else 0.4)}  # fmt: skip
    less[0] |= {"power"} if with_levels and rng.random() < 0.6 else {"rospec"}
    less[1] |= {"level"} if not with_levels else set()
    less[1] |= {name for name in heads[1] if name in ("read point", "end", "rospec", "condition",
                "weight", "date") and rng.random() < 0.4}  # fmt: skip
    mapping: dict[str, Any] = {}
    if rng.random() < 0.2:
        mapping["levels_dbm"] = [15, 17, 23]
    if rng.random() < 0.3:
        mapping["antennas"] = [1, 2, 4]
    if rng.random() < 0.15:
        mapping["clock_offset_s"] = -late
    tables = []
    for rows, head, out in zip((log, sheet, tags), heads, less, strict=True):
        places = [i for i, name in enumerate(head) if name not in out]
        tables.append([[row[i] for i in places] for row in [head, *rows]])
    if rng.random() < 0.15:
        tables[1], mapping["pause_s"] = [], rng.choice((20, 30))
    return tables[0], tables[1], tables[2], mapping


def test_imports(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    for seed in range(60):
        log, sheet, tags, mapping = drawn_files(seed)
        given = ["\n".join(map(",".join, rows)).encode() for rows in (log, sheet, tags)]
        try:
            one = strategist.import_log(
                {"a.csv": given[0]},
                run_sheet={"runs.csv": given[1]} if sheet else None,
                tags={"tags.csv": given[2]},
                mapping=strategist.parse_mapping(json.dumps(mapping).encode(), "m.json"),
            )
        except InputError as error:
            found[f"{seed}"] = faults_told(error)
            continue
        files = {name: text.splitlines() for name, text in one.files.items()}
        reads = files["reads.csv"]
        found[f"{seed}"] = {
            "points": [f"{p.read_point} {p.passes} {p.levels_dbm} {p.tags} {p.reads}"
                       for p in one.read_points],
            "tally": list(vars(one.tally).values()),
            "by": one.passes_by,
            "columns": [f"{c.column}: {c.role} {c.form} {c.by} {'/'.join(c.sample)}"
                        for c in one.columns[: 99 * (seed % 10 == 0)]],
            "assumed": list(one.assumed) if seed % 4 == 0 else len(one.assumed),
            "findings": [f"{f.severity} {f.read_point} {f.kind}: {f.text}" for f in one.findings],
            "reads": [reads[0], reads[1], reads[-1]],
            "roster": len(files["roster.csv"]),
            "site": "".join(files["site.json"]),
            "tried": files.get("tried.csv", [])[:4],
            "passes": files.get("passes.csv", [])[:4],
            "mapping": "".join(files["mapping.json"]) if seed % 8 == 0 else "",
        }  # fmt: skip
    recorded(found)


def drawn_sheet(rng: random.Random, late: bool) -> list[str]:
    """A run sheet of six passes with what people leave out, merge or write otherwise."""
    begin = datetime(2026, 3, 9, 23, 58) if late else BEGIN
    more = ("end", "duration", "condition", "weight", "date", "level", "wanted", "stray")
    roles = ["pass", "start", *rng.sample((*more, "read point"), rng.randint(1, 6))]
    if rng.random() < 0.1:
        roles.remove("pass")
    rows = []
    for n in range(6):
        start = begin + timedelta(minutes=n)
        end = start + timedelta(seconds=rng.choice((30, 30, 30, 59, 60, 75 if n > 3 else 30, 0.5)))
        day = rng.choice(("2026-03-09", "2026-03-10")) if rng.random() < 0.98 else "09.03.2026"
        form = "%H:%M:%S" if late else "%Y-%m-%d %H:%M:%S"
        cells = {
            "pass": f"p{n + 1}" if rng.random() < 0.9 or not n else "",
            "start": start.strftime(form) if rng.random() < 0.995 else "",
            "end": end.strftime(form) if rng.random() < 0.8 else "",
            "duration": rng.choice(("30", "12.5", "")),
            "condition": rng.choice(("dry", "wet", "")),
            "weight": rng.choice(("1", "0.5", "")),
            "date": day,
            "level": str(15 + n % 2) if rng.random() < 0.97 else "",
            "wanted": rng.choice(
                ("", "T1", "T1 T2", "small", EPCS[0], "T9" if rng.random() < 0.02 else "T2")
            ),
            "stray": rng.choice(("", "T4", "T4;T5", "large")),
            "read point": rng.choice(("north", "")),
        }
        rows.append(",".join(cells[role] for role in roles))
    return [",".join(roles), *rows]


def drawn_list(rng: random.Random) -> list[str]:
    """A tag list; some roles of certain passes alone."""
    rows = ["epc,role,pass,label,list,tid"]
    words = ("wanted", "W", "yes", "stray", "no", "0", "", "" if rng.random() < 0.95 else "mine")
    places = (
        "",
        "*",
        "all",
        "p1",
        "p2-p4",
        "p2..p3",
        "p1;p3",
        "p5 p6",
        "p4-p2" if rng.random() < 0.1 else "p1",
    )
    for n, epc in enumerate(EPCS):
        listed = "small" if n < 2 else "large"
        tid = rng.choice(("", "E280", "E2 80", "E28"[: 3 + (n > 0)]))
        rows.append(f"{epc},{rng.choice(words)},{rng.choice(places[:3])},T{n + 1},{listed},{tid}")
        if rng.random() < 0.5:
            place = "p9" if rng.random() < 0.05 else rng.choice(places[3:])
            rows.append(f"{epc},{rng.choice(words[:6])},{place},T{n + 1},,")
    return rows


def test_run_sheets_and_tag_lists(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    for seed in range(70):
        rng = random.Random(seed)
        late, by_pass = rng.random() < 0.2, rng.random() < 0.6
        begin = datetime(2026, 3, 9, 23, 58) if late else BEGIN
        log = ["read point,pass,time,epc,rssi,power" if by_pass else "time,epc,rssi,power"]
        for n in range(6):
            for s in rng.sample((0, 3.5, 29.999999, 30, 59), rng.choice((1, 2, 4))):
                at = (begin + timedelta(minutes=n, seconds=s)).isoformat()[11 * late :]
                which = f"{rng.choice(('north', ''))},p{n + 1}," if by_pass else ""
                log.append(f"{which}{at},{rng.choice(EPCS)},-{50 + n},{15 + n % 2}")
        texts = [
            "\n".join(rows).encode() for rows in (log, drawn_sheet(rng, late), drawn_list(rng))
        ]
        try:
            one = strategist.import_log(
                {"a.csv": texts[0]}, run_sheet={"runs.csv": texts[1]}, tags={"tags.csv": texts[2]}
            )
        except InputError as error:
            found[f"{seed}"] = faults_told(error)
            continue
        roster = [row.split(",") for row in one.files["roster.csv"].splitlines()[1:]]
        found[f"{seed}"] = {
            "roster": " ".join(f"{r[0][:1]}{r[1]} {r[2][-1:]}{r[3][:1]}{r[4]}" for r in roster),
            "tally": list(vars(one.tally).values()),
            "assumed": [text[:40] for text in one.assumed],
            "findings": [f"{f.kind} {f.text[:60]}" for f in one.findings],
            "reads": one.files["reads.csv"].splitlines()[-1],
            "tried": one.files.get("tried.csv", "").splitlines()[1:4],
            "passes": one.files.get("passes.csv", "").splitlines()[1:5],
        }
    recorded(found)


def some_texts(rng: random.Random, names: Sequence[str], count: int) -> Texts:
    """A column of some of these names, each of them coded."""
    return Texts(np.array([rng.randrange(len(names)) for _ in range(count)]), tuple(names))


def test_what_is_suspicious(recorded: Recorded) -> None:
    """A handful of reads of few tags, passes, levels, antennas and times, so that all repeat."""
    found = {}
    for seed in range(260):
        rng = random.Random(seed)
        count = rng.choice((0, 1, 2, 3, 5, 9, 14, 150))
        antenna = np.array([rng.choice((1, 1, 2, 3, np.nan)) for _ in range(count)], float)
        reads = Reads(
            some_texts(rng, ("north", "south")[: rng.choice((1, 1, 2))], count),
            some_texts(
                rng, ("p1", "p2", "p10", "p3", "p4", "p5", "p6")[: rng.choice((1, 2, 7))], count
            ),
            some_texts(rng, ("30AA", "30BB", "30CC")[: rng.choice((1, 3))], count),
            np.array([rng.choice((15.0, 17.0)) for _ in range(count)]),
            np.array([rng.choice((-50.0, -50.0, -61.5)) for _ in range(count)]),
            antenna=antenna if rng.random() < 0.7 else None,
        )
        if count == 150 and rng.random() < 0.8:  # antenna 2 falls silent
            rank = np.array([0, 1, 6, 2, 3, 4, 5])[reads.passes.codes]
            quiet = (
                rank > rng.choice((0, 1, 2)) if rng.random() < 0.5 else rank < rng.choice((5, 6))
            )
            antenna[:] = np.where(quiet, 1, 2)
        times = np.array([rng.choice((0, 1, 2, 3, 9, NEVER)) for _ in range(count)], np.int64)
        tids = some_texts(rng, ("", "E2A", "E2B", "E2C"), count)
        of: Any = SimpleNamespace(
            reads=reads,
            times=times if rng.random() < 0.9 else None,
            passes_by=rng.choice(("column", "column", "windows")),
            tids=tids if rng.random() < 0.5 else None,
            differs=np.array([rng.random() < 0.1 for _ in range(count)], bool),
            tally=SimpleNamespace(
                outside_passes=rng.choice((1, 2, 3)), rows=rng.choice((99, 100, 150))
            ),
            mapping=SimpleNamespace(antennas=rng.choice((None, None, (1, 2), (0, 4)))),
            runs=SimpleNamespace(points=("north", "south", "north"), passes=("p1", "p2", "p9")),
        )
        if count == 150 and rng.random() < 0.3:
            of.runs = None
        said = (_at_once, _tids, _antennas, _repeated, _silent, _outside, _levels)
        found[f"{seed}"] = " | ".join(
            f"{one.severity[:1]} {one.read_point or ''} {one.text}"
            for ask in said
            for one in ask(of)
        ).replace("on the run sheet nothing was read", "silent")
    recorded(found)
