"""How much light does one drive for all lines lose? ``python -m tests.benchmarks.one_drive``.

Prints and writes results/one_drive.md. An argument sets the number of benches of each kind (1000).
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from dataclasses import dataclass, field

import numpy as np

from aotf_lab.planning.one_drive import one_drive
from tests.benchmarks.one_drive_bench import LINES, known_of, some_truth, too_hot
from tests.benchmarks.table import write_table

STEP_V = 0.01
ABOUT = """
Simulated benches of seven lines (450 to 671 nm). Amplifiers as in the benchmark of the safe supply, giving way at one
output or at one drive, read by one scope whose scale is wrong (u 5.6 % of power): 27 frequencies at 8 V, 9 supplies at
64 MHz. Saturation power 0.18 to 0.42 W at 589 nm, going as wavelength^(2.2 +- 0.25); peak efficiency 0.75 to 0.90, and
of each line by "spread" off that. Efficiency is measured on three lines only, with the same scope: B to 0.42 of its
saturation power, E to 1.5, G to 0.8. Everything is fitted anew on every bench; frequencies are taken as known.

"light lost" is how much less the weakest line gets (its true efficiency, or its share of its own maximum) than at the
best supply that one who knows everything would set below the same safe supply; "at the safe supply" is the same for one
who just turns it up. "held" is the share of benches where the check "within the drive measured" fails: the best supply
may lie beyond what was ever tried, and the light lost then says so. "bound broken" is how often more is lost than the
stated 95 % bound, over benches whose checks pass (5 % is what it states). "peaks inside" is how often the true supply
of most light lies in the 95 % interval stated for a line. "too hot": the rating is exceeded somewhere in the band at
the safe supply (2.5 % + 1 % is what it states), and at the one chosen.
"""


@dataclass
class Tally:
    """What the benches of one kind gave."""

    lost: list[float] = field(default_factory=list)
    lost_held: list[float] = field(default_factory=list)
    at_safe: list[float] = field(default_factory=list)
    broken: list[bool] = field(default_factory=list)
    peaks: list[bool] = field(default_factory=list)
    hot: list[tuple[bool, bool]] = field(default_factory=list)


def run(aim: str, spread: float, benches: int, seed: int) -> Tally:
    """Return the tally of ``benches`` of one kind."""
    rng, tally = np.random.default_rng(seed), Tally()
    fine = np.arange(3.0, 14.0, 0.002)
    for _ in range(benches):
        truth = some_truth(rng, spread)
        curves = known_of(rng, truth)
        found = one_drive(curves, {n: nm for n, (nm, _) in LINES.items()}, aim=aim, step_v=STEP_V)
        supply = np.append(np.arange(curves.level.range_v[0], curves.safe.supply_v + 1e-9, STEP_V), found.supply_v)
        tops = np.ones(len(LINES)) if aim == "efficiency" else np.array(list(truth.peak.values()))
        least = (truth.efficiency(supply) / tops[:, None]).min(axis=0)
        lost = float(1.0 - least[-1] / least.max())
        held = not found.checks[0].passed
        (tally.lost_held if held else tally.lost).append(lost)
        tally.at_safe.append(float(1.0 - least[-2] / least.max()))
        if not held:
            tally.broken.append(100 * lost > found.lost_percent + 1e-9)
        light = truth.efficiency(fine)
        for k, line in enumerate(found.lines):
            if line.peak_supply_v is not None:
                best = fine[int(np.argmax(light[k]))]
                tally.peaks.append(abs(line.peak_supply_v.n - best) <= 1.96 * line.peak_supply_v.s)
        tally.hot.append((too_hot(truth, curves.safe.supply_v), too_hot(truth, found.supply_v)))
    return tally


def row(aim: str, spread: float, benches: int, tally: Tally) -> tuple[str, ...]:
    """Return the table's row of one kind."""

    def percent(values: list[float], q: float) -> str:
        return f"{100 * np.quantile(values, q):.2f} %" if values else "none"

    safe, chosen = np.mean(tally.hot, axis=0)
    return (
        aim, f"{100 * spread:g} %", str(benches), percent(tally.lost, 0.5), percent(tally.lost, 0.95),
        percent(tally.at_safe, 0.5), percent(tally.at_safe, 0.95), f"{100 * np.mean(tally.broken):.1f} %",
        f"{100 * len(tally.lost_held) / benches:.0f} %", percent(tally.lost_held, 0.95),
        f"{100 * np.mean(tally.peaks):.1f} %", f"{100 * safe:.2f} %", f"{100 * chosen:.2f} %",
    )  # fmt: skip


def main() -> None:
    """Run all kinds and write the table."""
    benches = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    kinds = [(aim, spread) for aim in ("efficiency", "share") for spread in (0.0, 0.03)]
    rows = [row(a, s, benches, run(a, s, benches, 40 + k)) for k, (a, s) in enumerate(kinds)]
    heads = (
        "aim", "spread", "benches", "light lost, median", "95 %", "at the safe supply, median", "95 %", "bound broken",
        "held", "lost when held, 95 %", "peaks inside", "too hot at the safe supply", "too hot as chosen",
    )  # fmt: skip
    write_table("one_drive", heads, rows, ABOUT)


if __name__ == "__main__":
    main()
