"""Raw logs of different make: how readers, programs and people would write one survey down."""

from __future__ import annotations

import binascii
import io
import json
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import openpyxl

from cases.raw_log import Facts, Read, spaced
from tests.intake.given import level_rows, log_rows, sheet_rows, tag_rows, text_of
from tests.tags.uris import uri_of


@dataclass(frozen=True)
class Written:
    """The files of one make, and what the case has beside the five columns."""

    logs: dict[str, bytes]
    sheet: bytes | None
    tags: bytes
    mapping: dict[str, Any] = field(default_factory=dict)
    antenna: bool = False
    all_levels: bool = False
    t_s: bool = False
    facts: Facts | None = None


Row = Callable[[Read], tuple[str, ...]]


def rows(made: Facts, head: tuple[str, ...], row: Row) -> list[tuple[str, ...]]:
    return [head, *map(row, made.reads)]


def written(made: Facts, log: bytes, **more: Any) -> Written:
    """A log with the plain run sheet by pass and the plain tag list."""
    sheet = more.pop("sheet", text_of(sheet_rows(made)).encode())
    return Written({"raw.log": log}, sheet, text_of(tag_rows(made)).encode(), **more)


def iso(at: datetime) -> str:
    return at.replace(tzinfo=None).isoformat(timespec="milliseconds")


def micro(at: datetime) -> int:
    return round(at.timestamp() * 1000) * 1000


def comma(number: float) -> str:
    return f"{number:.1f}".replace(".", ",")


def milliwatts(level: int) -> str:
    return f"{10 ** (level / 10):.0f}"


def pc_epc(epc: str) -> str:
    return f"{len(epc) // 4 << 11:04X}{epc}"


def with_crc(epc: str) -> str:
    data = pc_epc(epc)
    return f"{data}{binascii.crc_hqx(bytes.fromhex(data), 0xFFFF) ^ 0xFFFF:04X}"


def plain(made: Facts) -> Written:
    return written(made, text_of(log_rows(made)).encode())


def german(made: Facts) -> Written:
    def row(one: Read) -> tuple[str, ...]:
        at = one.at.strftime("%d.%m.%Y %H:%M:%S,") + f"{one.at.microsecond // 1000:03d}"
        return (at, spaced(one.epc), comma(one.rssi), milliwatts(one.level))

    head = ("Zeit", "EPC", "Pegel", "Leistung (mW)")
    return written(made, ("\ufeff" + text_of(rows(made, head, row), ";")).encode())


def utf_16_tabs(made: Facts) -> Written:
    def row(one: Read) -> tuple[str, ...]:
        return (f"0x{one.epc}", f"{one.rssi * 100:.0f}", f"{one.level * 10}", iso(one.at))

    head = ("Tag ID", "RSSI x100", "Tx power (ddBm)", "First Seen")
    return written(made, text_of(rows(made, head, row), "\t").encode("utf-16"))


def utf_16_without_mark(made: Facts) -> Written:
    return written(made, text_of(log_rows(made), ";").encode("utf-16-be"))


def titles_before_the_header(made: Facts) -> Written:
    def row(one: Read) -> tuple[str, ...]:
        return ("1", one.at.strftime("%Y/%m/%d %H:%M:%S.%f"), one.epc, f"{one.rssi} dBm",
                f"{one.level} dBm")  # fmt: skip

    text = text_of(rows(made, ("No", "Timestamp", "EPC", "Peak RSSI", "Power"), row), "\t")
    return written(made, f"Prüfung Linie 2\r\n\r\n# Gerät 7\r\n{text}".encode("cp1252"))


def workbook(table: list[tuple[Any, ...]], title: str = "Sheet1") -> bytes:
    book, file = openpyxl.Workbook(), io.BytesIO()
    sheet = book.active
    sheet.title = title
    for one in table:
        sheet.append(one)
    book.save(file)
    return file.getvalue()


def workbooks(made: Facts) -> Written:
    log: list[tuple[Any, ...]] = [("Soiled linen, line 2",), ("Time", "EPC", "RSSI", "Power")]
    log += [(one.at.replace(tzinfo=None), one.epc, one.rssi, one.level) for one in made.reads]
    sheet: list[tuple[Any, ...]] = [("Pass", "Start", "End")]
    for name in made.passes:
        ends = (made.start(name), made.end(name))
        sheet.append((name, *(at.replace(tzinfo=None) for at in ends)))
    tags = workbook([tuple(row) for row in tag_rows(made)])
    return Written({"raw.xlsx": workbook(log)}, workbook(sheet), tags)


def one_book_of_sheets(made: Facts) -> Written:
    book, file = openpyxl.Workbook(), io.BytesIO()
    book.active.append(("remarks of the day", "nothing special"))
    for title, table in (("log", log_rows(made)), ("runs", sheet_rows(made)),
                         ("tags", tag_rows(made))):  # fmt: skip
        sheet = book.create_sheet(title)
        for row in table:
            sheet.append(row)
    book.save(file)
    data = file.getvalue()
    mapping = {"log": {"sheet": "log"}, "run_sheet": {"sheet": "runs"}, "tags": {"sheet": "tags"}}
    return Written({"all.xlsx": data}, data, data, mapping)


