"""Do sessions measured as planned reach what the plan promised?

``python -m tests.benchmarks.session_plan [benches]``. The plan knows of each bench only the range of its oscillator,
the cut of its crystal and its instruments. The bench is then read as planned (with the visits to the reference
voltage), its oscillator fitted, every line set to the peak found (by the tuning curve through the others and its
stated wavelength where the plan does not scan it), and the light truly lost at each line counted. The peaks have the
noise that the plan gives them; whether scans reach that is the second table, by full fits of simulated scans.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from uncertainties import ufloat

from aotf_lab.crystal.scan.passband import fit_scan
from aotf_lab.crystal.tuning.curve import fit_tuning
from aotf_lab.driver.vco_fit import fit_vco
from aotf_lab.errors import AotfLabError
from aotf_lab.physics.coupled_waves import diffraction_efficiency, light_lost, passband_fwhm
from aotf_lab.planning.session_plan import Prospect, ProspectLine, SessionPlan, plan_session
from aotf_lab.planning.session_plan.scan import best_scan
from aotf_lab.reading.instruments import Counter, Instruments, PowerMeter, Voltmeter
from tests.benchmarks.table import RESULTS, markdown
from tests.benchmarks.truths_oscillator import BENCH, HIGH_V, LOW_V, TANK, Truth

Floats = NDArray[np.float64]

U_V, U_MHZ, FWHM, U_NM = 2e-3, 4.5e-3, 0.3, 0.1
METERS = Instruments(
    Counter(time_base_ppm=15.0, u_reading_khz=1e3 * U_MHZ), Voltmeter(u_reading_mv=1e3 * U_V),
    power_meter=PowerMeter(u_reading_percent=0.9, floor_uw=1.2),
)  # fmt: skip
NM = np.array([473.19, 518.04, 556.42, 589.12, 637.57, 671.29])
INCIDENCES_DEG = (10.6, 9.5, 8.5, 7.5, 6.5, 5.5, 12.0, 13.5, 15.0)
"""Cuts that are tried on each oscillator until it reaches all lines."""

TARGETS = (3.0, 1.0, 0.3)


def sequence(plan: SessionPlan) -> Floats:
    """Return the voltages in the order in which they are set, the reference after every fifth."""
    asked = [*plan.up_v, *plan.down_v]
    done = []
    for k, v in enumerate(asked, 1):
        done += [v, plan.reference_v] if k % 5 == 0 or k == len(asked) else [v]
    return np.array(done)


def prospect_of(truth: Truth, constants: Floats, incidence_deg: float) -> Prospect:
    ends = truth.law(np.array([LOW_V, HIGH_V]), *constants)
    lines = {f"{nm:.0f}": ProspectLine(float(nm), U_NM) for nm in NM}
    return Prospect(lines, (LOW_V, HIGH_V), (float(ends[0]), float(ends[1])), incidence_deg, fwhm_mhz=FWHM)


def fits(prospect: Prospect) -> bool:
    """Return whether the oscillator reaches every line of this cut."""
    peaks, (low, high) = prospect.frequency_mhz(NM), prospect.range_mhz
    return bool(low + 0.2 < peaks.min() and peaks.max() < high - 0.2)


def session(truth: Truth, target: float, rng: np.random.Generator) -> tuple[int, Floats, Floats] | None:
    """Return the readings made, u by the fits over u promised, and the light (%) truly lost; None out of reach."""
    constants = truth.constants(rng)
    prospect = next((p for p in (prospect_of(truth, constants, i) for i in INCIDENCES_DEG) if fits(p)), None)
    if prospect is None:
        return None
    peaks = prospect.frequency_mhz(NM)
    plan = plan_session(METERS, prospect, light_lost_percent=target)
    if not plan.reached:
        return None
    v = sequence(plan)
    count = truth.law(v + U_V * rng.standard_normal(len(v)), *constants) + U_MHZ * rng.standard_normal(len(v))
    columns = {"drive_v": v, "u_drive_v": U_V, "frequency_mhz": count, "u_frequency_mhz": U_MHZ}
    vco = fit_vco(pd.DataFrame(columns))
    found, u_peak = peaks_found(plan, peaks, rng)
    drive = np.array([d.n for d in vco.drive(found)])
    u = np.hypot([f.s for f in vco.frequency(drive)], u_peak)
    lost = 100 * np.asarray(light_lost(np.abs(truth.law(drive, *constants) - peaks) / FWHM))
    return plan.readings, u / np.array(list(plan.u_setting_mhz.values())), lost


def peaks_found(plan: SessionPlan, peaks: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Return the peaks found and their u (MHz): by a line's own scan, else by the tuning curve through the others."""
    names = [f"{nm:.0f}" for nm in NM]
    stated = NM + U_NM * rng.standard_normal(len(NM))
    own = {s.line: s.u_peak_mhz / s.times**0.5 for s in plan.scans}
    u = np.array([own.get(n, np.nan) for n in names])
    found, have = peaks + u * rng.standard_normal(len(peaks)), np.isfinite(u)
    if not have.all():
        columns = {"wavelength_nm": stated, "u_wavelength_nm": U_NM, "frequency_mhz": found, "u_frequency_mhz": u}
        tuning = fit_tuning(pd.DataFrame(columns)[have])
        for k in np.flatnonzero(~have):
            by_curve = tuning.frequency(ufloat(stated[k], U_NM))
            found[k], u[k] = by_curve.n, by_curve.s
    return found, u


