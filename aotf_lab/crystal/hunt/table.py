"""The rows of a wide sweep in the order in which the meter saw them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.signal import lfilter

from aotf_lab.crystal.scan.columns import numbers, optional
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings, as_readings, join_readings

__all__ = ["HuntReadings", "HuntTable", "hunt_table"]

HuntReadings = Readings | pd.DataFrame | Sequence[Readings | pd.DataFrame]

MIN_READINGS = 60
MAX_READINGS = 8000
_EVEN = 0.2
_SOFT = 0.02


@dataclass(frozen=True)
class HuntTable:
    """A sweep as arrays (n,), in the order of time.

    ``power_mw`` is without the dark reading where one was logged; ``u_frequency_mhz`` is the counter's scatter, None
    where it is not stated. ``legs`` are the stretches of rows that go one way,
    ``starts`` the rows before which the meter had settled. ``lapse`` is the time since the row before over the
    median ``step_s`` (1 where no time was logged). ``step_mhz`` is the median step.
    """

    readings: Readings
    frequency_mhz: FloatArray
    power_mw: FloatArray
    u_power_mw: FloatArray | None
    u_frequency_mhz: FloatArray | None
    lapse: FloatArray
    starts: NDArray[np.intp]
    legs: tuple[slice, ...]
    step_mhz: float
    step_s: float | None

    @property
    def one_way(self) -> bool:
        """Whether (nearly) all rows were reached from the same side."""
        ways = [np.sign(self.frequency_mhz[s][-1] - self.frequency_mhz[s][0]) for s in self.legs]
        rows = [s.stop - s.start for s in self.legs]
        up = sum(r for r, way in zip(rows, ways, strict=True) if way > 0)
        return not 0.1 <= up / sum(rows) <= 0.9

    @property
    def range_mhz(self) -> tuple[float, float]:
        """The swept range (MHz, as indicated)."""
        return float(self.frequency_mhz.min()), float(self.frequency_mhz.max())

    def trailing(self, light: FloatArray, lag_steps: float) -> FloatArray:
        """Return ``light`` (n,) or (n, k) as a first-order meter shows it that trails by ``lag_steps`` on average.

        The meter keeps a = lag/(1 + lag) of its deviation over a median step, and a to the power of the lapse
        over others; before each run it had settled.
        """
        a = lag_steps / (1.0 + lag_steps)
        shown = np.empty_like(light)
        for first, last in zip(self.starts, [*self.starts[1:], len(light)], strict=True):
            part, lapse = light[first:last], self.lapse[first:last]
            if np.all(np.abs(lapse[1:] - 1.0) < _EVEN):
                shown[first:last] = lfilter([1.0 - a], [1.0, -a], part, axis=0, zi=a * part[:1])[0]
                continue
            kept = a * np.exp(0.5 * np.log(a * a + _SOFT**2) * (lapse - 1.0))
            state = part[0]
            for k, keep in enumerate(kept):
                state = part[k] + keep * (state - part[k])
                shown[first + k] = state
        return shown


def hunt_table(readings: HuntReadings) -> HuntTable:
    """Return the rows of ``readings`` as a ``HuntTable``; see ``fit_hunt`` for the columns.

    Raises ``ReadingsError`` for a missing column, a reading that is not a number, an uncertainty that is not
    positive, and too few or too many rows.
    """
    parts = [as_readings(r) for r in ([readings] if isinstance(readings, Readings | pd.DataFrame) else readings)]
    for part in parts:
        part.require("frequency_mhz", "optical_power_mw")
    joined = join_readings(parts)
    frequency, power = numbers(joined, "frequency_mhz"), numbers(joined, "optical_power_mw")
    _require_rows(joined, frequency)
    dark = optional(joined, "dark_power_mw")
    run = np.repeat(np.arange(len(parts)), [len(p.table) for p in parts])
    if "file" in joined.table.columns:
        run = run * 10_000 + pd.factorize(joined.table["file"])[0]
    time_s = optional(joined, "time_s")
    first = np.diff(run, prepend=run[0] - 1) != 0
    if time_s is not None:
        first |= np.diff(time_s, prepend=time_s[0]) < 0
    lapse, step_s = _lapse(time_s, first)
    moves = np.abs(np.diff(frequency))
    return HuntTable(
        readings=joined,
        frequency_mhz=frequency,
        power_mw=power - (0.0 if dark is None else dark),
        u_power_mw=_uncertainty(joined),
        u_frequency_mhz=optional(joined, "u_frequency_mhz"),
        lapse=lapse,
        starts=np.flatnonzero(first),
        legs=_legs(frequency, first),
        step_mhz=float(np.median(moves[(moves > 0) & ~first[1:]])),
        step_s=step_s,
    )


def _uncertainty(readings: Readings) -> FloatArray | None:
    u = optional(readings, "u_optical_power_mw")
    if u is not None and not np.all(u > 0):
        row = int(np.argmin(u > 0))
        raise ReadingsError(
            "standard uncertainty u_optical_power_mw", where=readings.place(row), found=float(u[row]),
            allowed="above zero", cure="state the accuracy of the power meter, or leave it out to have it estimated",
        )  # fmt: skip
    return u


def _require_rows(readings: Readings, frequency: FloatArray) -> None:
    where, n = ", ".join(s.name for s in readings.sources), len(frequency)
    if not MIN_READINGS <= n <= MAX_READINGS:
        few = n < MIN_READINGS
        raise ReadingsError(
            f"too {'few' if few else 'many'} readings for a hunt", where=where, found=n,
            allowed=f"{MIN_READINGS} to {MAX_READINGS}",
            cure="sweep the whole band in steps of a fifth of a passband" if few else "hunt in one half of the band",
        )  # fmt: skip
    different = len(np.unique(frequency))
    if different < MIN_READINGS // 2:
        raise ReadingsError(
            "too few different frequencies for a hunt", where=where, found=different,
            allowed=f"{MIN_READINGS // 2} or more", cure="step the frequency between readings",
        )  # fmt: skip


def _lapse(time_s: FloatArray | None, first: NDArray[np.bool_]) -> tuple[FloatArray, float | None]:
    """Return the time since the row before over the median one, and that (s); ones without a usable clock."""
    if time_s is None:
        return np.ones(len(first)), None
    gaps = np.diff(time_s, prepend=time_s[0])
    step_s = float(np.median(gaps[~first]))
    if not step_s > 0:
        return np.ones(len(first)), None
    return np.where(first, 1.0, gaps / step_s), step_s


def _legs(frequency: FloatArray, first: NDArray[np.bool_]) -> tuple[slice, ...]:
    """Return the stretches that go one way; a turn counts when it lasts, so that jitter makes none."""
    turns: list[int] = np.flatnonzero(first).tolist()
    ends = [*turns[1:], len(frequency)]
    legs: list[slice] = []
    for start, stop in zip(turns, ends, strict=True):
        part = frequency[start:stop]
        inner = int(np.argmax(part)) if part[0] <= part[-1] + 0.3 * np.ptp(part) else int(np.argmin(part))
        cuts = [start, stop]
        if MIN_READINGS // 4 < inner < len(part) - MIN_READINGS // 4:
            cuts = [start, start + inner + 1, stop]
        legs += [slice(int(a), int(b)) for a, b in pairwise(cuts)]
    return tuple(legs)
