"""Where do fits end that start far from the answer? Ten sets of the NIST Statistical Reference Datasets, many starts.

``python -m tests.benchmarks.estimation_starts [starts]``. Each parameter starts at a tenth to ten times its published
first starting value, drawn evenly in the logarithm. "Right" is the certified sum of squares to six digits (some models
reach it with their terms exchanged). A wrong answer is "told" when a check other than "stated uncertainty" fails, and
"quiet" otherwise: there must be none.
"""

from __future__ import annotations

import sys
from collections import Counter

import numpy as np

from aotf_lab.errors import FitError
from aotf_lab.estimation import weighted_fit
from tests.benchmarks.table import write_table
from tests.published.strd import MODELS, ReferenceSet, reference_set


def outcome(case: ReferenceSet, start: np.ndarray) -> str:
    """Return how the fit of ``case`` from ``start`` ends: right, told, error or quiet."""
    try:
        fit = weighted_fit(case.model, case.parameters(start), case.x, case.y, None, scatter=case.name)
    except FitError:
        return "error"
    if fit.noise is not None and abs(fit.noise / case.residual_sd - 1) < 1e-6:
        return "right"
    return "told" if {c.name for c in fit.failed} - {"stated uncertainty"} else "quiet"


def main() -> None:
    """Fit every set from many starts and write the table."""
    starts = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    rows: list[list[object]] = []
    for name in MODELS:
        case = reference_set(name)
        rng = np.random.default_rng(30)
        factors = 10.0 ** rng.uniform(-1, 1, (starts, len(case.certified)))
        counts = Counter(outcome(case, case.starts["start1"] * factor) for factor in factors)
        rows.append([name, *(counts[kind] for kind in ("right", "error", "told", "quiet"))])
    heads = ["set", "right", "error raised", "wrong, told by a check", "wrong, quiet"]
    write_table("estimation_starts", heads, rows, f"{__doc__}\n{starts} starts of each set.")


if __name__ == "__main__":
    main()