def scanned(readings: int, rng: np.random.Generator) -> float:
    """Return u of the peak by the full fit of a simulated scan, over the u planned."""
    prospect = Prospect({"E": ProspectLine(589.12, 0.1)}, fwhm_mhz=FWHM)
    shape = best_scan(METERS, prospect, readings)
    way = np.linspace(-0.5, 0.5, readings // 2) * shape.width_mhz + rng.uniform(-0.03, 0.03)
    f = 64.23 + np.concatenate([way, way[::-1]])
    shown = f + U_MHZ * rng.standard_normal(len(f))
    detuning = np.pi * float(passband_fwhm(0.5)) * (f - 64.23) / FWHM
    light = diffraction_efficiency(detuning, 0.5) / diffraction_efficiency(0.0, 0.5)
    relative = 0.01 * np.hypot(0.9, 1.0)
    u = np.hypot(relative * light, 1.2e-3)
    table = pd.DataFrame(
        {
            "frequency_mhz": shown, "u_frequency_mhz": U_MHZ, "u_optical_power_mw": u,
            "optical_power_mw": light + u * rng.standard_normal(len(f)),
            "direction": np.repeat(["up", "down"], len(way)),
        }
    )  # fmt: skip
    return float(fit_scan(table, line="E").centre_mhz.s / shape.u_peak_mhz)


def quantiles(values: Floats) -> list[str]:
    low, middle, high = np.quantile(values, [0.05, 0.5, 0.95])
    return [f"{middle:.3f}", f"{low:.3f} to {high:.3f}"]


def main(benches: int) -> None:
    rows = []
    for truth in (BENCH, TANK):
        for target in TARGETS:
            done, out, refused = [], 0, 0
            for seed in range(benches):
                try:
                    found = session(truth, target, np.random.default_rng([seed, int(10 * target)]))
                except AotfLabError:
                    refused += 1
                    continue
                done, out = ([*done, found], out) if found is not None else (done, out + 1)
            ratios, lost = (np.concatenate([d[k] for d in done]) for k in (1, 2))
            within = 100 * np.mean(lost <= target)
            counts = [len(done), out, refused, f"{np.median([d[0] for d in done]):.0f}"]
            rows.append([truth.name, f"{target:g}", *counts, *quantiles(ratios), f"{within:.1f}", f"{lost.mean():.2f}"])
            print(rows[-1], flush=True)
    scans = []
    for readings in (20, 30, 42, 62):
        ratios = np.array([scanned(readings, np.random.default_rng([seed, readings])) for seed in range(benches // 5)])
        scans.append([readings, len(ratios), *quantiles(ratios)])
        print(scans[-1], flush=True)
    first = markdown(
        ("oscillator", "target (%)", "benches", "out of reach", "refused", "readings (median)", "u / promised, median",
         "5 to 95 %", "lines within the target (%), 95 promised", "mean light lost (%)"), rows,
    )  # fmt: skip
    second = markdown(("readings of a scan", "scans", "u of the peak / planned, median", "5 to 95 %"), scans)
    text = f"# session_plan\n\n{(__doc__ or '').strip()}\n\n{first}\n\n## Scans\n\n{second}\n"
    (RESULTS / "session_plan.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
