"""The wave that drives the crystal, from one trace: frequency, amplitude, harmonics, and watts."""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np
from uncertainties import UFloat

from aotf_lab.driver.waveform.harmonic import Harmonic, rms_excess, vpp_excess
from aotf_lab.driver.waveform.harmonics import HarmonicFit, design
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings

__all__ = ["Waveform"]


@dataclass(frozen=True)
class Waveform:
    """One saved trace, made by ``fit_waveform``.

    ``frequency_mhz`` is None where the trace is an alias of what the counter says. ``amplitude_v`` (zero to
    peak) and ``offset_v`` are at the scope's input, as it shows them; the harmonics have the fall of its
    bandwidth taken out. ``rf_power_w`` is the power of the fundamental in the stated load, None where a failed
    check makes it wrong: ``withheld`` says why. ``noise_v`` is the standard deviation about the fit.
    """

    readings: Readings = field(repr=False)
    fit: Fit = field(repr=False)
    wave: HarmonicFit = field(repr=False)
    frequency_mhz: UFloat | None
    amplitude_v: UFloat
    offset_v: UFloat
    harmonics: tuple[Harmonic, ...]
    noise_v: float
    rf_power_w: UFloat | None
    withheld: str
    periods: float
    samples_per_period: float

    @property
    def rms_excess(self) -> float:
        """By which share a power from volts rms would exceed the fundamental's."""
        return rms_excess(self.harmonics)

    @property
    def vpp_excess(self) -> float:
        """By which share a power from volts peak to peak, read as a sine's, would exceed the fundamental's."""
        return vpp_excess(self.harmonics)

    def model(self, time_s: FloatArray) -> FloatArray:
        """Return the fitted wave (V) at ``time_s`` (n,), seconds as in the file."""
        columns = design(1e6 * np.asarray(time_s) - self.wave.middle_us, float(self.wave.values[0]), self.wave.orders)
        return np.asarray(columns @ self.wave.values[1:])

    def plot(self, ax: Any = None) -> Any:
        """Draw the first periods of the trace with the fitted wave; return the Axes."""
        from aotf_lab.drawing.waveform import plot_waveform

        table = self.readings.table
        time, signal = table["time_s"].to_numpy(dtype=float), table["signal_v"].to_numpy(dtype=float)
        last = time[0] + 4e-6 / float(self.wave.values[0])
        shown = time <= last
        fine = np.linspace(time[0], min(last, time[-1]), 801)
        return plot_waveform(time[shown], signal[shown], fine, self.model(fine), ax=ax)

    def _lines(self) -> list[tuple[str, str]]:
        shown = "withheld" if self.frequency_mhz is None else f"{self.frequency_mhz:.2uS} MHz"
        lines = [("frequency", shown), ("amplitude at the scope", f"{self.amplitude_v:.2uS} V")]
        lines.append(("offset", f"{self.offset_v:.2uS} V"))
        for h in self.harmonics:
            seen = h.share.n > 2.0 * h.share.s
            text = f"{h.level_dbc:.1f} dBc" if seen else f"below {h.highest_dbc:.0f} dBc"
            lines.append((f"harmonic {h.order}", text))
        power = self.withheld if self.rf_power_w is None else f"{self.rf_power_w:.2uS} W"
        lines.append(("RF power of the fundamental", power))
        lines.append(("a power from volts rms is too high by", f"{100 * self.rms_excess:.1f} %"))
        lines.append(("a power from volts peak to peak is too high by", f"{100 * self.vpp_excess:.1f} %"))
        return lines

    def __str__(self) -> str:
        file = ", ".join(s.name for s in self.readings.sources) or "trace"
        head = f"{file}: {self.periods:.1f} periods, {self.samples_per_period:.1f} samples in each"
        return "\n".join([head, *(f"  {name}: {text}" for name, text in self._lines()), *map(str, self.fit.failed)])

    def _repr_html_(self) -> str:
        rows = "".join(f"<tr><th>{escape(n)}</th><td>{escape(t)}</td></tr>" for n, t in self._lines())
        failed = "".join(f"<p>{escape(str(c))}</p>" for c in self.fit.failed)
        return f"<table>{rows}</table>{failed}"
