"""How much of each line leaks at a frequency f that is none of them: by f itself, and by its harmonics at 2 f and 3 f.

The leak of a line is the efficiency that the driver's fundamental and harmonics each give it, added, over its full
efficiency at the same supply. Orders add as powers: light of different sound frequencies is shifted by different
amounts, so that it does not interfere on a slow detector. Far from a line's peak the exact places of the passband's
nulls are not known, so that no null may be relied on: for what is sure the passband's ``upper`` counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from uncertainties import UFloat

from aotf_lab.estimation.problem import FloatArray
from aotf_lab.planning.park.drive import ParkedDrive
from aotf_lab.planning.park.harmonics import HarmonicLevel

__all__ = ["Combine", "LeakMap", "LeakModel", "PassbandsLike", "decibel", "largest_near", "line_weights"]

Combine = Literal["sum", "worst"]
"""The light of all lines that leaks, over the full light of one (their mean); or the worst line's own."""


class PassbandsLike(Protocol):
    """The light of any line at any frequency (MHz) and RF power (W): see ``crystal.passbands``."""

    @property
    def lines(self) -> Any:
        """The lines' names."""

    def peak_mhz(self, line: str) -> UFloat:
        """Return the peak (MHz)."""

    def fwhm_mhz(self, line: str) -> UFloat:
        """Return the full width at half of the peak (MHz)."""

    def saturation_power_w(self, line: str) -> UFloat:
        """Return the power of full diffraction (W)."""

    def nominal(self, line: str, frequency_mhz: Any, rf_power_w: Any) -> Any:
        """Return the efficiency without uncertainty; broadcasts."""

    def upper(self, line: str, frequency_mhz: Any, rf_power_w: Any) -> Any:
        """Return the most efficiency possible, no null relied on, all that is unknown at its worse end; broadcasts."""


def decibel(ratio: FloatArray | float) -> Any:
    """Return 10 log10 of ``ratio``, -200 for nothing."""
    return 10.0 * np.log10(np.maximum(ratio, 1e-20))


@dataclass(frozen=True)
class LeakMap:
    """Leak against ``frequency_mhz`` (n,): ratios of light, not dB.

    As estimated: ``total`` (n,) as ``Combine`` says; ``by_line`` (lines, n) each over its own full light; ``by_order``
    (orders, n) what each order adds to the total (of the worst line); ``likely`` (n,) the largest total within
    ``window_mhz``, in which the frequency may lie. ``sure`` (n,) is the largest that is possible within the window, the
    harmonics at their 95 % level. Not a number where RF power is not known.
    """

    frequency_mhz: FloatArray
    window_mhz: float
    total: FloatArray
    likely: FloatArray
    sure: FloatArray
    by_line: FloatArray
    by_order: FloatArray


@dataclass(frozen=True)
class LeakModel:
    """Leak at any frequency. ``full`` (lines,) are full efficiencies, ``weights`` (lines,) what one line's leak counts.

    ``sure`` takes each passband at the most that is possible, and each harmonic at its 95 % level.
    """

    passbands: PassbandsLike
    lines: tuple[str, ...]
    drive: ParkedDrive
    levels: tuple[HarmonicLevel, ...]
    full: FloatArray
    weights: FloatArray
    combine: Combine

    def terms(self, frequency_mhz: FloatArray, *, sure: bool = False) -> FloatArray:
        """Return the leak (lines, orders, n) of each line by each order, over the line's full light."""
        f = np.asarray(frequency_mhz, dtype=float)
        power = self.drive.nominal_w(f)
        known = np.where(np.isfinite(power), power, 0.0)
        light = self.passbands.upper if sure else self.passbands.nominal
        found = np.empty((len(self.lines), len(self.levels), len(f)))
        for k, line in enumerate(self.lines):
            for h, level in enumerate(self.levels):
                share = level.upper_share if sure else level.share
                found[k, h] = light(line, level.order * f, known * share)
        return np.where(np.isfinite(power), found / self.full[:, None, None], np.nan)

    def total(self, terms: FloatArray) -> FloatArray:
        """Return the total (n,) of ``terms`` (lines, orders, n)."""
        return np.asarray(self.shared(terms).sum(axis=(0, 1)))

    def shared(self, terms: FloatArray) -> FloatArray:
        """Return what each of ``terms`` (lines, orders, n) adds to the total."""
        if self.combine == "sum":
            return np.asarray(self.weights[:, None, None] * terms)
        worst = np.argmax(np.nan_to_num(terms).sum(axis=1), axis=0)
        return np.where(np.arange(len(self.lines))[:, None, None] == worst, terms, 0.0 * terms)

    def map(self, frequency_mhz: FloatArray, window_mhz: float) -> LeakMap:
        """Return the leak over a grid (n,) of even steps."""
        terms = self.terms(frequency_mhz)
        shared = self.shared(terms)
        total = shared.sum(axis=(0, 1))
        likely = largest_near(frequency_mhz, total, window_mhz)
        sure = largest_near(frequency_mhz, self.total(self.terms(frequency_mhz, sure=True)), window_mhz)
        return LeakMap(
            frequency_mhz, window_mhz, total, likely, sure, terms.sum(axis=1), shared.sum(axis=0)
        )  # fmt: skip


def largest_near(frequency_mhz: FloatArray, values: FloatArray, window_mhz: float) -> FloatArray:
    """Return the largest of ``values`` (n,) within the window; not a number wherever one of them is not.

    >>> largest_near(np.arange(5.0), np.array([1.0, 3.0, 2.0, 1.0, 1.0]), 1.0)
    array([nan,  3.,  3.,  2., nan])
    """
    size = 2 * int(np.ceil(window_mhz / float(frequency_mhz[1] - frequency_mhz[0]) - 1e-9)) + 1
    known = np.where(np.isfinite(values), values, np.inf)
    largest = maximum_filter1d(known, size, mode="constant", cval=np.inf)
    return np.where(np.isfinite(largest), largest, np.nan)


def line_weights(
    lines: Sequence[str], full: FloatArray, incident_mw: Mapping[str, float] | None
) -> NDArray[np.float64]:
    """Return what a line's leak counts in the sum (1 on average): its full light over the mean full light of all."""
    incident = np.ones(len(lines)) if incident_mw is None else np.array([float(incident_mw[n]) for n in lines])
    light = incident * full
    return np.asarray(light / light.mean())
