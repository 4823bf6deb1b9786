"""Simulated benches that take one more reading, advised or at random, and are fitted again.

Each bench answers: what u was predicted after the advised reading, what u the refit with it states, what u the refit
with a random reading of the same kind states.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.crystal.efficiency.lines import EfficiencyLines, fit_efficiency_lines
from aotf_lab.crystal.tuning.curve import Tuning, fit_tuning
from aotf_lab.driver.level import Level, fit_level
from aotf_lab.driver.vco import Vco
from aotf_lab.driver.vco_fit import fit_vco
from aotf_lab.planning.curves import Curves
from aotf_lab.planning.next_reading import Candidate, Wanted, next_readings
from aotf_lab.planning.next_reading.lines import NEW_LINE, SCAN
from aotf_lab.reading.readings import Readings
from tests.benchmarks import efficiency_bench, level_bench, truths_oscillator, tuning_bench

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Outcome:
    """Uncertainties of the wanted quantity: before, predicted after, after the advised and after a random reading."""

    before: float
    predicted: float
    advised: float
    random: float


@dataclass(frozen=True)
class Bench:
    """One bench: its curves, what is wanted of curves, and how a further reading changes them."""

    curves: Curves
    wanted: Callable[[Curves], Wanted]
    kind: str
    read: Callable[[Candidate], Curves]
    ample: Callable[[Candidate], bool] = lambda c: True

    def outcome(self, rng: np.random.Generator) -> Outcome:
        """Return what happens on this bench."""
        chosen = next_readings(self.curves, self.wanted(self.curves))
        choices = [c for c in chosen.of_kind(self.kind) if self.ample(c.candidate)]
        best = choices[0]
        name = self.wanted(self.curves).name
        other = choices[int(rng.integers(1, len(choices)))]
        u = [self.wanted(self.read(c.candidate)).value.s for c in (best, other)]
        return Outcome(best.u_before[name], best.u_after[name], *u)


def oscillator(rng: np.random.Generator) -> Bench:
    """Return a bench of the demo's form of oscillator, wanted the frequency that some voltage makes."""
    truth = truths_oscillator.BENCH
    constants = truth.constants(rng)
    table = truths_oscillator.run(truth, constants, truths_oscillator.voltages(), rng)
    at = float(rng.uniform(0.5, 13.8))

    def wanted(curves: Curves) -> Wanted:
        vco = curves.vco
        assert isinstance(vco, Vco)
        return Wanted("frequency", vco.frequency(at), "MHz", 0.3, 0.3)

    def read(candidate: Candidate) -> Curves:
        v = np.array(candidate.place)
        count = truth.law(v + truths_oscillator.U_DRIVE_V * rng.standard_normal(1), *constants)
        count = count + truths_oscillator.U_COUNT_MHZ * rng.standard_normal(1)
        row = table.iloc[-1:].assign(drive_v=v, frequency_mhz=count)
        return Curves(vco=fit_vco(pd.concat([table, row], ignore_index=True)))

    return Bench(Curves(vco=fit_vco(table)), wanted, "oscillator reading", read)


def lines(rng: np.random.Generator, kind: str) -> Bench:
    """Return a bench of four anchors, wanted the wavelength of a line somewhere in the curve's range.

    The new known line is stated as well as the median anchor; a further scan is averaged with the first.
    """
    anchors = tuning_bench.lines_of("4 anchors")
    incidence = float(rng.uniform(10, 25))
    u_mhz = tuning_bench.U_MHZ if kind == NEW_LINE else 0.05  # scans as rough as this leave repeats something to do
    frequency = tuning_bench.true_frequency(anchors.nm, incidence, 0.0)
    table = tuning_bench.measured(anchors, frequency, rng).assign(u_frequency_mhz=u_mhz, label=list("BDEG"))
    table["frequency_mhz"] = frequency + u_mhz * rng.standard_normal(len(anchors.nm))
    tuning = fit_tuning(table)
    low, high = tuning.range_mhz
    at = float(rng.uniform(low + 0.5, high - 0.5))

    def wanted(curves: Curves) -> Wanted:
        assert isinstance(curves.tuning, Tuning)
        return Wanted("wavelength", curves.tuning.wavelength(at), "nm", 1.0)

    def read(candidate: Candidate) -> Curves:
        changed = table.copy()
        if kind == SCAN:
            k = int(np.flatnonzero(table["label"] == candidate.line)[0])
            second = frequency[k] + u_mhz * rng.standard_normal()
            changed.loc[k, "frequency_mhz"] = (table["frequency_mhz"][k] + second) / 2
            changed.loc[k, "u_frequency_mhz"] = u_mhz / 2**0.5
        else:
            (nm,) = candidate.place
            u_nm = float(np.median(anchors.u_nm))
            true = float(tuning_bench.true_frequency(np.array([nm]), incidence, 0.0)[0])
            row = table.iloc[-1:].assign(
                wavelength_nm=nm + u_nm * rng.standard_normal(), u_wavelength_nm=u_nm,
                frequency_mhz=true + u_mhz * rng.standard_normal(), label="new",
            )  # fmt: skip
            changed = pd.concat([table, row], ignore_index=True)
        return Curves(tuning=fit_tuning(changed))

    def apart(candidate: Candidate) -> bool:
        return kind == SCAN or bool(np.min(np.abs(candidate.place[0] - table["wavelength_nm"])) > 0.5)

    return Bench(Curves(tuning=tuning), wanted, kind, read, apart)


