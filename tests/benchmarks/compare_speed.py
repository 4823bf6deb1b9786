"""Compare 200 simulated sessions with one process and with two: the speed-up, and whether memory stays flat.

``python -m tests.benchmarks.compare_speed [SESSIONS]``, on a machine with two cores that does nothing else. Each
session is a whole bench Skerry with errors of its own (all its files); of its parts those of ``PARTS`` are computed,
so that starting the processes counts for more than it would with all. One process and two take turns
in blocks of 100 sessions, so that a change of the machine's pace strikes both; the start of the processes is part of
each block. Memory is the largest resident size of the parent and of any worker, for a tenth of the sessions and for
all.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from aotf_lab.simulate.write import simulate_session
from tests.benchmarks.table import write_table
from tests.house import ROOT

SESSIONS, BLOCK = 200, 100
PARTS = ("vco", "scans", "tuning", "efficiency", "set_points")
LEAST_SPEED_UP = 1.7
_RUN = "from tests.benchmarks.compare_speed import run; import sys; run(int(sys.argv[1]), sys.argv[2:])"


def run(jobs: int, folders: Sequence[str]) -> None:
    """Compare the folders; print the seconds, and the largest sizes (MB) of this process and of a worker."""
    from joblib.externals.loky import get_reusable_executor

    from aotf_lab.session.many.compare import compare

    begun = time.perf_counter()
    found = compare(iter(folders), jobs=jobs, parts=PARTS)
    seconds = time.perf_counter() - begun
    assert not found.without, str(found)
    if jobs > 1:
        get_reusable_executor().shutdown(wait=True)  # only a process that has ended is counted among the children
    sizes = (resource.getrusage(who).ru_maxrss / 1024 for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    print(seconds, *sizes)


def measured(jobs: int, folders: Sequence[Path]) -> tuple[float, float, float]:
    """Return what ``run`` prints in a process of its own."""
    command = [sys.executable, "-c", _RUN, str(jobs), *map(str, folders)]
    done = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True)
    seconds, own, worker = (float(word) for word in done.stdout.split())
    return seconds, own, worker


def main(count: int = SESSIONS) -> None:
    with tempfile.TemporaryDirectory() as home:
        folders = [simulate_session(Path(home) / f"bench{k:04d}", k) for k in range(count)]
        blocks = [folders[k : k + BLOCK] for k in range(0, count, BLOCK)]
        measured(2, folders[:4])  # files into the cache of the disk
        times = [(measured(1, block)[0], measured(2, block)[0]) for block in blocks]
        few, whole = (measured(2, part) for part in (folders[: max(count // 10, 2)], folders))
        serial = measured(1, folders[: max(count // 10, 2)])
    one, two = (sum(column) for column in zip(*times, strict=True))
    rows = [
        (f"speed-up of two processes, {count} sessions", f"{one:.0f} s / {two:.0f} s", f"{one / two:.2f}",
         f">= {LEAST_SPEED_UP:g}"),
        ("seconds a session, one process", "", f"{one / count:.2f}", ""),
        (f"largest size of the parent, {count} sessions / a tenth", f"{whole[1]:.0f} / {few[1]:.0f} MB",
         f"{whole[1] / few[1]:.2f}", "<= 1.1"),
        (f"largest size of a worker, {count} sessions / a tenth", f"{whole[2]:.0f} / {few[2]:.0f} MB",
         f"{whole[2] / few[2]:.2f}", "<= 1.1"),
        ("size of one process that does all itself, a tenth", f"{serial[1]:.0f} MB", "", ""),
    ]  # fmt: skip
    write_table("compare_speed", ("what", "found", "ratio", "limit"), rows, __doc__ or "")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
