"""What is done with efficiency readings today, and how long a fit takes: comparisons of the efficiency benchmark."""

from __future__ import annotations

import statistics
from collections import defaultdict

import numpy as np
from scipy.optimize import least_squares

from aotf_lab.crystal.efficiency.one_line import efficiency_problem, fit_efficiency
from aotf_lab.crystal.efficiency.readings import drive_readings
from aotf_lab.reading.readings import Readings
from tests.benchmarks.efficiency_bench import Truth, measured, some_truth
from tests.benchmarks.timing import milliseconds

WANTED = 0.5
"""Share of the most light that is asked for in the comparison."""


def compared(reach: float, benches: int) -> list[list[str]]:
    """Return the errors (indicated watts, so that the power scale is out of it) of three ways, on the same readings."""
    rng, errors = np.random.default_rng(7), defaultdict(list)
    for _ in range(benches):
        truth = some_truth(rng)
        readings = measured(rng, truth, reach)
        curve = fit_efficiency(readings)
        highest, peak, slope = by_eye(readings)
        wanted = WANTED * float(truth.efficiency(min(reach, 1) * truth.saturation_w))
        as_peak = Truth(peak, highest, 1.0)
        ways = {
            "this package": (curve.most_light_w, curve.rf_power(wanted).n),
            "highest sample taken as the peak": (highest, as_peak.power(wanted)),
            "straight line through low drive": (peak / slope, wanted / slope),
        }
        for way, (most, some) in ways.items():
            top = min(truth.saturation_indicated_w, reach * truth.saturation_indicated_w)
            light = [float(truth.efficiency(p * truth.scale)) for p in (most, some, top)]
            errors[way].append((most - top, 100 * (1 - light[0] / light[2]), some - truth.power(wanted) / truth.scale,
                                100 * abs(light[1] - wanted) / wanted))  # fmt: skip
    rows = []
    for way, found in errors.items():
        watts, lost, half_watts, half_light = np.array(found).T
        rms = [float(np.sqrt(np.mean(np.square(w)))) for w in (watts, half_watts)]
        rows.append(
            [
                f"{reach:g}",
                way,
                f"{rms[0]:.4f}",
                f"{round(lost.mean(), 2) + 0.0:.2f}",
                f"{rms[1]:.4f}",
                f"{half_light.mean():.2f}",
            ]
        )
    return rows


def by_eye(readings: Readings) -> tuple[float, float, float]:
    """Return the drive of the highest sample, that sample, and the slope of a line through the low drives."""
    power = readings.table["rf_power_w"].to_numpy()
    light = readings.table["efficiency"].to_numpy()
    low = light < 0.3 * light.max()
    slope = float(np.sum(power[low] * light[low]) / np.sum(power[low] ** 2))
    return float(power[np.argmax(light)]), float(light.max()), slope


def speed(reach: float, benches: int = 100) -> list[str]:
    """Return median times of ``fit_efficiency`` and of a bare least_squares on the same residuals, and their ratio."""
    rng, ours, bare = np.random.default_rng(5), [], []
    for _ in range(benches):
        readings = measured(rng, some_truth(rng), reach)
        problem = efficiency_problem(drive_readings(readings, None, ""))
        start = np.array([p.start for p in problem.parameters])
        ours.append(milliseconds(lambda r=readings: fit_efficiency(r), runs=7))
        bare.append(milliseconds(lambda p=problem, s=start: least_squares(p.residual, s), runs=7))
    ratio = statistics.median(np.divide(ours, bare))
    return [f"{reach:g}", f"{statistics.median(ours):.2f}", f"{statistics.median(bare):.2f}", f"{ratio:.2f}", "5"]
