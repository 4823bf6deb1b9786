"""The indicated power of a passband scan: coupled waves, a lean, a floor, and a power meter that trails.

Where the readings ask for it: a floor that slopes, a second passband, ranges of the meter that do not quite agree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from aotf_lab.estimation.problem import FloatArray

__all__ = ["DRIVE_LIMITS", "ScanModel", "detuning_of", "passband", "skewed_detuning", "time_constant_in_steps"]

DRIVE_LIMITS = (-2.0, 2.4)
"""Drive ratios that the shape knows. Coupled waves go on smoothly below zero, which keeps a fitted drive that is
weak free to scatter about it; above 2.4 the first sidelobe approaches the main lobe."""

_SOFT = 0.02


def skewed_detuning(detuning: FloatArray, skew: float) -> FloatArray:
    """Return ``detuning`` (rad) * (1 - skew tanh(detuning)): the passband leans, its peak stays where it is.

    With a positive skew the light falls later above the peak. The form is a convention of this package: real
    crystals lean for several reasons, and a tenth is common practice (no source).
    """
    return np.asarray(detuning * (1.0 - skew * np.tanh(detuning)))


def _sinc(square: float) -> float:
    """Return sin(sqrt y)/sqrt y for y = ``square`` of either sign."""
    if square > 1e-6:
        root = math.sqrt(square)
        return math.sin(root) / root
    if square < -1e-6:
        root = math.sqrt(-square)
        return math.sinh(root) / root
    return 1.0 - square / 6.0


@lru_cache(maxsize=64)
def _half_detuning(q2: float) -> float:
    """Return the detuning (rad) at half of the efficiency in tune, for drive parameter squared ``q2``."""
    target = _sinc(q2) / math.sqrt(2.0)
    y = q2 + 1.936 - 0.147 * q2
    for _ in range(12):
        value = _sinc(y)
        slope = (math.cos(math.sqrt(y)) - value) / (2 * y) if y > 1e-3 else -1.0 / 6.0 + y / 60.0
        if y < -1e-3:
            slope = (math.cosh(math.sqrt(-y)) - value) / (2 * y)
        step = (value - target) / slope
        y -= step
        if abs(step) < 1e-13:
            break
    return math.sqrt(y - q2)


@lru_cache(maxsize=64)
def _half_point(half: float, skew: float, side: int) -> float:
    """Return the positive d whose skewed detuning is ``half`` on the side +1 (above) or -1 (below)."""
    lean, d = side * skew, half
    for _ in range(12):
        tanh = math.tanh(d)
        step = (d * (1.0 - lean * tanh) - half) / (1.0 - lean * (tanh + d * (1.0 - tanh * tanh)))
        d -= step
        if abs(step) < 1e-13:
            break
    return d


def detuning_of(
    frequency_mhz: FloatArray, centre_mhz: float, fwhm_mhz: float, skew: float = 0.0, drive_ratio: float = 0.0
) -> FloatArray:
    """Return the skewed detuning (rad) (n,) such that the passband's full width at half of the peak is ``fwhm_mhz``."""
    half = _half_detuning(0.25 * math.pi**2 * drive_ratio)
    scale = (_half_point(half, skew, 1) + _half_point(half, skew, -1)) / fwhm_mhz
    return skewed_detuning(scale * (frequency_mhz - centre_mhz), skew)


def passband(
    frequency_mhz: FloatArray, centre_mhz: float, fwhm_mhz: float, skew: float = 0.0, drive_ratio: float = 0.0
) -> FloatArray:
    """Return the efficiency (n,) over its value at the centre, by coupled waves at ``drive_ratio`` = P / P_sat.

    eta = q^2 sin^2(s) / s^2 with s^2 = q^2 + D^2 and q = (pi/2) sqrt(drive ratio), D as in ``detuning_of``. Source:
    coupled-mode theory, e.g. Yariv & Yeh, Optical Waves in Crystals (1984).

    >>> passband(np.array([64.0, 64.15]), 64.0, 0.3).round(3).tolist()
    [1.0, 0.5]
    """
    q2 = 0.25 * math.pi**2 * drive_ratio
    square = q2 + detuning_of(frequency_mhz, centre_mhz, fwhm_mhz, skew, drive_ratio) ** 2
    root = np.sqrt(np.abs(square))
    wave = np.sinc(root / np.pi)
    if q2 < 0:
        wave = np.where(square >= 0, wave, np.sinh(np.minimum(root, 30.0)) / np.maximum(root, 1e-9))
    return np.asarray((wave / _sinc(q2)) ** 2)


def time_constant_in_steps(time_constant_s: float, step_s: float) -> float:
    """Return by how many steps of ``step_s`` a first-order meter trails on average when read at each step's end.

    A meter keeps a = exp(-step/time constant) of its deviation over a step; the mean age of what it shows is
    a/(1 - a) steps.
    """
    return 1.0 / math.expm1(step_s / time_constant_s) if time_constant_s > 0 else 0.0