def efficiency(rng: np.random.Generator) -> Bench:
    """Return a bench with one line driven to 0.8 to 1.4 P_sat, wanted its saturation power as the scope shows it."""
    truth = efficiency_bench.some_truth(rng, 1.0)
    reach = float(rng.uniform(0.8, 1.4))
    table = efficiency_bench.measured(rng, truth, reach, common=()).table

    def fitted(rows: pd.DataFrame) -> Curves:
        lines_fit = fit_efficiency_lines({"E": (Readings(rows), 589.0)})
        return Curves(efficiency=lines_fit, rated_rf_power_w=1.6 * truth.saturation_w)

    def wanted(curves: Curves) -> Wanted:
        assert isinstance(curves.efficiency, EfficiencyLines)
        power = curves.efficiency.shared.saturation_power_w(589.0)
        return Wanted("saturation power", power, "W", float(power.n))

    def read(candidate: Candidate) -> Curves:
        shown = np.array(candidate.place)
        true = shown * (1 + efficiency_bench.U_POWER * rng.standard_normal(1))
        light = truth.efficiency(true)
        seen = light + efficiency_bench.u_of_efficiency(light) * rng.standard_normal(1)
        row = pd.DataFrame(
            {
                "rf_power_w": shown, "u_rf_power_w": efficiency_bench.U_POWER * shown,
                "efficiency": seen, "u_efficiency": efficiency_bench.u_of_efficiency(seen),
            }
        )  # fmt: skip
        return fitted(pd.concat([table, row], ignore_index=True))

    return Bench(fitted(table), wanted, "efficiency reading", read)


def level(rng: np.random.Generator) -> Bench:
    """Return a bench of an amplifier, wanted the power (in the scope's own scale) at a supply and a frequency."""
    truth = replace(level_bench.some_bench(rng, "output", mismatch=False), scale=1.0)
    parts = [Readings(p.table) for p in level_bench.measured(rng, truth)]
    base = fit_level(parts)
    v, f = float(rng.uniform(*base.range_v)), float(rng.uniform(*base.range_mhz))

    def wanted(curves: Curves) -> Wanted:
        assert isinstance(curves.level, Level)
        power = curves.level.rf_power(v, f)
        return Wanted("power", power, "W", float(power.n))

    def read(candidate: Candidate) -> Curves:
        volts, mhz = candidate.place
        ideal = float(np.ravel(truth.indicated_w(np.array([volts]), np.array([mhz])))[0])
        power = ideal * (1 + level_bench.U_READING * rng.standard_normal())
        row = pd.DataFrame(
            {
                "supply_v": [volts], "frequency_mhz": [mhz], "rf_power_w": [power],
                "u_rf_power_w": [level_bench.U_READING * power],
            }
        )  # fmt: skip
        which = 0 if volts == base.band_run.setting else 1
        tables: Sequence[pd.DataFrame] = [p.table for p in parts]
        joined = [pd.concat([t, row], ignore_index=True) if k == which else t for k, t in enumerate(tables)]
        return Curves(level=fit_level([Readings(t) for t in joined]))

    return Bench(Curves(level=base), wanted, "level reading", read)
