"""The oscillator of the invented bench in time: a log from power-on, and its supply stepped up and down."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import pandas as pd

from aotf_lab.simulate.oscillator import oscillator_frequency
from aotf_lab.simulate.truth import SKERRY, BenchTruth

__all__ = ["WANDER", "WanderTruth", "pushing_readings", "pushing_text", "warmup_log_text", "warmup_readings"]


@dataclass(frozen=True)
class WanderTruth:
    """What the oscillator and its box do slowly, all of it invented.

    ``walk_mhz`` is the standard deviation of the random walk of the frequency after one second. The box rises by
    ``box_rise_k`` over the log and swings by ``box_swing_k`` (amplitude) with the room's heating, every ``swing_s``.
    """

    walk_mhz: float = 4.7e-5
    box_rise_k: float = 0.3
    box_swing_k: float = 0.2
    swing_s: float = 2500.0


WANDER = WanderTruth()
"""The demo bench as it is."""

_DRIVE_V = 6.0
_SWITCHED_ON = datetime(2026, 3, 16, 9, 12, 0)
_SUPPLIES_V = (15.0, 14.5, 15.0, 15.5, 15.0, 14.75, 15.0, 15.25, 15.0, 15.5, 15.0, 14.5, 15.0)
_TWICE = 2


def _walk(rng: np.random.Generator, time_s: np.ndarray, wander: WanderTruth) -> np.ndarray:
    steps = np.sqrt(np.diff(time_s, prepend=time_s[0]))
    return np.asarray(np.cumsum(wander.walk_mhz * steps * rng.standard_normal(len(time_s))))


def warmup_readings(
    rng: np.random.Generator,
    truth: BenchTruth = SKERRY,
    wander: WanderTruth = WANDER,
    *,
    duration_s: float = 7200.0,
    interval_s: float = 10.0,
    start_s: float = 20.0,
    temperature_c: float = 22.1,
) -> pd.DataFrame:
    """Return a log at one drive, begun ``start_s`` after power-on.

    Columns ``time_s`` (since the first reading), ``drive_v``, ``frequency_mhz`` and ``temperature_c`` as the
    instruments show them.
    """
    oscillator, meters = truth.oscillator, truth.instruments
    time_s = np.arange(0.0, duration_s, interval_s)
    swing = np.sin(2 * np.pi * time_s / wander.swing_s + rng.uniform(0, 2 * np.pi))
    box = temperature_c + wander.box_rise_k * time_s / duration_s + wander.box_swing_k * swing
    frequency = oscillator_frequency(_DRIVE_V, start_s + time_s, box, oscillator.nominal_supply_v, oscillator)
    frequency = frequency + _walk(rng, time_s, wander) + rng.normal(0.0, oscillator.jitter_mhz, time_s.size)
    return pd.DataFrame(
        {
            "time_s": time_s,
            "drive_v": _DRIVE_V * (1.0 + meters.voltmeter_error)
            + rng.normal(0.0, meters.voltmeter_noise_v, time_s.size),
            "frequency_mhz": frequency * (1.0 + meters.counter_error),
            "temperature_c": box + rng.normal(0.0, meters.thermometer_noise_c, time_s.size),
        }
    )


def warmup_log_text(seed: int | np.random.Generator = 0, truth: BenchTruth = SKERRY) -> str:
    """Return the log of two hours from power-on, as a logger exports it: a preamble, then a row every 10 s."""
    table = warmup_readings(np.random.default_rng(seed), truth)
    began = _SWITCHED_ON + timedelta(seconds=20)
    rows = [
        "# Export of the bench logger",
        f"# Oscillator switched on: {_SWITCHED_ON.isoformat()}, amplifier off",
        f"# First reading: {began.isoformat()}",
        "# Interval: 10 s, counter gate: 1 s",
        "Local time,Drive voltage (V),Counter (MHz),Box temperature (degC)",
    ]
    for time_s, drive, frequency, box in table.itertuples(index=False):
        clock = began + timedelta(seconds=time_s)
        rows.append(f"{clock.isoformat()},{drive:.4f},{frequency:.4f},{box:.2f}")
    return "\n".join((*rows, ""))


def pushing_readings(
    rng: np.random.Generator, truth: BenchTruth = SKERRY, wander: WanderTruth = WANDER, *, start_s: float = 5400.0
) -> pd.DataFrame:
    """Return two readings at each supply, from 14.5 to 15.5 V with returns to 15 V, begun ``start_s`` after power-on.

    Columns ``time_s``, ``supply_v``, ``drive_v``, ``frequency_mhz`` as the instruments show them.
    """
    oscillator, meters = truth.oscillator, truth.instruments
    target = np.repeat(np.array(_SUPPLIES_V), _TWICE)
    time_s = 20.0 * np.arange(target.size) + np.round(rng.uniform(0.0, 4.0, target.size))
    time_s = time_s - time_s[0]
    supply = target + np.repeat(rng.uniform(-0.01, 0.01, len(_SUPPLIES_V)), _TWICE)
    frequency = oscillator_frequency(_DRIVE_V, start_s + time_s, 22.3, supply, oscillator)
    frequency = frequency + _walk(rng, time_s, wander) + rng.normal(0.0, oscillator.jitter_mhz, target.size)
    return pd.DataFrame(
        {
            "time_s": time_s,
            "supply_v": supply * (1.0 + meters.voltmeter_error)
            + rng.normal(0.0, meters.voltmeter_noise_v, target.size),
            "drive_v": _DRIVE_V * (1.0 + meters.voltmeter_error)
            + rng.normal(0.0, meters.voltmeter_noise_v, target.size),
            "frequency_mhz": frequency * (1.0 + meters.counter_error),
        }
    )


def pushing_text(seed: int | np.random.Generator = 0, truth: BenchTruth = SKERRY) -> str:
    """Return the readings of ``pushing_readings`` as the owner's file."""
    table = pushing_readings(np.random.default_rng(seed), truth)
    rows = [
        "# oscillator on for 90 min; its own supply stepped, 15 V again and again",
        "Time (s),Supply (V),Drive voltage (V),Counter (MHz)",
    ]
    for time_s, supply, drive, frequency in table.itertuples(index=False):
        rows.append(f"{time_s:.0f},{supply:.3f},{drive:.4f},{frequency:.4f}")
    return "\n".join((*rows, ""))
