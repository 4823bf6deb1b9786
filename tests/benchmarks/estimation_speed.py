"""How long a fit takes, next to a bare ``scipy.optimize.least_squares`` on the same residuals.

``python -m tests.benchmarks.estimation_speed [repeats]``. Both run by turns in one process, on the same readings,
from the same starting point, with the same bounds; the ratio of the medians is stated. The fit adds to the bare
minimum its proof, covariance, budget and checks. Where no uncertainty is stated and the model is not linear, the fit
searches from nine starting points, because no sum of squares would give a wrong minimum away.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import statistics
import sys
import time
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares
from uncertainties import ufloat

from aotf_lab.estimation import Parameter, Problem, fit_problem
from aotf_lab.estimation.problem import FloatArray, Model
from aotf_lab.physics.coupled_waves import diffraction_efficiency
from aotf_lab.physics.indices import birefringence
from tests.benchmarks.table import write_table

LIMIT = 5.0


def scan() -> Problem:
    """A passband: 31 frequencies, 6 parameters."""

    def model(
        f: FloatArray, centre: float, null: float, peak: float, drive: float, floor: float, tilt: float
    ) -> FloatArray:
        passband = diffraction_efficiency(np.pi * (f - centre) / null, drive)
        return np.asarray(peak * passband + floor + tilt * (f - 106.0))

    truth = (106.02, 0.34, 0.9, 0.6, 0.003, 0.001)
    parameters = (
        Parameter("centre", 105.95), Parameter("null", 0.3, low=0.01), Parameter("peak", 0.8, low=0.0),
        Parameter("drive", 0.4, low=0.0, high=3.9), Parameter("floor", 0.0), Parameter("tilt", 0.0),
    )  # fmt: skip
    return _noisy(model, parameters, truth, np.linspace(105.0, 107.0, 31), 0.004)


def tuning() -> Problem:
    """A tuning curve: 5 anchors, 3 parameters, two of them with weak priors."""

    def model(nm: FloatArray, scale: float, c: float, c2: float) -> FloatArray:
        t = 589.0 / nm - 1
        return np.asarray(scale * (1 + c * t + c2 * t**2) * birefringence(nm) / nm)

    parameters = (
        Parameter("scale", 3e5),
        Parameter("c", 0.0, prior=ufloat(0.0, 0.10, tag="law")),
        Parameter("c2", 0.0, prior=ufloat(0.0, 0.05, tag="law")),
    )
    return _noisy(model, parameters, (3.2e5, 0.03, 0.01), np.array([473.2, 556.4, 589.1, 632.8, 671.3]), 0.005)


def efficiency() -> Problem:
    """Efficiency against RF power: 15 powers, 2 parameters."""

    def model(power: FloatArray, saturation: float, peak: float) -> FloatArray:
        return np.asarray(peak * np.sin(np.pi / 2 * np.sqrt(power / saturation)) ** 2)

    parameters = (Parameter("saturation", 0.5, low=0.01), Parameter("peak", 0.8, low=0.0, high=1.0))
    return _noisy(model, parameters, (0.42, 0.88), np.linspace(0.02, 0.5, 15), 0.006)


def both_uncertain() -> Problem:
    """A straight line with errors in both: 12 points, 2 parameters."""
    clean = _noisy(
        lambda x, a, b: np.asarray(a + b * x), (Parameter("a", 0.0), Parameter("b", 1.0)), (2.0, 3.0),
        np.linspace(0.0, 5.0, 12), 0.05,
    )  # fmt: skip
    return replace(clean, u_x=np.full(12, 0.01))


def _noisy(
    model: Model,
    parameters: tuple[Parameter, ...],
    truth: tuple[float, ...],
    x: FloatArray,
    u: float,
) -> Problem:
    y = model(x, *truth) + u * np.random.default_rng(5).normal(size=len(x))
    return Problem(model, parameters, x, y, np.full(len(x), u))


@dataclass(frozen=True)
class Timing:
    """Median times (ms) and whether both found the same minimum."""

    ours: float
    bare: float
    same: bool


def timed(problem: Problem, repeats: int) -> Timing:
    """Run the fit and the bare minimisation by turns."""
    start = [p.start for p in problem.parameters]
    bounds = (problem.low, problem.high)

    def bare() -> FloatArray:
        return np.asarray(least_squares(problem.residual, start, bounds=bounds).x)

    def ours() -> FloatArray:
        return fit_problem(problem).values

    found, wanted = ours(), bare()
    scale = np.maximum(np.sqrt(np.diag(fit_problem(problem).covariance)), 1e-300)
    times: dict[str, list[float]] = {"ours": [], "bare": []}
    for _ in range(repeats):
        for name, run in (("ours", ours), ("bare", bare)):
            begun = time.perf_counter()
            run()
            times[name].append(1e3 * (time.perf_counter() - begun))
    same = bool(np.all(np.abs(found - wanted) < 0.01 * scale))
    return Timing(statistics.median(times["ours"]), statistics.median(times["bare"]), same)


def main() -> None:
    """Time every problem and write the table."""
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    problems = {
        "scan, 31 points, 6 parameters": scan(),
        "tuning, 5 points, 3 parameters, 2 priors": tuning(),
        "efficiency, 15 points, 2 parameters": efficiency(),
        "line, 12 points, errors in both": both_uncertain(),
        "efficiency, no uncertainty stated": replace(efficiency(), u_y=None),
    }
    rows = []
    for name, problem in problems.items():
        t = timed(problem, repeats)
        ratio = t.ours / t.bare
        verdict = "no limit set" if problem.u_y is None else "within" if ratio <= LIMIT else "above"
        rows.append([name, f"{t.ours:.2f}", f"{t.bare:.2f}", f"{ratio:.1f}", verdict, "yes" if t.same else "NO"])
    heads = ["fit", "ours, ms", "bare least_squares, ms", "ratio", f"limit {LIMIT:g}", "same minimum"]
    write_table("estimation_speed", heads, rows, __doc__ or "")


if __name__ == "__main__":
    main()
