"""Does a typed setting make the frequency within its stated uncertainty? ``python -m tests.benchmarks.generator``.

Prints and writes results/generator.md. An argument sets the number of benches (1200).
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
from uncertainties import ufloat

from aotf_lab.crystal import Scan
from aotf_lab.driver import Vco, fit_vco
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.planning import Curves
from aotf_lab.planning.generator import GeneratorSettings, generator_output, generator_settings
from aotf_lab.reading import Readings
from aotf_lab.reading.session_limits import GeneratorFacts, OscillatorFacts
from tests.benchmarks import truths_oscillator as truths
from tests.benchmarks.table import write_table
from tests.benchmarks.truths_oscillator import Truth

U_GAIN, U_OFFSET_V, U_TIME_BASE, U_SCAN_MHZ = 1e-3, 1e-3, 15e-6, 0.002
FWHM_MHZ = 0.3
ORDINARY = GeneratorFacts(10.0, 0.0, 10.0, 50.0, 0.5, 14, 0.001, 0.001, 1.0, 1.0, 2.0)
PRECISE = GeneratorFacts(10.0, 0.0, 10.0, 50.0, 0.05, 16, 0.0001, 0.0001, 0.03, 0.03, 0.3)
COARSE = GeneratorFacts(10.0, 0.0, 10.0, 50.0, 0.05, 16, 0.05, 0.02, 0.03, 0.03, 0.3)
KINDS = {
    "ordinary": (ORDINARY, OscillatorFacts(0.0, 15.0, 1000.0, 15.0, 10.0)),
    "precise": (PRECISE, OscillatorFacts(0.0, 15.0, 1000.0, 15.0, 1.0)),
    "precise, coarse steps": (COARSE, OscillatorFacts(0.0, 15.0, 1000.0, 15.0, 1.0)),
}
ABOUT = """
Simulated oscillators of two forms that the fit does not contain, each bench with its own constants, measured at 21
voltages up and 11 down (4 mV, 8 kHz) by a voltmeter of 0.1 % and 1 mV and a counter of 15 ppm (k = 1), and fitted anew.
One, two or four lines anywhere between 1 and 9 V, peaks known to 2 kHz by the same counter, FWHM 0.3 MHz. A generator
is drawn within its stated accuracy: "ordinary" 1 % of amplitude, 1 % + 2 mV of offset, resistances 1 %, steps of 1 mV,
14 bit; "precise" 0.03 %, 0.03 % + 0.3 mV, resistances 0.1 %, steps of 0.1 mV, 16 bit; "coarse steps" the same with
50 mV of amplitude and 20 mV of offset. What is advised is typed on either display (drawn), the true generator makes its
volts through the true resistances, the true oscillator its frequency.

