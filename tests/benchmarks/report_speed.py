"""Time of the import and of the demo report as ratios to plain Python doing comparable work, in one run.

``python -m tests.benchmarks.report_speed`` runs each pair alternately in new processes and compares medians, of
processor time beside that of the clock: other work on the machine disturbs the ratio of the former less. Both find
their modules compiled, as from the second run on.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

from tests.benchmarks.table import write_table
from tests.house import ROOT

DEMO = ROOT / "data" / "demo" / "skerry"
ROUNDS = 7


class Took(NamedTuple):
    """Seconds of a process: by the clock, and of the processor."""

    clock: float
    processor: float


def took(compiled: Path, *command: str) -> Took:
    """Return the time of a Python process that keeps compiled modules in ``compiled``."""
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    start, before = time.perf_counter(), os.times()
    subprocess.run(
        [sys.executable, *command], cwd=ROOT, check=True, capture_output=True,
        env=kept | {"PYTHONPYCACHEPREFIX": str(compiled)},
    )  # fmt: skip
    after = os.times()
    children = (after.children_user + after.children_system, before.children_user + before.children_system)
    return Took(time.perf_counter() - start, children[0] - children[1])


def compared(compiled: Path, ours: tuple[str, ...], theirs: tuple[str, ...]) -> tuple[str, str, str, str]:
    """Return median seconds of ours and of theirs, and the medians of the ratios of neighbours in time.

    The first pair compiles and does not count.
    """
    pairs = [(took(compiled, *ours), took(compiled, *theirs)) for _ in range(ROUNDS + 1)][1:]
    medians = (statistics.median(p[k].clock for p in pairs) for k in (0, 1))
    processor = statistics.median(a.processor / b.processor for a, b in pairs)
    clock = statistics.median(a.clock / b.clock for a, b in pairs)
    ours_s, theirs_s = medians
    return f"{ours_s:.2f} s", f"{theirs_s:.2f} s", f"{clock:.2f}", f"{processor:.2f}"


def main() -> None:
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as kept:
        out, compiled = Path(folder) / "report.html", Path(kept)
        report = ("-m", "aotf_lab", "report", str(DEMO), "--out", str(out))
        took(compiled, *report)
        figures = out.read_text(encoding="utf-8").count("<figure>")
        plain = (str(ROOT / "tests/benchmarks/plain_script.py"), str(DEMO), folder, str(figures))
        rows = [
            ("import aotf_lab / import numpy, pandas", 1.3, ("-c", "import aotf_lab"), ("-c", "import numpy, pandas")),
            (f"demo report / plain script with {figures} figures", 2.0, report, plain),
        ]
        table = [(name, *compared(compiled, ours, theirs), f"{limit:g}") for name, limit, ours, theirs in rows]
    heads = ("pair", "ours", "theirs", "ratio by the clock", "ratio of processor time", "limit")
    write_table("report_speed", heads, table, __doc__ or "")


if __name__ == "__main__":
    main()
