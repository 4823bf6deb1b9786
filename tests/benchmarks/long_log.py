"""A power log of 10 million rows reduced to block means, against pandas reading the same file with dtypes given.

``python -m tests.benchmarks.long_log`` writes four logs (2 GB in all, deleted afterwards) and reduces each in new
processes, in turns with ``pandas.read_csv``; ratios are medians of three turns. Time is that of the reading alone,
processor time that of all its threads; memory is the peak of the whole process, interpreter and libraries included.
"first progress" is when a terminal shows the first line. Coverage is that of mean +- 1.96 u over blocks of noise of
first order (rho between neighbours), whose true mean is known; "settled" where the blocks are long enough to show the
correlation (the log says so where they are not); "true" is n var(mean) / variance in closed form.
"""

from __future__ import annotations

import json
import os
import pty
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy.signal import lfilter

from aotf_lab.reading.long.batches import closed_blocks
from aotf_lab.reading.long.correlation import ScatterStore
from tests.benchmarks.table import markdown, write_table
from tests.house import ROOT

TURNS = 3
MILLION = 10**6
CHUNK = 200_000
HEADS = ("case", "rows", "file", "ours", "pandas", "ratio of time", "limit", "ours, processor", "pandas, processor",
         "ratio of processor time", "peak memory", "limit", "first progress")  # fmt: skip

CHILD = """
import json, sys, time
job, path = sys.argv[1:3]
if job == "ours":
    from aotf_lab.reading.long import reduce_power_log as read
    options = {"block_s": 10.0}
else:
    from pandas import read_csv as read
    names = open(path).readline().strip().split(",")
    options = {"dtype": {n: "str" if n == "Time" else "float64" for n in names}, "na_values": ["OVER"]}
sys.stderr.write("start\\n")
wall, processor = time.perf_counter(), time.process_time()
result = read(path, **options)
took = {"wall": time.perf_counter() - wall, "processor": time.process_time() - processor}
status = dict(line.split(":", 1) for line in open("/proc/self/status"))
took["peak_mb"] = int(status["VmHWM"].split()[0]) * 1024 / 1e6
took["said"] = str(result).splitlines()[0] if job == "ours" else ""
print(json.dumps(took))
"""


def pool(rng: np.random.Generator, marks: bool) -> list[str]:
    """Return the cells right of the time of ``CHUNK`` rows; with ``marks`` one power in a hundred is over range."""
    columns = [np.char.mod("%.5f", rng.normal(64.0, 0.004, CHUNK)), np.char.mod("%.4f", rng.normal(5.0, 0.004, CHUNK)),
               np.char.mod("%.6f", rng.normal(0.2, 0.002, CHUNK))]  # fmt: skip
    if marks:
        columns[2][rng.random(CHUNK) < 0.01] = "OVER"
    return [f",{a},{b},{c}" for a, b, c in zip(*(c.tolist() for c in columns), strict=True)]


def write_log(path: Path, rows: int, *, marks: bool = False, clock: bool = False) -> None:
    """Write a log of ``rows`` rows, a millisecond apart."""
    rng = np.random.default_rng(11)
    pools = [pool(rng, marks) for _ in range(5)]
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(f"{'Time' if clock else 'Time (s)'},Frequency (MHz),Drive (V),Optical power (mW)\n")
        for number, start in enumerate(range(0, rows, CHUNK)):
            k = np.arange(start, min(start + CHUNK, rows))
            if clock:
                times = np.datetime_as_string(np.datetime64("2026-03-02T09:00:00.000") + k.astype("m8[ms]")).tolist()
            else:
                times = np.char.mod("%.3f", 1e-3 * k).tolist()
            file.write("\n".join(map("".join, zip(times, pools[number % 5], strict=False))) + "\n")


def run(job: str, path: Path) -> dict[str, float]:
    """Return what one new process measured; its standard error is a terminal."""
    terminal, end = pty.openpty()
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, "-c", CHILD, job, str(path)]
    with subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=end, text=True) as child:
        os.close(end)
        times = list(heard(terminal))
        out = child.communicate()[0]
    os.close(terminal)
    assert child.returncode == 0, f"{job} {path.name} failed"
    return {**json.loads(out), "progress": times[1] - times[0] if len(times) > 1 else float("nan")}


