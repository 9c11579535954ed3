"""Tags, masks and settings on small inputs drawn from a seed, so many that ends and rare forms are
met."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from typing import Any

from strategist.errors import InputError
from strategist.survey.policy import Reader
from strategist.survey.records import Tag
from strategist.survey.score import Difference, Nth, Peak
from strategist.tags.candidates import find_candidates
from strategist.tags.epc import decode
from strategist.tags.gen2 import commands_for, crc16, ebv, gen2_document, truncation
from strategist.tags.host_rules import keeps_of
from strategist.tags.llrp import llrp_document, llrp_lines
from strategist.tags.mask import Mask, chain_accepts, chain_notes, unrecorded
from strategist.tags.meaning import Repeats, Runs
from strategist.tags.power_table import PowerTable, read_power_table
from strategist.tags.read_back import chain_of_frames, of_ai_specs, of_llrp_step
from strategist.tags.schemes import HEADERS, LAYOUTS
from strategist.tags.tid import decode_tid
from strategist.tags.uri import epc_of_uri
from tests.recorded.told import faults_told

Recorded = Callable[..., None]


def fields_of(fields: Any) -> str:
    return ", ".join(
        f"{f.name[:9]} {f.pointer}+{f.length}{'' if f.structural else '~'} {f.text} ({f.words})"
        for f in fields
    )


def epc_of(rng: random.Random, header: int) -> str:
    """An EPC by the layout of a header, most parts within their rules; other ones as they come."""
    scheme = LAYOUTS.get(header)
    if scheme is None:
        digits = "".join(rng.choices("0123456789" if rng.random() < 0.7 else "09AF", k=24))
        return f"{header:02X}{digits}"[: rng.choice((2, 4, 6, 16, 18, 20, 24))]
    bits = ""
    for part in scheme.parts(rng.choice((0, 1, 3, 5, 6))):
        size, most = part.bits, (1 << part.bits) - 1
        kind = part.kind.name
        value = rng.choice((0, 1, most, most >> 3, 10 ** max(0, part.digits) - 1, 10**part.digits))
        if part.name == "header":
            value = header
        elif part.name == "partition":
            value = rng.choice((0, 3, 6))
        elif kind == "TEXT":
            text = rng.choices(
                b'A9-z%"', k=rng.choice((0, 1, part.digits, max(1, part.digits - 1)))
            )
            text += [0] * (part.digits - len(text))
            if rng.random() < 0.15 and text:
                text[-1] = rng.choice((1, 35, 65))
            value = int("".join(f"{code:07b}" for code in text) or "0", 2)
        elif kind == "CAGE":
            value = int.from_bytes(rng.choice((b" CAGE1", b"CAGE12", b" CAGEI", b"  AGE1")))
        elif kind == "ZERO":
            value = rng.random() < 0.1
        bits += f"{value & most:0{size}b}" if size else ""
    if rng.random() < 0.5 and scheme.key is not None:
        bits = bits[:11] + f"{rng.randint(0, 7):03b}" + bits[14:]
    if rng.random() < 0.1:
        bits = bits[:-16] if rng.random() < 0.5 else bits + "0" * 16
    return f"{int(bits, 2):0{len(bits) // 4}X}"


def test_fields_of_epcs(recorded: Recorded) -> None:
    found = {}
    for header in [*LAYOUTS, *HEADERS, 0x00, 0xE2, 0xEF, 0xFE]:
        for n in range(9 if header in LAYOUTS else 3):
            epc = epc_of(random.Random(header * 16 + n), header)
            found[epc] = fields_of(decode(epc))
    recorded(found)


def test_fields_of_tids(recorded: Recorded) -> None:
    found = {}
    for seed in range(70):
        rng = random.Random(seed)
        head = rng.choice(("E2", "E2", "E0", "E1"))
        head += f"{rng.choice((0x00, 0x80, 0xFF, 0x40, 0x8F)):02X}"
        more = f"{rng.choice((0x0110, 0xF123)):04X}{rng.choice((0, 1, 2, 7)) << 13 | 5:04X}"
        tid = head + more + "A5" * rng.choice((0, 1, 2, 4, 5, 7, 18, 20))
        tid = tid[: rng.choice((2, 4, 6, 8, 10, 12, 14, 16, 18, 99, 99))]
        found[tid] = fields_of(decode_tid(tid))
    recorded(found)


def test_hex_of_uris(recorded: Recorded) -> None:
    found = {}
    numbers = (
        "",
        "0",
        "00",
        "5",
        "05",
        "123",
        "31200",
        "1234567890",
        "274877906943",
        "274877906944",
    )
    companies = ("9521141", "952114", "95211", "952114112345", "9521141123456", "X")
    schemes: tuple[str, ...] = (
        "sgtin-96",
        "sgtin-198",
        "sscc-96",
        "sgln-96",
        "grai-96",
        "grai-170",
        "giai-96",
    )
    schemes += (
        "giai-202",
        "gdti-96",
        "gdti-174",
        "cpi-96",
        "gsrn-96",
        "gid-96",
        "usdod-96",
        "sgln-195",
    )
    for seed in range(400):
        rng = random.Random(seed)
        scheme, pure = rng.choice(schemes), rng.random() < 0.3
        parts = [rng.choice(companies), rng.choice(numbers), rng.choice((*numbers, "a%2Fb", "a/b"))]
        if scheme in ("sscc-96", "giai-96", "giai-202", "gsrn-96") and rng.random() < 0.8:
            size = {"sscc-96": 17, "gsrn-96": 17}.get(scheme, 9) - len(parts[0])
            parts = [parts[0], "123456789012"[:size]]
        if scheme in ("sgtin-96", "sgtin-198") and rng.random() < 0.7:
            parts[1] = "0312001234567"[: max(0, 13 - len(parts[0]))]
        if scheme in ("sgln-96", "gdti-96", "grai-96", "sgln-195") and rng.random() < 0.7:
            parts[1] = "1234567"[: max(0, 12 - len(parts[0]))]
        given = [] if pure or scheme == "gid-96" else [rng.choice("0137889")]
        name = scheme.partition("-")[0] if pure else scheme
        uri = f"urn:epc:{'id' if pure else 'tag'}:{name}:{'.'.join([*given, *parts])}"
        hexes = [epc_of_uri(uri), epc_of_uri(uri, 3)]
        if any(hexes):
            found[uri] = f"{hexes[0]} {hexes[1] if hexes[1] != hexes[0] else ''}"
    recorded(found)


def drawn_tags(rng: random.Random) -> list[Tag]:
    """Few tags of short data, so that values repeat, banks lack and all orders of size occur."""
    heads = ("3034257BF4", "3034257BF5", "3334257BF4", "AB01", "AB02", "E2", "F74952111411234567")
    some = rng.sample(heads, rng.choice((1, 2, 3)))
    tags = []
    for n in range(rng.choice((1, 3, 4, 6, 9, 14, 17))):
        head = rng.choice(some)
        size = 24 if head.startswith("3") else rng.choice((4, 6, 8, 18))
        low = f"{n:02X}" if rng.random() < 0.6 else rng.choice(("07", "FF"))
        epc = (head + "".join(rng.choices("0F7", k=24)))[: max(size - 2, len(head))] + low
        tid = rng.choice((None, "E2801105", "E280F105", "E2801105", "E0", f"E28011{n:02X}2000"))
        user = rng.choice((None, "00", "0001", f"{n % 3:02X}", f"00{n:02X}"))
        tags.append(Tag(epc, tid=tid, user=user))
    return list({tag.epc: tag for tag in tags}.values())


def test_candidates(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    for seed in range(60):
        rng = random.Random(seed)
        tags, step, bits = (
            drawn_tags(rng),
            rng.choice((8, 8, 8, 4, 16, 5)),
            rng.choice((8, 16, 24, 96)),
        )
        one = find_candidates(
            tags,
            Reader(mask_step_bits=step, mask_bits_max=max(bits, step)),
            serial_masks=seed % 3 == 0,
        )
        masks = [
            f"{m.bank} {m.pointer}+{m.length} {m.pattern} {words} {row.astype(int)}"
            for m, words, row in zip(one.masks, one.words, one.matches, strict=True)
        ]
        found[f"{seed}"] = {
            "of": f"{len(tags)} {step} {bits}: {one.listed} {len(masks)}",
            "masks": [*masks[:2], *masks[-1:]],
            "classes": one.tag_class,
            "left out": [
                f"{o.masks} {o.reason[:40]}: {'; '.join(o.examples[: 9 * (seed % 4 == 0)])}"
                for o in one.left_out
            ],
        }
    recorded(found)


BYTES = (*[0] * 6, *[1] * 4, 2, 2, *range(200, 206))


def test_plain_values_that_repeat(recorded: Recorded) -> None:
    """Bytes of some tags in plain runs that reach so far, judged alone and by those before them."""
    found = {}
    for seed in range(60):
        rng = random.Random(seed)
        count, size = rng.choice((3, 4, 6, 12, 20)), rng.choice((1, 2, 3))
        values = [int.from_bytes(rng.choices(BYTES, k=size)) for _ in range(count)]
        plain = Runs()
        for n in range(count):
            plain.tags["user", 0, 8 * rng.choice((size, size, size - 1))] |= 1 << n

        def selected(
            bank: Any, begin: int, length: int, values: Any = values, size: int = size
        ) -> Any:
            by_value: dict[int, int] = {}
            for n, value in enumerate(values):
                part = value >> (8 * size - begin - length) & ((1 << length) - 1)
                by_value[part] = by_value.get(part, 0) | 1 << n
            return by_value

        repeats = Repeats(plain, selected)
        windows = [(begin, length) for begin in (0, 4, 8) for length in (3, 4, 5, 8, 9)
                   if begin + length <= 8 * size]  # fmt: skip
        found[f"{seed}"] = " ".join(f"{repeats.tags('user', *one):x}" for one in windows)
    recorded(found)


def drawn_chain(rng: random.Random) -> tuple[Mask, ...]:
    chain = []
    for n in range(rng.choice((0, 1, 1, 2, 3))):
        length = rng.choice((1, 3, 7, 8, 9, 16, 96))
        pointer = rng.choice((0, 15, 31, 32, 33, 120, 127, 128, 2047, 4000))
        bank = rng.choice(("epc", "epc", "tid", "user"))
        mask = Mask.of_value(bank, pointer, length, rng.getrandbits(length))  # type: ignore[arg-type]
        join = rng.choice(("and", "or")) if n else None
        chain.append(Mask(mask.bank, pointer, length, mask.pattern, rng.random() < 0.35, join))  # type: ignore[arg-type]
    return tuple(chain)


def test_commands_of_chains(recorded: Recorded) -> None:
    found: dict[str, Any] = {}
    tags = [
        Tag("30AB" * 6, tid="E28011F1", user="80"),
        Tag("30AB" * 2, user="8033"),
        Tag("00" * 62),
    ]
    for seed in range(80):
        rng = random.Random(seed)
        chain = drawn_chain(rng)
        bits = rng.choice((None, 16, 88, 95, 96, 97, 496))
        frames = [one.frame() for one in commands_for(chain)]
        assert chain_of_frames(frames) == chain
        document = gen2_document(chain, bits)
        said = truncation(chain, bits)
        told = [f"{one['action']} {one['mask']} {one['length']}" for one in document["commands"]]
        found[f"{seed}"] = [
            *told, document["query_sel"], f"{said.permitted} {len(said.lacks)}", *said.reasons,
            "".join(str(int(chain_accepts(chain, tag))) for tag in tags),
            f"{len(chain_notes(chain))} {' '.join(unrecorded(chain, tags))[-60:]}",
            *(frame[-16:] for frame in frames),
        ]  # fmt: skip
    found["ebv"] = [ebv(n) for n in (0, 1, 126, 127, 128, 129, 16383, 16384, 4095)]
    found["crc"] = [f"{crc16(bits):04X}" for bits in ("", "0", "1", "10" * 9, "1" * 33)]
    recorded(found)


def test_settings_of_a_reader(recorded: Recorded) -> None:
    """Ladders, scores and chains as LLRP parameters, which are read back as they were."""
    table = PowerTable(tuple((n, 10.0 + n / 4) for n in range(1, 81)))
    found: dict[str, Any] = {}
    for seed in range(40):
        rng = random.Random(seed)
        chain = drawn_chain(rng)
        antennas = tuple(sorted(rng.sample(range(1, 5), rng.choice((1, 2, 3)))))
        own = tuple((a, rng.choice((-1.5, 0.0, 2.25))) for a in antennas)
        score = rng.choice(
            (None, Peak(), Peak(antennas=antennas), Nth("nth", n=2),
             Nth("nth", n=3, antennas=antennas), Peak(antennas=antennas, offset_db=own),
             Peak(antennas=antennas, trim_db=own[:1]),
             Difference("difference", antennas=antennas[:1], against=(5,)))
        )  # fmt: skip
        cutoff = rng.choice((None, -60.0, -60.5, -0.5))
        if isinstance(score, Difference) and cutoff is None:
            cutoff = 3.5
        keeps = list(keeps_of(score, cutoff))
        levels = tuple(sorted(rng.sample((12.0, 15.25, 20.0, 26.5), rng.choice((1, 2, 3)))))
        step_s, in_turn = rng.choice((None, 0.25, 1.0)), rng.random() < 0.4
        document = llrp_document(
            levels,
            chain,
            table,
            stop_after=seed % 3 + 1,
            keep=keeps[-1],
            step_s=step_s,
            in_turn=in_turn,
        )
        back = []
        for step in document["steps"]:
            coded = step["bytes"]
            if "AISpec" in coded:
                read = of_ai_specs(coded["AISpec"])
                assert read.chain == chain
                back.append(f"{read.power_index} {read.seconds}")
            else:
                assert of_llrp_step(coded)[1] == chain
                back.append(f"{of_llrp_step(coded)[0]}")
        work = document["host_work"]
        lines = llrp_lines(document)
        found[f"{seed}"] = {
            "back": back,
            "keeps": [f"{k.at_least} {k.by_antenna} {k.drops} {k.by_several}" for k in keeps],
            "bytes": document["steps"][-1]["bytes"] if seed % 5 == 0 else {},
            "work": [one[:200] for one in work[:-2]] if seed % 3 == 0 else len(work),
            "lines": [len(lines), *lines[:2]],
            "kept": {key: document[key] for key in document if "keep" in key},
        }
    recorded(found)


def test_power_tables(recorded: Recorded) -> None:
    found: dict[str, Any] = {}

    def asked(ask: Callable[..., Any], *given: Any) -> str:
        try:
            return str(ask(*given))
        except InputError as error:
            return faults_told(error)[:60] + error.faults[0].allowed[27:60]

    def table_of(rows: Sequence[tuple[int, float]]) -> PowerTable:
        return PowerTable(tuple(rows))

    for seed in range(50):
        rng = random.Random(seed)
        rows = [(rng.choice((0, 1, 2, 3, 65535, 65536, -1)) if rng.random() < 0.2 else 10 + n,
                 rng.choice((10.0, 10.005, 10.01, 15.0, 20.0, -3.0)))
                for n in range(rng.choice((0, 1, 2, 4)))]  # fmt: skip
        told = [asked(lambda rows: len(table_of(rows).entries), rows)]
        if told[0].isdigit():
            table = table_of(rows)
            told += [asked(table.index_of, x)
                     for x in (10.0025, 10.0051, 9.995, 9.9949, 17.5, 20.005)]  # fmt: skip
            told += [
                f"{table.same_level(rows[0][0], rows[0][1] + x):g}" for x in (0.005, 0.0051, -0.006)
            ]
        found[f"{seed}"] = told
        cells = ("1", "65535", "65536", "-1", "x", "12.5", "10.", "+3", "1e3", "", " 7 ", "1000.5")
        lines = ["index,power_dbm"] * (rng.random() < 0.9)
        lines += [
            ",".join(rng.choices(cells, k=rng.choice((2, 2, 2, 1, 3))))
            for _ in range(rng.choice((1, 2)))
        ]
        text = "\n".join(lines)
        found[text.replace("\n", "/")] = asked(
            lambda text: read_power_table(text, "t").entries, text
        )
    recorded(found)
