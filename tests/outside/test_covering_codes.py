"""Few columns for many rows, held against covering codes.

Rows and columns are the words of n bits, and a loss is the number of bits in which two differ
(a p-median problem on the n-cube). K words come to 2^n - K, one bit for each word that is not
chosen, exactly where every word is within one bit of a chosen one. The least such K is K(n, 1) of
the tables of binary covering codes: 2, 2, 4, 7, 12, 16 for n = 2 to 7 (Cohen, Honkala, Litsyn,
Lobstein, Covering Codes, 1997, table 6.1; K(7, 1) = 16 is Hamming's perfect code, 1950; the values
are from memory). The p-median files of the OR-Library are not to be had through a package registry.
"""

from __future__ import annotations

import numpy as np
import pytest

from strategist.optimise.templates import choose_templates

LEAST = {2: 2, 3: 2, 4: 4, 5: 7}


def bits_apart(n: int) -> np.ndarray:
    words = np.arange(2**n)
    return np.bitwise_count(words[:, None] ^ words[None]).astype(float)


@pytest.mark.parametrize(("n", "least"), LEAST.items())
def test_as_many_words_as_the_code_has_cover_all(n: int, least: int) -> None:
    found = choose_templates(bits_apart(n), least)
    assert found.proven and found.loss == 2**n - least


@pytest.mark.parametrize("n", [3, 4])
def test_one_word_fewer_does_not(n: int) -> None:
    fewer = LEAST[n] - 1
    found = choose_templates(bits_apart(n), fewer)
    assert found.proven and found.loss > 2**n - fewer
