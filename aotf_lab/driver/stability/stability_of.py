"""From a log of frequency to its Allan deviation."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from aotf_lab.driver.stability.allan import FEWEST, allan_deviation
from aotf_lab.driver.stability.even import Stretch, longest_even
from aotf_lab.driver.stability.log import Log, log_of
from aotf_lab.driver.stability.stability import Stability
from aotf_lab.driver.stability.warm_up import WarmUp
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation.checks import Check
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["stability"]

_SHOWN = 4


def stability(
    readings: Readings | pd.DataFrame | ArrayLike, rate_hz: float | None = None, *, warm_up: WarmUp | None = None
) -> Stability:
    """Return the Allan deviation of a log at one drive.

    ``readings`` have ``time_s`` and ``frequency_mhz``, or are an array (n,) of frequencies in MHz taken evenly at
    ``rate_hz``. Of a log that is uneven or has gaps the longest even stretch is used, which a check names. With
    ``warm_up``, the law of the same log, its exponentials and the effect of its temperature are taken off first; its
    slow drift is not.

    Raises ``ReadingsError`` for what ``log_of`` refuses and for fewer than 16 readings in even steps, ``AotfLabError``
    for a rate without meaning, or one beside a table that has times, or a warm-up of another log.
    """
    if isinstance(readings, Readings | pd.DataFrame):
        return _of_log(as_readings(readings), rate_hz, warm_up)
    frequency = np.asarray(readings, dtype=float)
    if rate_hz is None or not rate_hz > 0 or frequency.ndim != 1 or warm_up is not None:
        raise AotfLabError(
            "frequencies without their times", found=Said(f"shape {frequency.shape}, rate {rate_hz} Hz"),
            allowed="an array (n,) with a rate above zero, and no warm-up", cure="state rate_hz, or give a log",
        )  # fmt: skip
    table = pd.DataFrame({"time_s": np.arange(len(frequency)) / rate_hz, "frequency_mhz": frequency})
    return _of_log(as_readings(table), None, None)


def _of_log(readings: Readings, rate_hz: float | None, warm_up: WarmUp | None) -> Stability:
    if rate_hz is not None:
        raise AotfLabError(
            "a rate beside a log that has its own times", found=rate_hz, allowed="none", cure="leave rate_hz out"
        )
    log = log_of(readings, FEWEST, "an Allan deviation")
    frequency = log.frequency_mhz - _explained(log, warm_up)
    stretch = longest_even(log.time_s)
    used = frequency[stretch.first : stretch.last + 1]
    middle = float(np.mean(used))
    y = used / middle - 1.0
    return Stability(
        allan_deviation(y, stretch.rate_hz), allan_deviation(y, stretch.rate_hz, overlapping=False), middle, stretch,
        warm_up is not None, (_even(log, stretch), _removed(warm_up)),
    )  # fmt: skip


def _explained(log: Log, warm_up: WarmUp | None) -> FloatArray:
    """Return what exponentials and temperature make of each reading (n,)."""
    if warm_up is None:
        return np.zeros(len(log))
    if not np.array_equal(log.time_s, warm_up.log.time_s):
        raise AotfLabError(
            "a warm-up of another log", found=Said(f"{len(warm_up.log)} readings from {warm_up.log.time_s[0]:.6g} s"),
            allowed=f"that of these {len(log)} readings from {log.time_s[0]:.6g} s", cure="fit that of this log",
        )  # fmt: skip
    return warm_up.explained_mhz()


def _even(log: Log, stretch: Stretch) -> Check:
    first, last = log.place(stretch.first), log.place(stretch.last)
    if len(stretch.breaks) == 0:
        return Check("even time", True, f"all {len(log)} readings follow each other at {stretch.rate_hz:.4g} Hz")
    more = ", ..." if len(stretch.breaks) > _SHOWN else ""
    places = ", ".join(log.place(int(k)) for k in stretch.breaks[:_SHOWN]) + more
    detail = (
        f"the log is uneven before {places}: only {len(stretch)} of {len(log)} readings were used, {first} to {last}; "
        "limit: all; log without a break"
    )
    return Check("even time", False, detail)


def _removed(warm_up: WarmUp | None) -> Check:
    if warm_up is None:
        text = "not removed: at long averaging times the deviation holds what warm-up and temperature did as well"
        return Check("warm-up", True, text)
    what = "exponentials" if warm_up.temperature_mhz_per_k is None else "exponentials and the effect of the temperature"
    text = f"{what} removed, the slow drift not; at the longest averaging times this takes some of the wander along"
    return Check("warm-up", True, text)
