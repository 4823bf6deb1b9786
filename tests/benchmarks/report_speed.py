"""Time of the import and of the demo report as ratios to plain Python doing comparable work, in one run.

``python -m tests.benchmarks.report_speed`` runs each pair alternately in new processes and compares medians.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.table import write_table
from tests.house import ROOT

DEMO = ROOT / "data" / "demo" / "skerry"
ROUNDS = 7


def seconds(*command: str) -> float:
    """Return the wall time of a Python process."""
    start = time.perf_counter()
    subprocess.run([sys.executable, *command], cwd=ROOT, check=True, capture_output=True)
    return time.perf_counter() - start


def ratio(ours: tuple[str, ...], theirs: tuple[str, ...], rounds: int) -> tuple[float, float, float]:
    """Return median seconds of ours, of theirs, and the median of the ratios of neighbours in time."""
    pairs = [(seconds(*ours), seconds(*theirs)) for _ in range(rounds + 1)][1:]
    return (
        statistics.median(a for a, _ in pairs),
        statistics.median(b for _, b in pairs),
        statistics.median(a / b for a, b in pairs),
    )


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "report.html"
        report = ("-m", "aotf_lab", "report", str(DEMO), "--out", str(out))
        seconds(*report)
        figures = out.read_text(encoding="utf-8").count("<figure>")
        plain = (str(ROOT / "tests/benchmarks/plain_script.py"), str(DEMO), folder, str(figures))
        rows = [
            ("import aotf_lab / import numpy, pandas", 1.3, ("-c", "import aotf_lab"), ("-c", "import numpy, pandas")),
            (f"demo report / plain script with {figures} figures", 2.0, report, plain),
        ]
        table = []
        for name, limit, ours, theirs in rows:
            a, b, r = ratio(ours, theirs, ROUNDS)
            table.append((name, f"{a:.2f} s", f"{b:.2f} s", f"{r:.2f}", f"{limit:g}"))
    write_table("report_speed", ("pair", "ours", "theirs", "ratio", "limit"), table, __doc__ or "")


if __name__ == "__main__":
    main()
