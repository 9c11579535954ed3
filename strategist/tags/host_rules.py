"""What the host does with a reader's reports, since LLRP has no cutoff, count or comparison.

PeakRSSI is a whole number of dBm, so what it is held against is one, too. Reports are kept apart by
antenna where AntennaID is asked for, and come one for each read where the report trigger is one
tag (LLRP 1.0.1, TagReportContentSelector and ROReportSpec, from memory).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

from strategist.survey.order import figure
from strategist.survey.policy import DECIMALS
from strategist.survey.score import Difference, Nth, Peak

__all__ = ["Keep", "keeps_of", "whole_cutoffs"]

_WAYS_MAX = 64  # to make the cutoffs of antennas whole that are tried


@dataclass(frozen=True)
class Keep:
    """Which tags the host keeps at a step: those whose score is at least `at_least`.

    `at_least` is a whole number of dBm, of dB where the score is a difference (None: any). Where
    antennas have cutoffs of their own, `by_antenna` has them in dBm and `at_least` is None.
    """

    score: Peak | Nth | Difference | None = None
    at_least: int | None = None
    by_antenna: tuple[tuple[int, int], ...] = ()

    @property
    def drops(self) -> bool:
        """Whether some reports are dropped."""
        other = isinstance(self.score, Nth | Difference)
        return other or self.at_least is not None or bool(self.by_antenna)

    @property
    def by_several(self) -> bool:
        """Whether the reads of several antennas are told apart, or counted together."""
        several = isinstance(self.score, Nth | Difference) or bool(self.by_antenna)
        return several and (self.score is None or self.score.on is None or len(self.score.on) > 1)

    def work(self) -> list[str]:
        """The host's work for antennas and cutoff, as whole sentences."""
        score, work = self.score, []
        if score is not None and score.on is not None:
            work.append(
                f"Antennas: list {_antennas(score.on)} alone in the AISpec; no other may radiate."
            )
        if isinstance(score, Nth):
            return [*work, self._count(score)]
        if isinstance(score, Difference):
            return [*work, self._compare(score)]
        if self.by_antenna:
            own = ", ".join(f"{dbm} dBm from antenna {antenna}" for antenna, dbm in self.by_antenna)
            work.append(
                "Cutoff by antenna: ask for AntennaID and PeakRSSI in the reports, so that those "
                f"of a tag are kept apart by antenna; keep {own}, and above; drop the others. One "
                "report kept is enough. LLRP has no cutoff, and PeakRSSI is a whole number of dBm."
            )
        elif self.at_least is not None:
            work.append(
                "Cutoff: ask for PeakRSSI in the reports, keep "
                f"{self.at_least} dBm and above and drop the others. LLRP has no cutoff, and "
                "PeakRSSI is a whole number of dBm."
            )
        return work

    def _count(self, score: Nth) -> str:
        held = "" if self.at_least is None else f" with a PeakRSSI of {self.at_least} dBm or above"
        return (
            f"Count: ask for PeakRSSI and a report for each read (ROReportSpec, N = 1); at each "
            f"step keep a tag once it has {score.n} reports{held} there, whichever antenna they "
            "are from. A report that sums up reads (TagSeenCount above 1) tells their peak alone "
            "and counts once. LLRP neither counts nor drops."
        )

    def _compare(self, score: Difference) -> str:
        floor = "" if score.floor_dbm is None else f" {figure(score.floor_dbm)} dBm"
        held = "any difference" if self.at_least is None else f"{self.at_least} dB or more"
        return (
            "Compare: ask for AntennaID and PeakRSSI in the reports. At the end of each step take, "
            f"for each tag, the strongest PeakRSSI of {_antennas(score.antennas)} less the "
            f"strongest of {_antennas(score.against)}; a side without a report, or with a weaker "
            f"one, counts as{floor}. Keep the tags with {held}. LLRP does not compare antennas."
        )


def _antennas(antennas: tuple[int, ...]) -> str:
    *most, last = map(str, antennas)
    return f"antennas {', '.join(most)} and {last}" if most else f"antenna {last}"


def whole_cutoffs(cutoff: float) -> tuple[int, ...]:
    """The whole numbers that may stand for a cutoff where RSSI is reported in such: the next
    stronger, then the next weaker; one where it is a whole number."""
    return tuple(dict.fromkeys((math.ceil(cutoff), math.floor(cutoff))))


def keeps_of(score: Peak | Nth | Difference | None, cutoff: float | None) -> Iterator[Keep]:
    """The ways to say a score and its cutoff in whole numbers, stronger before weaker."""
    if cutoff is None:
        yield Keep(score)
    elif isinstance(score, Peak) and score.offset_db and score.antennas:
        offset = dict(score.offset_db)
        own_dbm = [round(cutoff + offset.get(a, 0.0), DECIMALS) for a in score.antennas]
        wholes = map(whole_cutoffs, own_dbm)
        for own in itertools.islice(itertools.product(*wholes), _WAYS_MAX):
            yield Keep(score, None, tuple(zip(score.antennas, own, strict=True)))
    else:
        for whole in whole_cutoffs(cutoff):
            yield Keep(score, whole)
