"""Efficiency against RF power on simulated benches: do the intervals hold the truth, how near is the fit to
the best possible, and what do the highest sample and a straight line make of the same readings?

``python -m tests.benchmarks.efficiency [benches]``. Truth: eta_max 0.60 to 0.95, P_sat 0.2 to 0.8 W, scope gain 1 %,
pad 0.01 dB and load 0.5 % wrong by chance (2.1 % of power, the same in all readings of a bench). Readings: 15
drives, even up to the reach; u of efficiency 0.5 % + 0.003, u of power 0.8 %. Intervals are in true watts.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import statistics
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable

import numpy as np
from scipy.optimize import least_squares

from aotf_lab.crystal.efficiency import Efficiency, efficiency_problem, fit_efficiency
from aotf_lab.crystal.efficiency_curve import FULL, INTERVAL, SLOPE_ONLY
from aotf_lab.crystal.efficiency_lines import fit_efficiency_lines
from aotf_lab.crystal.efficiency_readings import drive_readings
from aotf_lab.errors import AotfLabError
from aotf_lab.reading.readings import Readings
from tests.benchmarks.efficiency_bench import (
    Truth,
    cramer_rao,
    measured,
    scope_errors,
    some_scale,
    some_truth,
)
from tests.benchmarks.table import RESULTS, markdown

REACHES = (0.3, 0.5, 0.75, 1.2, 1.5)
WANTED = 0.5
"""Share of the peak efficiency that is asked for in the comparison."""


class Tally:
    """Hits of intervals by name, levels and failed checks of one set of benches."""

    def __init__(self) -> None:
        self.hits: dict[str, list[bool]] = defaultdict(list)
        self.levels: Counter[str] = Counter()
        self.alarms: Counter[str] = Counter()
        self.pulls: dict[str, list[float]] = defaultdict(list)

    def add(self, name: str, interval: tuple[float, float], truth: float) -> None:
        self.hits[name].append(bool(interval[0] <= truth <= interval[1]))

    def covered(self, name: str) -> str:
        return f"{100 * np.mean(self.hits[name]):.1f}" if self.hits[name] else "not stated"


def judge(tally: Tally, curve: Efficiency, truth: Truth, reach: float) -> None:
    """Count which intervals of ``curve`` hold the truth."""
    interval = curve.fit.interval
    tally.levels[curve.level] += 1
    tally.alarms.update(c.name for c in curve.fit.failed if c.name != "reach")
    tally.add("slope", interval(curve.slope_per_w), truth.slope_per_w)
    tally.add("P_sat, interval", curve.saturation_interval_w(), truth.saturation_w)
    for share in (0.1, 0.3, 0.5, 0.7, 0.9, 1.0):
        power = share * curve.range_w[1]
        tally.add("eta(P)", interval(curve.efficiency(power)), float(truth.efficiency(power)))
    top = float(truth.efficiency(min(reach, 1.0) * truth.saturation_w))
    for share in (0.2, 0.5, 0.8):
        tally.add("P(eta)", interval(curve.rf_power(share * top)), truth.power(share * top))
    if curve.level == SLOPE_ONLY:
        return
    tally.add("P_sat, +- u", interval(curve.saturation_power_w), truth.saturation_w)
    tally.add("eta_max, interval", curve.peak_interval(), truth.peak)
    tally.add("eta_max, +- u", interval(curve.peak_efficiency), truth.peak)


def run(reach: float, benches: int) -> tuple[Tally, int]:
    """Return the tally of ``benches`` benches and how many raised an error."""
    rng, tally, errors = np.random.default_rng(int(100 * reach)), Tally(), 0
    for _ in range(benches):
        truth = some_truth(rng)
        try:
            curve = fit_efficiency(measured(rng, truth, reach))
            judge(tally, curve, truth, reach)
        except AotfLabError as error:
            errors += 1
            print("raised:", error)
            continue
        if curve.level != SLOPE_ONLY:
            bounds = cramer_rao(truth, reach)
            power, peak = curve.saturation_power_indicated_w.n, curve.peak_efficiency.n
            tally.pulls["P_sat"].append((power - truth.saturation_indicated_w) / bounds[0])
            tally.pulls["eta_max"].append((peak - truth.peak) / bounds[1])
    return tally, errors


COVERED = ("slope", "P_sat, interval", "P_sat, +- u", "eta_max, interval", "eta_max, +- u", "eta(P)", "P(eta)")


def coverage_rows(benches: int) -> tuple[list[list[str]], list[list[str]]]:
    """Return the rows of coverage, and those of levels, false alarms and distance from the Cramer-Rao bound."""
    coverage, levels = [], []
    for reach in REACHES:
        tally, errors = run(reach, benches)
        coverage.append([f"{reach:g}", *(tally.covered(name) for name in COVERED)])
        alarms = ", ".join(f"{n} {k}" for n, k in tally.alarms.most_common()) or "none"
        rms = [
            f"{np.sqrt(np.mean(np.square(tally.pulls[n]))):.3f}" if tally.pulls[n] else "" for n in ("P_sat", "eta_max")
        ]
        counts = [str(tally.levels[level]) for level in (SLOPE_ONLY, INTERVAL, FULL)]
        levels.append([f"{reach:g}", *counts, str(errors), alarms, *rms])
        print(coverage[-1], levels[-1], flush=True)
    return coverage, levels


def lines_rows(benches: int) -> list[list[str]]:
    """Return the coverage of three lines fitted together: 473 nm to 0.4, 589 nm to 1.5, 671 nm to 0.75 P_sat."""
    rows = []
    for exponent in (2.0, 2.7):
        rng, tally = np.random.default_rng(int(10 * exponent)), Tally()
        for _ in range(benches):
            lines = three_lines(rng, exponent)
            common = scope_errors()
            found = fit_efficiency_lines(
                {n: (measured(rng, t, reach, common=common), nm) for n, (t, reach, nm) in lines.items()}
            )
            tally.alarms.update(c.name for c in found.fit.failed)
            interval, reference = found.fit.interval, lines["E"][0].saturation_w
            for nm in (473.06, 556.27, 588.96, 671.1):
                true = reference * (nm / 588.96) ** exponent
                tally.add(f"P_sat at {nm:.0f} nm", interval(found.at(nm).saturation_power_w), true)
            blue = lines["B"][0]
            power = 0.9 * blue.saturation_w
            tally.add("eta of the 473 nm line at 0.9 P_sat", interval(found.line("B").efficiency(power)),
                      float(blue.efficiency(power)))  # fmt: skip
        alarms = sum(tally.alarms.values())
        rows.append([f"{exponent:g}", *(tally.covered(n) for n in tally.hits), str(alarms)])
        print(rows[-1], flush=True)
    return [["exponent", *tally.hits, "failed checks"], *rows]


def three_lines(rng: np.random.Generator, exponent: float) -> dict[str, tuple[Truth, float, float]]:
    """Return truth, reach and wavelength of three lines of one bench."""
    scale, reference = some_scale(rng), rng.uniform(0.3, 0.6)
    plan = {"B": (0.4, 473.06), "E": (1.5, 588.96), "G": (0.75, 671.1)}
    return {
        n: (Truth(rng.uniform(0.75, 0.9), reference * (nm / 588.96) ** exponent, scale), reach, nm)
        for n, (reach, nm) in plan.items()
    }


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
            [f"{reach:g}", way, f"{rms[0]:.4f}", f"{lost.mean():.2f}", f"{rms[1]:.4f}", f"{half_light.mean():.2f}"]
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
        ours.append(milliseconds(lambda r=readings: fit_efficiency(r)))
        bare.append(milliseconds(lambda p=problem, s=start: least_squares(p.residual, s)))
    ratio = statistics.median(np.divide(ours, bare))
    return [f"{reach:g}", f"{statistics.median(ours):.2f}", f"{statistics.median(bare):.2f}", f"{ratio:.2f}", "5"]


def milliseconds(job: Callable[[], object]) -> float:
    """Return the shortest of seven runs."""
    times = []
    for _ in range(7):
        began = time.perf_counter()
        job()
        times.append(1e3 * (time.perf_counter() - began))
    return min(times)


def main(benches: int) -> None:
    fast = [speed(reach) for reach in REACHES]
    print(fast, flush=True)
    against = [row for reach in (1.2, 0.75) for row in compared(reach, benches)]
    coverage, levels = coverage_rows(benches)
    lines_heads, *lines = lines_rows(benches)
    tables = (
        (f"Coverage of 95 % intervals, in % of {benches} benches", coverage, ("reach / P_sat", *COVERED)),
        ("Levels, false alarms, rms error over the Cramer-Rao bound (indicated watts; limit 1.05 at reach 1.2)", levels,
         ("reach / P_sat", SLOPE_ONLY, INTERVAL, FULL, "errors raised", "failed checks other than reach",
          "P_sat / bound", "eta_max / bound")),
        ("Three lines together, 473 nm driven to 0.4, 589 nm to 1.5, 671 nm to 0.75 P_sat; coverage in %", lines,
         lines_heads),
        ("The same readings otherwise: drive for most light, and for half of that light", against,
         ("reach / P_sat", "by", "most light: rms error (W)", "light lost (%)", "half light: rms error (W)",
          "mean error of the light (%)")),
        ("Time of one fit with all its checks", fast,
         ("reach / P_sat", "fit_efficiency (ms)", "bare least_squares (ms)", "ratio", "limit")),
    )  # fmt: skip
    text = "\n\n".join(f"## {title}\n\n{markdown(heads, body)}" for title, body, heads in tables)
    text = f"# efficiency\n\n{(__doc__ or '').strip()}\n\n{text}\n"
    (RESULTS / "efficiency.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
