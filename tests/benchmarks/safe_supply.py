"""Is the safe supply safe, and how much does that cost? ``python -m tests.benchmarks.safe_supply``.

Prints and writes results/safe_supply.md. An argument sets the number of benches of each kind (2000).
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from dataclasses import dataclass, field

import numpy as np

from aotf_lab.driver.level import fit_level, safe_supply
from aotf_lab.errors import UnsafeDriveError
from tests.benchmarks import level_bench
from tests.benchmarks.level_bench import U_SCALE, best_supply, highest_w, measured, some_bench
from tests.benchmarks.table import write_table

CONFIDENCES = (0.9, 0.975)
KINDS = (
    ("output", "gives way at one output", False),
    ("drive", "gives way at one drive", False),
    ("tanh", "a tanh, no law of the package", False),
    ("soft", "a soft start, no law of the package", False),
    ("output", "gives way at one output, mismatch", True),
)
ABOUT = """
Simulated amplifiers: a threshold, a bow and a ripple of random size, phase and place, a soft limit of random height and
sharpness, read behind a pad by a scope whose scale is wrong by one random error per bench (u = {scale:.1f} %), each
reading by 1.2 % more: 27 frequencies at 8 V, 9 supplies at 64 MHz. The limit lies between the powers at 6 V and 10 V of
the hottest frequency. "too hot" is the share of benches whose largest true power in the band exceeds the limit at the
safe supply: at most 1 - confidence + 1 % is asked for. "best scale" is the power a bench would reach if curve and
mismatch were known and the scale alone were not: the bound divides by 1 + z u. Power reached is the true one over the
limit, in the middle of all benches. "inside" is how often the true power lay in the 95 % band at a random supply and
frequency. With mismatch: reflections 0.18 at the amplifier, 0.05 at the load, 0.4 at the crystal, phases turning with
frequency, all taken at their worst by the safe supply, as is the way in which the amplifier gives way.
"""


@dataclass
class Tally:
    """What the benches of one kind gave."""

    benches: int = 0
    refused: int = 0
    hot: dict[float, int] = field(default_factory=lambda: dict.fromkeys(CONFIDENCES, 0))
    reached: dict[float, list[float]] = field(default_factory=lambda: {c: [] for c in CONFIDENCES})
    supply: dict[float, list[float]] = field(default_factory=lambda: {c: [] for c in CONFIDENCES})
    inside: int = 0
    law: int = 0


def run(kind: str, mismatch: bool, benches: int, seed: int) -> Tally:
    """Return the tally of ``benches`` of one kind."""
    rng, tally = np.random.default_rng(seed), Tally()
    for _ in range(benches):
        bench = some_bench(rng, kind, mismatch=mismatch)
        level = fit_level(measured(rng, bench))
        limit = float(rng.uniform(highest_w(bench, 6.0), highest_w(bench, 10.0)))
        place = rng.uniform(*level_bench.SUPPLIES_V[[0, -1]]), rng.uniform(*level_bench.BAND_MHZ[[0, -1]])
        low, high = level.band(*place)
        truth = float(bench.matched_w(place[0], np.array([place[1]]))[0])
        tally.inside += bool(low[0] <= truth <= high[0])
        tally.law += level.along_supply.smooth is None
        tally.benches += 1
        db = -20 * np.log10(max(bench.crystal, 1e-3)), -20 * np.log10(max(bench.source, 1e-3))
        for confidence in CONFIDENCES:
            try:
                safe = safe_supply(level, limit, confidence, crystal_return_loss_db=db[0], source_return_loss_db=db[1])
            except UnsafeDriveError:
                tally.refused += 1
                continue
            power = highest_w(bench, safe.supply_v)
            tally.hot[confidence] += power > limit
            tally.reached[confidence].append(power / limit)
            tally.supply[confidence].append(safe.supply_v / best_supply(bench, limit))
    return tally


def main() -> None:
    """Run all kinds and write the table."""
    benches = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    scale = float(np.sqrt(sum((u * s) ** 2 for u, s in U_SCALE.values())))
    rows = []
    for number, (kind, words, mismatch) in enumerate(KINDS):
        tally = run(kind, mismatch, benches, 100 + number)
        for confidence in CONFIDENCES:
            z = {0.9: 1.2816, 0.975: 1.96}[confidence]
            rows.append(
                (
                    words, benches, f"{100 * confidence:g} %", f"{100 * tally.hot[confidence] / benches:.2f} %",
                    f"{100 * (1 - confidence) + 1:.1f} %", f"{np.median(tally.reached[confidence]):.3f}",
                    f"{1 / (1 + z * scale):.3f}", f"{np.median(tally.supply[confidence]):.3f}",
                    f"{100 * tally.inside / benches:.1f} %", f"{100 * tally.law / benches:.0f} %",
                )
            )  # fmt: skip
    heads = (
        "amplifier", "benches", "confidence", "too hot", "asked for", "power reached", "best scale",
        "supply over the best", "inside 95 % band", "law held",
    )  # fmt: skip
    write_table("safe_supply", heads, rows, ABOUT.format(scale=100 * scale))


if __name__ == "__main__":
    main()
