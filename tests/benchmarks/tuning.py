"""The tuning curve on simulated benches: do its intervals hold the truth, how near is it to the best possible,
and what do a constant birefringence and a quadratic in wavelength make of the same lines?

``python -m tests.benchmarks.tuning [benches]``. Truth: exact phase matching of parallel-tangent cuts of 10 to 25 deg
incidence. Lines: u of wavelength 0.08 to 0.1 nm, u of frequency 5 kHz.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import statistics
import sys
from collections import defaultdict
from collections.abc import Callable

import numpy as np
import pandas as pd
from scipy.optimize import least_squares

from aotf_lab.crystal.tuning.curve import Tuning, fit_tuning
from aotf_lab.crystal.tuning.law import TuningLaw
from aotf_lab.crystal.tuning.lines import usable_lines
from aotf_lab.physics.coupled_waves import light_lost
from aotf_lab.reading.readings import as_readings
from tests.benchmarks.table import RESULTS, markdown
from tests.benchmarks.timing import milliseconds
from tests.benchmarks.tuning_bench import ANCHORS, Floats, Lines, cramer_rao_mhz, lines_of, measured, true_frequency

FWHM_MHZ = 0.3
OURS, CONSTANT, QUADRATIC = "this package", "constant birefringence", "quadratic in wavelength"


def constant_birefringence(table: pd.DataFrame, nm: Floats) -> Floats:
    """Return f = const / wavelength through the lines."""
    return np.asarray((table["frequency_mhz"] * table["wavelength_nm"]).mean() / nm)


def quadratic(table: pd.DataFrame, nm: Floats) -> Floats:
    """Return the least-squares quadratic in wavelength through the lines."""
    return np.asarray(np.polyval(np.polyfit(table["wavelength_nm"], table["frequency_mhz"], 2), nm))


class Tally:
    """Hits and squared errors of one set of benches, by kind of point."""

    def __init__(self) -> None:
        self.hits: dict[tuple[str, str], list[bool]] = defaultdict(list)
        self.errors: dict[tuple[str, str], list[Floats]] = defaultdict(list)
        self.bounds: dict[str, list[Floats]] = defaultdict(list)
        self.alarms = 0

    def add(self, kind: str, tuning: Tuning, nm: Floats, truth: Floats) -> Floats:
        """Count what the curve says at ``nm``, where the truth is ``truth`` (MHz)."""
        answers = {
            "f(wavelength)": (tuning.frequency(nm), truth),
            "wavelength(f)": (tuning.wavelength(truth), nm),
            "v B": (tuning.velocity_birefringence(nm), 1e-3 * truth * nm),
        }
        for name, (values, true) in answers.items():
            for value, t in zip(values, true, strict=True):
                low, high = tuning.fit.interval(value)
                self.hits[kind, name].append(low <= t <= high)
        return np.array([v.n for v in answers["f(wavelength)"][0]]) - truth

    def coverage(self, kind: str, name: str) -> float:
        return 100 * float(np.mean(self.hits[kind, name]))

    def rms(self, kind: str, who: str) -> float:
        return float(np.sqrt(np.mean(np.square(self.errors[kind, who]))))

    def light(self, kind: str, who: str) -> float:
        """Return the mean share (%) of the light that the errors lose in a passband of ``FWHM_MHZ``."""
        return 100 * float(np.mean(light_lost(np.asarray(self.errors[kind, who]) / FWHM_MHZ)))

    def efficiency(self, kind: str) -> float:
        """Return the rms error over the Cramer-Rao bound."""
        return self.rms(kind, OURS) / float(np.sqrt(np.mean(np.square(self.bounds[kind]))))


def run(lines: Lines, pole_shift_nm: float, benches: int, seed: int) -> Tally:
    """Return the tally of ``benches`` simulated benches."""
    rng, tally = np.random.default_rng(seed), Tally()
    for incidence in rng.uniform(10, 25, benches):
        frequency = true_frequency(lines.nm, incidence, pole_shift_nm)
        table = measured(lines, frequency, rng)
        tuning = fit_tuning(table)
        tally.alarms += not tuning.fit.trusted
        for kind, nm in lines.points().items():
            truth = true_frequency(nm, incidence, pole_shift_nm)
            tally.errors[kind, OURS].append(tally.add(kind, tuning, nm, truth))
            tally.errors[kind, CONSTANT].append(constant_birefringence(table, nm) - truth)
            tally.errors[kind, QUADRATIC].append(quadratic(table, nm) - truth)
            tally.bounds[kind].append(cramer_rao_mhz(lines, frequency, nm))
    return tally


def speed(lines: Lines, benches: int = 60) -> tuple[float, float, float]:
    """Return median ms of ``fit_tuning``, of a bare least_squares on the same residuals, and their median ratio."""
    rng, ours, bare = np.random.default_rng(5), [], []
    for incidence in rng.uniform(10, 25, benches):
        table = measured(lines, true_frequency(lines.nm, incidence, 0.0), rng)
        usable = usable_lines(as_readings(table))
        problem = TuningLaw("TeO2", usable.reference_nm).problem(usable)
        start = np.array([p.start for p in problem.parameters])
        for times, job in (
            (ours, lambda t=table: fit_tuning(t)),
            (bare, lambda p=problem, s=start: solve(p.residual, s)),
        ):
            times.append(milliseconds(job))
    return statistics.median(ours), statistics.median(bare), statistics.median(np.divide(ours, bare))


def solve(residual: Callable[[Floats], Floats], start: Floats) -> object:
    return least_squares(residual, start)


def main(benches: int) -> None:
    coverage, errors = [], []
    for anchors in ANCHORS:
        lines = lines_of(anchors)
        for shift in (0.0, 1.0, -1.0):
            tally = run(lines, shift, benches, seed=20 + int(shift))
            alarms = 100 * tally.alarms / benches
            for kind in lines.points():
                row = [anchors, f"{shift:+g} nm" if shift else "as published", kind]
                covered = [f"{tally.coverage(kind, n):.1f}" for n in ("f(wavelength)", "wavelength(f)", "v B")]
                coverage.append([*row, *covered, f"{tally.efficiency(kind):.3f}", f"{alarms:.2f}"])
                if shift == 0.0:
                    errors += [
                        [anchors, kind, who, f"{tally.rms(kind, who):.4f}", f"{tally.light(kind, who):.2f}"]
                        for who in (OURS, CONSTANT, QUADRATIC)
                    ]
            print(f"done: {anchors}, pole moved by {shift:+g} nm", flush=True)
    rows = [[a, f"{m:.2f}", f"{b:.2f}", f"{r:.2f}", "5"] for a in ANCHORS for m, b, r in [speed(lines_of(a))]]
    tables = (
        (f"Coverage of 95 % intervals, in % of {benches} benches; rms error / Cramer-Rao bound", coverage,
         ("lines", "extraordinary pole", "points", "f(wavelength)", "wavelength(f)", "v B", "rms / bound",
          "benches with a failed check (%)")),
        (f"The same lines otherwise; light lost in a passband of {FWHM_MHZ} MHz", errors,
         ("lines", "points", "by", "rms error (MHz)", "light lost (%)")),
        ("Processor time of one fit with all its checks", rows,
         ("lines", "fit_tuning (ms)", "bare least_squares (ms)", "ratio", "limit")),
    )  # fmt: skip
    text = "\n\n".join(f"## {title}\n\n{markdown(heads, body)}" for title, body, heads in tables)
    text = f"# tuning\n\n{(__doc__ or '').strip()}\n\n{text}\n"
    (RESULTS / "tuning.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