@dataclass(frozen=True)
class ScanModel:
    """The indicated power at each row of a scan, in the order of time.

    ``lapse`` (n,) is the time since the row before, over the median one, and infinite where the meter had settled
    before the row (``exponent`` is that less one). ``light`` (n,) is the incident light over its mean, all ones
    where it was not measured.
    ``drive_ratio`` holds the drive when it is not fitted. ``sloped`` gives the floor a slope, ``second`` adds another
    passband of the same shape, ``ranges`` (n,) numbers the meter's range of each row: 0 is that of the peak, the
    others have a gain and an offset each. The parameters are ``names``, in that order.
    """

    lapse: FloatArray
    light: FloatArray
    drive_ratio: float | None
    lag_steps: float | None
    sloped: bool = False
    second: bool = False
    ranges: NDArray[np.intp] | None = None
    names: tuple[str, ...] = field(init=False)
    exponent: FloatArray = field(init=False, repr=False)
    place: dict[str, int] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        names = ["centre_mhz", "fwhm_mhz", "peak_power_mw", "floor_mw", "skew"]
        names += ["lag_steps"] if self.lag_steps is None else []
        names += ["drive_ratio"] if self.drive_ratio is None else []
        names += ["slope_mw_per_mhz"] if self.sloped else []
        names += ["separation_mhz", "second_ratio"] if self.second else []
        others = range(1, 1 if self.ranges is None else int(self.ranges.max()) + 1)
        names += [name for k in others for name in (f"gain_{k}", f"offset_{k}_mw")]
        object.__setattr__(self, "names", tuple(names))
        object.__setattr__(self, "exponent", np.where(np.isfinite(self.lapse), self.lapse, 1.0) - 1.0)
        object.__setattr__(self, "place", {name: k for k, name in enumerate(names)})

    def lag(self, values: tuple[float, ...] | FloatArray) -> float:
        """Return the lag in steps among ``values``."""
        return float(values[5]) if self.lag_steps is None else self.lag_steps

    def drive(self, values: tuple[float, ...] | FloatArray) -> float:
        """Return the drive ratio among ``values``."""
        return float(values[self.place["drive_ratio"]]) if self.drive_ratio is None else self.drive_ratio

    def slope(self, values: tuple[float, ...] | FloatArray) -> float:
        """Return the floor's slope (mW/MHz) among ``values``."""
        return float(values[self.place["slope_mw_per_mhz"]]) if self.sloped else 0.0

    def signal(self, frequency_mhz: FloatArray, *values: float) -> FloatArray:
        """Return the true diffracted power (n,) without floor, at the mean incident light."""
        main = values[2] * passband(frequency_mhz, values[0], values[1], values[4], self.drive(values))
        if not self.second:
            return main
        apart, ratio = values[self.place["separation_mhz"]], values[self.place["second_ratio"]]
        shape = passband(frequency_mhz, values[0] + apart, values[1], values[4], self.drive(values))
        return np.asarray(main + ratio * values[2] * shape)

    def settled(self, frequency_mhz: FloatArray, *values: float) -> FloatArray:
        """Return the power (n,) that a settled meter shows in the peak's range, at any frequencies."""
        level = self.signal(frequency_mhz, *values) + values[3]
        return level + self.slope(values) * (frequency_mhz - values[0]) if self.sloped else level

    def __call__(self, frequency_mhz: FloatArray, *values: float) -> FloatArray:
        """Return the indicated power (n,) at the rows of the scan."""
        light = self.light * self.signal(frequency_mhz, *values)
        if self.sloped:
            light = light + self.slope(values) * (frequency_mhz - values[0])
        shown = self.trailing(light, values)
        if self.ranges is None:
            return shown + values[3]
        return shown + self.gains(values) * values[3] + self.offsets(values)

    def gains(self, values: tuple[float, ...] | FloatArray) -> FloatArray:
        """Return what the range of each row (n,) makes of a power, over what the range of the peak does."""
        return self._of_ranges("gain_{}", 1.0, values)

    def offsets(self, values: tuple[float, ...] | FloatArray) -> FloatArray:
        """Return what the range of each row (n,) adds (mW), beside that of the peak."""
        return self._of_ranges("offset_{}_mw", 0.0, values)

    def _of_ranges(self, name: str, first: float, values: tuple[float, ...] | FloatArray) -> FloatArray:
        if self.ranges is None:
            return np.full(len(self.light), first)
        of_range = [first, *(values[self.place[name.format(k)]] for k in range(1, int(self.ranges.max()) + 1))]
        return np.asarray(np.array(of_range, dtype=float)[self.ranges])

    def kept(self, values: tuple[float, ...] | FloatArray) -> FloatArray:
        """Return the share (n,) of its deviation that the meter keeps at each row; 0 where it had settled.

        a to the power of ``lapse``, made smooth about a = 0 so that no lag is an ordinary value of the fit.
        """
        steps = self.lag(values)
        a = steps / (1.0 + steps)
        kept = a * np.exp(0.5 * math.log(a * a + _SOFT**2) * self.exponent)
        return np.where(np.isfinite(self.lapse), kept, 0.0)

    def trailing(self, light: FloatArray, values: tuple[float, ...] | FloatArray) -> FloatArray:
        """Return ``light`` (n,) or (n, k) as the meter shows it: an exponential average, times the range's gain."""
        late = self._late(light, values)
        if self.ranges is None:
            return late
        gains = self.gains(values)
        return np.asarray(late * (gains if light.ndim == 1 else gains[:, None]))

    def _late(self, light: FloatArray, values: tuple[float, ...] | FloatArray) -> FloatArray:
        if self.lag(values) == 0.0:
            return light
        kept = self.kept(values)
        if light.ndim == 1:
            state = 0.0
            taken = (light * (1.0 - kept)).tolist()
            return np.array([state := new + keep * state for new, keep in zip(taken, kept.tolist(), strict=True)])
        row = np.zeros(light.shape[1])
        result = np.empty_like(light)
        for k, keep in enumerate(kept):
            row = light[k] + keep * (row - light[k])
            result[k] = row
        return result
