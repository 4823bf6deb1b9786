"""RF power against the amplifier's supply and over the band: power, supply, heat, each with uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from uncertainties import UFloat

from aotf_lab.driver.level.current import SupplyCurrent
from aotf_lab.driver.level.numbers import SharedNumbers
from aotf_lab.driver.level.rows import LevelRows, Run
from aotf_lab.driver.level.scale import PER_NEPER, ScaleError
from aotf_lab.driver.level.supply_curve import SupplyCurve
from aotf_lab.errors import OutOfRangeError, ReadingsError, Said
from aotf_lab.estimation.evaluate import require_inside
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.smooth.curve import SmoothFit
from aotf_lab.estimation.wrapped import text_lines

__all__ = ["Level"]

WAY = "at which output the amplifier gives way"
"""The cause that says between which ends k lies."""

MIDDLE = 0.5
"""Half-way between an amplifier that gives way at one output and one that gives way at one drive."""

_GRID = 241


_LEAST_GAIN = 0.02
"""Gain left in deep saturation, where the readings say no more of it."""


def kept_share(left: Any, way: float) -> Any:
    """Return k, how far the band's shape is kept where a share ``left`` (0 to 1) of the gain is left.

    ``way`` is 0 for an amplifier that gives way at one output and 1 for one that does so at one drive.
    """
    return np.maximum(left, _LEAST_GAIN) * (1.0 - way) + way


@dataclass(frozen=True)
class Level:
    """The amplifier's RF power (W, fundamental, true watts) at supply (V) and frequency (MHz), made by ``fit_level``.

    dB over 1 W = H(V) + R + k (S(f) - R): ``along_supply`` is H, at the one frequency of its run; ``over_band`` is S,
    the band run less H at its one supply, R its value at H's frequency. k is 1 below the knee; above it falls as far as
    the supply's own curve bends more than at the band's run, by half of that give or take (an amplifier may give way at
    one output or at one drive). ``anchored_on_band`` says which run's scale of power counts: the better known.
    """

    rows: LevelRows = field(repr=False)
    fit: Fit = field(repr=False)
    along_supply: SupplyCurve = field(repr=False)
    over_band: SmoothFit = field(repr=False)
    supply_run: Run = field(repr=False)
    band_run: Run = field(repr=False)
    neither: NDArray[np.intp] = field(repr=False)
    scale: tuple[ScaleError, ...] = field(repr=False)
    numbers: SharedNumbers = field(repr=False)
    anchored_on_band: bool
    current: SupplyCurrent | None = field(repr=False)
    power_scale_known: bool = True

    @property
    def range_v(self) -> tuple[float, float]:
        """The lowest and highest supply measured (V)."""
        return self.along_supply.low, self.along_supply.high

    @property
    def range_mhz(self) -> tuple[float, float]:
        """The lowest and highest frequency measured (MHz)."""
        return self.over_band.low, self.over_band.high

    def rf_power(self, supply_v: Any, frequency_mhz: Any) -> Any:
        """Return the RF power (W); scalars give one number with uncertainty, arrays (they broadcast) an object array.

        Raises ``OutOfRangeError`` outside the measured supplies or frequencies.
        """
        supply, frequency = np.broadcast_arrays(np.asarray(supply_v, float), np.asarray(frequency_mhz, float))
        v, f = supply.ravel(), frequency.ravel()
        require_inside("supply voltage", v, *self.range_v, "V")
        require_inside("frequency", f, *self.range_mhz, "MHz")
        power = self.nominal_w(v, f)
        weights = power[:, None] / PER_NEPER * self.db_rows(v, f)
        found = self.numbers.combine(power, weights)
        if supply.ndim == 0:
            return found[0]
        result = np.empty(len(found), dtype=object)
        result[:] = found
        return result.reshape(supply.shape)

    def supply(self, rf_power_w: float, frequency_mhz: float) -> UFloat:
        """Return the supply (V) that makes ``rf_power_w`` (W) at ``frequency_mhz``; to be safe, ask ``supply_for``.

        Raises ``OutOfRangeError`` outside the measured frequencies, or for a power that no measured supply makes there.
        """
        f = np.array([frequency_mhz], dtype=float)
        require_inside("frequency", f, *self.range_mhz, "MHz")
        low, high = (float(self.nominal_w(np.array([v]), f)[0]) for v in self.range_v)
        if not low <= rf_power_w <= high:
            raise OutOfRangeError(f"RF power at {frequency_mhz:g} MHz", rf_power_w, low, high, "W")
        v = brentq(lambda v: float(self.nominal_w(np.array([v]), f)[0]) - rf_power_w, *self.range_v, xtol=1e-9)
        at = np.array([float(v)])
        step = 1e-4 * (self.range_v[1] - self.range_v[0])
        inside = np.clip(np.array([v - step, v + step]), *self.range_v)
        rise = np.diff(self.nominal_db(inside, np.repeat(f, 2)))[0] / np.diff(inside)[0]
        return self.numbers.combine(at, -self.db_rows(at, f) / rise)[0]

    def hottest_mhz(self, supply_v: float, band_mhz: tuple[float, float] | None = None) -> float:
        """Return where in the band (MHz) the power is highest at ``supply_v``."""
        grid = np.linspace(*(band_mhz or self.range_mhz), _GRID)
        require_inside("supply voltage", np.array([supply_v]), *self.range_v, "V")
        require_inside("frequency", grid, *self.range_mhz, "MHz")
        return float(grid[int(np.argmax(self.nominal_w(np.full(_GRID, supply_v), grid)))])

    def dc_power_w(self, supply_v: float, frequency_mhz: float) -> UFloat:
        """Return what the amplifier takes from its supply (W); ``ReadingsError`` without a column ``supply_a``."""
        if self.current is None:
            raise ReadingsError(
                "no current of the amplifier's supply", found=Said("no column supply_a"),
                allowed="at least four readings of supply_a", cure="note the supply's current beside the level",
            )  # fmt: skip
        power = self.rf_power(supply_v, frequency_mhz)
        return supply_v * self.current.supply_a(power.n)

    def heat_w(self, supply_v: float, frequency_mhz: float) -> UFloat:
        """Return what stays in the amplifier as heat (W): DC less RF."""
        return self.dc_power_w(supply_v, frequency_mhz) - self.rf_power(supply_v, frequency_mhz)

    def efficiency(self, supply_v: float, frequency_mhz: float) -> UFloat:
        """Return RF over DC power (0 to 1)."""
        return self.rf_power(supply_v, frequency_mhz) / self.dc_power_w(supply_v, frequency_mhz)

    def band(self, supply_v: Any, frequency_mhz: Any, confidence: float = 0.95) -> tuple[FloatArray, FloatArray]:
        """Return the confidence band (low, high) of the true power (W), scale included, at each place by itself."""
        power = self.rf_power(np.atleast_1d(supply_v), np.atleast_1d(frequency_mhz))
        nominal, u = np.array([p.n for p in power]), np.array([p.s for p in power])
        half = self.fit.coverage_factor(confidence) * u
        return nominal - half, nominal + half

    def nominal_db(self, supply_v: FloatArray, frequency_mhz: FloatArray) -> FloatArray:
        """Return the power (n,) in dB over 1 W, without uncertainty."""
        here, reference, kept, _ = self._parts(supply_v, frequency_mhz)
        anchor = reference if self.anchored_on_band else 0.0
        return np.asarray(self.along_supply.db(supply_v) + anchor + kept * (here - reference))

    def hotter_w(self, supply_v: FloatArray, frequency_mhz: FloatArray) -> FloatArray:
        """Return the power (n,) in W if the amplifier gives way where that makes most of it: k at its worse end."""
        here, reference, kept, left = self._parts(supply_v, frequency_mhz)
        at_run = kept_share(self._left_at_run, MIDDLE)
        ends = (at_run * kept_share(left, m) / kept_share(self._left_at_run, m) for m in (0.0, 1.0))
        more = np.max([(end - kept) * (here - reference) for end in ends], axis=0)
        return np.asarray(10.0 ** ((self.nominal_db(supply_v, frequency_mhz) + more) / 10.0))

    @property
    def _left_at_run(self) -> float:
        """The gain left (0 to 1) at the supply of the run over the band, whose shape was measured there."""
        return float(self.along_supply.gain_left(np.array([self.band_run.setting]))[0])

    def nominal_w(self, supply_v: FloatArray, frequency_mhz: FloatArray) -> FloatArray:
        """Return the power (n,) in W, without uncertainty."""
        return np.asarray(10.0 ** (self.nominal_db(supply_v, frequency_mhz) / 10.0))

    def db_rows(self, supply_v: FloatArray, frequency_mhz: FloatArray) -> FloatArray:
        """Return how ``nominal_db`` (n,) moves with each of ``numbers``: (n, p)."""
        here, reference, kept, left = self._parts(supply_v, frequency_mhz)
        rho = 1.0 if self.anchored_on_band else 0.0
        at_run = self.along_supply.db_rows(np.array([self.band_run.setting]))
        supply = self.along_supply.db_rows(supply_v) - rho * at_run
        at_reference = self.over_band.rows(np.array([self.supply_run.setting]))
        shape = rho * at_reference + kept[:, None] * (self.over_band.rows(frequency_mhz) - at_reference)
        before = self._left_at_run
        moved = (1.0 - left) - kept * (1.0 - before) / kept_share(before, MIDDLE)
        way = (moved * (here - reference))[:, None]
        shared = [error.db_row(frequency_mhz, self.supply_run.setting, kept) for error in self.scale]
        return np.concatenate([supply, shape, way, *shared], axis=1)

    def _parts(
        self, supply_v: FloatArray, frequency_mhz: FloatArray
    ) -> tuple[FloatArray, float, FloatArray, FloatArray]:
        """Return the band's shape (dB) here and at the reference, how far it is kept, and the gain left."""
        left = self.along_supply.gain_left(supply_v)
        return self.over_band.curve(frequency_mhz), self._reference_db, kept_share(left, MIDDLE), left

    @cached_property
    def _reference_db(self) -> float:
        """The band's shape (dB) at the frequency of the run against the supply."""
        return float(self.over_band.curve(np.array([self.supply_run.setting]))[0])

    def plot(self, supply_v: float | None = None, ax: Any = None, *, limit_w: float | None = None) -> Any:
        """Draw power over the band at ``supply_v`` (the run's own), with the limit as a wall; return the Axes."""
        from aotf_lab.drawing.level import plot_level_over_band

        supply = self.band_run.setting if supply_v is None else supply_v
        grid = np.linspace(*self.range_mhz, _GRID)
        at = np.full(_GRID, supply)
        own = np.isclose(self.rows.supply_v[self.band_run.rows], supply, rtol=0.01)
        chosen = self.band_run.rows[own]
        read = (self.rows.frequency_mhz[chosen], self.rows.power_w[chosen])
        band = self.band(at, grid)
        return plot_level_over_band(grid, self.nominal_w(at, grid), band, *read, supply, limit_w=limit_w, ax=ax)

    def plot_supply(self, frequency_mhz: float | None = None, ax: Any = None, *, limit_w: float | None = None) -> Any:
        """Draw power against supply at ``frequency_mhz`` (the run's own), the limit as a wall; return the Axes."""
        from aotf_lab.drawing.level import plot_level_against_supply

        reference = self.supply_run.setting
        frequency = reference if frequency_mhz is None else frequency_mhz
        grid = np.linspace(*self.range_v, _GRID)
        at = np.full(_GRID, frequency)
        chosen = self.supply_run.rows[:0] if abs(frequency - reference) > 0.5 else self.supply_run.rows
        read = (self.rows.supply_v[chosen], self.rows.power_w[chosen])
        band = self.band(grid, at)
        return plot_level_against_supply(grid, self.nominal_w(grid, at), band, *read, frequency, limit_w=limit_w, ax=ax)

    def __str__(self) -> str:
        (low_v, high_v), (low, high) = self.range_v, self.range_mhz
        v = self.band_run.setting
        hot = self.hottest_mhz(v)
        lines = [
            f"RF power, {len(self.rows.part)} readings: {low_v:.4g} to {high_v:.4g} V, {low:.4g} to {high:.4g} MHz",
            f"at {v:.4g} V it is highest at {hot:.1f} MHz: {self.rf_power(v, hot):.2uS} W",
        ]
        top = self.hottest_mhz(high_v)
        lines.append(f"at {high_v:.4g} V it is highest at {top:.1f} MHz: {self.rf_power(high_v, top):.2uS} W")
        if self.current is not None:
            share, heat = self.efficiency(high_v, top), self.heat_w(high_v, top)
            lines.append(
                f"there the amplifier turns {100 * share:.2uS} % of its DC into RF and keeps {heat:.2uS} W as heat"
            )
        lines.append(f"chi2/dof = {self.fit.chi2:.1f}/{self.fit.dof:.1f}")
        return text_lines([*lines, *(str(c) for c in self.fit.failed)])

    def _repr_html_(self) -> str:
        return f"<pre>{escape(str(self))}</pre>"
