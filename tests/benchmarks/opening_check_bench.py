"""Simulated benches whose calibrations were kept, and the readings of an opening check on a later day."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from uncertainties import UFloat, ufloat

from aotf_lab.crystal import Scan, fit_scan, fit_tuning
from aotf_lab.driver import fit_vco
from aotf_lab.estimation.causes import CommonError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.planning import Curves
from aotf_lab.reading.instruments import Counter, Instruments, PowerMeter, Voltmeter
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.session_file import LineFacts
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.make_crystal import crystal_record
from aotf_lab.record.make_oscillator import oscillator_record
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.session.lines import lines_from_scans
from aotf_lab.simulate import SKERRY, BenchTruth, oscillator_frequency, oscillator_sweep, passband_scan
from aotf_lab.simulate.oscillator import DEMO_DOWN_V, DEMO_UP_V, REFERENCE_V

ANCHORS = ("B", "D", "E", "G")
COUNTER_PPM, U_COUNT_MHZ, U_DRIVE_V = 15.0, 0.0045, 0.002
_WHOLE_V = (REFERENCE_V, *DEMO_UP_V, *DEMO_DOWN_V, REFERENCE_V)
_MIDDLE_V, _HALF_V = 7.15, 6.75
_BENCH = Instruments(Counter(COUNTER_PPM, 4.5), Voltmeter(0.1, 1.0, 2.0), power_meter=PowerMeter(1.3, 1.2, 1.0, 3.0))


@dataclass(frozen=True)
class Drift:
    """What happened since: shift, tilt and bend of the oscillator (MHz), shift of the crystal (share)."""

    shift_mhz: float = 0.0
    tilt_mhz: float = 0.0
    bend_mhz: float = 0.0
    crystal: float = 0.0

    def of(self, truth: BenchTruth) -> BenchTruth:
        """Return the bench after the drift: a parabola in the true voltage, and all peaks by the same share."""
        s, t, b = self.shift_mhz, self.tilt_mhz / _HALF_V, 1.5 * self.bend_mhz / _HALF_V**2
        added = (s - t * _MIDDLE_V + b * _MIDDLE_V**2 - self.bend_mhz / 2, t - 2 * b * _MIDDLE_V, b, 0.0)
        polynomial = tuple(p + a for p, a in zip(truth.oscillator.polynomial_mhz, added, strict=True))
        velocity = truth.crystal.velocity_m_s * (1 + self.crystal)
        return replace(
            truth,
            oscillator=replace(truth.oscillator, polynomial_mhz=polynomial),
            crystal=replace(truth.crystal, velocity_m_s=velocity),
        )


@dataclass(frozen=True)
class KeptBench:
    """A bench of its own, and its kept calibrations."""

    truth: BenchTruth
    oscillator: OscillatorRecord
    crystal: CrystalRecord


def drawn_truth(rng: np.random.Generator) -> BenchTruth:
    """Return a bench with its own oscillator (within 3 % of the demo's), labels and errors of its instruments."""
    demo = SKERRY.oscillator
    polynomial = tuple(p * (1 + rng.uniform(-0.03, 0.03)) for p in demo.polynomial_mhz[1:])
    oscillator = replace(
        demo,
        polynomial_mhz=(demo.polynomial_mhz[0], *polynomial),
        knee_mhz=demo.knee_mhz * (1 + rng.uniform(-0.03, 0.03)),
        knee_v=demo.knee_v * (1 + rng.uniform(-0.03, 0.03)),
        warm_up_mhz=0.0,
    )
    lines = tuple(
        replace(line, label_nm=line.wavelength_air_nm + rng.normal(0.0, line.u_label_nm)) for line in SKERRY.lines
    )
    meters = replace(
        SKERRY.instruments,
        counter_error=1e-6 * COUNTER_PPM * rng.normal(),
        voltmeter_error=1e-3 * rng.normal(),
        voltmeter_noise_v=U_DRIVE_V,
    )
    return replace(SKERRY, oscillator=replace(oscillator, jitter_mhz=U_COUNT_MHZ), lines=lines, instruments=meters)


def kept_bench(rng: np.random.Generator) -> KeptBench:
    """Return a bench that was measured whole: a sweep of 34 readings, scans of four anchors up and down."""
    truth = drawn_truth(rng)
    vco = fit_vco(_with_counter(oscillator_sweep(rng, _WHOLE_V, truth)))
    scans = {name: scan_of(rng, name, truth) for name in ANCHORS}
    stated = {}
    facts = []
    for name in ANCHORS:
        line = truth.line(name)
        nm = float(air_to_vacuum(line.label_nm))
        stated[name] = ufloat(nm, line.u_label_nm, tag=f"wavelength of line {name}")
        facts.append(LineFacts(name, nm, line.u_label_nm, "air", "anchor", line.label_nm))
    tuning = fit_tuning(lines_from_scans(facts, scans))
    curves = Curves(vco=vco, tuning=tuning, scans=scans)
    return KeptBench(
        truth,
        oscillator_record(vco, name="simulated", measured="2026-03-16"),
        crystal_record(curves, stated, name="simulated", measured="2026-03-16"),
    )


def check_readings(rng: np.random.Generator, truth: BenchTruth, drives_v: tuple[float, ...]) -> Readings:
    """Return today's readings of the oscillator."""
    return _with_counter(oscillator_sweep(rng, drives_v, truth))


def scan_of(rng: np.random.Generator, line: str, truth: BenchTruth) -> Scan:
    """Return the fitted scan of a line, up and down."""
    runs = [
        _with_counter(passband_scan(rng, truth.line(line), side, truth).assign(direction=side))
        for side in ("up", "down")
    ]
    return fit_scan(runs, line=line, time_constant_s=1.0)


def peak_of(rng: np.random.Generator, line: str, truth: BenchTruth) -> UFloat:
    """Return the peak of a line as today's scan tells it."""
    return scan_of(rng, line, truth).centre_mhz


def true_frequency(truth: BenchTruth, shown_v: FloatArray) -> FloatArray:
    """Return the true frequency (n,) in MHz where the bench's voltmeter shows ``shown_v`` (n,), in the warm box."""
    true_v = shown_v / (1 + truth.instruments.voltmeter_error)
    return np.asarray(oscillator_frequency(true_v, np.inf, 22.4, truth.oscillator.nominal_supply_v, truth.oscillator))


def _with_counter(table: pd.DataFrame) -> Readings:
    """Return the table with the stated u, and the counter's time base as the error that all rows share."""
    table = table.assign(u_frequency_mhz=U_COUNT_MHZ)
    if "drive_v" in table.columns:
        table = table.assign(u_drive_v=U_DRIVE_V)
    if "optical_power_mw" in table.columns:
        table = table.assign(u_optical_power_mw=np.hypot(0.013 * table["optical_power_mw"], 0.0012))
    base = _BENCH.causes["counter time base"]
    assert base is not None
    return Readings(table, (CommonError("counter time base", "frequency_mhz", "relative", base),))
