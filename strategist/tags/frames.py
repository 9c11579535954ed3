"""Bit-level pieces of Gen2 commands: checksums, extensible bit vectors, the Query frame.

Source: GS1 EPC Gen2 (ISO/IEC 18000-63), Annex F (CRC-5, CRC-16); TDS 2.3, appendix D (EBV).
Bits are strings of 0 and 1, first bit first, since frames are seldom whole bytes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from strategist.tags.mask import Bank

__all__ = ["BANK_BITS", "CRC16_RESIDUE", "Query", "crc5", "crc16", "ebv", "residue16"]

BANK_BITS: dict[Bank, int] = {"epc": 1, "tid": 2, "user": 3}  # 0 is the reserved bank
CRC16_RESIDUE = 0x1D0F

_SEL = {"all": 0b00, "not_sl": 0b10, "sl": 0b11}
_CYCLES = {1: 0, 2: 1, 4: 2, 8: 3}  # FM0, Miller 2, 4, 8


def _remainder(bits: str, polynomial: int, width: int, preset: int) -> int:
    register = preset
    for bit in bits:
        carry = (register >> (width - 1)) ^ int(bit)
        register = (register << 1) & ((1 << width) - 1)
        if carry:
            register ^= polynomial
    return register


def crc16(bits: str) -> int:
    """CRC-16 of a command or reply: polynomial 1021h, preset FFFFh, ones' complement."""
    return residue16(bits) ^ 0xFFFF


def residue16(bits: str) -> int:
    """What the CRC-16 register holds at the end: CRC16_RESIDUE where `bits` end in their CRC."""
    return _remainder(bits, 0x1021, 16, 0xFFFF)


def crc5(bits: str) -> int:
    """CRC-5 of a Query: polynomial 101001, preset 01001; 0 over bits that end in their CRC."""
    return _remainder(bits, 0b01001, 5, 0b01001)


def ebv(value: int) -> str:
    """An unsigned number as an EBV-8: blocks of an extension bit and seven bits of the number."""
    blocks = [f"{value & 127:08b}"]
    while value := value >> 7:
        blocks.append(f"{value & 127 | 128:08b}")
    return "".join(reversed(blocks))


@dataclass(frozen=True, slots=True)
class Query:
    """A Query command. `cycles` is 1 for FM0, 2, 4 or 8 for Miller; `divide` True is DR 64/3.

    Raises ValueError on values that the frame cannot hold.
    """

    sel: Literal["all", "not_sl", "sl"] = "all"
    session: int = 0
    target_b: bool = False
    q: int = 4
    divide: bool = False
    cycles: Literal[1, 2, 4, 8] = 1
    pilot: bool = False

    def __post_init__(self) -> None:
        if self.sel not in _SEL or self.cycles not in _CYCLES:
            raise ValueError("sel all, not_sl or sl; cycles 1, 2, 4 or 8")
        if not (0 <= self.session <= 3 and 0 <= self.q <= 15):
            raise ValueError("session 0–3, q 0–15")

    def frame(self) -> str:
        """22 bits: 1000, DR, M (2), TRext, Sel (2), session (2), target, Q (4), CRC-5."""
        body = f"1000{int(self.divide)}{_CYCLES[self.cycles]:02b}{int(self.pilot)}"
        body += f"{_SEL[self.sel]:02b}{self.session:02b}{int(self.target_b)}{self.q:04b}"
        return body + f"{crc5(body):05b}"
