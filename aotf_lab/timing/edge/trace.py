"""A trace of light, alone or beside the drive, as arrays in us and V."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["FloatArray", "Trace", "block_means", "trace_of"]

FloatArray = NDArray[np.float64]

_LEAST_SAMPLES = 60
_UNEVEN = 0.05


@dataclass(frozen=True)
class Trace:
    """``time_us`` (n,) from the trace's first sample on, ``light_v`` (n,), ``drive_v`` (n,) or None, and the step."""

    time_us: FloatArray
    light_v: FloatArray
    drive_v: FloatArray | None
    step_us: float
    start_us: float
    readings: Readings = field(repr=False)


def trace_of(readings: Readings | pd.DataFrame) -> Trace:
    """Return the readings (``time_s``, ``signal_v`` and perhaps ``drive_v``) as a ``Trace``.

    Raises ``ReadingsError`` for fewer than 60 samples, and for times that do not go forward in equal steps.
    """
    table = as_readings(readings)
    table.require("time_s", "signal_v")
    time = 1e6 * table.table["time_s"].to_numpy(dtype=float)
    if len(time) < _LEAST_SAMPLES:
        raise ReadingsError(
            "too few samples in the trace of an edge", where=table.place(0), found=len(time),
            allowed=f"at least {_LEAST_SAMPLES}", cure="save the trace with both plateaus, and every sample of it",
        )  # fmt: skip
    steps = np.diff(time)
    step = float(np.median(steps))
    good = (step > 0) & (np.abs(steps - step) <= _UNEVEN * abs(step) + 1e-9 * float(np.max(np.abs(time))))
    if not np.all(good):
        row = int(np.argmin(good)) + 1
        raise ReadingsError(
            "times of a trace that do not go forward in equal steps", where=table.place(row),
            found=Said(f"a step of {steps[row - 1]:.6g} us among steps of {step:.6g} us"), allowed="equal steps",
            cure="save the trace anew within the scope's range: samples beyond it are rejected and leave gaps",
        )  # fmt: skip
    drive = table.table["drive_v"].to_numpy(dtype=float) if "drive_v" in table.table.columns else None
    if drive is not None and not np.all(np.isfinite(drive)):
        drive = None
    start = float(time[0]) - step  # times above zero: no centre of an edge is ever near 0
    return Trace(time - start, table.table["signal_v"].to_numpy(dtype=float), drive, step, start, table)


def block_means(values: FloatArray, size: int) -> FloatArray:
    """Return the means of successive blocks of ``size``; what is left over at the end is dropped.

    >>> block_means(np.array([1.0, 3.0, 5.0, 7.0, 9.0]), 2).tolist()
    [2.0, 6.0]
    """
    count = len(values) // size
    return np.asarray(values[: count * size].reshape(count, size).mean(axis=1))
