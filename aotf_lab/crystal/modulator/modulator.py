"""What a plain modulator does: best carrier, bandwidth, Bragg angle, saturation power, and the edges to expect."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from uncertainties import UFloat, nominal_value
from uncertainties.umath import asin, degrees

from aotf_lab.crystal.efficiency.curve import SLOPE_ONLY, EfficiencyCurve
from aotf_lab.crystal.modulator.response import CarrierResponse, fit_response
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation import Check
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.physics.bragg import (
    BRAGG_REGIME_Q,
    Q_TIMES_BANDWIDTH,
    bragg_angle_deg,
    modulation_frequency_mhz,
    rise_time_us,
)
from aotf_lab.physics.coupled_waves import passband_fwhm

__all__ = ["Modulator", "fit_modulator"]


@dataclass(frozen=True)
class Modulator:
    """A modulator at one line, made by ``fit_modulator``.

    ``response`` is the light against the carrier's frequency, the cell held at its angle: its centre is the best
    carrier, its width at half of the light (-3 dB, optical) the bandwidth. ``efficiency`` is light against RF power at
    the carrier, None where that was not measured; so are ``velocity_m_s`` and the beam's ``diameter_mm`` (1/e^2, in
    the cell) where they are not known, with what follows from them.
    """

    line: str
    wavelength_nm: UFloat | float
    response: CarrierResponse = field(repr=False)
    efficiency: EfficiencyCurve | None = field(repr=False)
    velocity_m_s: UFloat | float | None
    diameter_mm: UFloat | float | None
    checks: tuple[Check, ...] = field(repr=False)

    @property
    def trusted(self) -> bool:
        """Whether every check passed."""
        return all(c.passed for c in self.checks)

    @property
    def failed(self) -> tuple[Check, ...]:
        """The checks that did not pass."""
        return tuple(c for c in self.checks if not c.passed)

    @property
    def carrier_mhz(self) -> UFloat:
        """The carrier of most light (true MHz)."""
        return self.response.carrier_mhz

    @property
    def bandwidth_mhz(self) -> UFloat:
        """Full width (MHz) at half of the light, the cell not turned."""
        return self.response.bandwidth_mhz

    @property
    def bragg_angle_deg(self) -> UFloat | None:
        """The angle (deg) outside the cell between light and wave fronts of the sound; None without a velocity."""
        if self.velocity_m_s is None:
            return None
        bragg_angle_deg(nominal_value(self.wavelength_nm), self.carrier_mhz.n, nominal_value(self.velocity_m_s))
        return degrees(asin(1e-3 * self.wavelength_nm * self.carrier_mhz / (2.0 * self.velocity_m_s)))

    @property
    def separation_deg(self) -> UFloat | None:
        """The angle (deg) between diffracted and straight light outside the cell; None without a velocity."""
        return None if self.bragg_angle_deg is None else 2.0 * self.bragg_angle_deg

    @property
    def saturation_power_w(self) -> UFloat | None:
        """RF power (true W) of most light; None where it was not measured, or the drive did not reach far enough."""
        if self.efficiency is None or self.efficiency.level == SLOPE_ONLY:
            return None
        return self.efficiency.saturation_power_w

    @property
    def klein_cook(self) -> UFloat:
        """The Klein-Cook parameter if the sound's divergence alone makes the bandwidth: 11.1 carrier / bandwidth.

        A transducer of limited bandwidth makes this larger than it is. Weak drive: the width is widened to it by the
        drive at which the response was scanned.
        """
        drive = min(max(float(nominal_value(self.response.drive_ratio)), 0.0), 2.4)
        narrowed = float(passband_fwhm(drive) / passband_fwhm(0.0))
        found = self.response.fit.parameters
        return Q_TIMES_BANDWIDTH * narrowed * found["angle_mhz"] / found["band_mhz"]

    @property
    def rise_time_us(self) -> UFloat | None:
        """Predicted 10 to 90 % time (us) of an edge: 0.6408 D/v; None without diameter or velocity."""
        if self.diameter_mm is None or self.velocity_m_s is None:
            return None
        return float(rise_time_us(1.0, 1.0)) * self.diameter_mm / self.velocity_m_s

    @property
    def modulation_frequency_mhz(self) -> UFloat | None:
        """Predicted frequency (MHz) of half the modulation: 0.7496 v/D; None without diameter or velocity."""
        if self.diameter_mm is None or self.velocity_m_s is None:
            return None
        return float(modulation_frequency_mhz(1.0, 1.0)) * self.velocity_m_s / self.diameter_mm

    def plot(self, ax: Any = None) -> Any:
        """Draw the light against the carrier's frequency, best carrier and bandwidth marked; return the Axes."""
        from aotf_lab.drawing.modulator import plot_response

        table, grid = self.response.table, np.linspace(*self.response.range_mhz, 400)
        ways = {"up": table.direction > 0, "down": table.direction < 0}
        read = {w: (table.frequency_mhz[r], table.power_mw[r] / table.light[r]) for w, r in ways.items() if r.any()}
        fitted = self.response.power_mw(grid)
        return plot_response(grid, fitted, read, self.carrier_mhz.n, self.bandwidth_mhz.n, ax)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), a pair per line of ``str``; not what is unknown."""
        values: tuple[tuple[str, Any, str], ...] = (
            ("best carrier", self.carrier_mhz, "MHz"),
            ("bandwidth (-3 dB)", self.bandwidth_mhz, "MHz"),
            ("Bragg angle", self.bragg_angle_deg, "deg outside, given v"),
            ("separation", self.separation_deg, "deg outside, given v"),
            ("saturation power", self.saturation_power_w, "W"),
            ("rise time", self.rise_time_us, "us, predicted from beam and v"),
            ("modulation to", self.modulation_frequency_mhz, "MHz at half depth, predicted from beam and v"),
        )
        return tuple((name, f"{value:.2uS} {unit}") for name, value, unit in values if value is not None)

    def _title(self) -> str:
        return f"Modulator{' at line ' + self.line if self.line else ''}, {nominal_value(self.wavelength_nm):.2f} nm"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), self.failed)

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), self.failed)


def fit_modulator(
    response: Any,
    *,
    wavelength_nm: UFloat | float,
    efficiency: EfficiencyCurve | None = None,
    velocity_m_s: UFloat | float | None = None,
    diameter_mm: UFloat | float | None = None,
    drive_ratio: UFloat | float | None = None,
    time_constant_s: UFloat | float | None = None,
    line: str = "",
) -> Modulator:
    """Return the ``Modulator`` of one line.

    ``response``: readings of light against the carrier's frequency, the cell at one angle, as ``fit_response`` takes
    them. ``efficiency`` is the curve of ``fit_efficiency`` at the carrier; ``drive_ratio`` the RF power of the response
    over that of full diffraction, if known. ``wavelength_nm`` is in vacuum, ``velocity_m_s`` that of the sound,
    ``diameter_mm`` the beam's (1/e^2) along it, ``time_constant_s`` that of the light's meter.

    Raises ``AotfLabError`` for a wavelength, velocity or diameter that is not above zero; ``ReadingsError`` and
    ``FitError`` as ``fit_response`` does.
    """
    for what, value, unit in (
        ("wavelength", wavelength_nm, "nm"), ("acoustic velocity", velocity_m_s, "m/s"), ("beam", diameter_mm, "mm"),
    ):  # fmt: skip
        if value is not None and not nominal_value(value) > 0:
            raise AotfLabError(
                f"{what} of a modulator", found=Said(f"{nominal_value(value):g} {unit}"), allowed=f"above 0 {unit}",
                cure="state it, or leave it out where it is not known",
            )  # fmt: skip
    fitted = fit_response(response, drive_ratio=drive_ratio, time_constant_s=time_constant_s, line=line)
    modulator = Modulator(line, wavelength_nm, fitted, efficiency, velocity_m_s, diameter_mm, ())
    carried = () if efficiency is None else _of_efficiency(efficiency)
    return replace(modulator, checks=(*fitted.fit.checks, *carried, _regime(modulator)))


def _of_efficiency(efficiency: EfficiencyCurve) -> tuple[Check, ...]:
    passed = efficiency.level != SLOPE_ONLY
    detail = f"efficiency against RF power is known to level {efficiency.level!r}"
    cure = "; drive harder within the rating to learn the saturation power"
    return (Check("reach", passed, detail if passed else detail + cure),)


def _regime(modulator: Modulator) -> Check:
    q = modulator.klein_cook
    detail = f"Klein-Cook parameter {q.n:.2g} by the bandwidth, at the most"
    detail += f"; from {BRAGG_REGIME_Q:g} on one order takes the light, below 1 many do"
    passed = bool(q.n >= 1.0)
    return Check("regime", passed, detail if passed else f"{detail}: the sin^2 law does not hold here")
