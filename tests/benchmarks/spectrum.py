"""Spectra of simulated lamps: do the intervals hold the truth, and are lines told as what they are?

``python -m tests.benchmarks.spectrum [lamps]``. Truth: light summed over wavelengths through the simulated crystal,
its sidelobes 5 % off (k = 1) from coupled waves; power meter gain 3 %, response 1 % a row and 2 % in all, efficiency
1 % at nine wavelengths, readings 0.4 % and 15 nW, a meter that trails by 0.3 s read every 0.5 s. Tuning through
seven lines known to 0.05 nm; the passband from 20 sets of
scans of three laser lines; the place of a line hangs on the 20 tuning curves, so its coverage comes in steps of 5 %.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections import defaultdict
from collections.abc import Callable

import numpy as np

from aotf_lab.crystal.spectrum.fit import fit_spectrum
from aotf_lab.crystal.spectrum.spectrum import Spectrum
from aotf_lab.simulate.spectrum import SpectrumPlan
from tests.benchmarks.spectrum_bench import LAMPS, MERCURY, SODIUM, bench, measured, scans_of, tuning_of
from tests.benchmarks.table import RESULTS, markdown

SETS = 20
POINTS_NM = (490.0, 510.0, 530.0, 550.0, 570.0, 590.0)
BROAD = SpectrumPlan(62.0, 83.0, 0.14)
NARROW = SpectrumPlan(61.0, 72.0, 0.06)
K95 = 1.959964
ALWAYS = ("structure",)
"""Checks that are to fail for lines, which a passband does flatten."""


class Tally:
    """Deviations in standard uncertainties and relative ones, by quantity; failed checks."""

    def __init__(self) -> None:
        self.z: dict[str, list[float]] = defaultdict(list)
        self.relative: dict[str, list[float]] = defaultdict(list)
        self.u: dict[str, list[float]] = defaultdict(list)
        self.failed: dict[str, int] = defaultdict(int)
        self.counts: dict[str, int] = defaultdict(int)

    def add(self, what: str, value: object, true: float) -> None:
        n, s = float(value.n), float(value.s)  # type: ignore[attr-defined]
        self.z[what].append((n - true) / s)
        self.relative[what].append(n / true - 1.0)
        self.u[what].append(s / n)

    def rows(self, scenario: str) -> list[list[str]]:
        rows = []
        for what, z in self.z.items():
            covered = 100 * float(np.mean(np.abs(z) <= K95))
            rms = 100 * float(np.sqrt(np.mean(np.square(self.relative[what]))))
            u = 100 * float(np.sqrt(np.mean(np.square(self.u[what]))))
            rows.append([scenario, what, f"{covered:.1f}", f"{np.mean(z):+.2f}", f"{rms:.3g}", f"{u:.3g}"])
        return rows


def broad(name: str, lamps: int, ways: tuple[str, ...]) -> Tally:
    """Return the tally of a lamp with a continuous spectrum."""
    truth, tally, lamp = bench(), Tally(), LAMPS[name]
    sets = [
        (tuning_of(np.random.default_rng(k), truth), scans_of(np.random.default_rng(k), truth)) for k in range(SETS)
    ]
    nm = np.linspace(500.0, 590.0, 20001)
    band = float(np.trapezoid(lamp.density_mw_per_nm(nm), nm))
    for k in range(lamps):
        rng = np.random.default_rng([7, k])
        tuning, scans = sets[k % SETS]
        owner = measured(rng, name, truth, BROAD, ways)
        spectrum = fit_spectrum(
            owner.readings, tuning, passband=scans, response=owner.response, efficiency=owner.efficiency,
            time_constant_s=0.3,
        )  # fmt: skip
        for x, value in zip(POINTS_NM, spectrum.at(POINTS_NM), strict=True):
            tally.add(f"density at {x:.0f} nm", value, float(lamp.density_mw_per_nm(np.array([x]))[0]))
        tally.add("power, 500 to 590 nm", spectrum.power_mw(500.0, 590.0), band)
        _count(tally, spectrum, ())
        tally.counts["false lines"] += len(spectrum.lines())
    return tally


def lines(name: str, fwhm_mhz: float, lamps: int) -> Tally:
    """Return the tally of a lamp of lines."""
    truth, tally = bench(fwhm_mhz), Tally()
    sets = [
        (tuning_of(np.random.default_rng(k), truth), scans_of(np.random.default_rng(k), truth)) for k in range(SETS)
    ]
    true = MERCURY if name == "mercury" else SODIUM
    for k in range(lamps):
        rng = np.random.default_rng([8, k])
        tuning, scans = sets[k % SETS]
        owner = measured(rng, name, truth, NARROW)
        spectrum = fit_spectrum(
            owner.readings, tuning, passband=scans, response=owner.response, efficiency=owner.efficiency
        )
        found = spectrum.lines()
        _count(tally, spectrum, ALWAYS)
        tally.counts[f"{len(found)} lines, {sum(line.blend for line in found)} of them said to be no single one"] += 1
        for nm, mw in true:
            near = [line for line in found if abs(line.wavelength_nm.n - nm) < 0.5 and not line.blend]
            if near:
                tally.add(f"{nm:.2f} nm: place", near[0].wavelength_nm, nm)
                tally.add(f"{nm:.2f} nm: power", near[0].power_mw, mw)
    return tally


def _count(tally: Tally, spectrum: Spectrum, expected: tuple[str, ...]) -> None:
    for check in spectrum.failed:
        if check.name not in expected:
            tally.failed[check.name] += 1


def main(lamps: int) -> None:
    coverage: list[list[str]] = []
    answers: list[list[object]] = []
    few = max(lamps // 5, 1)
    jobs: list[tuple[str, int, Callable[[int], Tally]]] = [
        ("white LED, one way, lag stated", lamps, lambda n: broad("white LED", n, ("up",))),
        ("white LED, up and down", few, lambda n: broad("white LED", n, ("up", "down"))),
        ("black body 2856 K, up and down", few, lambda n: broad("black body 2856 K", n, ("up", "down"))),
        ("mercury, FWHM 0.2 MHz", few, lambda n: lines("mercury", 0.2, n)),
        ("mercury, FWHM 0.45 MHz", few, lambda n: lines("mercury", 0.45, n)),
        ("sodium, FWHM 0.2 MHz", few, lambda n: lines("sodium", 0.2, n)),
    ]
    for label, count, job in jobs:
        tally = job(count)
        coverage += tally.rows(label)
        failed = "; ".join(f"{k}: {100 * v / count:.2g} %" for k, v in sorted(tally.failed.items())) or "none"
        answers.append([label, count, "; ".join(f"{k}: {v}" for k, v in sorted(tally.counts.items())), failed])
        print(markdown(("quantity", "held (%)"), [row[1:3] for row in tally.rows(label)]), answers[-1], flush=True)
        _write(coverage, answers)


def _write(coverage: list[list[str]], answers: list[list[object]]) -> None:
    text = f"# spectrum\n\n{(__doc__ or '').strip()}\n\n## Intervals\n\n"
    heads = ("lamp", "quantity", "95 % intervals that hold it (%)", "mean error / u", "rms error (%)", "u (%)")
    text += markdown(heads, coverage)
    text += "\n\n## Answers\n\n"
    text += markdown(("lamp", "simulated", "lines told", "checks that failed"), answers) + "\n"
    (RESULTS / "spectrum.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
