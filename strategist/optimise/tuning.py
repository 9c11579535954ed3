"""How hard is tried: numbers that change what a search takes, never what it proves."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["DEFAULT", "Tuning"]


@dataclass(frozen=True)
class Tuning:
    """Chosen by measuring on made and demo read points (`tests/bench`)."""

    few: int = 150  # chains in all that are sooner weighed one by one than bounded together
    many: int = 200  # chains left in a node that are worth splitting it, times (50 + classes)
    at_once: int = 2_000  # selections bounded between two looks at the clock
    ladders: int = 256  # replayed before what they leave possible is asked for again
    likely_first: bool = True  # of ladders that of least bound (else the highest level)
    patience: int = 20_000  # ladders replayed for a goal that may be left unproven
    tied: int = 300  # replayed at known trade-offs before guarded losses are bounded as well

    turns: int = 20_000_000  # cells times levels that are bounded between two looks at the clock
    rounds: int = 100  # steps along a subgradient at most
    stale: int = 6  # of them without a better bound before they are halved
    over: float = 1.02  # a little more than is needed is gone for
    least_step: float = 0.02
    sieved: int = 100  # selections that are sooner looked at than sieved
    thinned: float = 0.7  # share left that is worth another round of the sieve
    cut_sample: int = 3_000  # selections that cuts are found on
    cuts: int = 8  # that all chains are held against

    joins_few: int = 5_000_000  # ways to join a mask, if they are listed without a second thought
    joins_many: int = 1_500_000_000  # if they are not even tried
    listed_max: int = 1_000_000  # selections in a list
    listed_bytes: int = 200_000_000
    longest_list: int | None = None  # masks of the longest chains that are listed (None: any)
    probe: int = 400_000  # joins drawn to tell how many selections they make
    products: int = 4_000_000  # chains weighed between two looks at the clock
    sample: int = 100_000  # selections in a sample
    left_max: int = 3_000_000  # selections that are kept together
    left_bytes: int = 128_000_000

    light: float = 5e7  # ways to make chains of one length that beams of them may come first
    start_cutoffs: int = 24  # evenly spread, that beams are tried under
    start_corners: int = 48  # (cutoff, level) pairs kept of them
    beam: int = 12  # chains kept at each number of masks

    boxes_of_two: float = 6e8  # presentations × levels × boxes, of own powers of two antennas
    boxes_of_more: float = 4e7  # of more, where only those of few reads suffice

    sturdy_chains: int = 5_000  # weighed, where chains are many, beside the best strategy
    sturdy_nodes: int = 200  # worked on, or twice as many as for the proof


DEFAULT = Tuning()
