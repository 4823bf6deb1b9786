"""The peaks as numbers: highest frequency first, and an error that all share told apart from their own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from uncertainties import UFloat

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.problem import FloatArray

__all__ = ["Peaks", "as_peaks"]

_ALIKE = 1e-6
"""Relative difference below which an error moves two frequencies alike."""


@dataclass(frozen=True)
class Peaks:
    """Peaks in the order of falling frequency, which is that of rising wavelength.

    ``own`` are their frequencies (MHz) without the relative error that all share; ``shared`` is one plus that
    error, by which a scale is off and a wavelength is not.
    """

    names: tuple[str, ...]
    own: tuple[UFloat, ...]
    shared: UFloat | float

    def __len__(self) -> int:
        return len(self.names)

    @property
    def frequency_mhz(self) -> FloatArray:
        """Frequencies (n,) in MHz."""
        return np.array([p.n for p in self.own])

    @property
    def u_mhz(self) -> FloatArray:
        """Their own standard uncertainties (n,) in MHz."""
        return np.array([p.s for p in self.own])


def as_peaks(peaks: Mapping[str, UFloat] | Sequence[UFloat]) -> Peaks:
    """Return the peaks, a sequence being named after its frequencies.

    Raises ``ReadingsError`` for no peak, one without uncertainty or not above zero, and two of one frequency.
    """
    named = dict(peaks) if isinstance(peaks, Mapping) else _named(peaks)
    if not named:
        raise ReadingsError(
            "no peak to identify", found=0, allowed="one peak or more", cure="give the frequencies of the peaks"
        )
    for name, peak in named.items():
        if not (isinstance(peak, UFloat) and peak.n > 0 and peak.s > 0 and np.isfinite(peak.n) and np.isfinite(peak.s)):
            raise ReadingsError(
                f"peak {name} is no frequency with its uncertainty", found=Said(str(peak)),
                allowed="a ufloat above zero, in MHz, with an uncertainty above zero",
                cure="give ufloat(frequency_mhz, u_frequency_mhz)",
            )  # fmt: skip
    order = sorted(named, key=lambda name: -named[name].n)
    _require_distinct(order, named)
    shared = _shared(list(named.values()))
    own = [named[name] - named[name].n * shared for name in order]
    if min(p.s for p in own) <= 0:  # nothing of its own: the shared error is all there is
        return Peaks(tuple(order), tuple(named[name] for name in order), 1.0)
    return Peaks(tuple(order), tuple(own), 1.0 + shared)


def _named(peaks: Sequence[UFloat]) -> dict[str, UFloat]:
    """Return the peaks by name; those of like names get a number."""
    named: dict[str, UFloat] = {}
    for k, peak in enumerate(peaks, start=1):
        name = f"{peak.n:.2f} MHz" if isinstance(peak, UFloat) else str(peak)
        named[name if name not in named else f"{name} ({k})"] = peak
    return named


def _require_distinct(order: Sequence[str], named: Mapping[str, UFloat]) -> None:
    for a, b in pairwise(order):
        if named[a].n == named[b].n:
            raise ReadingsError(
                f"two peaks of one frequency: {a} and {b}", found=Said(f"{named[a].n:.6g} MHz twice"),
                allowed="peaks of different frequencies", cure="give each peak once",
            )  # fmt: skip


def _shared(peaks: Sequence[UFloat]) -> Any:
    """Return the relative error (mean 0) that moves all peaks alike, the time base of a counter for example."""
    parts = [{v: d / p.n for v, d in p.derivatives.items() if v.std_dev > 0} for p in peaks]
    if len(parts) < 2:
        return 0.0
    common = [v for v in parts[0] if all(v in part for part in parts)]
    alike = [v for v in common if np.ptp([part[v] for part in parts]) <= _ALIKE * abs(parts[0][v])]
    return sum((parts[0][v] * (v - v.nominal_value) for v in alike), 0.0)