def heard(terminal: int) -> Iterator[float]:
    """Yield when each piece of text came to the terminal."""
    while True:
        try:
            if not os.read(terminal, 4096):
                return
        except OSError:  # the other end was closed
            return
        yield time.perf_counter()


def case(name: str, path: Path, rows: int, limit: str, *, pandas: bool) -> tuple[object, ...]:
    """Return one row of the table."""
    ours, theirs = [], []
    for _ in range(TURNS):
        ours.append(run("ours", path))
        theirs.append(run("pandas", path) if pandas else {"wall": float("nan"), "processor": float("nan")})

    def middle(runs: list[dict[str, float]], key: str) -> float:
        return statistics.median(r[key] for r in runs)

    def ratio(key: str) -> str:
        return f"{statistics.median(a[key] / b[key] for a, b in zip(ours, theirs, strict=True)):.2f}" if pandas else "-"

    def seconds(runs: list[dict[str, float]], key: str) -> str:
        return f"{middle(runs, key):.2f} s" if runs is ours or pandas else "-"

    shown = [r["progress"] for r in ours if r["progress"] == r["progress"]]
    return (
        name, f"{rows // MILLION} M", f"{path.stat().st_size / 1e6:.0f} MB", seconds(ours, "wall"),
        seconds(theirs, "wall"), ratio("wall"), limit, seconds(ours, "processor"), seconds(theirs, "processor"),
        ratio("processor"), f"{middle(ours, 'peak_mb'):.0f} MB", "400 MB",
        f"{min(shown):.2f} s" if shown else "done before",
    )  # fmt: skip


def coverage() -> list[tuple[object, ...]]:
    """Return how often the true mean lies inside, for noise of several correlations and blocks of several lengths."""
    rng = np.random.default_rng(12)
    table = []
    for rho in (0.0, 0.5, 0.9, 0.99):
        for n in (100, 1000, 10_000):
            blocks = 2000
            start = rng.normal(size=n * blocks + 2000)
            noise = lfilter([np.sqrt(1 - rho**2)], [1, -rho], start)[2000:]
            store = ScatterStore()
            for part in np.split(noise, 10):
                store.add(closed_blocks(part, np.full(blocks // 10, n)))
            found = store.result()
            true = (1 + rho) / (1 - rho) - 2 * rho * (1 - rho**n) / (n * (1 - rho) ** 2)
            inside, one = (float(np.mean(np.abs(found.mean) < z * found.u)) for z in (1.96, 1.0))
            table.append((f"{rho:g}", n, blocks, f"{true:.2f}", f"{found.noise.inefficiency:.2f}",
                          "yes" if found.noise.settled else "no", f"{inside:.3f}", f"{one:.3f}"))  # fmt: skip
    return table


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        free = shutil.disk_usage(folder).free
        if free < 4e9:
            sys.exit(f"4 GB of disk are needed in the temporary folder, {free / 1e9:.1f} GB are free")
        path = Path(folder) / "log.csv"
        table = []
        for name, rows, limit, options in (
            ("plain", 10 * MILLION, "2.5", {}),
            ("1 % of rows over range", 10 * MILLION, "", {"marks": True}),
            ("ISO clock instead of seconds (pandas: as text)", 10 * MILLION, "", {"clock": True}),
            ("plain", 30 * MILLION, "", {}),
        ):
            write_log(path, rows, **options)
            table.append(case(name, path, rows, limit, pandas=rows == 10 * MILLION))
    heads = (
        "rho",
        "rows in a block",
        "blocks",
        "true",
        "found",
        "settled",
        "inside 1.96 u (0.950)",
        "inside u (0.683)",
    )
    write_table("long_log", HEADS, table, f"{__doc__}\n{markdown(heads, coverage())}")


if __name__ == "__main__":
    main()
