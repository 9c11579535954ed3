"""Mask chains as Gen2 Select commands on the SL flag, and their frames.

Source: GS1 EPC Gen2 (ISO/IEC 18000-63). The order of the Select actions is that of Table 6-30 of
version 2.0.1, CRC-16 that of Annex F; extensible bit vectors are those of TDS 2.3, appendix D; the
layout of the Select frame and the rules of truncation are from memory. Bits are strings of 0 and 1,
first bit first, since frames are seldom whole bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from strategist.tags.mask import EPC_START, Bank, Mask, chain_notes

BANK_BITS: dict[Bank, int] = {"epc": 1, "tid": 2, "user": 3}  # 0 is the reserved bank
_TARGET_SL = 0b100

# Action → what a matching and a non-matching tag do to SL: set it, clear it, turn it, leave it.
ACTIONS: tuple[tuple[str, str], ...] = (
    ("set", "clear"),
    ("set", "leave"),
    ("leave", "clear"),
    ("turn", "leave"),
    ("clear", "set"),
    ("clear", "leave"),
    ("leave", "set"),
    ("leave", "turn"),
)

# (join, negate) → action. The first mask writes SL for every tag, so no stale flag survives it.
_ACTION_OF = {
    (None, False): 0,
    (None, True): 4,
    ("or", False): 1,
    ("and", False): 2,
    ("and", True): 5,
    ("or", True): 6,
}


def crc16(bits: str) -> int:
    """CRC-16 of a command (Annex F): polynomial 1021h, preset FFFFh, ones' complement."""
    register = 0xFFFF
    for bit in bits:
        carry = (register >> 15) ^ int(bit)
        register = (register << 1) & 0xFFFF
        if carry:
            register ^= 0x1021
    return register ^ 0xFFFF


def ebv(value: int) -> str:
    """An unsigned number as an EBV-8: blocks of an extension bit and seven bits of the number."""
    blocks = [f"{value & 127:08b}"]
    while value := value >> 7:
        blocks.append(f"{value & 127 | 128:08b}")
    return "".join(reversed(blocks))


@dataclass(frozen=True, slots=True)
class Select:
    """One Select command on the SL flag, without truncation.

    `action` is 0–7 (see ACTIONS), `mask` a string of 0 and 1, 0 to 255 long, `pointer` a bit
    address.
    """

    action: int
    bank: Bank
    pointer: int
    mask: str

    def frame(self) -> str:
        """The command as bits: 45 + length with a pointer below 128, 8 more for each EBV block.

        1010, target (3), action (3), bank (2), pointer (EBV), length (8), mask, truncate, CRC-16.
        """
        body = f"1010{_TARGET_SL:03b}{self.action:03b}{BANK_BITS[self.bank]:02b}"
        body += f"{ebv(self.pointer)}{len(self.mask):08b}{self.mask}0"
        return body + f"{crc16(body):016b}"


def commands_for(chain: Sequence[Mask]) -> tuple[Select, ...]:
    """The Select commands that leave SL set on exactly the tags a mask chain lets through.

    To be followed by a Query with Sel = SL; an empty chain needs no command and a Query with
    Sel = all.
    """
    return tuple(
        Select(
            _ACTION_OF[None if position == 0 else mask.join, mask.negate],
            mask.bank,
            mask.pointer,
            f"{mask.value:0{mask.length}b}",
        )
        for position, mask in enumerate(chain)
    )


@dataclass(frozen=True, slots=True)
class Truncation:
    """Whether the last Select may ask for shortened replies, why not, and what they then lack."""

    permitted: bool
    reasons: tuple[str, ...]
    lacks: tuple[str, ...]


def truncation(chain: Sequence[Mask], epc_bits: int | None = None) -> Truncation:
    """Whether Truncate may be set for a chain whose tags have EPCs of at least `epc_bits` bits.

    From memory of Gen2, and cautious where memory is short: the last Select, on SL, on the EPC
    bank, with a mask that ends inside the EPC. Every tag let through must match that mask, so
    it is not joined by "or", and no mask is negated. Without `epc_bits` the end is not judged.
    """
    if not chain:
        return Truncation(False, ("no mask, so no Select command",), ())
    last = chain[-1]
    end = last.pointer + last.length
    reasons = {
        "the last mask is not on the EPC bank": last.bank != "epc",
        "a mask is negated": any(mask.negate for mask in chain),
        'the last mask is joined by "or", so not every tag let through matches it': (
            len(chain) > 1 and last.join == "or"
        ),
        "the last mask begins before the EPC": last.bank == "epc" and last.pointer < EPC_START,
        "the last mask ends behind the EPC of some tags": (
            last.bank == "epc" and epc_bits is not None and end > EPC_START + epc_bits
        ),
    }
    against = tuple(reason for reason, holds in reasons.items() if holds)
    return Truncation(not against, against, () if against else _lacks(last))


def _lacks(last: Mask) -> tuple[str, ...]:
    said = [
        "The reply is five zero bits, the EPC behind the mask and a CRC: no PC word, so the host "
        "learns neither the length of the EPC nor the toggle bit.",
        f"EPC bits {last.pointer} to {last.pointer + last.length - 1} are not sent; they equal "
        "the mask, so the host can put them back.",
    ]
    if last.pointer > EPC_START:
        said.append(f"EPC bits {EPC_START} to {last.pointer - 1} are not sent and are lost.")
    return tuple(said)


def gen2_document(chain: Sequence[Mask], epc_bits: int | None = None) -> dict[str, Any]:
    """A mask chain as plain JSON values: the Select commands, the Query after them, and notes.

    `epc_bits` is the shortest EPC among the tags, for the judgement on truncation.
    """
    offer = truncation(chain, epc_bits)
    return {
        "format": "gen2",
        "commands": [_command_json(command) for command in commands_for(chain)],
        "query_sel": "SL" if chain else "all",
        "truncation": {
            "permitted": offer.permitted,
            "reasons": list(offer.reasons),
            "lacks": list(offer.lacks),
        },
        "notes": _notes(chain),
    }


def gen2_lines(document: dict[str, Any]) -> tuple[str, ...]:
    """The document of `gen2_document` as lines for a person."""
    lines = [
        f"{number}. Select SL, action {c['action']} ({c['action_words']}), bank {c['bank']}, "
        f"pointer {c['pointer']} ({c['pointer']:02X}h), length {c['length']}, mask {c['mask']}"
        for number, c in enumerate(document["commands"], 1)
    ]
    sel = document["query_sel"]
    lines.append(f"{len(lines) + 1}. Query with Sel = {sel}")
    if document["truncation"]["permitted"]:
        lines.append("Truncate may be set in the last Select. What its replies then lack:")
        lines += [f"  {sentence}" for sentence in document["truncation"]["lacks"]]
    return (*lines, *document["notes"])


def _command_json(command: Select) -> dict[str, Any]:
    match, other = ACTIONS[command.action]
    length = len(command.mask)
    size = (length + 7) // 8
    return {
        "command": "Select",
        "target": "SL",
        "action": command.action,
        "action_words": f"match: {match} SL; no match: {other} SL",
        "bank": command.bank,
        "bank_bits": f"{BANK_BITS[command.bank]:02b}",
        "pointer": command.pointer,
        "length": length,
        "mask": f"{int(command.mask, 2) << (8 * size - length):0{2 * size}X}",
        "truncate": 0,
        "frame": command.frame(),
    }


def _notes(chain: Sequence[Mask]) -> list[str]:
    return [
        "Levels, cutoff and stop rule are no part of Gen2 commands: the reader and its host set "
        "them.",
        *chain_notes(chain),
    ]
