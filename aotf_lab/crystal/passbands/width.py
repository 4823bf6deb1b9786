"""How wide a line's passband is: from its own scan, else by a law over the scans of the other lines."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat, covariance_matrix

from aotf_lab.crystal.scan.passband import Scan
from aotf_lab.estimation import new_cause
from aotf_lab.physics.coupled_waves import passband_fwhm

__all__ = ["Shape", "WidthLaw", "half_height_span", "shape_of"]

_MOST_DRIVE = 2.4
_LINE_SPREAD, _SLOPE = 0.03, 0.5
"""By how much single lines' widths lie off any smooth law, and the u of d ln(width) / d ln(frequency) about nothing
(common practice, no source: beam and transducer shape the width more than its weak trend)."""

_U_LEAN = 0.03
"""By how much the lean of lines differs, at the least."""


@dataclass(frozen=True)
class Shape:
    """Detuning per MHz (rad/MHz) and lean of a passband."""

    rate_per_mhz: UFloat
    skew: UFloat


def half_height_span(drive_ratio: float, skew: float) -> float:
    """Return the distance (rad, before the lean) of the two half heights of a passband at this drive and lean.

    >>> round(half_height_span(0.0, 0.0), 5)
    2.78311
    """
    half = math.pi / 2 * float(passband_fwhm(min(max(drive_ratio, 0.0), 3.9)))
    return sum(_half_point(half, side * skew) for side in (1, -1))


def _half_point(half: float, lean: float) -> float:
    """Return d > 0 with d (1 - lean tanh d) = ``half``, by Newton's steps."""
    d = half
    for _ in range(20):
        tanh = math.tanh(d)
        d -= (d * (1.0 - lean * tanh) - half) / (1.0 - lean * (tanh + d * (1.0 - tanh * tanh)))
    return d


def shape_of(scan: Scan) -> Shape:
    """Return the shape that ``scan`` found, as it is in weak drive: its width is that at its own drive."""
    drive, skew = min(max(scan.drive_ratio.n, 0.0), _MOST_DRIVE), scan.skew.n
    middle = half_height_span(drive, skew)
    step = 1e-3
    low = max(drive - step, 0.0)
    by_drive = (half_height_span(drive + step, skew) - half_height_span(low, skew)) / (drive + step - low)
    by_skew = (half_height_span(drive, skew + step) - half_height_span(drive, skew - step)) / (2 * step)
    span = middle + by_drive * (scan.drive_ratio - scan.drive_ratio.n) + by_skew * (scan.skew - skew)
    return Shape(span / scan.fwhm_mhz, scan.skew)


@dataclass(frozen=True)
class WidthLaw:
    """ln(rate) as a straight line in ln(frequency) over the scanned lines, and their common lean."""

    level: UFloat
    slope: UFloat
    reference_mhz: float
    scatter: float
    skew: UFloat

    @classmethod
    def over(cls, scans: Mapping[str, Scan]) -> WidthLaw:
        """Return the law over one scan or more."""
        shapes = {name: shape_of(scan) for name, scan in scans.items()}
        rates = [s.rate_per_mhz for s in shapes.values()]
        nominal = np.array([r.n for r in rates])
        place = np.log([scan.centre_mhz.n for scan in scans.values()])
        middle = float(place.mean())
        own = np.array(covariance_matrix(rates)) / np.outer(nominal, nominal)
        weights, scatter = _weights(np.log(nominal), place - middle, own)
        logs = [r / r.n - 1 + float(np.log(r.n)) for r in rates]
        prior = new_cause("width against frequency, unknown", _SLOPE)
        spread = [new_cause("widths of single lines", scatter) for _ in logs]
        terms = [log + s for log, s in zip(logs, spread, strict=True)]
        level, slope = (sum(float(w) * t for w, t in zip(row, [*terms, prior], strict=True)) for row in weights)
        return cls(level, slope, math.exp(middle), scatter, _common_lean([s.skew for s in shapes.values()]))

    def at(self, peak_mhz: float) -> Shape:
        """Return the shape of a line without its own scan at ``peak_mhz``."""
        away = math.log(peak_mhz / self.reference_mhz)
        log = self.level + away * self.slope + new_cause("widths of single lines", self.scatter)
        rate = math.exp(log.n)
        return Shape(rate * (1 + (log - log.n)), self.skew + new_cause("leans of single lines", _U_LEAN))


def _weights(y: np.ndarray, x: np.ndarray, own: np.ndarray) -> tuple[tuple[np.ndarray, np.ndarray], float]:
    """Return the weights of the readings in level and slope (its last: of the prior), and the lines' scatter."""
    design = np.vstack([np.column_stack([np.ones_like(x), x]), [0.0, 1.0]])
    scatter = _LINE_SPREAD
    for _ in range(2):
        v = np.zeros((len(x) + 1, len(x) + 1))
        v[:-1, :-1] = own + scatter**2 * np.eye(len(x))
        v[-1, -1] = _SLOPE**2
        weighted = design.T @ np.linalg.inv(v)
        w = np.linalg.solve(weighted @ design, weighted)
        left = y - design[:-1] @ (w @ np.append(y, 0.0))
        found = float(left @ left) / max(len(x) - 2, 1)
        scatter = math.sqrt((2 * _LINE_SPREAD**2 + max(len(x) - 2, 0) * found) / (2 + max(len(x) - 2, 0)))
    return (w[0], w[1]), scatter


def _common_lean(leans: list[UFloat]) -> UFloat:
    mean = sum(leans[1:], leans[0]) / len(leans)
    spread = float(np.std([s.n for s in leans], ddof=1)) if len(leans) > 1 else 0.0
    return mean + new_cause("lean of a line never scanned", spread)
