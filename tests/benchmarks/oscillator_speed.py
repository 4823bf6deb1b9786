"""How long the oscillator's fit takes beside scikit-learn's Gaussian process on the same points."""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable

import numpy as np
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern

from aotf_lab.driver import fit_vco
from aotf_lab.estimation.problem import FloatArray
from tests.benchmarks import truths_oscillator as truths

_ROUNDS = 60


def regressor(v: FloatArray, f: FloatArray, spread: FloatArray) -> GaussianProcessRegressor:
    """Return scikit-learn's regressor with a Matern 5/2 kernel over log(V + 1), its optimiser on, no restarts."""
    kernel = ConstantKernel(1.0, (1e-3, 1e6)) * Matern(1.0, (1e-2, 1e3), nu=2.5)
    process = GaussianProcessRegressor(kernel, alpha=(spread / f.std()) ** 2, normalize_y=True)
    return process.fit(np.log(v + 1)[:, None], f)


def _seconds(job: Callable[[], object]) -> float:
    start = time.perf_counter()
    job()
    return time.perf_counter() - start


def speed_table() -> list[str]:
    """Return the rows of the table of speeds: fit alone, and fit with the curve at the test points."""
    rows = [
        "| truth | fit_vco, ms | scikit-learn, ms | ratio | with 24 values and u: ratio |",
        "| --- | --- | --- | --- | --- |",
    ]
    v, at = truths.voltages(), truths.judged_points()
    for truth in (truths.TANK, truths.BENCH, truths.KINK):
        rng = np.random.default_rng(5)
        constants = truth.constants(None)
        spread = truths.spread(truth, constants, v)
        times = []
        for _ in range(_ROUNDS):
            table = truths.run(truth, constants, v, rng)
            f = table["frequency_mhz"].to_numpy()
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                theirs = _seconds(lambda: regressor(v, f, spread))  # noqa: B023
                whole = _seconds(
                    lambda: regressor(v, f, spread).predict(np.log(at + 1)[:, None], return_std=True)  # noqa: B023
                )
            ours = _seconds(lambda: fit_vco(table))  # noqa: B023
            ours_whole = _seconds(lambda: fit_vco(table).frequency(at))  # noqa: B023
            times.append((ours, theirs, ours_whole, whole))
        ours, theirs, ours_whole, whole = np.median(np.array(times[5:]), axis=0)
        rows.append(
            f"| {truth.name} | {1e3 * ours:.1f} | {1e3 * theirs:.1f} | {ours / theirs:.2f} | {ours_whole / whole:.2f} |"
        )
    return rows
