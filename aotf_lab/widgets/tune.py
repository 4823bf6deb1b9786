"""Turn the oscillator: which wavelength passes at a drive voltage, and how much light of each line, by what.

The light of a line comes by the frequency itself and by the driver's harmonics of it: what 2 f or 3 f lets through is
a ghost, since nothing at f would explain it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.passbands.passband import Passband
from aotf_lab.drawing.panel_tune import TunePicture
from aotf_lab.errors import OutOfRangeError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.air import vacuum_to_air
from aotf_lab.planning.curves import light_lost_percent
from aotf_lab.planning.one_drive import require_amplifier
from aotf_lab.planning.park.drive import ParkedDrive, parked_drive
from aotf_lab.planning.park.harmonics import HarmonicLevel, harmonic_levels
from aotf_lab.planning.set_point import shown
from aotf_lab.session import Session
from aotf_lab.widgets.controls import choice, number
from aotf_lab.widgets.panel import Panel

__all__ = ["LineLight", "TunePanel", "TuneState", "tune_state"]

_WORTH_SAYING = 1e-3
_BY = {1: "f", 2: "2 f", 3: "3 f"}
_NO_LINE = "none"


@dataclass(frozen=True)
class LineLight:
    """Light of a line at the frequency set: ``off_mhz`` from its peak.

    ``likely`` (orders,) is the efficiency by f, 2 f and 3 f; ``most`` (orders,) what it is at the most where no number
    can be stated, beyond the main lobe of the passband, else nan. ``efficiency`` is that by f alone within the main
    lobe, else None.
    """

    line: str
    off_mhz: float
    likely: FloatArray
    most: FloatArray
    efficiency: UFloat | None

    @property
    def shown_light(self) -> FloatArray:
        """What is drawn (orders,): the number where there is one, else the most."""
        return np.where(np.isnan(self.most), self.likely, self.most)

    @property
    def words(self) -> str:
        """The light in words, by what it comes; empty where there is next to none."""
        parts = []
        for order, likely, most in zip(_BY, self.likely, self.most, strict=False):
            if order == 1 and self.efficiency is not None:
                parts.append(shown(self.efficiency))
            elif max(likely, most if np.isfinite(most) else 0.0) >= _WORTH_SAYING:
                size = f"{likely:.2g}" if np.isnan(most) else f"at most {most:.2g}"
                parts.append(size if order == 1 else f"ghost of {size} by {_BY[order]}")
        return "; ".join(parts)


@dataclass(frozen=True)
class TuneState:
    """What a drive voltage sets; made by ``tune_state``. What cannot be given is None, and ``remarks`` say why."""

    drive_v: float
    supply_v: float
    drive: ParkedDrive
    frequency_mhz: UFloat
    sensitivity_mhz_per_v: float
    wavelength_nm: UFloat | None
    rf_power_w: UFloat | None
    light: tuple[LineLight, ...]
    nearest: str
    fwhm_mhz: float
    harmonics: tuple[HarmonicLevel, ...]
    remarks: tuple[str, ...]

    @property
    def title(self) -> str:
        """The setting in a line."""
        return f"{self.drive_v:.4f} V makes {shown(self.frequency_mhz)} MHz"

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit)."""
        u = self.frequency_mhz.s
        lost = light_lost_percent(2.0 * u, self.fwhm_mhz)
        near = next(e for e in self.light if e.line == self.nearest) if self.light else None
        found = [
            ("frequency", f"{shown(self.frequency_mhz)} MHz"),
            ("its uncertainty", f"{1e3 * u:.2g} kHz = {1e3 * u / self.sensitivity_mhz_per_v:.2g} mV = "
             f"{100 * u / self.fwhm_mhz:.2g} % of the passband's width; up to {lost:.2g} % of the light lost (95 %)"),
        ]  # fmt: skip
        if self.wavelength_nm is not None:
            air = float(vacuum_to_air(self.wavelength_nm.n))
            found.append(("line that passes", f"{shown(self.wavelength_nm)} nm in vacuum, {air:.2f} nm in air"))
        if self.rf_power_w is not None:
            found.append(("RF power", f"{shown(self.rf_power_w)} W at a supply of {self.supply_v:.2f} V"))
        if near is not None:
            off = f"{1e3 * near.off_mhz:+.0f} kHz from its peak"
            found.append(("nearest line", f"{near.line}, {'at its peak' if abs(near.off_mhz) < 5e-4 else off}"))
        found += [(f"light of {e.line}", e.words or f"below {_WORTH_SAYING:g}") for e in self.light]
        return tuple(found)

    @property
    def picture_words(self) -> str:
        """The picture in a sentence."""
        let_in = [e.line for e in self.light if float(np.max(e.shown_light)) >= 0.1]
        lit = f"lines with a tenth of their light or more: {', '.join(let_in)}" if let_in else "no line is let through"
        return (
            f"Above, the light of every line against frequency at this supply, with f, 2 f and 3 f marked; below, the "
            f"passbands near {self.frequency_mhz.n:.3f} MHz, and the light of each line by f, 2 f and 3 f; {lit}."
        )


