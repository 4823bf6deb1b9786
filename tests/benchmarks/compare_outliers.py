"""Sessions that differ by chance alone: how often a table of them names an outlier, and one 12 spreads away is found.

``python -m tests.benchmarks.compare_outliers``: every number of every session is normal; no machine is needed to
measure them. The limit is to be exceeded in two tables of a thousand at the most.
"""

from __future__ import annotations

import numpy as np

from aotf_lab.session.many.apart import apart, apart_limit
from tests.benchmarks.table import write_table

CASES = [(n, m) for m in (1, 30, 300) for n in (5, 6, 8, 10, 20, 50, 200)]
READINGS = 1_000_000
MOST_TABLES = 20_000


def alarms(sessions: int, numbers: int, tables: int, shift: float = 0.0) -> tuple[float, float]:
    """Return the share of tables with an outlier, and of tables in which it is the one session that was shifted."""
    rng = np.random.default_rng(sessions * 1000 + numbers)
    limit = apart_limit(sessions, sessions * numbers)
    named = right = 0
    for _ in range(tables):
        values = rng.normal(size=(sessions, numbers))
        values[0, 0] += shift
        score = np.abs(apart(values, np.zeros_like(values)))
        named += bool((score > limit).any())
        right += bool(score[0, 0] > limit)
    return named / tables, right / tables


def main() -> None:
    rows = []
    for sessions, numbers in CASES:
        tables = int(np.clip(READINGS / (sessions * numbers), 1000, MOST_TABLES))
        false, _ = alarms(sessions, numbers, tables)
        _, found = alarms(sessions, numbers, 1000, shift=12.0)
        limit = apart_limit(sessions, sessions * numbers)
        rows.append(
            (sessions, numbers, tables, f"{limit:.1f}", f"{100 * false:.3f} %", "0.2 %", f"{100 * found:.0f} %")
        )
    heads = ("sessions", "numbers", "tables", "limit (spreads)", "false alarms", "allowed", "12 spreads found")
    write_table("compare_outliers", heads, rows, __doc__ or "")


if __name__ == "__main__":
    main()
