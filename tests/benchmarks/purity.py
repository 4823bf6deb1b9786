"""Do passbands, crosstalk and extinction cover the truth? ``python -m tests.benchmarks.purity``.

Prints and writes results/purity.md. An argument sets the number of benches of each kind (1000).
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from dataclasses import dataclass, field

import numpy as np

from aotf_lab.crystal.purity.crosstalk import crosstalk
from aotf_lab.crystal.purity.extinction import extinction
from aotf_lab.errors import AotfLabError
from tests.benchmarks.purity_bench import Pair, known_of, on_and_off, some_pair
from tests.benchmarks.scan_bench import Scenario
from tests.benchmarks.table import markdown, write_table

KINDS = (
    ("tanh D", "told", Scenario("told")),
    ("tanh D/2", "told", Scenario("told")),
    ("sign D", "told", Scenario("told")),
    ("tanh D", "fitted", Scenario("fitted", drive_told=False)),
)
FAR_MHZ = np.concatenate([np.geomspace(0.15, 30.0, 3000), -np.geomspace(0.15, 30.0, 3000)])
ABOUT = """
Passbands: pairs of lines 0.10 to 0.20 MHz apart about 64 MHz, FWHM 0.25 to 0.40 MHz at the drive of their scans (0.2
to 1.3 P_sat; "drive": told to the fit of the scan, or fitted with it), lean up to 0.12 of the form named, the mismatch
bent by up to 0.15 per relative distance; scans up and down with a trailing thermal head; efficiency of both lines to
1.5 P_sat, read with a scope whose scale is wrong (u 5.6 % of power). Predictions are asked at 0.3 to 1.2 P_sat.
"light": share of benches whose true efficiency of a line, at a place within 0.3 MHz of the peak where a number is
stated, lies within 1.96 u. "crosstalk": the same for the ratio of the pair's light. "u (dB)": its median u. "bound
broken": share of places (0.15 to 30 MHz off the peak) where the truth exceeds `upper`, and share of benches where it
does so anywhere. "looseness": median of `upper` over the tops of the true sidelobes within 4 MHz of the peak.
"""

DARK = """
Extinction: a line of 2 mW, off at a leak of so many standard uncertainties of the off reading; 8 readings each of
1.1 uW noise, one dark reading. "u": of the readings told, or taken from the scatter of the 8. "zero": the meter's
sensitive range is off by a normal law of 1 uW, told as u_zero_mw. "bound broken": how often the true extinction is
less than the bound (5 % is what it states). "seen": how often the leak counts as seen (5 % without one; 95 % at the
detection limit, 3.29 u). "95 % interval": of those seen, how often the truth lies within 1.96 u of the number.
"""


@dataclass
class Tally:
    """What the benches of one kind gave."""

    light: list[bool] = field(default_factory=list)
    ratio: list[bool] = field(default_factory=list)
    u_db: list[float] = field(default_factory=list)
    broken: list[float] = field(default_factory=list)
    loose: list[float] = field(default_factory=list)
    refused: int = 0


def run(lean: str, scenario: Scenario, benches: int, seed: int) -> Tally:
    """Return the tally of ``benches`` of one kind."""
    rng, tally = np.random.default_rng(seed), Tally()
    for _ in range(benches):
        truth = some_pair(rng, lean)
        try:
            known = known_of(rng, truth, scenario)
        except AotfLabError:
            tally.refused += 1
            continue
        power = truth.saturation_w["E"] * float(rng.uniform(0.3, 1.2))
        f = truth.shapes["E"].centre_mhz + float(rng.uniform(-0.3, 0.3))
        if known.line("E").in_main_lobe(f, power):
            found = known.efficiency("E", f, power)
            true = float(truth.efficiency("E", np.array(f), power))
            tally.light.append(abs(found.n - true) <= 1.96 * found.s)
        place = truth.shapes["E"].centre_mhz
        cell = crosstalk(known, set_mhz={"E": place}, rf_power_w=power).cells["E", "D"]
        if cell.ratio is not None:
            true = float(truth.efficiency("D", np.array(place), power) / truth.efficiency("E", np.array(place), power))
            tally.ratio.append(abs(cell.ratio.n - true) <= 1.96 * cell.ratio.s)
            tally.u_db.append(cell.predicted_db.s)
        _far(truth, known.upper("E", place + FAR_MHZ, power), power, tally)
    return tally


def _far(truth: Pair, upper: np.ndarray, power: float, tally: Tally) -> None:
    true = truth.efficiency("E", truth.shapes["E"].centre_mhz + FAR_MHZ, power)
    tally.broken.append(float(np.mean(true > upper * (1 + 1e-9))))
    tops = (true[1:-1] > true[:-2]) & (true[1:-1] > true[2:]) & (np.abs(FAR_MHZ[1:-1]) < 4.0)
    tally.loose.append(float(np.median(10 * np.log10(upper[1:-1][tops] / true[1:-1][tops]))))


def extinction_row(leak_u: float, told: bool, zero_mw: float, benches: int, seed: int) -> tuple[str, ...]:
    """Return the table's row of one kind of extinction."""
    rng = np.random.default_rng(seed)
    u = float(np.hypot(np.hypot(0.0011 / 8**0.5, 0.0011 / 10**0.5), zero_mw))
    broken, seen, inside = [], [], []
    for _ in range(benches):
        on, off = on_and_off(rng, leak_u * u, readings=8, u_told=told, zero_mw=zero_mw)
        found = extinction(on, off, u_zero_mw=zero_mw)
        true = leak_u * u / 2.0
        broken.append(found.leak.upper < true)
        seen.append(found.seen)
        if found.seen:
            inside.append(abs(found.leak.value.n - true) <= 1.96 * found.leak.value.s)
    share = f"{100 * np.mean(inside):.1f} %" if len(inside) > 100 else "-"
    return (f"{leak_u:g}", "told" if told else "scatter", f"{1e3 * zero_mw:g} uW", str(benches),
            f"{100 * np.mean(broken):.1f} %", f"{100 * np.mean(seen):.1f} %", share)  # fmt: skip


