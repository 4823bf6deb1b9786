"""Scans with a sloping floor, ranges of the meter, levels in dB, and two peaks: coverage, false alarms, what is found.

``python -m tests.benchmarks.scan_forms SECTION [benches]``, SECTION one of one_peak, two_peaks, forms. Truth and
readings as in the benchmark ``scan`` (31 up and 31 down, 0.4 % and 1.1 uW, drive told, u told, unless said otherwise).
Ranges: three, with gains of 0, +2 and -1.5 %, offsets of 4, 0.8 and 0.1 uW. Levels: 0.05 dB of scatter over a floor
45 dB below the peak. Two peaks: the second on either side, of the same shape.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from aotf_lab.crystal.scan.passband import Scan, fit_scan
from aotf_lab.errors import AotfLabError
from tests.benchmarks.scan import rms
from tests.benchmarks.scan_bench import Scenario, Truth, draw_truth, grids, measured
from tests.benchmarks.scan_forms_bench import in_db, ranged, sloped, two_peaks
from tests.benchmarks.table import RESULTS, markdown

Make = Callable[[Scenario, Truth, np.random.Generator], list[pd.DataFrame]]

PLAIN = Scenario("plain")
UNTOLD = Scenario("drive and scatter not told", drive_told=False, u_told=False)
WANDER = Scenario("laser wanders 1.2 % over 5 s", wander=0.012, memory_s=5.0)
ONE_WAY = Scenario("31 one way, photodiode", points=(31,), head_s=0.0, head_told=0.0)
NOISY = Scenario("ten times the scatter", noise=10.0)
FORMS: tuple[tuple[str, Scenario, Make], ...] = (
    ("slope 50 uW/MHz", PLAIN, lambda s, t, r: sloped(s, t, 0.05, r)),
    ("slope 5 uW/MHz", PLAIN, lambda s, t, r: sloped(s, t, 0.005, r)),
    ("slope 50 uW/MHz, drive and scatter not told", UNTOLD, lambda s, t, r: sloped(s, t, 0.05, r)),
    ("three ranges, stated", PLAIN, ranged),
    ("three ranges, stated, scatter not told", UNTOLD, ranged),
    ("three ranges, in the digits only", PLAIN, lambda s, t, r: ranged(s, t, r, stated=False, rounded=True)),
    ("in dBm", PLAIN, in_db),
    ("in dBm, drive and scatter not told", UNTOLD, in_db),
)
ONE_PEAK = (
    PLAIN, UNTOLD, ONE_WAY, NOISY, WANDER, Scenario("laser wanders 1.2 % over 30 s", wander=0.012, memory_s=30.0),
    Scenario("leans as D (1 - s tanh(D/2))", lean="tanh D/2"), Scenario("leans as D (1 - s sign D)", lean="sign D"),
)  # fmt: skip
TWO_PEAKS = (
    (PLAIN, 0.1, 1.0), (PLAIN, 0.1, 1.5), (PLAIN, 0.3, 1.0), (UNTOLD, 0.1, 1.0), (WANDER, 0.1, 1.0),
    (ONE_WAY, 0.1, 1.0), (PLAIN, 0.1, 0.5), (PLAIN, 0.3, 0.5), (UNTOLD, 0.1, 0.5), (WANDER, 0.1, 0.5),
)  # fmt: skip


@dataclass
class Tally:
    """What the benches of one form gave; errors in MHz; ``lobes`` are sidelobes less theory over their u."""

    centre: list[bool] = field(default_factory=list)
    fwhm: list[bool] = field(default_factory=list)
    errors: list[float] = field(default_factory=list)
    u: list[float] = field(default_factory=list)
    lobes: list[float] = field(default_factory=list)
    sloped: int = 0
    ranged: int = 0
    two: int = 0
    others: int = 0
    refused: int = 0

    def add(self, scan: Scan, truth: Truth) -> None:
        for hits, value, true in (
            (self.centre, scan.centre_mhz, truth.centre_mhz), (self.fwhm, scan.fwhm_mhz, truth.fwhm_mhz),
        ):  # fmt: skip
            low, high = scan.fit.interval(value)
            hits.append(low <= true <= high)
        self.errors.append(scan.centre_mhz.n - truth.centre_mhz)
        self.u.append(scan.centre_mhz.s)
        self.lobes += [(s.relative.n - 1) / s.relative.s for s in scan.sidelobes]
        self.sloped += scan.solution.model.sloped
        self.ranged += scan.solution.model.ranges is not None
        self.two += scan.branches is not None
        said = {"stated uncertainty", "lag", "one peak", "meter ranges"}
        self.others += any(c.name not in said for c in scan.fit.failed)


def fitted(scenario: Scenario, tables: list[pd.DataFrame], truth: Truth) -> Scan:
    drive = float(truth.drive) if scenario.drive_told else None
    return fit_scan(tables, drive_ratio=drive, time_constant_s=scenario.head_told)


def run(name: str, scenario: Scenario, make: Make, benches: int) -> Tally:
    rng, tally = np.random.default_rng(5), Tally()
    for _ in range(benches):
        truth = draw_truth(scenario, rng)
        tables = make(scenario, truth, rng)
        try:
            tally.add(fitted(scenario, tables, truth), truth)
        except AotfLabError as error:
            tally.refused += 1
            print(f"refused: {error}", flush=True)
    print(f"done: {name}: {tally.two} two peaks, {tally.sloped} slopes", flush=True)
    return tally


def plain(scenario: Scenario, truth: Truth, rng: np.random.Generator) -> list[pd.DataFrame]:
    return measured(scenario, truth, grids(scenario, truth, rng), rng)


def row(name: str, tally: Tally) -> list[str]:
    fitted_scans = max(len(tally.errors), 1)
    shares = (100 * n / fitted_scans for n in (tally.sloped, tally.ranged, tally.two, tally.others))
    lobes = f"{rms(tally.lobes):.2f}" if tally.lobes else ""
    return [
        name, *(f"{100 * np.mean(hits):.1f}" for hits in (tally.centre, tally.fwhm)), f"{1e3 * rms(tally.errors):.2f}",
        f"{1e3 * rms(tally.u):.2f}", lobes, *(f"{share:.2f}" for share in shares), str(tally.refused),
    ]  # fmt: skip


def two_row(scenario: Scenario, share: float, apart: float, benches: int) -> list[str]:
    rng, found, hits, refused = np.random.default_rng(9), 0, [], 0
    for _ in range(benches):
        truth = draw_truth(scenario, rng)
        tables, second = two_peaks(scenario, truth, share, apart, rng)
        try:
            scan = fitted(scenario, tables, truth)
        except AotfLabError:
            refused += 1
            continue
        if scan.branches is not None:
            found += 1
            b = scan.branches
            pairs = (
                (b.main_mhz, truth.centre_mhz), (b.second_mhz, second.centre_mhz),
                (b.separation_mhz, second.centre_mhz - truth.centre_mhz), (b.share, share),
            )  # fmt: skip
            hits.append([low <= true <= high for v, true in pairs for low, high in [scan.fit.interval(v)]])
    covered = [f"{100 * c:.1f}" for c in np.mean(hits, axis=0)] if hits else [""] * 4
    print(f"done: {scenario.name} {share} {apart}: {found}", flush=True)
    return [scenario.name, f"{100 * share:g}", f"{apart:g}", f"{100 * found / benches:.1f}", *covered, str(refused)]


HEADS = (
    "scan", "centre (%)", "FWHM (%)", "rms error of the centre (kHz)", "rms u (kHz)", "rms of lobes / u",
    "slope fitted (%)", "ranges fitted (%)", "two peaks (%)", "other failed check (%)", "refused",
)  # fmt: skip
TWO_HEADS = (
    "scan", "light in the second (%)", "separation (FWHM)", "found (%)", "main (%)", "second (%)", "separation (%)",
    "share (%)", "refused",
)  # fmt: skip


def main(section: str, benches: int) -> None:
    if section == "one_peak":
        title, heads = "One peak on a level floor: false alarms, coverage of 95 % intervals", HEADS
        rows = [row(s.name, run(s.name, s, plain, benches)) for s in ONE_PEAK]
    elif section == "two_peaks":
        title, heads = "Two peaks: found, and coverage of 95 % intervals where found", TWO_HEADS
        rows = [two_row(*case, benches) for case in TWO_PEAKS]
    else:
        section, title, heads = "forms", "Slopes, ranges, levels: coverage of 95 % intervals", HEADS
        rows = [row(name, run(name, s, make, benches)) for name, s, make in FORMS]
    text = (
        f"# scan: {section}\n\n{(__doc__ or '').strip()}\n\n## {title}, {benches} benches\n\n{markdown(heads, rows)}\n"
    )
    (RESULTS / f"scan_{section}.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "forms", int(sys.argv[2]) if len(sys.argv) > 2 else 1000)
