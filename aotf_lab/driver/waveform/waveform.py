"""The wave that drives the crystal, from one trace: frequency, amplitude, harmonics, and watts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from uncertainties import UFloat, nominal_value

from aotf_lab.driver.waveform.harmonic import Harmonic, rms_excess, vpp_excess, vpp_excess_range
from aotf_lab.driver.waveform.harmonics import HarmonicFit
from aotf_lab.driver.waveform.sampling import Sampling
from aotf_lab.estimation.checks import Check
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.named_rows import rows_html
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.reading.readings import Readings

__all__ = ["Waveform"]

_PERIODS_DRAWN = 4.0


@dataclass(frozen=True)
class Waveform:
    """One saved trace, made by ``fit_waveform``.

    ``frequency_mhz`` is None where it is not the true one: the trace is an alias, or contradicts the counter.
    ``unfolded_mhz`` then holds the frequencies that look so at this sample rate, as far as counter or range allow.
    ``amplitude_v`` (zero to peak) and ``offset_v`` are at the scope's input, as it shows them; ``harmonics`` have
    the fall of its bandwidth taken out, and are None where a failed check makes them wrong. ``rf_power_w`` is the
    power of the fundamental in the stated load, None where a failed check makes it wrong: ``withheld`` says why.
    ``noise_v`` is the standard deviation about the fit, and ``clipped_rows`` are the positions (0-based) of samples
    that were cut off.
    """

    readings: Readings = field(repr=False)
    fit: Fit = field(repr=False)
    wave: HarmonicFit = field(repr=False)
    sampling: Sampling = field(repr=False)
    frequency_mhz: UFloat | None
    unfolded_mhz: tuple[UFloat, ...]
    amplitude_v: UFloat
    offset_v: UFloat
    harmonics: tuple[Harmonic, ...] | None
    noise_v: float
    rf_power_w: UFloat | None
    withheld: str
    clipped_rows: tuple[int, ...] = field(repr=False, default=())

    @property
    def checks(self) -> tuple[Check, ...]:
        """What was asked of the trace, and the answers."""
        return self.fit.checks

    @property
    def periods(self) -> float:
        """Periods from the first sample to the last."""
        return self.wave.frequency_mhz * self.sampling.span_us

    @property
    def samples_per_period(self) -> float:
        """Samples in each period, of the frequency as it was sampled."""
        return self.sampling.rate_mhz / self.wave.frequency_mhz

    @property
    def noise_dbc(self) -> float:
        """Power of the noise, over the whole band that was sampled, against the fundamental (dBc)."""
        return float(20.0 * np.log10(self.noise_v * 2.0**0.5 / self.wave.amplitude_v)) if self.noise_v > 0 else -np.inf

    @property
    def shares(self) -> dict[int, UFloat] | None:
        """Power of each harmonic in the load over that of the fundamental, by order."""
        return None if self.harmonics is None else {h.order: h.share for h in self.harmonics}

    @property
    def rms_excess(self) -> UFloat | float | None:
        """By which share a power from volts rms on this scope would exceed the fundamental's."""
        return None if self.harmonics is None else rms_excess(self.harmonics)

    @property
    def vpp_excess(self) -> float | None:
        """By which share a power from volts peak to peak, read as a sine's, would exceed the fundamental's."""
        return None if self.harmonics is None else vpp_excess(self.harmonics)

    @cached_property
    def vpp_excess_range(self) -> tuple[float, float] | None:
        """Least and largest ``vpp_excess`` of harmonics of these levels, if their phases were not known."""
        if self.harmonics is None:
            return None
        return vpp_excess_range({h.order: max(h.shown.n, 0.0) for h in self.harmonics})

    def model(self, time_s: FloatArray) -> FloatArray:
        """Return the fitted wave (V) at ``time_s`` (n,), seconds as in the file."""
        return self.wave.model(1e6 * np.atleast_1d(np.asarray(time_s, dtype=float)))

    def plot(self, ax: Any = None) -> Any:
        """Draw the first periods of the trace with the fitted wave; return the Axes."""
        from aotf_lab.drawing.waveform import plot_waveform

        time_s = 1e-6 * self.sampling.time_us
        signal = self.readings.table["signal_v"].to_numpy(dtype=float)
        last = min(time_s[0] + 1e-6 * _PERIODS_DRAWN / self.wave.frequency_mhz, time_s[-1])
        shown = time_s <= last
        fine = np.linspace(time_s[0], last, 801)
        cut = np.isin(np.arange(time_s.size), self.clipped_rows)[shown]
        return plot_waveform(
            time_s[shown], signal[shown], fine, self.model(fine), clipped=cut, note=self._title(), ax=ax
        )

    def _frequency(self) -> str:
        if self.frequency_mhz is not None:
            return f"{self.frequency_mhz:.2uS} MHz"
        if not self.unfolded_mhz:
            return f"withheld (the trace shows {self.wave.frequency_mhz:.6g} MHz)"
        true = " or ".join(f"{f:.2uS} MHz" for f in self.unfolded_mhz)
        return f"{true}, of which the trace shows the alias of {self.wave.frequency_mhz:.6g} MHz"

    def _title(self) -> str:
        if self.frequency_mhz is not None or not self.unfolded_mhz:
            return self._frequency()
        return f"an alias of {' or '.join(f'{f:.2uS}' for f in self.unfolded_mhz)} MHz"

    def _lines(self) -> Iterator[tuple[str, str]]:
        yield "frequency", self._frequency()
        doubt = ", not to be used" if self.harmonics is None else ""
        yield "amplitude at the scope", f"{self.amplitude_v:.2uS} V{doubt}"
        yield "offset", f"{self.offset_v:.2uS} V"
        for h in self.harmonics or ():
            yield f"harmonic {h.order}", _level(h)
        yield "noise", f"{self.noise_dbc:.1f} dBc"
        yield "RF power of the fundamental", self.withheld if self.rf_power_w is None else f"{self.rf_power_w:.2uS} W"
        reach = self.vpp_excess_range
        if reach is None:
            yield "harmonics", "withheld"
            return
        yield "a power from volts rms is too high by", f"{100.0 * float(nominal_value(self.rms_excess)):z.1f} %"
        found, (least, most) = 100.0 * (self.vpp_excess or 0.0), (100.0 * end for end in reach)
        text = f"{found:z.1f} % ({least:z.0f} to {most:z.0f} % by the phases)"
        yield "a power from volts peak to peak is too high by", text

    def __str__(self) -> str:
        return text_lines(
            [self._head, *(f"  {name}: {text}" for name, text in self._lines()), *map(str, self.fit.failed)]
        )

    def _repr_html_(self) -> str:
        return rows_html(self._head, self._lines(), self.fit.failed)

    @property
    def _head(self) -> str:
        file = ", ".join(s.name for s in self.readings.sources) or "trace"
        return f"{file}: {self.periods:.1f} periods, {self.samples_per_period:.1f} samples in each"


def _level(harmonic: Harmonic) -> str:
    """Return a level in dBc with half of its uncertainty's width in dB, or the limit that it stays below."""
    if not harmonic.seen:
        return f"not seen, below {max(harmonic.highest_dbc, harmonic.limit_dbc):.0f} dBc"
    share = harmonic.share
    return f"{harmonic.level_dbc:.1f} +- {10.0 / np.log(10.0) * share.s / share.n:.1f} dBc"
