"""What tags carry: fields, candidates, Select and LLRP, URIs, what tells tags apart."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Any

import pytest

from strategist.errors import InputError
from strategist.survey.policy import Policy, Reader
from strategist.survey.records import Tag
from strategist.survey.score import Difference, Nth, Peak
from strategist.tags.candidates import (
    Candidates,
    find_candidates,
    no_candidates,
    tag_fields,
)
from strategist.tags.epc import decode
from strategist.tags.fields import bits_in_reach, fields_in_reach, long_banks, words_of
from strategist.tags.gen2 import gen2_document, gen2_lines, truncation
from strategist.tags.host_rules import Keep, keeps_of, whole_cutoffs
from strategist.tags.left_out import Tally
from strategist.tags.llrp import encode_parameter, host_work, llrp_document, llrp_lines, tlv
from strategist.tags.mask import Mask, chain_notes, mask_text, unrecorded, window
from strategist.tags.power_table import PowerTable, read_power_table
from strategist.tags.read_back import chain_of_frames, of_ai_specs, of_llrp_step
from strategist.tags.schemes import HEADERS, LAYOUTS
from strategist.tags.telling import data_findings
from strategist.tags.tid import decode_tid
from strategist.tags.uri import epc_of_uri
from tests.optimise.made import survey_of
from tests.recorded.made import small_survey

Recorded = Callable[..., None]

EPCS = (
    "3066C4409047E140075BCD15",
    "3666C4409047E159B2C2BF100000000000000000000000000000",
    "311BA1B300CE0A6A83000000",
    "3276451FD46072000000162E",
    "3376451FD40C0E400000162E",
    "3776451FD40C0E59B2C2BF1000000000000000000000",
    "3476451FD40000000000162E",
    "2D76451FD4499602D2000000",
    "2D76451FD4499602D2000001",  # what must be zero is not
    "2C76451FD46072000000162E",
    "3C76451FD400C0E680003039",
    "350007AB70425D4000000586",
    "2F320434147455900000162E",
    "2F3494F4147455900000162E",  # a letter that no such code has
    "F70952111411234567890123",
    "F7F952111411A34567890123",
    "F7095211141123",
    "F6095211",
    "F609",
    "F6",
    "FC0952111411",
    "E60952111411",
    "3066C4409047E140075BCD",
    "307FFFFFFFFFFFFFFFFFFFFF",
    "306FFFFFFFFFFFFFFFFFFFFF",
    "00AB",
    "",
)


def fields_told(fields: Any) -> list[list[Any]]:
    return [
        f"{f.name} {f.pointer} {f.length} {f.value} {f.text} {f.structural:d}: {f.words}"
        for f in fields
    ]


def masks_told(found: Candidates) -> list[list[Any]]:
    return [
        [m.bank, m.pointer, m.length, m.pattern, words, "".join(str(int(x)) for x in row)]
        for m, words, row in zip(found.masks, found.words, found.matches, strict=True)
    ]


def faults_of(error: InputError) -> list[Any]:
    return [[f.source, f.line, f.column, f.value, f.allowed, f.wrong] for f in error.faults]


def test_fields_of_epcs(recorded: Recorded) -> None:
    told = {epc: [*fields_told(decode(epc)), words_of(decode(epc))] for epc in EPCS}
    with pytest.raises(InputError) as caught:
        decode("30X0")
    recorded({**told, "no hex": faults_of(caught.value)})


def hex_of(*parts: tuple[int, int]) -> str:
    """The hex of numbers of so many bits each, filled up with zeros to whole words."""
    bits = "".join(f"{value:0{length}b}" for value, length in parts)
    bits += "0" * (-len(bits) % 16)
    return f"{int(bits, 2):0{len(bits) // 4}X}"


def test_fields_of_epcs_that_break_a_rule(recorded: Recorded) -> None:
    """Numbers with a digit too many, references of no digit, serials of odd characters."""

    def serial(text: bytes, *behind: int) -> str:
        codes = [*text, *behind, *[0] * (20 - len(text) - len(behind))]
        head = ((0x36, 8), (1, 3), (5, 3), (9521141, 24), (31200, 20))
        return hex_of(*head, *((code, 7) for code in codes))

    epcs = {
        **{
            f"company {company}": hex_of((0x30, 8), (1, 3), (6, 3), (company, 20), (5, 24), (7, 38))
            for company in (999_999, 1_000_000, 1_000_001)
        },
        **{
            f"location {bit}": hex_of((0x32, 8), (1, 3), (0, 3), (5, 40), (bit, 1), (7, 41))
            for bit in (0, 1)
        },
        "part": hex_of((0x3C, 8), (1, 3), (6, 3), (5, 20), (10**9, 31), (7, 31)),
        "serial": serial(b"A-9%"),
        "no serial": serial(b""),
        "behind": serial(b"A", 0, 1),
        "just behind": serial(b"A", 0, 64),
        "no character": serial(b"A#"),
        "full": serial(b"A" * 20),
        "toggle": "F78952111411234567",
        "filter": "F74952111411234567",
        "first of its kind": "F04952",
        "last of its kind": "FB4952",
        "asset type": "F14952111411234567",
        "before": "EF4952",
    }
    recorded({name: [epc, *fields_told(decode(epc))] for name, epc in epcs.items()})


def test_layouts_of_schemes(recorded: Recorded) -> None:
    recorded(
        {
            scheme.name: {
                "bits": scheme.padded_bits,
                **{
                    str(partition): [
                        f"{p.name} {p.bits} {p.kind.name} {p.structural:d} {p.digits} {p.label}"
                        for p in scheme.parts(partition)
                    ]
                    for partition in ((4,) if scheme.key else (0,))
                },
            }
            for scheme in LAYOUTS.values()
        }
        | {"companies": [LAYOUTS[0x30].parts(n)[3].bits for n in range(7)]}
        | {"headers": {f"{header:02X}": name for header, name in HEADERS.items()}}
    )


def test_fields_of_tids(recorded: Recorded) -> None:
    tids = (
        "E29F03452000000000ABCDEF",
        "E29F0345E000" + "A5" * 18,
        "E29F0345E000" + "A5" * 17,
        "E29F03454000" + "A5" * 9,
        "E29F0345",
        "E21F03452000000000ABCDEF",
        "E25F0345200000",
        "E2FF03450000AB",
        "E29F03",
        "E004010203040506",
        "E00401020304050607",
        "E0040102030405",
        "E1" * 4,
        "",
    )
    recorded({tid: [*fields_told(decode_tid(tid)), words_of(decode_tid(tid))] for tid in tids})


URIS = (
    "urn:epc:tag:sgtin-96:3.95060001343.05.123456789",
    "urn:epc:tag:sgtin-96:3.950600013430.5.274877906943",
    "urn:epc:tag:sgtin-96:3.950600.1343005.0",
    "urn:epc:tag:sgtin-96:3.9506000134301.5.0",
    "urn:epc:tag:sgtin-96:3.95060.13430050.0",
    "urn:epc:tag:sgtin-96:7.95060001343.05.1",
    "urn:epc:tag:sgtin-96:8.95060001343.05.1",
    "urn:epc:tag:sgtin-198:3.95060001343.05.32a%2Fb",
    "urn:epc:tag:sgtin-198:3.95060001343.05." + "a" * 20,
    "urn:epc:tag:sgtin-198:3.95060001343.05." + "a" * 21,
    "urn:epc:tag:sgtin-198:3.95060001343.05.a%7F",
    "urn:epc:tag:sgtin-198:3.95060001343.05.a%80",
    "urn:epc:tag:sgtin-198:3.95060001343.05.a\u0080",
    "urn:epc:tag:sscc-96:0.952012.03456789123",
    "urn:epc:tag:sgln-96:3.9521141.12345.5678",
    "urn:epc:tag:sgln-96:3.952114112345..5678",
    "urn:epc:tag:giai-96:3.9521141.5678",
    "urn:epc:tag:giai-202:3.9521141.5678-9",
    "urn:epc:tag:gsrn-96:3.9521141.1234567890",
    "urn:epc:tag:gsrnp-96:3.9521141.1234567890",
    "urn:epc:tag:gdti-96:3.9521141.12345.5678",
    "urn:epc:tag:cpi-96:3.9521141.98765.12345",
    "urn:epc:tag:gid-96:31415.271828.1414",
    "urn:epc:tag:gid-96:268435456.1.1",
    "urn:epc:tag:usdod-96:3.CAGEY.5678",
    "urn:epc:tag:usdod-96:3.CAGEYS.5678",
    "urn:epc:tag:usdod-96:3.CAGE.5678",
    "urn:epc:tag:usdod-96:3.CAGEYSS.5678",
    "urn:epc:tag:usdod-96:3.CAGEI.5678",
    "urn:epc:id:sgtin:95060001343.05.123456789",
    "urn:epc:id:grai:9521141.12345.5678",
    "urn:epc:id:gid:31415.271828.1414",
    "urn:epc:raw:96.x3066C4409047E140075BCD15",
    "urn:epc:raw:16.x3066",
    "urn:epc:raw:12.x306",
    "urn:epc:raw:24.x3066",
    "urn:epc:tag:grai-96:3.9521141.12345.05",
    "urn:epc:tag:nothing:1.2",
    "urn:epc:id:usdod:CAGEY.5678",
    "urn:epc:tag:sgtin-198:3.95060001343.05.32.a",
    "urn:epc:tag:sgtin-198:3.95060001343.05.A",
    "urn:epc:tag:cpi-96:3.9521141.100000000.1",
    "urn:epc:tag:cpi-96:3.9521141.10000000.1",
    "nothing",
)


def test_hex_of_uris(recorded: Recorded) -> None:
    recorded({uri: [epc_of_uri(uri), epc_of_uri(uri, 0), epc_of_uri(uri, 5)] for uri in URIS})


def many_tags(seed: int, count: int = 24) -> list[Tag]:
    """Tags of several schemes, companies and items, with plain data that repeats or not."""
    rng = random.Random(seed)
    tags = []
    for n in range(count):
        item, company = rng.choice((31200, 31210, 20500)), rng.choice((9521141, 9524321))
        uri = rng.choice(
            (
                f"sgtin-96:{rng.choice((1, 4))}.{company}.{item:06d}.{rng.getrandbits(36)}",
                f"grai-96:0.{company}.{rng.choice((11200, 11210))}.{rng.getrandbits(36)}",
                f"giai-96:0.{company}.{rng.getrandbits(38)}",
            )
        )
        epc = epc_of_uri(f"urn:epc:tag:{uri}")
        assert epc is not None
        plain = f"{rng.choice((0xAB01, 0xAB02, 0xC001)):04X}{rng.getrandbits(16):04X}"
        tid = (
            f"E28{rng.choice((0, 1))}F1{rng.choice((0xA2, 0xC7)):02X}2000{rng.getrandbits(48):012X}"
        )
        user = f"{rng.choice((0, 1, 2)):02X}{rng.getrandbits(8):02X}{rng.choice((3, 4)):02X}00"
        tags.append(
            Tag(
                plain if n % 5 == 4 else epc,
                tid=tid if n % 4 else None,
                user=user if n % 3 == 0 else None,
            )
        )
    return tags


@pytest.mark.parametrize(
    ("step", "bits", "serial"), [(8, 96, False), (8, 96, True), (3, 17, False), (7, 21, False)]
)
def test_candidates(recorded: Recorded, step: int, bits: int, serial: bool) -> None:
    reader = Reader(mask_step_bits=step, mask_bits_max=bits)
    found = find_candidates(many_tags(step + bits), reader, serial_masks=serial)
    shown = masks_told(found)
    recorded(
        {
            "listed": found.listed,
            "candidates": len(shown),
            "masks": shown[:: max(1, len(shown) // 8)],
            "classes": found.tag_class,
            "left out": found.left_out,
        }
    )


def test_candidates_of_single_bits(recorded: Recorded) -> None:
    found = find_candidates(many_tags(5, 12), Reader(mask_step_bits=1, mask_bits_max=30))
    shown = masks_told(found)
    recorded({"masks": shown[::7], "left out": found.left_out, "listed": found.listed})


def test_candidates_of_few_tags(recorded: Recorded) -> None:
    """One, two, three or four tags share a plain byte."""
    told = {}
    for count in (1, 2, 3, 4):
        tags = [Tag(f"{n:02X}77", user="AA" if n < count else f"{n:02X}") for n in range(9)]
        for serial in (False, True):
            found = find_candidates(tags, Reader(), serial_masks=serial)
            told[f"{count} {serial}"] = {"masks": masks_told(found), "left out": found.left_out}
    recorded(told)


def test_candidates_of_odd_banks(recorded: Recorded) -> None:
    """Structure with plain bits behind it, values that one tag shows by chance, many kinds in one
    piece, more tags than fit eight bytes, masks as short as a step, and no masks at all."""
    rng = random.Random(9)
    kinds = [
        f"urn:epc:tag:grai-96:0.9521141.{kind}" for kind in (11200, 11210, 11220, 11230, 11240)
    ]
    grais = [
        Tag(str(epc_of_uri(f"{kind}.{rng.getrandbits(30)}"))) for kind in kinds for _ in range(3)
    ]
    sgtins = [
        Tag(str(epc_of_uri(f"urn:epc:tag:sgtin-96:1.9521141.031200.{rng.getrandbits(30)}")))
        for _ in range(9)
    ]
    short = [Tag(f"AB{n:02X}", tid=f"E2{n % 2}0110{n % 3}77{n:02X}", user="5F") for n in range(9)]
    many = [Tag(f"{n:02X}{'77' if n > 73 else '01'}", user=f"{n % 3:02X}") for n in range(80)]
    told: dict[str, Any] = {}
    for name, tags, step, bits in (
        ("kinds", [*grais, *sgtins[:2]], 8, 96),
        ("short", short, 8, 96),
        ("bits", short, 3, 9),
        ("a step", [*grais[:6], *short], 8, 8),
        ("many", many, 8, 96),
        *((f"chance {n}", [*sgtins[:n], Tag("30FF"), *grais[:4]], 8, 96) for n in (8, 9)),
    ):
        found = find_candidates(tags, Reader(mask_step_bits=step, mask_bits_max=bits))
        assert not found.matches.flags.writeable and not found.tag_class.flags.writeable
        shown = [[m.bank, m.pointer, m.pattern, words] for m, words in zip(
            found.masks, found.words, strict=True)]  # fmt: skip
        told[name] = {
            "masks": shown[:8],
            "count": [len(shown), found.listed],
            "left out": [[one.reason, one.masks] for one in found.left_out],
        }
    none = no_candidates(short)
    told["none"] = [none.listed, *none.matches.shape, *none.tag_class.tolist()]
    recorded(told)


def test_fields_of_long_memory(recorded: Recorded) -> None:
    tags = [Tag("30" * 12, user="A5" * n, tid="E1" * n) for n in (127, 128, 129, 400)]
    tags.append(Tag("AB" * 62))
    told: dict[str, Any] = {"notes": long_banks(tags)}
    for n, tag in enumerate(tags):
        for bank in ("epc", "tid", "user"):
            fields = fields_in_reach(tag_fields(tag, bank), bank)
            bits = bits_in_reach(tag, bank)
            told[f"{n} {bank}"] = [
                [f.name, f.pointer, f.length, f.value % 997, f.text[:4]] for f in fields
            ]
            told[f"{n} {bank} bits"] = None if bits is None else [bits[0] % 997, *bits[1:]]
    recorded(told)


def test_masks_that_were_left_out(recorded: Recorded) -> None:
    told = {}
    for step, bits_max in ((1, 4), (4, 8), (8, 96), (3, 8)):
        tally, rng = Tally(step, bits_max), random.Random(step)
        for n in range(40):
            length = rng.randint(1, 130)
            value = rng.getrandbits(length)
            tally.prefixes("long", rng.choice(("tid", "user")), 0, value >> 1 << 1, length)
            tally.once("once", ("epc", 32, length), value)
            tally.note("noted", ("epc", 32 + n % 3, 8), n % 5)
        told[f"{step} {bits_max}"] = tally.left_out()
    recorded(told)


CHAINS: dict[str, tuple[Mask, ...]] = {
    "none": (),
    "one": (Mask("epc", 32, 8, "30"),),
    "not": (Mask("epc", 40, 9, "AB80", True),),
    "and": (Mask("epc", 36, 24, "AB8011"), Mask("tid", 128, 12, "E280", False, "and")),
    "and not": (Mask("user", 0, 1, "80"), Mask("epc", 96, 16, "1234", True, "and")),
    "or": (Mask("epc", 32, 8, "30"), Mask("epc", 32, 8, "33", False, "or")),
    "or not": (Mask("epc", 32, 8, "30"), Mask("user", 8, 8, "33", True, "or")),
    "control": (Mask("epc", 16, 16, "3000"),),
    "half control": (Mask("epc", 31, 8, "30"), Mask("epc", 33, 7, "32", False, "and")),
    "far": (Mask("user", 2000, 16, "ABCD"), Mask("user", 127, 9, "AB80", True, "and")),
}


def test_gen2_commands(recorded: Recorded) -> None:
    told = {}
    for name, chain in CHAINS.items():
        document = gen2_document(chain, 96)
        told[name] = {
            "commands": [list(command.values()) for command in document["commands"]],
            "notes": gen2_lines(document)[len(chain) :],
        }
        frames = [command["frame"] for command in document["commands"]]
        assert chain_of_frames(frames) == chain
    recorded(told)


def test_truncation(recorded: Recorded) -> None:
    masks = [Mask("epc", at, n, "FF" * -(-n // 8)) for at, n in ((32, 8), (33, 8), (31, 8))]
    masks += [Mask("epc", 120, 8, "FF"), Mask("epc", 121, 8, "FF"), Mask("tid", 32, 8, "FF")]
    recorded(
        {
            f"{mask_text(mask)} {bits}": [
                *truncation((mask,), bits).reasons,
                "; ".join(truncation((mask,), bits).lacks)[90:],
            ]
            for mask in masks
            for bits in (96, 88, None)
        }
        | {name: truncation(chain, 96).reasons for name, chain in CHAINS.items()}
    )


TABLE = PowerTable(tuple((number, 10.0 + number / 4) for number in range(1, 81)))
SCORES: dict[str, Peak | Nth | Difference | None] = {
    "none": None,
    "peak": Peak(),
    "one": Peak(antennas=(2,)),
    "own": Peak(antennas=(1, 3), trim_db=((3, -2.0),), offset_db=((3, 4.25),)),
    "nth": Nth("nth", n=3, antennas=(1, 2)),
    "nth of all": Nth("nth", n=2),
    "difference": Difference("difference", antennas=(1,), against=(2, 4), floor_dbm=-80.5),
}


WHOLE = ("none", "own", "difference")  # of which all lines are told


@pytest.mark.parametrize("score", [name for name in SCORES if name != "one"])
def test_llrp(recorded: Recorded, score: str) -> None:
    told: dict[str, Any] = {}
    for number, (cutoff, step_s, turns, levels) in enumerate(
        (
            (None, None, False, (20.0,)),
            (-58.5, 0.5, False, (20.25, 22.0)),
            (-58.0, 0.25, True, (15.0,)),
        )
    ):
        in_turn = turns and SCORES[score] is not None and SCORES[score].on is not None
        chain = CHAINS["and"] if number else ()
        ways = list(keeps_of(SCORES[score], cutoff))
        keep = ways[0]
        document = llrp_document(
            levels, chain, TABLE, stop_after=number + 1, keep=keep, step_s=step_s, in_turn=in_turn
        )
        for step in document["steps"]:
            coded = step["bytes"]
            if "AISpec" in coded:
                read = of_ai_specs(coded["AISpec"])
                assert read.chain == chain
                told[f"{number} read back {step['step']}"] = [*read.power_index, [read.seconds]]
            else:
                told[f"{number} read back {step['step']}"] = of_llrp_step(coded)[0]
        told[f"{number}"] = {
            **{key: document[key] for key in document if key not in ("steps", "host_work")},
            "lines": llrp_lines(document)[: None if number < 2 and score in WHOLE else 2],
            "work": document["host_work"][: 3 * (score not in WHOLE)],
            "ways": [[w.at_least, str(w.by_antenna), w.drops, w.by_several] for w in ways],
        }
    recorded(told)


def test_llrp_of_chains(recorded: Recorded) -> None:
    told = {}
    for name, chain in CHAINS.items():
        document = llrp_document((20.0,), chain, TABLE)
        told[name] = document["steps"][0]["bytes"]
        assert of_llrp_step(document["steps"][0]["bytes"]) == (40, chain)
    recorded(told)


def test_llrp_at_its_ends(recorded: Recorded) -> None:
    """Types and lengths that fit, whether tags keep a state, turns and steps without a length."""
    told: dict[str, Any] = {}
    for kind, size in (
        (0, 0),
        (1023, 0),
        (1024, 0),
        (-1, 0),
        (5, 65531),
        (5, 65532),
        (5000, 70000),
    ):
        try:
            told[f"{kind} {size}"] = tlv(kind, b"x" * size)[:4].hex()
        except ValueError as error:
            told[f"{kind} {size}"] = str(error)
    aware = {"TagInventoryStateAware": 1, "C1G2Filter": []}
    told["aware"] = encode_parameter("C1G2InventoryCommand", aware).hex()
    cutoff, own = Keep(None, -60), Keep(SCORES["own"])
    told["work"] = [
        host_work(levels, 1, keep, ())
        for levels in ((20.0,), (20.0, 22.0))
        for keep in (Keep(), cutoff, Keep(SCORES["nth of all"]))
    ]
    plain = llrp_document((20.0,), (), TABLE)
    told["plain"] = [plain["stop_after"], plain["host_work"][0]]
    for in_turn, step_s in ((False, 2.0), (True, None), (True, 2.0)):
        found = llrp_document((20.0,), (), TABLE, keep=own, step_s=step_s, in_turn=in_turn)
        specs = found["steps"][0]["parameters"]["AISpec"]
        told[f"{in_turn} {step_s}"] = [type(specs).__name__, found["host_work"][0]]
        first = specs[0] if isinstance(specs, list) else specs
        told[f"{in_turn} {step_s} until"] = list(first["AISpecStopTrigger"].values())
    recorded(told)


def test_whole_cutoffs(recorded: Recorded) -> None:
    recorded({str(c): whole_cutoffs(c) for c in (-58.0, -58.5, -58.01, -57.99, 3.5, 0.0, -0.5)})


def test_masks_as_text(recorded: Recorded) -> None:
    tags = [
        Tag("30AB" * 6, tid="E28011F1", user="80"),
        Tag("30AB" * 2, user="8033"),
        Tag("3380" * 6, tid="E2"),
    ]
    recorded(
        {
            name: {
                "texts": [mask_text(mask) for mask in chain],
                "notes": chain_notes(chain),
                "unrecorded": unrecorded(chain, tags),
                "windows": [window(t, m.bank, m.pointer, m.length) for m in chain for t in tags],
                "matches": [m.matches(t) for m in chain for t in tags],
                "json": str([m.to_json() for m in chain]) if name == "and" else "",
            }
            for name, chain in CHAINS.items()
        }
    )


def test_patterns_that_are_refused(recorded: Recorded) -> None:
    told = {}
    for length, pattern in (
        (16, "AB CD"),
        (8, "AB00"),
        (9, "AB"),
        (9, "AB80"),
        (9, "AB40"),
        (8, "X0"),
    ):
        try:
            told[f"{length} {pattern}"] = Mask("epc", 32, length, pattern.lower()).to_json()
        except ValueError as error:
            told[f"{length} {pattern}"] = str(error).splitlines()[1].partition(" [")[0].strip()
    recorded(told)


def test_power_tables(recorded: Recorded) -> None:
    table = PowerTable(((1, 10.0), (2, 10.004), (7, 20.0), (4, 20.0), (9, 30.5)))
    told: dict[str, Any] = {}
    for asked in (10.0, 10.002, 10.005, 10.009, 9.995, 20.0, 20.005, 20.0051, 20.006, 30.495, 30):
        try:
            told[f"{asked}"] = table.index_of(asked)
        except InputError as error:
            told[f"{asked}"] = faults_of(error)
    told["same"] = [table.same_level(9, dbm) for dbm in (30.5, 30.505, 30.4951, 30.506, 30.494)]
    texts = {
        "good": "index,power_dbm\n1,10\n 2 , 10.25\n\n3,-1.5\n65535,+20.\n",
        "bom": "\ufeffindex,power_dbm\n0,10\n",
        "order": "power_dbm,index\n1,10\n",
        "index": "index,power_dbm\n65536,10\n",
        "empty": "",
        "none": "index,power_dbm\n",
        "rows": "index,power_dbm\n1,10,3\nx,10\n1,1e5\n65536,10\n5,10\n5,11\n123456,1\n",
        "quote": 'index,power_dbm\n"1,10\n',
    }
    for name, text in texts.items():
        try:
            told[name] = read_power_table(text, "table.csv").entries
        except InputError as error:
            told[name] = faults_of(error)
    recorded(told)


def test_host_rules(recorded: Recorded) -> None:
    told: dict[str, Any] = {}
    for name, score in SCORES.items():
        for at_least in (None, -60):
            keep = Keep(score, at_least)
            told[f"{name} {at_least}"] = [keep.drops, keep.by_several, *keep.work()]
    keep = Keep(SCORES["own"], None, ((1, -60), (3, -55)))
    told["own"] = [keep.drops, keep.by_several, *keep.work()]
    many = Peak(antennas=tuple(range(1, 9)), offset_db=tuple((a, a / 4) for a in range(1, 9)))
    told["of one"] = [
        [keep.drops, keep.by_several]
        for keep in (Keep(None, None, ((1, -60),)), Keep(Nth("nth", n=2, antennas=(1,))))
    ]
    told["how many ways"] = len(list(keeps_of(many, -60.5)))
    told["ways"] = [str(way.by_antenna) for way in keeps_of(many, -60.5)][::9]
    recorded(told)


def test_what_tells_tags_apart(recorded: Recorded) -> None:
    told = {}
    for seed in range(4):
        survey = small_survey(seed, passes=5, tags=8 + seed)
        told[f"{seed}"] = list(data_findings(survey, Policy()))
        told[f"{seed} serial"] = list(data_findings(survey, Policy(serial_masks=True)))
    mine = [Tag(f"AA{n:02X}", user="01") for n in range(4)]
    strays = [Tag(f"BB{n:02X}", user=f"0{n % 2 + 1}") for n in range(4)]
    for name, tags in {
        "parts": (mine, strays),
        "all wanted": (mine, []),
        "strays alike": ([Tag(f"{n}A0{n}") for n in range(1, 7)], strays),
        "most strays alike": ([*(Tag(f"{n}A0{n}") for n in range(1, 9)), Tag("BB99")], strays),
        "alike": (mine[:1], mine[1:2]),
        "half": (mine[:2] + strays[:2], mine[2:] + strays[2:]),
    }.items():
        roles = dict.fromkeys(tags[0], True) | dict.fromkeys(tags[1], False)
        entries = [(tag.epc, wanted, [-50.0]) for tag, wanted in roles.items()]
        survey = survey_of([20.0], [entries], {tag.epc: tag for tag in roles})
        told[name] = list(data_findings(survey, Policy()))
    recorded(told)
