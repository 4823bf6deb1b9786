"""Pseudo-random bits by a linear feedback shift register."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import AotfLabError

__all__ = ["POLYNOMIALS", "pseudo_random_bits"]

POLYNOMIALS: dict[int, int] = {7: 6, 9: 5, 11: 9, 15: 14}
"""Order n -> k of x^n + x^k + 1: 9, 11 and 15 as in ITU-T O.150, 7 common practice; all from memory."""


def pseudo_random_bits(order: int = 9) -> NDArray[np.int8]:
    """Return one period (2^order - 1 bits) of a sequence in which every pattern of ``order`` bits but all 0 occurs.

    Raises ``AotfLabError`` for an order without a polynomial here.

    >>> pseudo_random_bits(7)[:14].tolist()
    [1, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 1]
    """
    if order not in POLYNOMIALS:
        raise AotfLabError(
            "no pseudo-random sequence of this order", found=order,
            allowed=f"one of {', '.join(map(str, POLYNOMIALS))}", cure="name one of them",
        )  # fmt: skip
    length = 2**order - 1
    bits = np.ones(length, dtype=np.int8)
    for i in range(order, length):
        bits[i] = bits[i - order] ^ bits[i - POLYNOMIALS[order]]
    return bits
