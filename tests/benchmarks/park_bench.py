"""A simulated bench whose oscillator is to be parked: truth, what is known of it, and the true leak by brute force.

The leak is computed from the coupled-wave formula with all its nulls, nothing of ``planning.park`` in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from uncertainties import UFloat, ufloat

from aotf_lab.crystal.passbands.passband import Passband
from aotf_lab.crystal.passbands.passbands import Passbands
from aotf_lab.driver.level import fit_level, safe_supply
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.planning import Curves
from tests.benchmarks.level_bench import BAND_MHZ, BAND_SUPPLY_V, RUN_MHZ, SUPPLIES_V, U_SCALE, Bench, some_bench
from tests.benchmarks.one_drive_bench import DriveTruth, _level_part
from tests.park_passbands import WEAK_FWHM, LawPassband, LawPassbands

Floats = NDArray[np.float64]

DRIFT_MHZ = 0.10
U_SATURATION, U_WIDTH, U_PEAK_MHZ, U_LEAN, U_TOP = 0.03, 0.005, 0.003, 0.006, 0.02
BAND = (44.0, 96.0)
FINE_MHZ = np.linspace(*BAND, 13001)
SUPPLY_V = 8.5


@dataclass(frozen=True)
class Share:
    """A harmonic as a trace shows it."""

    order: int
    share: UFloat


@dataclass(frozen=True)
class ParkTruth:
    """Amplifier, passbands, and the true level (dBc) of each harmonic."""

    amplifier: Bench
    bands: LawPassbands
    dbc: dict[int, float]

    def by_line(self, frequency_mhz: Floats) -> Floats:
        """Return the true leak (lines, n) of each line over its own full light."""
        power = self.amplifier.matched_w(SUPPLY_V, frequency_mhz)
        rows = []
        for band in self.bands.bands.values():
            peak = band.peak_mhz.n
            full = band.efficiency(peak, float(self.amplifier.matched_w(SUPPLY_V, np.array([peak]))[0]))
            light = band.efficiency(frequency_mhz, power)
            for order, dbc in self.dbc.items():
                light = light + band.efficiency(order * frequency_mhz, power * 10 ** (dbc / 10))
            rows.append(light / full)
        return np.array(rows)

    def total(self, frequency_mhz: Floats) -> Floats:
        """Return the light (n,) of all lines that leaks over the mean full light of one, all equally bright."""
        full = [
            b.efficiency(b.peak_mhz.n, float(self.amplifier.matched_w(SUPPLY_V, np.array([b.peak_mhz.n]))[0]))
            for b in self.bands.bands.values()
        ]
        weights = np.array(full) / np.mean(full)
        return np.asarray(weights @ self.by_line(frequency_mhz))

    def best_db(self, window_mhz: float) -> float:
        """Return the least leak (dB) of any frequency, the largest within the window counting."""
        leak = self.total(FINE_MHZ)
        size = 2 * int(np.ceil(window_mhz / (FINE_MHZ[1] - FINE_MHZ[0]))) + 1
        inside = slice(size // 2, len(leak) - size // 2)
        return float(10 * np.log10(maximum_filter1d(leak, size)[inside].min()))


def some_truth(rng: np.random.Generator, *, other_wings: bool, loose_harmonics: bool) -> ParkTruth:
    """Return a bench of five to eight lines."""
    amplifier = some_bench(rng, str(rng.choice(["output", "drive"])), mismatch=False)
    while True:
        peaks = np.sort(rng.uniform(50.0, 95.0, int(rng.integers(5, 9))))
        if np.all(np.diff(peaks) > 2.0):
            break
    middle, width, lean = rng.uniform(0.25, 0.55), rng.uniform(0.2, 0.4), rng.normal(0.0, 0.08)
    wings = 1 + (0.06 * rng.normal() if other_wings else 0.0)
    bands = {
        f"L{k}": LawPassband(
            ufloat(f, U_PEAK_MHZ), ufloat(width * (1 + 0.06 * (f - 64) / 30), U_WIDTH * width),
            ufloat(middle * (64.2 / f) ** 1.6, 1e-9), float(rng.uniform(0.75, 0.95)), lean, wings,
        )
        for k, f in enumerate(peaks)
    }  # fmt: skip
    spread = 6.0 if loose_harmonics else 3.0
    return ParkTruth(amplifier, LawPassbands(bands), {2: -20 + spread * rng.normal(), 3: -25 + spread * rng.normal()})


def known_of(rng: np.random.Generator, truth: ParkTruth) -> tuple[Curves, Passbands, tuple[Share, ...]]:
    """Return what a session knows: the level is measured and fitted anew, the passbands are drawn about the truth.

    Peaks, widths, leans and saturation powers are drawn from the uncertainties stated here, as scans and efficiency
    runs give them; saturation powers and amplifier share the scale of the scope. Far wings are never known.
    """
    common = tuple(CommonError(n, "rf_power_w", "relative", new_cause(n, u), s) for n, (u, s) in U_SCALE.items())
    drive = DriveTruth(truth.amplifier, {}, {}, 0.0)
    level = fit_level([_level_part(rng, drive, common, v, f) for v, f in (
        (BAND_SUPPLY_V + 0 * BAND_MHZ, BAND_MHZ), (SUPPLIES_V, RUN_MHZ + 0 * SUPPLIES_V))])  # fmt: skip
    rated = 10.0  # far above: what is safe is the question of the other benchmarks
    curves = Curves(None, None, None, {}, rated, level=level, safe=safe_supply(level, rated))
    lean = truth.bands.bands["L0"].lean + U_LEAN * rng.normal()
    of = {n: _known_band(rng, n, b, truth.amplifier.scale, common, lean) for n, b in truth.bands.bands.items()}
    shares = []
    for order, dbc in truth.dbc.items():
        share = 10 ** (dbc / 10)
        shown = max(share * (1 + 0.05 * rng.normal()), 1e-6)
        shares.append(Share(order, ufloat(shown, 0.05 * shown, tag="harmonics of the driver")))
    return curves, Passbands(of, {}), tuple(shares)


def _known_band(
    rng: np.random.Generator, name: str, band: LawPassband, scale: float, common: tuple[CommonError, ...], lean: float
) -> Passband:
    shown = ufloat(band.saturation_w.n / scale * (1 + U_SATURATION * rng.normal()), U_SATURATION * band.saturation_w.n)
    for error in common:
        shown = error.applied_to(shown)
    peak, width = (ufloat(rng.normal(x.n, x.s), x.s) for x in (band.peak_mhz, band.fwhm_mhz))
    top = ufloat(band.top * (1 + U_TOP * rng.normal()), U_TOP * band.top)
    return Passband(name, None, peak, np.pi * WEAK_FWHM / width, ufloat(lean, U_LEAN), shown, top)