def row(lean: str, drive: str, benches: int, tally: Tally) -> tuple[str, ...]:
    """Return the table's row of one kind of passbands."""
    broken = np.array(tally.broken)
    return (
        lean, drive, str(benches), f"{100 * np.mean(tally.light):.1f} % of {len(tally.light)}",
        f"{100 * np.mean(tally.ratio):.1f} % of {len(tally.ratio)}", f"{np.median(tally.u_db):.2f}",
        f"{100 * broken.mean():.3f} %", f"{100 * np.mean(broken > 0):.1f} %", f"{np.median(tally.loose):.1f} dB",
        str(tally.refused),
    )  # fmt: skip


def main(benches: int) -> None:
    head = ("lean", "drive", "benches", "light covered", "crosstalk covered", "u (dB)", "bound broken, places",
            "bound broken, benches", "looseness", "refused")  # fmt: skip
    rows = [row(lean, drive, benches, run(lean, scenario, benches, 10 + k))
            for k, (lean, drive, scenario) in enumerate(KINDS)]  # fmt: skip
    dark = ("leak / u", "u", "zero", "benches", "bound broken", "seen", "95 % interval")
    kinds = [(leak, told, zero) for told, zero in ((True, 0.0), (False, 0.0), (True, 0.001))
             for leak in (0.0, 0.5, 1.0, 2.0, 3.29, 8.0)]  # fmt: skip
    more = [extinction_row(*kind, benches, 50 + k) for k, kind in enumerate(kinds)]
    write_table("purity", dark, more, f"{ABOUT.strip()}\n\n{markdown(head, rows)}\n\n{DARK.strip()}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