def tune_state(session: Session, drive_v: float, supply_v: float) -> TuneState:
    """Return what ``drive_v`` (V, as the voltmeter of the oscillator's readings shows it) sets.

    The amplifier stands at ``supply_v``. Raises ``OutOfRangeError`` outside what the oscillator or the supply was
    measured at, ``UnsafeDriveError`` above the safe supply, ``AotfLabError`` where a curve is missing.
    """
    vco, passbands = session.vco, session.passbands
    drive = parked_drive(session, session.curves, supply_v, None)
    frequency: UFloat = vco.frequency(drive_v)
    remarks = []
    wavelength = power = None
    try:
        wavelength = session.tuning.wavelength(frequency)
    except OutOfRangeError as error:
        remarks.append(f"no line: {error}")
    try:
        power = drive.power_w(frequency.n)
    except OutOfRangeError as error:
        remarks.append(f"no light: {error}")
    orders = harmonic_levels(session.driver_harmonics, session.curves.assumed_driver)
    if session.driver_harmonics is None:
        remarks.append("no trace was saved: harmonics of -20 and -25 dBc assumed")
    light: tuple[LineLight, ...] = ()
    if power is not None:
        light = tuple(_light(passbands.of[n], frequency, power, orders) for n in passbands.lines)
    nearest = min(passbands.lines, key=lambda n: abs(passbands.peak_mhz(n).n - frequency.n))
    return TuneState(
        drive_v, supply_v, drive, frequency, float(vco.sensitivity(drive_v).n), wavelength, power, light, nearest,
        float(passbands.fwhm_mhz(nearest).n), orders, tuple(remarks),
    )  # fmt: skip


def _light(band: Passband, frequency: UFloat, power: UFloat, orders: tuple[HarmonicLevel, ...]) -> LineLight:
    f = frequency.n * np.array([h.order for h in orders])
    watts = power.n * np.array([h.share for h in orders])
    lobe = np.array([band.in_main_lobe(a, b) for a, b in zip(f.tolist(), watts.tolist(), strict=True)])
    most = np.where(lobe, np.nan, band.upper(f, watts))
    efficiency = band.efficiency(frequency, power) if lobe[0] else None
    return LineLight(band.line, frequency.n - band.peak_mhz.n, band.nominal(f, watts), most, efficiency)


class TunePanel(Panel[TuneState]):
    """Set a voltage, a frequency or a line; the other controls follow, and picture and numbers with them."""

    heading = "Tune"

    def __init__(self, session: Session, drive_v: float | None = None) -> None:
        """Open on ``drive_v``, by default on the first line of ``session`` within the oscillator's reach."""
        self.session = session
        vco = session.vco
        level, safe = require_amplifier(session.curves, "light at a setting")
        self._peaks = {n: float(session.passbands.peak_mhz(n).n) for n in session.passbands.lines}
        reach = vco.range_mhz
        near = [n for n, f in self._peaks.items() if reach[0] <= f <= reach[1]]
        volts = drive_v if drive_v is not None else vco.drive(self._peaks[near[0]]).n if near else sum(vco.range_v) / 2
        top = min(safe.supply_v, level.range_v[1])
        chosen = session.part("one_drive")
        self.line = choice("Go to line", [_NO_LINE, *near], near[0] if near and drive_v is None else _NO_LINE)
        self.drive_v = number("Drive voltage", round(volts, 4), *vco.range_v, 0.01, "V")
        self.frequency_mhz = number("Frequency", round(vco.frequency(volts).n, 4), *reach, 0.01, "MHz")
        supply = top if chosen is None else chosen.supply_v
        self.supply_v = number("Amplifier supply", supply, level.range_v[0], top, 0.05, "V")
        super().__init__([[self.line, self.drive_v], [self.frequency_mhz, self.supply_v]])
        self._picture = TunePicture(self._peaks, level.range_mhz)
        self.watch(self.line, first=self._to_line)
        self.watch(self.frequency_mhz, first=self._from_frequency)
        self.watch(self.drive_v, first=self._from_drive)
        self.watch(self.supply_v)
        self.refresh()

    def _to_line(self) -> None:
        if self.line.value != _NO_LINE:
            self.frequency_mhz.value = round(self._peaks[self.line.value], 4)
            self.drive_v.value = round(self.session.vco.drive(self._peaks[self.line.value]).n, 4)

    def _from_frequency(self) -> None:
        self.line.value = _NO_LINE
        self.drive_v.value = round(self.session.vco.drive(self.frequency_mhz.value).n, 4)

    def _from_drive(self) -> None:
        self.line.value = _NO_LINE
        self.frequency_mhz.value = round(self.session.vco.frequency(self.drive_v.value).n, 4)

    def state(self) -> TuneState:
        """Return what the drive voltage sets."""
        return tune_state(self.session, self.drive_v.value, self.supply_v.value)

    def draw(self, state: TuneState | None) -> bytes:
        """Return the picture."""
        if state is None:
            return self._picture.png(still_only=True)
        bands = self.session.passbands
        grid, near = self._picture.grid_mhz, state.frequency_mhz.n + self._picture.near_mhz
        power = state.drive.nominal_w(grid)
        here = np.full(len(near), np.nan if state.rf_power_w is None else state.rf_power_w.n)
        known = state.rf_power_w is not None
        curves = {n: bands.nominal(n, grid, power) for n in bands.lines}
        close = {n: bands.nominal(n, near, here) if known else here for n in bands.lines}
        bars = {e.line: e.shown_light for e in state.light}
        return self._picture.drawn(curves, close, bars, state.frequency_mhz.n, state.frequency_mhz.s)
