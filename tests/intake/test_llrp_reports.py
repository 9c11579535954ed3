"""Tag reports against the published layout of LLRP 1.0.1, and files that are cut off or mixed.

Parameter types 1 to 20, 240 and 241 and their lengths were held against the codec sllurp 3.0.5 of
the open standard (not imported here).
"""

from __future__ import annotations

import pytest

from strategist.errors import InputError
from strategist.intake.llrp_reports import is_llrp, sheet_of_llrp
from strategist.intake.llrp_xml import sheet_of_llrp_xml

# RO_ACCESS_REPORT (61), version 1, with one TagReportData (240): EPC-96 (TV 13), AntennaID (1),
# PeakRSSI (6) of −58 dBm, TagSeenCount (8), C1G2PC (12). The EPC is that of TDS annex E.3.
REPORT = bytes.fromhex(
    "043D 00000026 00000001 00F0 001C 8D3066C4409047E140075BCD15 810003 86C6 880005 8C3000"
)


def cells(data: bytes) -> dict[str, str]:
    sheet = sheet_of_llrp(data, "x")
    return dict(zip(sheet.names, sheet.sample[0], strict=True))


def test_a_report_byte_by_byte() -> None:
    assert cells(REPORT) == {
        "EPC": "3066C4409047E140075BCD15",
        "AntennaID": "3",
        "PeakRSSI": "-58",
        "TagSeenCount": "5",
        "C1G2PC": "12288",
    }


def test_an_epc_with_its_count_of_bits() -> None:
    data = bytes.fromhex("083D 0000001A 00000001 00F0 0010 00F1 000A 0020 30340000 86C4")
    assert cells(data) == {"EPC": "30340000", "PeakRSSI": "-60"}


def test_other_messages_and_parameters_are_passed_over() -> None:
    keep_alive = bytes.fromhex("043E 0000000A 00000002")
    custom = bytes.fromhex("043D 0000001C 00000001 00F0 0012 03FF 000C 00000001 00000002 86C4")
    sheet = sheet_of_llrp(keep_alive + REPORT + keep_alive + custom, "x")
    assert [row[sheet.names.index("PeakRSSI")] for row in sheet.sample] == ["-58", "-60"]
    assert "2 messages of other types were left out" in sheet.notes


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (REPORT[:-3], "ends 3 bytes before the end of the message that begins at byte 0"),
        (REPORT + b"time;epc;rssi", "at byte 38"),
        (
            REPORT.replace(b"\x00\xf0\x00\x1c", b"\x00\xf0\x00\x1d"),
            "a parameter (240) goes on behind its message at byte 10",
        ),
        (REPORT.replace(b"\x86\xc6", b"\xfe\xc6"), "unknown parameter (126)"),
        (REPORT.replace(b"\x00\xf0\x00\x1c", b"\x00\xf0\x00\x02"), "parameter (240)"),
        (bytes.fromhex("043E 0000000A 00000002"), "no tag report"),
        (bytes.fromhex("043D 00000018 00000001 00F0 000E 00F1 000A 0FFF 30340000"), "4095 bits"),
    ],
)
def test_broken_bytes_are_told_with_their_place(data: bytes, words: str) -> None:
    with pytest.raises(InputError) as error:
        sheet_of_llrp(data, "x")
    assert words in str(error.value)


def test_text_is_no_llrp() -> None:
    assert not is_llrp(b"\ntime;epc;rssi\n1;2;3\n")
    assert not is_llrp(b"\t1\t2\t3\t4\t5")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("<a><TagReportData><EPC_96>", "line 1"),
        ("<a/>", "no tag report"),
        ('<!DOCTYPE a [<!ENTITY b "bb">]><a>&b;</a>', "document type"),
    ],
)
def test_xml_that_is_none_of_llrp(text: str, words: str) -> None:
    with pytest.raises(InputError) as error:
        sheet_of_llrp_xml(text.encode(), "x")
    assert words in str(error.value)


@pytest.mark.parametrize(
    ("seen", "known"), [("1772000000000000", True), ("2026-02-25T06:13:20.000Z", False)]
)
def test_moments_of_xml_are_microseconds_or_have_a_date(seen: str, known: bool) -> None:
    """The standard's form is known where it is kept; RSSI is in dBm in any case."""
    text = (
        "<a><TagReportData><EPC_96><EPC>30AA</EPC></EPC_96><PeakRSSI><PeakRSSI>-60</PeakRSSI>"
        f"</PeakRSSI><FirstSeenTimestampUTC><Microseconds>{seen}</Microseconds>"
        "</FirstSeenTimestampUTC></TagReportData></a>"
    )
    hints = sheet_of_llrp_xml(text.encode(), "x").hints
    assert ("FirstSeenTimestampUTC" in hints) is known and hints["PeakRSSI"] == "dbm"
