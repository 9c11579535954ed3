"""Tag reports of LLRP, the open reader protocol, as their bytes were kept.

Source: LLRP 1.0.1 (EPCglobal), message RO_ACCESS_REPORT and parameter TagReportData; types and
lengths were held against an independent codec of the standard. Messages of other types between the
reports, as a connection that was written down has, are left out and counted.
"""

from __future__ import annotations

import struct
from collections import Counter
from collections.abc import Iterator

from strategist.errors import InputError
from strategist.intake.sheet import Growing, Sheet

_REPORT, _HEADER = 61, 10  # message type; bytes of version, type, length and id
_MESSAGES = (*range(1, 65), 100, 1023)  # types that exist in 1.0.1 and 1.1, with room
_TAG, _EPC = 240, 241
_TV = {  # type of a parameter without length → (name, layout)
    1: ("AntennaID", ">H"),
    2: ("FirstSeenTimestampUTC", ">Q"),
    3: ("FirstSeenTimestampUptime", ">Q"),
    4: ("LastSeenTimestampUTC", ">Q"),
    5: ("LastSeenTimestampUptime", ">Q"),
    6: ("PeakRSSI", ">b"),
    7: ("ChannelIndex", ">H"),
    8: ("TagSeenCount", ">H"),
    9: ("ROSpecID", ">I"),
    10: ("InventoryParameterSpecID", ">H"),
    11: ("C1G2CRC", ">H"),
    12: ("C1G2PC", ">H"),
    13: ("EPC", "12s"),
    14: ("SpecIndex", ">H"),
    15: ("ClientRequestOpSpecResult", ">H"),
    16: ("AccessSpecID", ">I"),
    17: ("OpSpecID", ">H"),
    18: ("C1G2SingulationDetails", ">I"),
    19: ("C1G2XPCW1", ">H"),
    20: ("C1G2XPCW2", ">H"),
}
NAMES = (
    *("EPC", "AntennaID", "PeakRSSI", "ChannelIndex", "FirstSeenTimestampUTC"),
    *("FirstSeenTimestampUptime", "LastSeenTimestampUTC", "TagSeenCount", "ROSpecID", "C1G2PC"),
)
HINTS = {
    "EPC": "hex",
    "PeakRSSI": "dbm",
    "FirstSeenTimestampUTC": "epoch_us",
    "FirstSeenTimestampUptime": "uptime_us",
}


def is_llrp(data: bytes) -> bool:
    """Whether bytes begin with the header of an LLRP message, version 1.0.1 or 1.1."""
    if len(data) < _HEADER:
        return False
    head, length, _ = struct.unpack_from(">HII", data)
    return head >> 10 in (1, 2) and head & 0x3FF in _MESSAGES and _HEADER <= length < 2**26


def sheet_of_llrp(data: bytes, source: str) -> Sheet:
    """One row a tag report, with the columns that any report has; raises InputError at the byte
    where the messages break off or are none."""
    rows = Growing()
    others: Counter[int] = Counter()
    for kind, begin, end in _messages(data, source):
        if kind == _REPORT:
            for row in _reports(data, begin, end, source):
                rows.add(len(rows) + 1, row)
        else:
            others[kind] += 1
    notes = ["LLRP messages; a line is the number of a tag report"]
    if others:
        notes.append(f"{others.total()} messages of other types were left out")
    return sheet_of_reports(rows, source, notes)


def sheet_of_reports(
    rows: Growing, source: str, notes: list[str], hints: dict[str, str] | None = None
) -> Sheet:
    """The sheet of tag reports; of two clocks the one with a date."""
    if not len(rows):
        raise InputError.one(source, "", "at least one TagReportData", wrong="holds no tag report")
    names = [name for name in NAMES if name in rows.names]
    if "FirstSeenTimestampUTC" in names and "FirstSeenTimestampUptime" in names:
        names.remove("FirstSeenTimestampUptime")
    return rows.sheet(source, names, notes, HINTS if hints is None else hints)


def _messages(data: bytes, source: str) -> Iterator[tuple[int, int, int]]:
    """(type, begin, end) of the body of each message."""
    at = 0
    while at < len(data):
        if not is_llrp(data[at : at + _HEADER]):
            allowed = "the messages of one connection alone, each whole"
            raise _broken(source, at, "no LLRP message begins", allowed)
        head, length, _ = struct.unpack_from(">HII", data, at)
        if at + length > len(data):
            lacking = f"{length - (len(data) - at):,} bytes"
            found = f"the file ends {lacking} before the end of the message that begins"
            raise _broken(source, at, found, "the whole file: it was cut off")
        yield head & 0x3FF, at + _HEADER, at + length
        at += length


def _reports(data: bytes, at: int, end: int, source: str) -> Iterator[dict[str, str]]:
    for kind, begin, stop in _parameters(data, at, end, source):
        if kind == _TAG:
            row: dict[str, str] = {}
            for inner, start, until in _parameters(data, begin, stop, source):
                if inner in _TV:
                    name, layout = _TV[inner]
                    (value,) = struct.unpack_from(layout, data, start)
                    row[name] = value.hex().upper() if name == "EPC" else str(value)
                elif inner == _EPC:
                    row["EPC"] = _epc(data, start, until, source)
            yield row


def _epc(data: bytes, start: int, until: int, source: str) -> str:
    """EPCData: a count of bits, then the bits in whole bytes."""
    bits = struct.unpack_from(">H", data, start)[0] if until - start >= 2 else -1
    if bits < 0 or bits % 8 or start + 2 + bits // 8 > until:
        wrong = f"an EPC of {max(bits, 0)} bits does not fit the parameter"
        raise _broken(source, start, wrong, "EPCs of whole bytes within their parameters")
    return data[start + 2 : start + 2 + bits // 8].hex().upper()


def _parameters(data: bytes, at: int, end: int, source: str) -> Iterator[tuple[int, int, int]]:
    """(type, begin, end) of each parameter's body: by type and value (TV), or with length (TLV)."""
    while at < end:
        first = data[at]
        if first & 0x80:
            kind, begin = first & 0x7F, at + 1
            if kind not in _TV:
                allowed = "parameters of LLRP 1.0.1 or 1.1"
                raise _broken(source, at, f"there is an unknown parameter ({kind})", allowed)
            stop = begin + struct.calcsize(_TV[kind][1])
        else:
            kind, length = struct.unpack_from(">HH", data, at) if end - at >= 4 else (0, 0)
            kind, begin, stop = kind & 0x3FF, at + 4, at + length
        if stop > end or stop < begin:
            wrong = f"a parameter ({kind}) goes on behind its message"
            raise _broken(source, at, wrong, "parameters that end within their message")
        yield kind, begin, stop
        at = stop


def _broken(source: str, at: int, found: str, allowed: str) -> InputError:
    return InputError.one(source, "", allowed, wrong=f"{found} at byte {at:,}")
