"""How steady the oscillator is over every averaging time, and which noise that is."""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np

from aotf_lab.driver.stability.allan import Allan
from aotf_lab.driver.stability.even import Stretch
from aotf_lab.errors import OutOfRangeError
from aotf_lab.estimation.checks import Check
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.wrapped import text_lines

__all__ = ["NOISE", "Stability"]

NOISE = {
    -1.0: "white or flicker phase noise (the counter's resolution)",
    -0.5: "white frequency noise",
    0.0: "flicker frequency noise",
    0.5: "random-walk frequency noise",
    1.0: "drift",
}
"""Slope of log deviation over log averaging time -> the noise that has it, in the terms of IEEE Std 1139."""


@dataclass(frozen=True)
class Stability:
    """The Allan deviation of an oscillator at one drive, made by ``stability``.

    ``allan`` is the overlapping estimate, ``plain`` that of averages that do not overlap; both are of the fractional
    frequency about ``frequency_mhz``, with 95 % intervals. ``stretch`` names the rows used, ``warm_up_removed`` says
    whether the exponentials and the effect of the temperature were taken off first.
    """

    allan: Allan = field(repr=False)
    plain: Allan = field(repr=False)
    frequency_mhz: float
    stretch: Stretch
    warm_up_removed: bool
    checks: tuple[Check, ...]

    @property
    def trusted(self) -> bool:
        """Whether every check passed."""
        return all(c.passed for c in self.checks)

    @property
    def failed(self) -> tuple[Check, ...]:
        """The checks that did not pass."""
        return tuple(c for c in self.checks if not c.passed)

    @property
    def tau_s(self) -> FloatArray:
        """The averaging times (k,) in s."""
        return self.allan.tau_s

    @property
    def deviation_mhz(self) -> FloatArray:
        """The overlapping Allan deviation (k,) in MHz."""
        return self.frequency_mhz * self.allan.deviation

    @property
    def best_averaging_s(self) -> float:
        """The averaging time (s) with the least deviation."""
        return float(self.tau_s[int(np.argmin(self.allan.deviation))])

    @property
    def noise(self) -> tuple[tuple[float, float, str], ...]:
        """Each kind of noise with the averaging times (s), from and to, at which it leads, by the slope there."""
        slope = np.gradient(np.log(self.allan.deviation), np.log(self.tau_s))
        runs: list[tuple[float, float, str]] = []
        for tau, here in zip(self.tau_s.tolist(), slope.tolist(), strict=True):
            name = NOISE[min(NOISE, key=lambda s: abs(s - here))]
            if runs and runs[-1][2] == name:
                runs[-1] = (runs[-1][0], tau, name)
            else:
                runs.append((tau, tau, name))
        return tuple(runs)

    def change_mhz(self, elapsed_s: float) -> float:
        """Return the rms change (MHz) between two neighbouring averages over ``elapsed_s``: root 2 times the deviation.

        Between the averaging times it is interpolated in the logarithms. Raises ``OutOfRangeError`` beyond them.
        """
        tau = self.tau_s
        if not tau[0] <= elapsed_s <= tau[-1]:
            raise OutOfRangeError("averaging time", elapsed_s, float(tau[0]), float(tau[-1]), "s")
        return float(2**0.5 * np.exp(np.interp(np.log(elapsed_s), np.log(tau), np.log(self.deviation_mhz))))

    def plot(self, ax: Any = None) -> Any:
        """Draw both estimates against the averaging time, both axes logarithmic; return the Axes."""
        from aotf_lab.drawing.stability import plot_allan

        a, b = self.allan, self.plain
        return plot_allan(
            a.tau_s, a.deviation, a.low, a.high, b.tau_s, b.deviation, self.best_averaging_s, self.frequency_mhz, ax=ax
        )

    def __str__(self) -> str:
        best = int(np.argmin(self.allan.deviation))
        removed = "warm-up and temperature removed" if self.warm_up_removed else "nothing removed"
        lines = [f"Stability at {self.frequency_mhz:.4f} MHz, {len(self.stretch)} readings, {removed}"]
        for k, tau in enumerate(self.tau_s):
            d, low, high = (
                1e3 * self.frequency_mhz * x[k] for x in (self.allan.deviation, self.allan.low, self.allan.high)
            )
            lines.append(
                f"{tau:.4g} s: {d:.2g} kHz ({low:.2g} to {high:.2g}), {self.allan.deviation[k]:.2g} of the frequency"
            )
        lines += [f"{name}: {low:.4g} to {high:.4g} s" for low, high, name in self.noise]
        more = ", the longest that the log shows" if best == len(self.tau_s) - 1 else ""
        lines.append(f"best averaging time {self.best_averaging_s:.4g} s{more}")
        return text_lines([*lines, *map(str, self.failed)])

    def _repr_html_(self) -> str:
        return f"<pre>{escape(str(self))}</pre>"
