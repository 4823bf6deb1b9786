"""The reflection at the crystal's connector over the band, and what it leaves for the crystal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from uncertainties import UFloat, ufloat

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation.checks import Check
from aotf_lab.estimation.evaluate import require_inside, split
from aotf_lab.estimation.named_rows import rows_html
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.reading.readings import Readings

__all__ = ["MATCHED_DB", "Match"]

MATCHED_DB = 10.0
"""Return loss from which a load is called matched: nine tenths of the power absorbed (common practice, no source)."""

_TITLE = "reflection at the crystal"


@dataclass(frozen=True)
class Match:
    """Reflection against frequency, made by ``fit_match``.

    ``frequency_mhz`` (n,) rises; ``reflection`` (n,) is the voltage reflection at the crystal, complex where its
    phase was measured, its size (as a complex number without phase) where not. A coupler or bridge of directivity
    D lets 10^(-D/20) of the forward wave leak into the reflected one, with a phase that nobody knows: ``leak`` is
    that bound, so that the size of the true reflection lies within ``leak`` of the one shown. Between the
    frequencies measured the reflection is interpolated along straight lines.
    """

    readings: Readings = field(repr=False)
    frequency_mhz: FloatArray = field(repr=False)
    reflection: np.ndarray[Any, np.dtype[np.complex128]] = field(repr=False)
    leak: float
    directivity_db: float
    checks: tuple[Check, ...] = field(default=())

    @property
    def range_mhz(self) -> tuple[float, float]:
        """The lowest and highest frequency measured (MHz)."""
        return float(self.frequency_mhz[0]), float(self.frequency_mhz[-1])

    def reflection_size(self, frequency_mhz: Any) -> Any:
        """Return |gamma| (0 to 1) as shown, scalar or array (n,); raises ``OutOfRangeError`` outside ``range_mhz``."""
        nominal, _, scalar = split(frequency_mhz)
        sizes = self._sizes(nominal)
        return float(sizes[0]) if scalar else sizes

    def return_loss_db(self, frequency_mhz: Any) -> Any:
        """Return the return loss (dB, positive) as shown; raises ``OutOfRangeError`` outside ``range_mhz``."""
        return -20.0 * np.log10(np.maximum(self.reflection_size(frequency_mhz), 1e-12))

    def return_loss_bounds_db(self, frequency_mhz: Any) -> tuple[Any, Any]:
        """Return the lowest and the highest return loss (dB) that the directivity allows; inf where it hides all.

        Raises ``OutOfRangeError`` outside ``range_mhz``.
        """
        size = np.asarray(self.reflection_size(frequency_mhz))
        with np.errstate(divide="ignore"):
            low = -20.0 * np.log10(np.minimum(size + self.leak, 1.0)) + 0.0
            high = -20.0 * np.log10(np.maximum(size - self.leak, 0.0))
        return (low, high) if low.ndim else (float(low), float(high))

    def vswr(self, frequency_mhz: Any) -> Any:
        """Return the voltage standing wave ratio (1 or more) as shown, infinite where everything is reflected.

        Raises ``OutOfRangeError`` outside ``range_mhz``.
        """
        size = np.minimum(self.reflection_size(frequency_mhz), 1.0)
        with np.errstate(divide="ignore"):
            ratio = (1.0 + size) / (1.0 - size)
        return ratio if np.ndim(ratio) else float(ratio)

    def absorbed(self, frequency_mhz: float) -> UFloat:
        """Return the share of the forward power that does not come back, 1 - |gamma|^2, with the directivity's u.

        The leak adds to gamma with any phase, so |gamma| is off by leak cos(phase), standard uncertainty
        leak / sqrt 2 (arcsine distribution, GUM H.1.7 form). What the cable takes is not known here.
        Raises ``OutOfRangeError`` outside ``range_mhz``.
        """
        size = float(self.reflection_size(frequency_mhz))
        u = float(np.hypot(2.0 * size * self.leak / 2.0**0.5, self.leak**2))
        return ufloat(1.0 - min(size, 1.0) ** 2, u, tag="directivity of the coupler")

    def matched_bands(self, least_db: float = MATCHED_DB, *, sure: bool = True) -> tuple[tuple[float, float], ...]:
        """Return the bands (low, high, MHz) in which the return loss reaches ``least_db``.

        With ``sure`` even the lowest return loss that the directivity allows reaches it. Raises ``AotfLabError``
        for a ``least_db`` that is not above zero.
        """
        if not least_db > 0:
            raise AotfLabError("least return loss", found=least_db, allowed="above 0 dB", cure="ask for 10 dB, say")
        limit = 10.0 ** (-least_db / 20.0) - (self.leak if sure else 0.0)
        return tuple(_below(self._fine(), limit, self._sizes))

    def plot(self, ax: Any = None) -> Any:
        """Draw return loss over the band with the bound of the directivity; return the Axes."""
        from aotf_lab.drawing.match import plot_match

        fine = self._fine()
        low, high = self.return_loss_bounds_db(fine)
        return plot_match(fine, self.return_loss_db(fine), low, high, MATCHED_DB, self.matched_bands(), ax=ax)

    def _fine(self) -> FloatArray:
        return np.unique(np.concatenate([np.linspace(*self.range_mhz, 1001), self.frequency_mhz]))

    def _sizes(self, frequency_mhz: FloatArray) -> FloatArray:
        require_inside("frequency", frequency_mhz, *self.range_mhz, "MHz")
        real = np.interp(frequency_mhz, self.frequency_mhz, self.reflection.real)
        imaginary = np.interp(frequency_mhz, self.frequency_mhz, self.reflection.imag)
        return np.asarray(np.hypot(real, imaginary))

    def _lines(self) -> list[tuple[str, str]]:
        fine = self._fine()
        losses = self.return_loss_db(fine)
        worst, best = int(np.argmin(losses)), int(np.argmax(losses))
        low, high = self.range_mhz
        bands = ", ".join(f"{a:.1f} to {b:.1f} MHz" for a, b in self.matched_bands()) or "nowhere for sure"
        share = self.absorbed(float(fine[worst]))
        return [
            ("measured", f"{low:.6g} to {high:.6g} MHz, {self.frequency_mhz.size} frequencies"),
            (
                "lowest return loss",
                f"{losses[worst]:.1f} dB at {fine[worst]:.1f} MHz, VSWR {self.vswr(fine[worst]):.2f}",
            ),
            ("absorbed there", f"{100 * share.n:.0f} % +- {100 * share.s:.1f} %"),
            ("highest return loss", f"{losses[best]:.1f} dB at {fine[best]:.1f} MHz"),
            (f"return loss of {MATCHED_DB:g} dB or more, for sure", bands),
            ("directivity", f"{self.directivity_db:g} dB"),
        ]

    def __str__(self) -> str:
        failed = [str(c) for c in self.checks if not c.passed]
        return text_lines([_TITLE, *(f"  {n}: {t}" for n, t in self._lines()), *failed])

    def _repr_html_(self) -> str:
        return rows_html(_TITLE, self._lines(), (c for c in self.checks if not c.passed))


def _below(places: FloatArray, limit: float, sizes: Any) -> Sequence[tuple[float, float]]:
    """Return the stretches of ``places`` in which ``sizes`` stays at or below ``limit``, ends refined linearly."""
    values = sizes(places)
    inside = values <= limit
    edges = np.flatnonzero(np.diff(inside.astype(int)))
    crossings = [
        float(places[k] + (limit - values[k]) / (values[k + 1] - values[k]) * (places[k + 1] - places[k]))
        for k in edges
    ]
    ends = ([float(places[0])] if inside[0] else []) + crossings + ([float(places[-1])] if inside[-1] else [])
    return list(zip(ends[::2], ends[1::2], strict=True))


def found_size(size: float) -> Said:
    """Return a reflection as an error shows it."""
    return Said(f"|gamma| = {size:.4g}")
