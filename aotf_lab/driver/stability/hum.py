"""Hum: the mains in the frequency, where a log is fast enough to show it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np
import pandas as pd
from uncertainties import UFloat

from aotf_lab.driver.stability.even import longest_even
from aotf_lab.driver.stability.log import log_of
from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.causes import new_cause
from aotf_lab.estimation.checks import SIGNIFICANCE, Check
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["Hum", "fit_hum"]

SCATTER = "scatter of the fast log"
_FEWEST = 64
_NYQUIST = 2.2
"""Readings in each period from which a line is looked for: below two it would fold (Nyquist), and a margin."""
_PERIODS = 10.0
_WANDER = 0.005
"""Share of its nominal frequency by which the mains may be off (common practice, no source)."""
_BESIDE = 40
_K_95 = 1.96


@dataclass(frozen=True)
class Hum:
    """``amplitude_mhz`` maps each line (Hz) to the amplitude of the frequency there (MHz); not a line where the log
    is too slow to show it. ``seen`` are the lines that stand out from the noise; ``note`` says what could not be told.
    ``rest_mhz`` (n,) are the even readings without their slow drift, ``time_s`` (n,) after the first.
    """

    rate_hz: float
    amplitude_mhz: Mapping[float, UFloat]
    seen: tuple[float, ...]
    note: str
    checks: tuple[Check, ...]
    time_s: FloatArray = field(repr=False, compare=False)
    rest_mhz: FloatArray = field(repr=False, compare=False)

    @property
    def visible(self) -> bool:
        """Whether the log is fast enough for any line."""
        return bool(self.amplitude_mhz)

    def plot(self, ax: Any = None) -> Any:
        """Draw the spectrum of the readings, and the lines with their 95 % interval; return the Axes.

        It ends below half the rate of the readings, and at three times the highest line.
        """
        from aotf_lab.drawing.effects import plot_hum

        window = _hann(self.time_s)
        size = 2.0 * np.abs(np.fft.rfft(self.rest_mhz * window)) / window.sum()
        frequency = np.asarray(np.fft.rfftfreq(len(self.time_s), 1.0 / self.rate_hz), dtype=float)
        highest = min(0.5 * self.rate_hz * (1 - 1e-9), 3.0 * max(self.amplitude_mhz, default=np.inf))
        shown = (frequency > 0) & (frequency <= highest)
        lines = {line: (a.n, _K_95 * a.s) for line, a in self.amplitude_mhz.items()}
        return plot_hum(frequency[shown], size[shown], lines, ax=ax)

    def __str__(self) -> str:
        lines = [f"Hum, readings at {self.rate_hz:.4g} Hz"]
        for line, amplitude in self.amplitude_mhz.items():
            text = (
                f"{1e3 * amplitude:.2uS} kHz"
                if line in self.seen
                else f"below {1e3 * (amplitude.n + 2 * amplitude.s):.2g} kHz"
            )
            lines.append(f"{line:g} Hz: {text}")
        return text_lines([*lines, *([self.note] if self.note else []), *(str(c) for c in self.checks if not c.passed)])

    def _repr_html_(self) -> str:
        return f"<pre>{escape(str(self))}</pre>"


def fit_hum(readings: Readings | pd.DataFrame, *, mains_hz: float) -> Hum:
    """Return the amplitude of the frequency at ``mains_hz`` (50 or 60) and at twice that, from a fast log at one drive.

    Columns ``time_s``, ``frequency_mhz``. The noise is judged from the spectrum beside each line. A line for which the
    readings are too slow or too few is left out and ``note`` says so: it is not visible, which does not mean absent.
    The counter's gate is not allowed for: one of whole mains periods hides the hum. Raises ``AotfLabError`` for
    another mains frequency, ``ReadingsError`` for what ``log_of`` refuses.
    """
    if mains_hz not in (50, 60):
        raise AotfLabError("mains frequency (Hz)", found=mains_hz, allowed="50 or 60", cure="state that of your supply")
    log = log_of(as_readings(readings), _FEWEST, "the hum")
    stretch = longest_even(log.time_s)
    rows = slice(stretch.first, stretch.last + 1)
    time_s, frequency = log.time_s[rows] - log.time_s[stretch.first], log.frequency_mhz[rows]
    rest = frequency - np.polynomial.Polynomial.fit(time_s, frequency, 3)(time_s)
    amplitude: dict[float, UFloat] = {}
    seen, hidden = [], []
    for line in (float(mains_hz), 2.0 * mains_hz):
        if stretch.rate_hz < _NYQUIST * line or len(stretch) < _FEWEST or time_s[-1] * line < _PERIODS:
            hidden.append(f"{line:g} Hz")
            continue
        size, noise, chance = _line(time_s, rest, line)
        amplitude[line] = max(size**2 - 2 * noise**2, 0.0) ** 0.5 + new_cause(SCATTER, noise)
        if chance < SIGNIFICANCE:
            seen.append(line)
    note = (
        f"hum at {' and '.join(hidden)} is not visible in {len(stretch)} even readings at {stretch.rate_hz:.4g} Hz, "
        f"which does not mean absent: log at {_NYQUIST * 2 * mains_hz:.0f} Hz or faster"
        if hidden
        else ""
    )
    return Hum(
        stretch.rate_hz, amplitude, tuple(seen), note, tuple(_check(line, a, seen) for line, a in amplitude.items()),
        time_s, rest,
    )  # fmt: skip


def _check(line: float, amplitude: UFloat, seen: list[float]) -> Check:
    detail = (
        f"{1e3 * amplitude.n:.3g} +- {1e3 * amplitude.s:.2g} kHz at {line:g} Hz; limit: a chance of {SIGNIFICANCE:g}"
    )
    cure = "look for a ground loop, a long lead at the drive input, or the ripple of the supply"
    found = line in seen
    return Check(
        f"hum at {line:g} Hz", not found, f"{detail}; {cure}" if found else detail, amplitude.n if found else None
    )


def _line(time_s: FloatArray, rest: FloatArray, line: float) -> tuple[float, float, float]:
    """Return the amplitude near ``line``, the noise of one quadrature, and the chance that noise alone makes it."""
    resolution = 1.0 / time_s[-1]
    half = min(_WANDER * line, 0.2 * line)
    trials = np.linspace(line - half, line + half, 2 * int(np.ceil(2 * half / resolution)) + 1)
    found = _amplitudes(time_s, rest, trials)
    offsets = half + resolution * (2 + np.arange(_BESIDE // 2))
    beside = np.concatenate([line - offsets, line + offsets])
    nyquist = 0.5 * (len(time_s) - 1) * resolution
    beside = beside[(beside > 2 * resolution) & (beside < nyquist)]
    noise = float(np.sqrt(np.median(_amplitudes(time_s, rest, beside) ** 2) / (2 * np.log(2.0))))
    size = float(found.max())
    independent = max(1.0, 2 * half / resolution)
    chance = 1.0 - (1.0 - np.exp(-(size**2) / (2 * max(noise, 1e-300) ** 2))) ** independent
    return size, noise, float(chance)


def _hann(time_s: FloatArray) -> FloatArray:
    return np.asarray(np.sin(np.pi * time_s / time_s[-1]) ** 2)


def _amplitudes(time_s: FloatArray, rest: FloatArray, lines_hz: FloatArray) -> FloatArray:
    """Return the amplitude of a sine at each of ``lines_hz`` (k,), under a Hann window."""
    window = _hann(time_s)
    weighted = rest * window
    sums = [abs(np.sum(weighted * np.exp(-2j * np.pi * f * time_s))) for f in lines_hz]
    return 2.0 * np.asarray(sums, dtype=float) / float(window.sum())
