"""The traces that the scope of the invented bench saves: counts of its converter behind a preamble of plain words."""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.physics.domain import Values, as_values
from aotf_lab.simulate.amplifier import true_rf_power
from aotf_lab.simulate.truth import SKERRY, BenchTruth

__all__ = ["TRACES", "TraceSetting", "trace_counts_mhz", "trace_files", "trace_wave"]

SAMPLES = 2000
_DIVISIONS = 8
_RANGES_MV = (20.0, 50.0, 100.0, 200.0, 500.0)


@dataclass(frozen=True)
class TraceSetting:
    """One trace: the frequency that the owner meant (MHz), the supply (V), the sample interval (ns).

    ``too_small`` is how many ranges below the fitting one the vertical range was left.
    """

    frequency_mhz: float
    supply_v: float
    interval_ns: float = 0.5
    too_small: int = 0


TRACES = {
    "trace_46mhz_8v.csv": TraceSetting(46.3, 8.0),
    "trace_54mhz_8v.csv": TraceSetting(54.1, 8.0),
    "trace_64mhz_6v.csv": TraceSetting(64.2, 6.0),
    "trace_64mhz_8v.csv": TraceSetting(64.2, 8.0),
    "trace_64mhz_10v.csv": TraceSetting(64.2, 10.0),
    "trace_88mhz_8v.csv": TraceSetting(88.4, 8.0),
    "trace_clipped.csv": TraceSetting(58.0, 10.5, too_small=1),
    "trace_slow.csv": TraceSetting(71.8, 8.0, interval_ns=20.0),
}
"""Six good traces over the band and the supplies, one with too small a range, one sampled too slowly."""


def trace_files(seed: int = 0, truth: BenchTruth = SKERRY) -> dict[str, str]:
    """Return the raw trace files by name, as text with line feeds.

    Each holds one count per line: 8 bits, with scale, offset and sample interval above the heading.
    """
    return {name: _file(name, setting, seed, truth) for name, setting in TRACES.items()}


def trace_counts_mhz(seed: int = 0, truth: BenchTruth = SKERRY) -> dict[str, float]:
    """Return what the counter showed beside each trace (MHz), to 100 Hz.

    >>> round(trace_counts_mhz()["trace_slow.csv"], 1)
    71.8
    """
    shown = 1.0 + truth.instruments.counter_error
    return {name: round(_frequency(name, setting, seed, truth) * shown, 4) for name, setting in TRACES.items()}


def trace_wave(time_us: Values, frequency_mhz: float, supply_v: float, truth: BenchTruth = SKERRY) -> Values:
    """Return the volts at the scope's input at true times (n,): fundamental and harmonics behind pad and single pole.

    The amplitude of the fundamental in the load is sqrt(2 P R).
    """
    scope, amplifier = truth.instruments, truth.amplifier
    peak = np.sqrt(2.0 * float(true_rf_power(supply_v, frequency_mhz, amplifier)) * scope.load_ohm)
    peak *= 10.0 ** (-scope.pad_db / 20.0)
    phases = dict(amplifier.harmonic_phases_rad)
    wave = np.zeros_like(as_values(time_us))
    for order, level_dbc in ((1, 0.0), *amplifier.harmonics_dbc):
        pole = 1.0 + 1j * order * frequency_mhz / scope.scope_bandwidth_mhz
        turn = 2.0 * np.pi * order * frequency_mhz * as_values(time_us) + phases.get(order, 0.0) - np.angle(pole)
        wave += peak * 10.0 ** (level_dbc / 20.0) / abs(pole) * np.cos(turn)
    return wave


def _stream(seed: int, name: str) -> np.random.Generator:
    return np.random.default_rng([seed, zlib.crc32(name.encode())])


def _frequency(name: str, setting: TraceSetting, seed: int, truth: BenchTruth) -> float:
    """Return the true frequency: set by hand to some 20 kHz."""
    return setting.frequency_mhz + float(_stream(seed, f"{name} frequency").normal(0.0, 0.02))


def _file(name: str, setting: TraceSetting, seed: int, truth: BenchTruth) -> str:
    rng, scope = _stream(seed, name), truth.instruments
    frequency = _frequency(name, setting, seed, truth)
    true_us = as_values(1e-3 * setting.interval_ns * np.arange(SAMPLES) / (1.0 + scope.scope_time_base_error))
    start_us = rng.uniform(0.0, 1.0)
    shown_mv = 1e3 * trace_wave(true_us + start_us, frequency, setting.supply_v, truth) * (1.0 + scope.scope_error)
    fitting = int(np.searchsorted(_RANGES_MV, np.max(np.abs(shown_mv)) / (_DIVISIONS / 2.0)))
    division_mv = _RANGES_MV[max(fitting - setting.too_small, 0)]
    noise_mv = scope.scope_noise * division_mv * _DIVISIONS / 2.0
    counts = _converted(shown_mv + noise_mv * rng.standard_normal(SAMPLES), division_mv, scope.scope_bits)
    step_mv = division_mv * _DIVISIONS / 2**scope.scope_bits
    preamble = (
        "Oscilloscope trace, behind the pad", f"Vertical setting: {division_mv:g} mV per division", "Coupling: AC",
        f"Scale: {step_mv:g} mV per count", f"Offset: {2 ** (scope.scope_bits - 1)} counts",
        f"Sample interval: {setting.interval_ns:g} ns", f"Samples: {SAMPLES}", "", "Signal (counts)",
    )  # fmt: skip
    return "\n".join((*preamble, *map(str, counts), ""))


def _converted(shown_mv: Values, division_mv: float, bits: int) -> NDArray[np.int64]:
    """Return the counts of a converter that is cut off at both ends of the screen."""
    step_mv = division_mv * _DIVISIONS / 2**bits
    half = 2 ** (bits - 1)
    return np.asarray(np.clip(np.round(shown_mv / step_mv), -half, half - 1) + half, dtype=np.int64)
