"""EPC URIs against the worked encodings of the GS1 Tag Data Standard 2.3, annex E.3."""

from __future__ import annotations

import pytest

from strategist.tags.uri import epc_of_uri

PUBLISHED = {
    "sgtin-96:3.95060001343.05.123456789": "3066C4409047E140075BCD15",
    "sgtin-198:3.95060001343.05.32a%2Fb": ("3666C4409047E159B2C2BF100000000000000000000000000000"),
    "sscc-96:0.952012.03456789123": "311BA1B300CE0A6A83000000",
    "sgln-96:3.9521141.12345.5678": "3276451FD46072000000162E",
    "grai-96:3.9521141.12345.5678": "3376451FD40C0E400000162E",
    "grai-170:3.9521141.12345.32a%2Fb": "3776451FD40C0E59B2C2BF1000000000000000000000",
    "giai-96:3.9521141.5678": "3476451FD40000000000162E",
    "gsrn-96:3.9521141.1234567890": "2D76451FD4499602D2000000",
    "gdti-96:3.9521141.12345.5678": "2C76451FD46072000000162E",
    "cpi-96:3.9521141.98765.12345": "3C76451FD400C0E680003039",
    "gid-96:31415.271828.1414": "350007AB70425D4000000586",
    "usdod-96:3.CAGEY.5678": "2F320434147455900000162E",
}


@pytest.mark.parametrize("body", PUBLISHED)
def test_published_tag_uris(body: str) -> None:
    assert epc_of_uri(f"urn:epc:tag:{body}") == PUBLISHED[body]


def test_a_pure_identity_needs_the_filter_value() -> None:
    identity = "urn:epc:id:sgtin:95060001343.05.123456789"
    assert epc_of_uri(identity) is None
    assert epc_of_uri(identity, 3) == PUBLISHED["sgtin-96:3.95060001343.05.123456789"]


def test_a_raw_uri_says_its_bits() -> None:
    assert epc_of_uri("urn:epc:raw:96.x3066C4409047E140075BCD15") == "3066C4409047E140075BCD15"
    assert epc_of_uri("urn:epc:raw:96.x3066C440") is None


@pytest.mark.parametrize(
    "uri",
    [
        "urn:epc:tag:sgtin-96:3.95060001343.05",
        "urn:epc:tag:sgtin-96:3.95060001343.005.1",
        "urn:epc:tag:sgtin-96:3.95060001343.05.01",
        "urn:epc:tag:sgtin-96:9.95060001343.05.1",
        "urn:epc:tag:sgtin-96:3.95060001343.05.274877906944",
        "urn:epc:tag:sgtin-96:3.1.05.1",
        "urn:epc:tag:gsrn-96:3.9521141.1" + "2" * 5000,
        "urn:epc:tag:nothing:1.2",
        "urn:epc:tag:sgtin-198:3.95060001343.05.",
        "http://example.org/1",
    ],
)
def test_what_does_not_fit_is_no_epc(uri: str) -> None:
    assert epc_of_uri(uri, 1) is None
