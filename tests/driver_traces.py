"""Traces of known waves, as a scope with a converter would save them."""

from __future__ import annotations

import numpy as np
import pandas as pd


def trace(
    frequency_mhz: float = 64.0,
    *,
    samples: int = 2000,
    interval_ns: float = 1.0,
    amplitude_v: float = 0.6,
    offset_v: float = 0.01,
    harmonics: dict[int, tuple[float, float]] | None = None,
    tones: dict[float, float] | None = None,
    noise_v: float = 0.004,
    bits: int = 8,
    full_scale_v: float = 1.6,
    phase_rad: float = 0.7,
    turn: np.ndarray | float = 0.0,
    seed: int = 1,
) -> pd.DataFrame:
    """Return ``time_s`` and ``signal_v`` of cos(phase) with harmonics (order -> dBc, phase) and tones (MHz -> V).

    ``turn`` (n,) is added to the phase (rad); ``bits`` 0 leaves the volts unrounded.
    """
    time_us = 1e-3 * interval_ns * np.arange(samples)
    phase = 2.0 * np.pi * frequency_mhz * time_us + phase_rad + turn
    wave = np.cos(phase)
    for order, (level_dbc, lag) in (harmonics or {}).items():
        wave = wave + 10.0 ** (level_dbc / 20.0) * np.cos(order * phase - lag)
    signal = offset_v + amplitude_v * wave
    for tone_mhz, volts in (tones or {}).items():
        signal = signal + volts * np.sin(2.0 * np.pi * tone_mhz * time_us + 0.4)
    signal = signal + np.random.default_rng(seed).normal(0.0, noise_v, samples)
    if bits:
        step = full_scale_v / 2**bits
        signal = np.clip(np.round(signal / step), -(2 ** (bits - 1)), 2 ** (bits - 1) - 1) * step
    return pd.DataFrame({"time_s": 1e-6 * time_us, "signal_v": signal})


def failed(wave) -> set[str]:
    """Return the names of the checks that failed."""
    return {check.name for check in wave.fit.failed}


def detail(wave, name: str) -> str:
    """Return what the check of this name says."""
    return next(check.detail for check in wave.checks if check.name == name)