"inside 95 %" is how often the true frequency made, less the true peak, lies within the stated interval about the stated
rounding; "rms z" the rms of that gap over its u. "set by the voltmeter" are the same levels moved in the generator's
steps until the voltmeter of the readings shows the advised volts (its scatter 4 mV), judged against the u stated for
that. "light lost" are medians: true as typed, and true once set by the voltmeter.
"""


@dataclass
class Tally:
    """What the levels of one kind gave."""

    z: list[float] = field(default_factory=list)
    inside: list[bool] = field(default_factory=list)
    u_khz: list[float] = field(default_factory=list)
    lost: list[float] = field(default_factory=list)
    z_set: list[float] = field(default_factory=list)
    inside_set: list[bool] = field(default_factory=list)
    u_set_khz: list[float] = field(default_factory=list)
    lost_set: list[float] = field(default_factory=list)


@dataclass(frozen=True)
class Bench:
    """A true oscillator with its true meters, and the curve that was measured of it."""

    truth: Truth
    constants: Any
    gain: float
    offset_v: float
    time_base: float
    vco: Vco

    def frequency(self, port_v: float) -> float:
        """Return the true frequency at a true voltage."""
        return float(self.truth.law(np.array([port_v]), *self.constants)[0])


def some_bench(rng: np.random.Generator, truth: Truth) -> Bench:
    """Return a bench with its curve fitted anew."""
    gain, offset_v, time_base = rng.standard_normal(3) * [U_GAIN, U_OFFSET_V, U_TIME_BASE]
    constants = truth.constants(rng)
    shown = truths.voltages()
    table = truths.run(truth, constants, shown * (1 + gain) + offset_v, rng)
    table["drive_v"] = shown
    table["frequency_mhz"] /= 1 + time_base
    common = (
        CommonError("voltmeter gain", "drive_v", "relative", new_cause("voltmeter gain", U_GAIN)),
        CommonError("voltmeter offset", "drive_v", "offset", new_cause("voltmeter offset", U_OFFSET_V)),
        CommonError("time base", "frequency_mhz", "relative", new_cause("time base", U_TIME_BASE)),
    )
    return Bench(truth, constants, gain, offset_v, time_base, fit_vco(Readings(table, common)))


def asked(rng: np.random.Generator, bench: Bench, count: int) -> tuple[Curves, dict[str, float]]:
    """Return the curves with ``count`` lines as scans show them, and the true peaks."""
    volts = rng.uniform(1.0, 9.0, count)
    peaks = {f"L{k}": bench.frequency(v) for k, v in enumerate(volts)}
    (base,) = bench.vco.readings.common_errors("frequency_mhz")
    scans = {}
    for name, peak in peaks.items():
        shown = ufloat(peak / (1 + bench.time_base) + U_SCAN_MHZ * rng.standard_normal(), U_SCAN_MHZ, tag="scan")
        scans[name] = SimpleNamespace(
            centre_mhz=base.applied_to(shown), fwhm_mhz=ufloat(FWHM_MHZ, 1e-3), fit=bench.vco.fit
        )
    return Curves(bench.vco, scans=cast("dict[str, Scan]", scans)), peaks


def played(
    rng: np.random.Generator, settings: GeneratorSettings, facts: GeneratorFacts, port: OscillatorFacts, display: str
) -> list[float]:
    """Return the true volts at the port, level by level, of a generator drawn within its stated accuracy."""
    stated = [facts.gain_percent, facts.offset_percent, facts.u_offset_mv, facts.u_source_ohm, port.u_input_ohm]
    gain, offset, zero_mv, source, load = rng.standard_normal(5) * np.array(stated, dtype=float)
    source, load = 50.0 + source, 1000.0 + load
    typed = settings.typed[display]
    scale = 1.0 if display == "high impedance" else 2.0
    middle, height = scale * typed.offset_v, scale * typed.amplitude_vpp
    asked_v = [w.port_v.n for w in settings.wanted]
    if typed.codes is not None:
        shares = np.array(typed.codes) / (2 ** int(facts.bits or 0) - 1) - 0.5
    else:
        shares = np.where(np.array(asked_v) == max(asked_v), 0.5, -0.5)
    made = middle * (1 + offset / 100) + zero_mv / 1e3 + shares * height * (1 + gain / 100)
    return [float(v) for v in made * load / (load + source)]


def judge(rng: np.random.Generator, tally: Tally, bench: Bench, kind: str, count: int) -> None:
    """Add the levels of one setting to the tally."""
    facts, port = KINDS[kind]
    curves, peaks = asked(rng, bench, count)
    settings = generator_settings(curves, list(peaks), generator_output(facts, port))
    display = str(rng.choice(list(settings.typed)))
    finest = min(s for s in settings.typed[display].steps_v if s is not None) / settings.typed[display].factor
    factor = bench.vco.fit.coverage_factor()
    for name, volts in zip(peaks, played(rng, settings, facts, port, display), strict=True):
        made = settings.at(name, display)
        off = bench.frequency(volts) - peaks[name]
        gap = off - made.error_mhz.n
        tally.z.append(gap / made.error_mhz.s)
        tally.inside.append(abs(gap) <= factor * made.error_mhz.s)
        tally.u_khz.append(1e3 * made.error_mhz.s)
        tally.lost.append(_lost(off))
        aim = made.wanted.drive_v.n + truths.U_DRIVE_V * rng.standard_normal()
        true = aim * (1 + bench.gain) + bench.offset_v + (rng.random() - 0.5) * finest * 1000 / 1050
        gap = bench.frequency(true) - peaks[name]
        tally.z_set.append(gap / made.u_calibrated_mhz)
        tally.inside_set.append(abs(gap) <= factor * made.u_calibrated_mhz)
        tally.u_set_khz.append(1e3 * made.u_calibrated_mhz)
        tally.lost_set.append(_lost(gap))


def _lost(off_mhz: float) -> float:
    """Return the light lost (percent) by the coupled-wave passband at weak drive, sinc squared."""
    return float(100 * (1 - np.sinc(0.8859 * off_mhz / FWHM_MHZ) ** 2))


def main() -> None:
    """Run all benches and write the table."""
    benches = int(sys.argv[1]) if len(sys.argv) > 1 else 1200
    rng = np.random.default_rng(91)
    tallies = {(kind, count): Tally() for kind in KINDS for count in (1, 2, 4)}
    for k in range(benches):
        bench = some_bench(rng, (truths.TANK, truths.BENCH)[k % 2])
        for (kind, count), tally in tallies.items():
            judge(rng, tally, bench, kind, count)
    rows = []
    for (kind, count), t in tallies.items():
        rows.append(
            (
                kind, count, benches, f"{np.median(t.u_khz):.1f}", f"{100 * np.mean(t.inside):.1f} %",
                f"{np.sqrt(np.mean(np.square(t.z))):.3f}", f"{np.median(t.lost):.2g} %",
                f"{np.median(t.u_set_khz):.1f}", f"{100 * np.mean(t.inside_set):.1f} %",
                f"{np.sqrt(np.mean(np.square(t.z_set))):.3f}", f"{np.median(t.lost_set):.2g} %",
            )
        )  # fmt: skip
    heads = (
        "generator", "lines", "benches", "u as typed, kHz", "inside 95 %", "rms z", "light lost",
        "set by the voltmeter: u, kHz", "inside 95 %", "rms z", "light lost",
    )  # fmt: skip
    write_table("generator", heads, rows, ABOUT)


if __name__ == "__main__":
    main()
