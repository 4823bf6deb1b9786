"""Processor time of a job, so that other programs of the machine do not count."""

from __future__ import annotations

import time
from collections.abc import Callable


def milliseconds(job: Callable[[], object], runs: int = 3) -> float:
    """Return the processor time (ms) of the shortest of ``runs`` runs."""
    times = []
    for _ in range(runs):
        began = time.process_time()
        job()
        times.append(1e3 * (time.process_time() - began))
    return min(times)
