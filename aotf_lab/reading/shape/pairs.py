"""Least and greatest reading of one quantity: the reading is their middle, its u their half width over sqrt(3)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from aotf_lab.reading.shape.heading import Heading

__all__ = ["middle_and_u", "settle_pairs"]

_RMS_OF_PP = 8.0**-0.5


def settle_pairs(found: Sequence[Heading]) -> tuple[Heading, ...]:
    """Return the headings with whole pairs kept; a mean beside a pair wins, half a pair is not used."""
    settled = list(found)
    parts: dict[tuple[str, tuple[int, int, str, str]], dict[str, Heading]] = {}
    for heading in found:
        if heading.column:
            parts.setdefault((heading.column, heading.marks.group), {})[heading.marks.part] = heading
    for own in parts.values():
        mean = own.get("mean") or own.get("")
        for part in {"min", "max"} & own.keys():
            if mean is not None or not {"min", "max"} <= own.keys():
                why = f"{mean.header!r} stands beside it" if mean else f"a {part} alone is no reading"
                half = own[part]
                settled[half.position] = replace(half, column="", evidence=f"not used: {why}", settled=True)
    whole = {id(h) for own in parts.values() for h in own.values()}
    return tuple(
        replace(h, marks=replace(h.marks, part=""))
        if h.marks.part == "mean" and h.column
        else replace(h, evidence=f"{h.evidence}; {_said(h)}")
        if h.marks.part in ("min", "max") and h.column and id(h) in whole
        else h
        for h in settled
    )


def _said(half: Heading) -> str:
    if half.reads:
        return f"{half.marks.part} of a wave: the level is (max - min) / sqrt(8), that of a sine"
    return f"{half.marks.part} of a pair: the reading is the middle, u the half width / sqrt(3) (GUM 4.3.7)"


def middle_and_u(
    least: NDArray[np.float64], greatest: NDArray[np.float64], is_swing: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64] | None]:
    """Return the reading and its u of pairs; a rectangular distribution, JCGM 100:2008, 4.3.7.

    With ``is_swing`` they are the ends of a wave and the reading is its rms as that of a sine, without a u.
    A u of 0 becomes NaN: the pair does not show it.

    >>> value, u = middle_and_u(np.array([1.0]), np.array([3.0]), False)
    >>> value[0], round(u[0], 4)
    (np.float64(2.0), np.float64(0.5774))
    """
    if is_swing:
        return (greatest - least) * _RMS_OF_PP, None
    half = np.abs(greatest - least) / 2.0
    return (least + greatest) / 2.0, np.where(half > 0.0, half / np.sqrt(3.0), np.nan)
