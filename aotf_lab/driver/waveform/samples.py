"""The samples of a trace, and the refusal of what no wave can be fitted to."""

from __future__ import annotations

import numpy as np

from aotf_lab.driver.waveform.alias import Known
from aotf_lab.driver.waveform.harmonics import Floats
from aotf_lab.driver.waveform.sampling import Sampling, folded
from aotf_lab.driver.waveform.spectrum import Base
from aotf_lab.errors import ReadingsError, Said
from aotf_lab.reading.readings import Readings

__all__ = ["FEWEST_PERIODS", "FEWEST_SAMPLES", "refuse_no_line", "refuse_place", "samples"]

FEWEST_SAMPLES = 64
FEWEST_PERIODS = 3.0


def samples(readings: Readings) -> tuple[Floats, Floats]:
    """Return times (us) and volts of a trace, each (n,).

    Equal neighbouring stamps are those of samples closer together than the last printed digit. Raises
    ``ReadingsError`` for fewer than 64 samples, gaps, times that fall, and a trace that does not move.
    """
    readings.require("time_s", "signal_v")
    time_us = 1e6 * readings.table["time_s"].to_numpy(dtype=float)
    signal = readings.table["signal_v"].to_numpy(dtype=float)
    if signal.size < FEWEST_SAMPLES:
        raise ReadingsError(
            "too few samples in a trace", where=readings.place(0), found=signal.size,
            allowed=f"at least {FEWEST_SAMPLES}", cure="save a longer trace",
        )  # fmt: skip
    gaps = np.flatnonzero(~(np.isfinite(time_us) & np.isfinite(signal)))
    if gaps.size:
        raise ReadingsError(
            "a gap in a trace", where=readings.place(int(gaps[0])), found=Said(f"{gaps.size} samples without a number"),
            allowed="a time and a voltage in every row", cure="leave those rows out: missing samples are understood",
        )  # fmt: skip
    backward = np.flatnonzero(np.diff(time_us) < 0) + 1
    if backward.size or time_us[-1] <= time_us[0]:
        row = int(backward[0]) if backward.size else signal.size - 1
        raise ReadingsError(
            "time that does not rise along the trace", where=readings.place(row), found=Said(f"{time_us[row]:.9g} us"),
            allowed="one sample after the other", cure="save the trace again, or the rows in the order of time",
        )  # fmt: skip
    if np.ptp(signal) == 0.0:
        raise ReadingsError(
            "a trace that does not move", where=readings.place(0), found=float(signal[0]),
            allowed="a wave of at least some steps of the scope", cure="check channel, coupling and vertical range",
        )  # fmt: skip
    return time_us, signal


def refuse_no_line(readings: Readings, base: Base) -> None:
    """Raise ``ReadingsError`` when no line stands out of the noise."""
    if base.stands_out <= base.limit:
        raise ReadingsError(
            "no wave in the trace, only noise", where=readings.place(0),
            found=Said(f"a strongest line {base.stands_out:.1f} times the mean of the noise"),
            allowed=f"more than {base.limit:.1f} times",
            cure="check that RF is on, the channel, and the vertical range",
        )  # fmt: skip


def refuse_place(readings: Readings, frequency_mhz: float, grid: Sampling, facts: Known) -> None:
    """Raise ``ReadingsError`` for a wave of too few periods, or too near half of the sample rate, to be fitted."""
    periods = frequency_mhz * grid.span_us
    near_half = (0.5 * grid.rate_mhz - frequency_mhz) * grid.span_us
    if periods >= FEWEST_PERIODS and near_half >= FEWEST_PERIODS:
        return
    counted = facts.counted_mhz
    if counted is not None and counted > 0.5 * grid.rate_mhz and periods < FEWEST_PERIODS:
        raise ReadingsError(
            f"an alias of the counter's {counted:.6g} MHz, too slow to be fitted", where=readings.place(0),
            found=Said(f"{periods:.2g} periods, sampled {grid.rate_mhz:.6g} million times per second"),
            allowed=f"at least {2.5 * counted:.4g} million samples per second (it folds to "
            f"{folded(counted, grid.rate_mhz):.4g} MHz)", cure="save the trace with a faster time base",
        )  # fmt: skip
    if periods < FEWEST_PERIODS:
        raise ReadingsError(
            "too few periods in the trace", where=readings.place(0), found=Said(f"{periods:.2g} periods"),
            allowed=f"at least {FEWEST_PERIODS:g}, better 20",
            cure="save a trace with a slower time base, or, if the wave is an alias, a faster one",
        )  # fmt: skip
    raise ReadingsError(
        "a wave at half of the sample rate, whose amplitude cannot be told", where=readings.place(0),
        found=Said(f"{frequency_mhz:.6g} MHz, sampled {grid.rate_mhz:.6g} million times per second"),
        allowed="at least 2.5 samples in each period", cure="save the trace with a faster time base",
    )  # fmt: skip
