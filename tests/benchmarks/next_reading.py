"""Is what ``next_readings`` predicts what happens, and is its advice better than chance?

``python -m tests.benchmarks.next_reading [benches]``. Each simulated bench takes the advised reading and is fitted
again; so does its twin with a random reading of the same kind. ratio = u stated by the refit / u predicted. "Advised
is better" compares the u that the two refits state, where the two differ by more than 0.1 %.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections.abc import Callable

import numpy as np

from aotf_lab.errors import AotfLabError
from aotf_lab.planning.next_reading.lines import NEW_LINE, SCAN
from tests.benchmarks.next_reading_bench import Bench, Outcome, efficiency, level, lines, oscillator
from tests.benchmarks.table import write_table

KINDS: dict[str, tuple[Callable[[np.random.Generator], Bench], float]] = {
    "oscillator, frequency at a voltage": (oscillator, 1.0),
    "a new known line, wavelength found": (lambda rng: lines(rng, NEW_LINE), 1.0),
    "scan of an anchor again, wavelength found": (lambda rng: lines(rng, SCAN), 1.0),
    "efficiency, saturation power": (efficiency, 1.0),
    "level, power somewhere": (level, 0.5),
}


def main(benches: int) -> None:
    rows = []
    for k, (name, (make, share)) in enumerate(KINDS.items()):
        done: list[Outcome] = []
        refused = 0
        for seed in range(int(benches * share)):
            rng = np.random.default_rng([seed, k])
            try:
                done.append(make(rng).outcome(rng))
            except AotfLabError:
                refused += 1
        rows.append([name, len(done), refused, *_row(done)])
        print(rows[-1], flush=True)
    heads = (
        "kind of reading, wanted", "benches", "refused", "u after / before, predicted (median)",
        "ratio, rms", "ratio, median", "ratio, 5 and 95 %", "ratio within 0.9 to 1.1 (%)",
        "u after / before with a random reading (median)", "advised is better (%)",
    )  # fmt: skip
    write_table("next_reading", heads, rows, __doc__ or "")


def _row(done: list[Outcome]) -> list[str]:
    before, predicted, advised, random = (
        np.array([getattr(o, n) for o in done]) for n in ("before", "predicted", "advised", "random")
    )
    ratio = advised / predicted
    differ = np.abs(advised / random - 1) > 1e-3
    return [
        f"{np.median(predicted / before):.3f}",
        f"{np.sqrt(np.mean(ratio**2)):.3f}",
        f"{np.median(ratio):.3f}",
        f"{np.quantile(ratio, 0.05):.3f} to {np.quantile(ratio, 0.95):.3f}",
        f"{100 * np.mean((ratio >= 0.9) & (ratio <= 1.1)):.1f}",
        f"{np.median(random / before):.3f}",
        f"{100 * np.mean(advised[differ] < random[differ]):.1f}",
    ]


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