def json_lines(made: Facts) -> Written:
    lines = [
        json.dumps({"ts": micro(one.at) // 1000, "tag": {"epc": one.epc.lower(), "rssi": one.rssi},
                    "txPower": one.level, "phase": None})
        for one in made.reads
    ]  # fmt: skip
    mapping = {"log": {"columns": {"time": "ts"}}}
    return written(made, "\n".join(lines).encode(), mapping=mapping)


def json_array(made: Facts) -> Written:
    objects = [
        {"readTime": iso(one.at) + "Z", "epcHex": one.epc, "peakRssi": one.rssi,
         "powerLevel": float(one.level)}
        for one in made.reads
    ]  # fmt: skip
    return written(made, json.dumps(objects, indent=1).encode())


def whole_dbm(made: Facts) -> Facts:
    """As LLRP reports it: RSSI in whole dBm."""
    reads = (replace(one, rssi=float(round(one.rssi))) for one in made.reads)
    return replace(made, reads=tuple(reads))


def tv(kind: int, layout: str, value: Any) -> bytes:
    return struct.pack(">B" + layout, 0x80 | kind, value)


def tlv(kind: int, body: bytes) -> bytes:
    return struct.pack(">HH", kind, len(body) + 4) + body


def message(kind: int, body: bytes, version: int = 1) -> bytes:
    return struct.pack(">HII", version << 10 | kind, len(body) + 10, 7) + body


def report(one: Read, *, epc_96: bool) -> bytes:
    """TagReportData: EPC, ROSpecID, AntennaID, PeakRSSI, first seen, TagSeenCount, PC."""
    data = bytes.fromhex(one.epc)
    epc = tv(13, "12s", data) if epc_96 else tlv(241, struct.pack(">H", 8 * len(data)) + data)
    body = epc + tv(9, "I", one.level) + tv(1, "H", 1) + tv(6, "b", int(one.rssi))
    body += tv(2, "Q", micro(one.at)) + tv(8, "H", 1) + tv(12, "H", 0x3000)
    return tlv(240, body)


def llrp_bytes(made: Facts) -> Written:
    made = whole_dbm(made)
    log = b"".join(message(61, report(one, epc_96=True)) for one in made.reads)
    sheet = text_of(level_rows(made)).encode()
    return written(made, log, sheet=sheet, antenna=True, all_levels=True, t_s=True, facts=made)


def llrp_stream(made: Facts) -> Written:
    """Several tags a message, EPCData in place of EPC-96, keep-alives and events between."""
    made = whole_dbm(made)
    log = message(63, b"")
    for i in range(0, len(made.reads), 5):
        body = b"".join(report(one, epc_96=False) for one in made.reads[i : i + 5])
        log += message(61, body, version=2) + message(62, b"")
    sheet = text_of([row[:4] for row in level_rows(made)]).encode()
    return written(made, log, sheet=sheet, antenna=True, all_levels=True, t_s=True, facts=made)


def llrp_xml(made: Facts) -> Written:
    made = whole_dbm(made)

    def leaf(name: str, inner: str, value: object) -> str:
        return f"<{name}><{inner}>{value}</{inner}></{name}>"

    reports = "".join(
        "<TagReportData>" + leaf("EPC_96", "EPC", one.epc) + leaf("ROSpecID", "ROSpecID", one.level)
        + leaf("AntennaID", "AntennaID", 1) + leaf("PeakRSSI", "PeakRSSI", int(one.rssi))
        + leaf("FirstSeenTimestampUTC", "Microseconds", iso(one.at) + "Z")
        + leaf("TagSeenCount", "TagCount", 1) + leaf("C1G2_PC", "PC_Bits", 12288)
        + "</TagReportData>"
        for one in made.reads
    )  # fmt: skip
    log = f'<?xml version="1.0"?><a:RO_ACCESS_REPORT xmlns:a="urn:x" xmlns="urn:x">{reports}'
    mapping = {"levels_by_rospec": {str(level): level for level in made.levels}}
    log = f"{log}</a:RO_ACCESS_REPORT>"
    return written(made, log.encode(), mapping=mapping, antenna=True, facts=made)


def seconds_and_dashes(made: Facts) -> Written:
    def row(one: Read) -> tuple[str, ...]:
        dashed = "-".join(one.epc[i : i + 2] for i in range(0, len(one.epc), 2))
        return (f"{micro(one.at) / 1e6:.3f}", dashed, str(one.rssi))

    sheet = text_of(level_rows(made)).encode()
    log = text_of(rows(made, ("epoch", "uii", "signal strength"), row)).encode()
    return written(made, log, sheet=sheet, all_levels=True, t_s=True)


