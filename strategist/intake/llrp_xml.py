"""Tag reports of LLRP in their XML form: an element for each parameter, named as in the standard.

Source: the XML encoding of LLRP's parameters (from memory, no copy at hand): TagReportData holds
EPC_96 or EPCData, AntennaID, PeakRSSI, FirstSeenTimestampUTC and so on, each with a value element
inside. Only names and texts are used, so that other nesting does no harm.
"""

from __future__ import annotations

import io
import re
from xml.etree.ElementTree import Element, ParseError, iterparse

from strategist.errors import InputError
from strategist.intake.llrp_reports import HINTS, NAMES, sheet_of_reports
from strategist.intake.sheet import Growing, Sheet

_SPELLED = {"EPC_96": "EPC", "EPCData": "EPC", "C1G2_PC": "C1G2PC"}
_NO_DTD = re.compile(rb"<!(DOCTYPE|ENTITY)", re.IGNORECASE)


def sheet_of_llrp_xml(data: bytes, source: str) -> Sheet:
    """One row a TagReportData; raises InputError with the line where it is no such XML.

    A document type is refused, since entities can blow up a small file.
    """
    refuse_document_type(data, source)
    rows = Growing()
    try:
        for _, element in iterparse(io.BytesIO(data)):
            if _name(element) == "TagReportData":
                rows.add(len(rows) + 1, _row(element))
                element.clear()
    except (ParseError, ValueError, LookupError) as error:
        line, wrong = None, "is no well-formed XML"
        if isinstance(error, ParseError):
            line, wrong = error.position[0], f"no well-formed XML at column {error.position[1] + 1}"
        todo = "Correct the text there, or write the file anew."
        raise InputError.one(source, "", todo, line=line, wrong=wrong) from None
    notes = ["LLRP in XML; a line is the number of a tag report"]
    if "FirstSeenTimestampUTC" not in rows.names:
        return sheet_of_reports(rows, source, notes)
    dates = not rows.column("FirstSeenTimestampUTC")[0].isdigit()
    hints = {name: form for name, form in HINTS.items() if not (dates and name.endswith("UTC"))}
    return sheet_of_reports(rows, source, notes, hints)


def refuse_document_type(data: bytes, source: str) -> None:
    """Raise InputError where XML declares a document type or entities."""
    found = _NO_DTD.search(data.replace(b"\0", b""))
    if found is not None:
        wrong = f"holds {found[0].decode()}, by which a small file can grow without end"
        raise InputError.one(source, "", "XML without a document type", wrong=wrong)


def _row(report: Element) -> dict[str, str]:
    row = {}
    for element in report:
        name = _SPELLED.get(_name(element), _name(element))
        if name in NAMES:
            text = next((t.strip() for e in element.iter() if (t := e.text) and t.strip()), "")
            row[name] = text
    return row


def _name(element: Element) -> str:
    return element.tag.rpartition("}")[2]
