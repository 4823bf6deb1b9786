"""Efficiency against RF power on simulated benches: do the intervals hold the truth, how near is the fit to
the best possible, and what do the highest sample and a straight line make of the same readings?

``python -m tests.benchmarks.efficiency [benches [coverage lines comparison speed]]``. Truth: eta_max 0.60 to 0.95,
P_sat 0.2 to 0.8 W, scope gain 1 %, pad 0.01 dB and load 0.5 % wrong by chance (2.1 % of power, the same in all
readings of a bench). Readings: 15 drives, even up to the reach; u of efficiency 0.5 % + 0.003, u of power 0.8 %.
Intervals are in true watts.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import re
import sys
from collections import Counter, defaultdict
from collections.abc import Sequence

import numpy as np

from aotf_lab.crystal.efficiency.curve import FULL, INTERVAL, SLOPE_ONLY
from aotf_lab.crystal.efficiency.lines import fit_efficiency_lines
from aotf_lab.crystal.efficiency.one_line import Efficiency, fit_efficiency
from aotf_lab.errors import AotfLabError
from tests.benchmarks.efficiency_bench import (
    Truth,
    cramer_rao,
    measured,
    scope_errors,
    some_scale,
    some_truth,
)
from tests.benchmarks.efficiency_today import compared, speed
from tests.benchmarks.table import RESULTS, markdown

REACHES = (0.3, 0.5, 0.75, 1.2, 1.5)


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


def coverage_tables(benches: int) -> str:
    """Return the sections on coverage, levels and the Cramer-Rao bound."""
    coverage, levels = coverage_rows(benches)
    bound = "Levels, false alarms, rms error over the Cramer-Rao bound (indicated watts; limit 1.05 at reach 1.2)"
    heads = ("reach / P_sat", SLOPE_ONLY, INTERVAL, FULL, "errors raised", "failed checks other than reach",
             "P_sat / bound", "eta_max / bound")  # fmt: skip
    covered = section(f"Coverage of 95 % intervals, in % of {benches} benches", ("reach / P_sat", *COVERED), coverage)
    return f"{covered}\n\n{section(bound, heads, levels)}"


def lines_table(benches: int) -> str:
    """Return the section on lines fitted together."""
    heads, *rows = lines_rows(benches)
    title = "Three lines together, 473 nm driven to 0.4, 589 nm to 1.5, 671 nm to 0.75 P_sat; coverage in %"
    return section(title, heads, rows)


def comparison_table(benches: int) -> str:
    """Return the section on what else is done with the same readings."""
    heads = ("reach / P_sat", "by", "most light: rms error (W)", "light lost (%)", "half light: rms error (W)",
             "mean error of the light (%)")  # fmt: skip
    rows = [row for reach in (1.2, 0.75) for row in compared(reach, benches)]
    return section("The same readings otherwise: drive for most light, and for half of that light", heads, rows)


def speed_table(benches: int) -> str:
    """Return the section on time; at most a hundred benches a row."""
    heads = ("reach / P_sat", "fit_efficiency (ms)", "bare least_squares (ms)", "ratio", "limit")
    rows = [speed(reach, min(benches, 100)) for reach in REACHES]
    return section("Processor time of one fit with all its checks", heads, rows)


def section(title: str, heads: Sequence[str], rows: Sequence[Sequence[object]]) -> str:
    return f"## {title}\n\n{markdown(heads, rows)}"


SECTIONS = {"coverage": coverage_tables, "lines": lines_table, "comparison": comparison_table, "speed": speed_table}


def main(benches: int, wanted: Sequence[str]) -> None:
    """Run the ``wanted`` sections and put each in its place in the results, beside what stands there of the others."""
    path = RESULTS / "efficiency.md"
    for name in wanted:
        text = path.read_text(encoding="utf-8") if path.exists() else ""
        parts = dict(re.findall(r"<!-- (\w+) -->\n\n(.*?)\n\n<!-- end -->", text, re.DOTALL))
        parts[name] = SECTIONS[name](benches)
        body = "\n\n".join(f"<!-- {n} -->\n\n{parts[n]}\n\n<!-- end -->" for n in SECTIONS if n in parts)
        path.write_text(f"# efficiency\n\n{(__doc__ or '').strip()}\n\n{body}\n", encoding="utf-8")
        print(parts[name], flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000, sys.argv[2:] or list(SECTIONS))