def microseconds_and_pc(made: Facts) -> Written:
    def row(one: Read) -> tuple[str, ...]:
        return (str(micro(one.at)), pc_epc(one.epc), f"{one.rssi * 10:.0f}", str(one.level * 100))

    head = ("FirstSeenTimestampUTC", "PC_EPC", "RSSI", "TxPower")
    return written(made, text_of(rows(made, head, row)).encode())


def on_the_air(made: Facts) -> Written:
    """Everything that a tag sends: PC, EPC and CRC."""

    def row(one: Read) -> tuple[str, ...]:
        return (iso(one.at), with_crc(one.epc), str(one.rssi), str(one.level))

    return written(made, text_of(rows(made, ("time", "tag", "rssi", "power"), row), "|").encode())


def tag_uris(made: Facts) -> Written:
    def row(one: Read) -> tuple[str, ...]:
        return (iso(one.at), uri_of(one.epc) or one.epc, str(one.rssi), str(one.level))

    log = text_of(rows(made, ("time", "EPC URI", "rssi", "power"), row)).encode()
    head, *listed = tag_rows(made)
    tags = [head, *((row[0], uri_of(row[1]) or row[1], *row[2:]) for row in listed)]
    return replace(written(made, log), tags=text_of(tags).encode())


def without_a_header(made: Facts) -> Written:
    return written(made, text_of(log_rows(made)[1:], ";").encode())


def day_and_clock(made: Facts) -> Written:
    def row(one: Read) -> tuple[str, ...]:
        clock = one.at.strftime("%H:%M:%S.%f")[:-3]
        return (one.at.strftime("%Y-%m-%d"), clock, one.epc, str(one.rssi), f"{one.level}.00")

    head = ("Date", "Time", "EPC", "Max RSSI", "Power (dBm)")
    return written(made, text_of(rows(made, head, row)).encode())


def from_a_spreadsheet(made: Facts) -> Written:
    """All cells quoted, EPCs as ="…", lines that end by CR LF, blank ones at the end."""
    cells = [[f'="{v}"' if i and j == 1 else v for j, v in enumerate(row)]
             for i, row in enumerate(log_rows(made))]  # fmt: skip
    lines = [",".join('"' + v.replace('"', '""') + '"' for v in row) for row in cells]
    return written(made, ("sep=,\r\n" + "\r\n".join(lines) + "\r\n\r\n\r\n").encode())


def pass_column(made: Facts) -> Written:
    """No times; rows the other way round, lower case."""

    def row(one: Read) -> tuple[str, ...]:
        return (one.epc.lower(), one.pass_id, f"{one.level}", f"{one.rssi:+.2f}")

    head, *body = rows(made, ("tag", "run", "tx power", "rssi"), row)
    log = text_of([head, *reversed(body)]).encode()
    return Written({"raw.csv": log}, None, text_of(tag_rows(made)).encode())


def three_logs(made: Facts) -> Written:
    """Three logs of other makes, one of two files that were joined with their headers."""
    head, *body = log_rows(made)
    part = len(body) // 3
    turned = [tuple(reversed(row)) for row in (head, *body[:part])]
    joined = [head, *body[part : part + 9], head, *body[part + 9 : 2 * part]]
    logs = {
        "a.csv": text_of(turned).encode(),
        "b.csv": text_of(joined, ";").encode(),
        "c.tsv": text_of([head, *body[2 * part :]], "\t").encode("utf-16"),
    }
    return replace(written(made, b""), logs=logs)


def pauses(made: Facts) -> Written:
    """No run sheet but a list of the passes in their order, as by a light barrier."""
    sheet = text_of([("pass", "remarks"), *((name, "") for name in made.passes)]).encode()
    return written(made, text_of(log_rows(made)).encode(), sheet=sheet, mapping={"pause_s": 120})


def minus_signs(made: Facts) -> Written:
    """A real minus, units in the cells, whole milliwatts, a column of other numbers."""

    def row(one: Read) -> tuple[str, ...]:
        minus = f"\u2212{-one.rssi} dBm"
        return (minus, f"{milliwatts(one.level)} mW", "7.25", one.epc, iso(one.at) + "+00:00")

    head = ("RSSI", "transmit power", "phase", "EPC", "seen at")
    return written(made, text_of(rows(made, head, row)).encode())


MAKES: dict[str, Callable[[Facts], Written]] = {
    make.__name__: make
    for make in (
        *(plain, german, utf_16_tabs, utf_16_without_mark, titles_before_the_header, workbooks),
        *(one_book_of_sheets, json_lines, json_array, llrp_bytes, llrp_stream, llrp_xml),
        *(seconds_and_dashes, microseconds_and_pc, on_the_air, tag_uris, without_a_header),
        *(day_and_clock, from_a_spreadsheet, pass_column, three_logs, pauses, minus_signs),
    )
}


def names() -> Iterator[str]:
    yield from MAKES
