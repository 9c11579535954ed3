"""Air-interface times of Gen2 / ISO 18000-63: link profile, frames and slots.

Formulas of the link timing as in Gen2 (Table 6-16) and in an academic implementation of it
(A. Larionov's thesis models). All times in microseconds. Bits of changing content are taken as
half ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

DivideRatio = Literal["8", "64/3"]
_RATIOS = {"8": 8.0, "64/3": 64 / 3}
_DELIMITER_US = 12.5
_QUERY_BITS, _QUERY_REP_BITS, _ACK_BITS, _SELECT_BITS = 22, 4, 18, 45
_RN16_BITS, _PC_AND_CRC_BITS = 16, 32


def blf_khz(divide_ratio: DivideRatio, trcal_us: float) -> float:
    """Backscatter link frequency in kHz: DR / TRcal."""
    return _RATIOS[divide_ratio] / trcal_us * 1000


def t1_us(rtcal_us: float, khz: float) -> float:
    """Nominal wait in us from a command to the tag's reply: max(RTcal, 10 Tpri)."""
    return max(rtcal_us, 10 * 1000 / khz)


def t4_us(rtcal_us: float) -> float:
    """Shortest wait in us between two commands such as Select: 2 RTcal."""
    return 2 * rtcal_us


@dataclass(frozen=True)
class LinkProfile:
    """How a reader and its tags talk; the ranges are those of Gen2.

    `tari_us` 6.25-25; `data1_tari` length of a one, 1.5-2 Tari; `trcal_us` 1.1-3 RTcal; `miller`
    symbols a bit of the tag (1 is FM0); `long_preamble` is TRext; `t2_tpri` the reader's wait
    after a reply, 3-20 Tpri, and `t3_rtcal` its extra wait, after T1, for a reply that does not
    come, in RTcal; `session` 0-3; `epc_bits` the EPC sent.
    """

    tari_us: float
    data1_tari: float
    trcal_us: float
    divide_ratio: DivideRatio = "64/3"
    miller: int = 1
    long_preamble: bool = False
    t2_tpri: float = 11.5  # the middle of the range
    t3_rtcal: float = 1.0
    session: int = 1
    epc_bits: int = 96

    @property
    def rtcal_us(self) -> float:
        """A zero and a one together."""
        return self.tari_us * (1 + self.data1_tari)

    @property
    def blf_khz(self) -> float:
        return blf_khz(self.divide_ratio, self.trcal_us)

    @property
    def t1_us(self) -> float:
        return t1_us(self.rtcal_us, self.blf_khz)

    @property
    def t2_us(self) -> float:
        return self.t2_tpri * 1000 / self.blf_khz

    def command_us(self, bits: int, ones: float | None = None) -> float:
        """A command after its frame-sync; half of its bits are ones if `ones` is not known."""
        many = bits / 2 if ones is None else ones
        sync = _DELIMITER_US + self.tari_us + self.rtcal_us
        return sync + self.tari_us * ((bits - many) + many * self.data1_tari)

    @property
    def query_us(self) -> float:
        """Query: the only command with TRcal in its preamble."""
        return self.command_us(_QUERY_BITS) + self.trcal_us

    @property
    def query_rep_us(self) -> float:
        """QueryRep: 00 and the two bits of the session."""
        return self.command_us(_QUERY_REP_BITS, ones=self.session.bit_count())

    def select_us(self, length: int, pointer: int = 0) -> float:
        """Select with a mask of `length` bits: 45 + L bits, 8 more per further pointer byte."""
        further = max(1, -(-pointer.bit_length() // 7)) - 1  # an EBV byte holds 7 bits
        return self.command_us(_SELECT_BITS + length + 8 * further)

    def reply_us(self, bits: int) -> float:
        """A tag's reply: preamble, bits, and the dummy bit at the end."""
        preamble = (18 if self.long_preamble else 6) + (0 if self.miller == 1 else 4)
        return (preamble + bits + 1) * self.miller * 1000 / self.blf_khz

    @property
    def empty_slot_us(self) -> float:
        """A slot in which no tag answers: T1 + T3, without the QueryRep that opens it."""
        return self.t1_us + self.t3_rtcal * self.rtcal_us

    @property
    def collided_slot_us(self) -> float:
        """A slot in which several answer and none is understood: T1 + RN16 + T2."""
        return self.t1_us + self.reply_us(_RN16_BITS) + self.t2_us

    @property
    def read_slot_us(self) -> float:
        """A slot in which one tag is read: T1 + RN16 + T2 + ACK + T1 + (PC, EPC, CRC) + T2."""
        epc = self.reply_us(_PC_AND_CRC_BITS + self.epc_bits)
        return self.collided_slot_us + self.command_us(_ACK_BITS) + self.t1_us + epc + self.t2_us


# Settings over the range, named by modulation and link frequency in kHz (`site.json` chooses one):
# common practice, no source.
LINK_PROFILES: dict[str, LinkProfile] = {
    "fm0-640": LinkProfile(6.25, 1.5, 100 / 3),
    "fm0-320": LinkProfile(12.5, 1.5, 200 / 3),
    "miller2-320": LinkProfile(12.5, 1.5, 200 / 3, miller=2),
    "miller4-256": LinkProfile(25.0, 1.5, 250 / 3, miller=4),
    "miller8-160": LinkProfile(25.0, 1.5, 400 / 3, miller=8),
}
