"""What the light does at any volts of the port: frequency, RF power there, and the light of each line."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from scipy.interpolate import CubicSpline

from aotf_lab.crystal.passbands.passbands import Passbands
from aotf_lab.driver import Vco
from aotf_lab.errors import AotfLabError
from aotf_lab.physics.coupled_waves import detuning_for_light
from aotf_lab.physics.edges import RISE_PER_DEVIATION
from aotf_lab.planning.curves import Curves
from aotf_lab.planning.park.drive import ParkedDrive
from aotf_lab.planning.sequence.port import FloatArray, time_constant_us

__all__ = ["Scene", "Timing"]

_T = TypeVar("_T")

_POINTS = 201
_MOST = 256
"""How many of its answers a scene remembers: some 100 kB each."""


@dataclass(frozen=True)
class Timing:
    """``delay_us`` from transducer to beam, ``rise_us`` of the light (10 to 90 %), the port's bandwidth; plain numbers.

    Light follows the sound in the beam: at time t it is the mean of what each line gives at the frequency sent at t -
    delay, weighted with the beam, a Gaussian of standard deviation rise / 2.5631 in time.
    """

    delay_us: float
    rise_us: float
    port_bandwidth_khz: float

    def __post_init__(self) -> None:
        for name, value, least in (("delay (us)", self.delay_us, 0.0), ("rise time (us)", self.rise_us, 1e-6)):
            if not (np.isfinite(value) and value >= least):
                raise AotfLabError(
                    f"{name} of the light", found=value, allowed="0 us or more, and a rise above 0",
                    cure="give the times of a measured edge",
                )  # fmt: skip
        time_constant_us(self.port_bandwidth_khz)

    @property
    def tau_us(self) -> float:
        """The port's time constant (us)."""
        return time_constant_us(self.port_bandwidth_khz)

    @property
    def deviation_us(self) -> float:
        """The beam's standard deviation in time (us)."""
        return self.rise_us / RISE_PER_DEVIATION


def _frequency_table(vco: Vco) -> CubicSpline:
    """Return frequency (MHz) against true volts over the oscillator's curve, for many volts at once, without u."""
    frequency = np.array([f.n for f in vco.frequency(np.linspace(*vco.range_v, _POINTS))])
    return CubicSpline([v.n for v in vco.drive_true(frequency)], frequency)


@dataclass(frozen=True)
class Scene:
    """The bench as a sequence meets it: ``lines`` are lit, ``good_share`` (0 to 1) of a line's light counts as good."""

    curves: Curves = field(repr=False)
    vco: Vco = field(repr=False)
    passbands: Passbands = field(repr=False)
    drive: ParkedDrive
    lines: tuple[str, ...]
    good_share: float

    def is_of(
        self, curves: Curves, passbands: Passbands, drive: ParkedDrive, lines: tuple[str, ...], good_share: float
    ) -> bool:
        """Return whether it is made of just these: then what was followed on it still holds."""
        own = self.drive
        same = self.curves is curves and self.passbands is passbands and own.level is drive.level
        driven = own.supply_v == drive.supply_v and own.flat_w is drive.flat_w
        return same and driven and self.lines == lines and self.good_share == good_share

    def once(self, what: tuple[Hashable, ...], make: Callable[[], _T]) -> _T:
        """Return what ``make`` gives, remembered under ``what`` it depends on besides this scene."""
        if what not in self._remembered:
            if len(self._remembered) >= _MOST:
                del self._remembered[next(iter(self._remembered))]
            self._remembered[what] = make()
        found: _T = self._remembered[what]
        return found

    @cached_property
    def _remembered(self) -> dict[tuple[Hashable, ...], Any]:
        return {}

    @cached_property
    def table(self) -> CubicSpline:
        """Frequency (MHz) against true volts."""
        return _frequency_table(self.vco)

    def frequency_mhz(self, volts: FloatArray) -> FloatArray:
        """Return the frequency (n,) at true volts (n,)."""
        return np.asarray(self.table(volts))

    def rf_power_w(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the RF power (n,) at frequencies (n,): beyond the amplifier's measured band that of its end."""
        f = np.asarray(frequency_mhz, dtype=float)
        level = self.drive.level
        return self.drive.nominal_w(f if level is None else np.clip(f, *level.range_mhz))

    def light(self, lines: Iterable[str], frequency_mhz: FloatArray) -> dict[str, FloatArray]:
        """Return the light (n,) of each of ``lines`` over its light at its own peak, at the RF power that is there."""
        f = np.atleast_1d(np.asarray(frequency_mhz, dtype=float))
        power = self.rf_power_w(f)
        return {n: np.asarray(self.passbands.nominal(n, f, power) / self._full_light(n)) for n in lines}

    def _full_light(self, line: str) -> float:
        if line not in self._full:
            peak = np.array([float(self.passbands.peak_mhz(line).n)])
            self._full[line] = float(self.passbands.nominal(line, peak, self.rf_power_w(peak))[0])
        return self._full[line]

    @cached_property
    def _full(self) -> dict[str, float]:
        """The light of each line at its own peak, as far as it was asked for."""
        return {}

    @cached_property
    def narrowest_mhz(self) -> float:
        """The width (MHz) of the narrowest passband that is lit."""
        return min(float(self.passbands.fwhm_mhz(n).n) for n in self.lines)

    def near_mhz(self, line: str | None) -> float:
        """Return how far (MHz) off the peak of ``line`` light is still good; of the narrowest line where None."""
        width = self.narrowest_mhz if line is None else float(self.passbands.fwhm_mhz(line).n)
        return float(detuning_for_light(self.good_share)) * width

    def slope_mhz_per_v(self, volts: float) -> float:
        """Return the oscillator's slope at true ``volts``."""
        return float(self.table(volts, 1))
