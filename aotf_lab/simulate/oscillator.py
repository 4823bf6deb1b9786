"""The oscillator of the invented bench: its true curve, and the readings of a sweep."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from aotf_lab.physics.domain import Values, as_values
from aotf_lab.simulate.truth import SKERRY, BenchTruth, OscillatorTruth

__all__ = ["DEMO_DOWN_V", "DEMO_UP_V", "REFERENCE_V", "oscillator_frequency", "oscillator_sweep"]

REFERENCE_V = 6.0
"""The drive that is visited again and again."""

DEMO_UP_V = (
    0.4, 0.7, 1.0, 1.4, 1.9, 2.5, 3.1, 3.8, 4.5, 5.2, 6.0, 6.8, 7.5, 8.2, 9.0, 9.8, 10.6, 11.4, 12.2, 13.0, 13.9,
)  # fmt: skip
"""The way up, closer together where the curve bends."""

DEMO_DOWN_V = (13.4, 12.0, 10.6, 9.2, 7.8, 6.0, 4.8, 3.5, 2.2, 1.2, 0.5)
"""The way back, through the reference voltage."""


def oscillator_frequency(
    drive_v: ArrayLike,
    time_s: ArrayLike = np.inf,
    temperature_c: ArrayLike = 22.0,
    supply_v: ArrayLike = 15.0,
    truth: OscillatorTruth = SKERRY.oscillator,
) -> Values:
    """Return the true frequency (MHz), without jitter, at a drive (V) and a time since power-on (s); they broadcast.

    >>> [round(float(f), 3) for f in oscillator_frequency([5.392, 6.751])]
    [64.224, 69.087]
    """
    drive = as_values(drive_v)
    curve = np.polynomial.polynomial.polyval(drive, truth.polynomial_mhz)
    curve = curve - truth.knee_mhz * np.exp(-drive / truth.knee_v)
    warm_up = truth.warm_up_mhz * np.exp(-as_values(time_s) / truth.warm_up_time_s)
    temperature = truth.temperature_mhz_per_k * (as_values(temperature_c) - truth.reference_temperature_c)
    return as_values(
        curve + warm_up + temperature + truth.supply_mhz_per_v * (as_values(supply_v) - truth.nominal_supply_v)
    )


def oscillator_sweep(
    rng: np.random.Generator,
    targets_v: ArrayLike,
    truth: BenchTruth = SKERRY,
    *,
    start_s: float = 6300.0,
    interval_s: float = 25.0,
    temperature_c: float = 22.4,
    dial: bool = False,
) -> pd.DataFrame:
    """Return the readings of a sweep through ``targets_v`` (V), in order.

    Columns ``time_s`` (since the first reading), ``direction`` (up or down, by the way to each voltage), ``drive_v``
    and ``frequency_mhz`` as the instruments show them, ``temperature_c``. The sweep starts ``start_s`` after power-on.
    The pot is turned by hand: the true voltage comes within 20 mV of the target, and with patience within 2 mV of
    ``REFERENCE_V``. With ``dial`` the drive is not the voltmeter's but the target on the pot's dial, and the true
    voltage trails it by half of the backlash.
    """
    oscillator, meters = truth.oscillator, truth.instruments
    targets = as_values(targets_v)
    rising = np.diff(targets, prepend=targets[0] - 1.0) > 0
    elapsed = interval_s * np.arange(targets.size) + np.round(rng.uniform(0.0, 4.0, targets.size))
    elapsed = elapsed - elapsed[0]
    box = temperature_c + 0.04 * np.sin(elapsed / 500.0)
    true_v = targets + rng.uniform(-1.0, 1.0, targets.size) * np.where(targets == REFERENCE_V, 0.002, 0.02)
    shown_v = true_v * (1.0 + meters.voltmeter_error) + rng.normal(0.0, meters.voltmeter_noise_v, targets.size)
    if dial:
        true_v = targets - np.where(rising, 0.5, -0.5) * oscillator.backlash_v
        shown_v = targets
    frequency = oscillator_frequency(true_v, start_s + elapsed, box, oscillator.nominal_supply_v, oscillator)
    frequency = frequency + rng.normal(0.0, oscillator.jitter_mhz, targets.size)
    return pd.DataFrame(
        {
            "time_s": elapsed,
            "direction": np.where(rising, "up", "down"),
            "drive_v": shown_v,
            "frequency_mhz": frequency * (1.0 + meters.counter_error),
            "temperature_c": box + rng.normal(0.0, meters.thermometer_noise_c, targets.size),
        }
    )
