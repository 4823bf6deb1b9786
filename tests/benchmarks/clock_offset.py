"""The offset of two clocks on simulated pairs of logs: its bias, the coverage of its u, and what is refused.

``python -m tests.benchmarks.clock_offset [pairs]``. Truth: a scan of 1.5 MHz over a passband of 0.3 MHz FWHM, each
step dwelled 1 to 3 s; a generator logs each step when it is set (clock to 1 ms), a power meter samples 0.4 % and
1.1 uW of noise, 1.2 % of wander and a first-order lag. The clocks differ by up to 20 s.
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from aotf_lab.errors import ReadingsError
from aotf_lab.reading.clock.joined import join_logs
from aotf_lab.reading.readings import Readings
from tests.benchmarks.table import write_table

WRONG_S = 0.8
"""An estimate further than this from the truth, or from where ``Case.shift_s`` says it lies, is another peak."""


@dataclass(frozen=True)
class Case:
    """One kind of pair: what the second log holds, its sampling, its lag (true and stated), and the dwell."""

    about: str
    second: str = "optical_power_mw"
    sample_s: float = 0.3
    lag_s: float = 0.9
    stated_lag_s: float = 0.0
    dwell_s: tuple[float, float] = (1.0, 3.0)
    steps: int = 41
    both_ways: bool = True
    resolution_s: float = 0.001
    max_offset_s: float | None = None
    shift_s: float = 0.0


CASES = (
    Case("power, no lag", lag_s=0.0),
    Case("power, lag 0.9 s, stated", stated_lag_s=0.9),
    Case("power, lag 0.9 s, not stated", shift_s=-0.25),
    Case("power, one way, no lag", lag_s=0.0, both_ways=False),
    Case("power, one way, lag 0.9 s, stated", stated_lag_s=0.9, both_ways=False),
    Case("power, one way, 21 steps, lag 0.9 s, stated", stated_lag_s=0.9, both_ways=False, steps=21),
    Case("power every 0.1 s, no lag", lag_s=0.0, sample_s=0.1),
    Case("power every 1 s, one way, no lag", lag_s=0.0, sample_s=1.0, both_ways=False),
    Case("power, every dwell 2 s, lag 0.9 s, stated", stated_lag_s=0.9, dwell_s=(2.0, 2.0)),
    Case("the same, clocks known to 0.9 s", stated_lag_s=0.9, dwell_s=(2.0, 2.0), max_offset_s=0.9),
    Case("power, no lag, stamps cut to 1 s", lag_s=0.0, resolution_s=1.0, sample_s=0.3, shift_s=0.5),
    Case("frequency in both, no lag", second="frequency_mhz", lag_s=0.0),
    Case("frequency in both, one way, every dwell 2 s", "frequency_mhz", lag_s=0.0, dwell_s=(2.0, 2.0),
         both_ways=False),
    Case("frequency in both, lag 0.9 s, not stated", second="frequency_mhz", shift_s=-0.9),
    Case("frequency in both, lag 0.9 s, stated", second="frequency_mhz", stated_lag_s=0.9),
)  # fmt: skip


def logs(case: Case, rng: np.random.Generator) -> tuple[Readings, Readings, float]:
    """Return the two logs and the true offset (s) that is to be added to the second's time."""
    f = np.linspace(63.3, 64.8, case.steps)
    f = np.concatenate([f, f[::-1]]) if case.both_ways else f
    dwell = rng.uniform(*case.dwell_s, len(f))
    set_s = 5.0 + rng.uniform() + np.concatenate([[0.0], np.cumsum(dwell)[:-1]])
    time_s = np.arange(rng.uniform(0, case.sample_s), set_s[-1] + 7.0, case.sample_s)
    time_s = time_s + rng.normal(0, 0.003, len(time_s))
    centre = 64.05 + rng.normal(0, 0.03)
    levels = np.sinc(0.886 * (f - centre) / 0.3) ** 2 if case.second == "optical_power_mw" else f
    seen = answered(set_s, levels, time_s, case.lag_s, 0.0 if case.second == "optical_power_mw" else f[0])
    if case.second == "optical_power_mw":
        wander = 1 + 0.012 * np.sin(2 * np.pi * time_s / rng.uniform(20, 200) + rng.uniform(0, 6))
        seen = seen * wander * (1 + 0.004 * rng.standard_normal(len(seen))) + 0.0023
        seen = seen + 0.0011 * rng.standard_normal(len(seen))
    else:
        seen = seen * (1 + 18e-6) + 0.004 * rng.standard_normal(len(seen))
    offset = rng.uniform(-20, 20) if case.max_offset_s is None else rng.uniform(-0.8, 0.8)
    second_s = np.floor((time_s - offset) / case.resolution_s) * case.resolution_s
    first = pd.DataFrame({"time_s": np.round(set_s, 3), "frequency_mhz": f})
    return Readings(first), Readings(pd.DataFrame({"time_s": second_s, case.second: seen})), offset


def answered(set_s, levels, time_s, lag_s: float, before: float) -> np.ndarray:
    """Return what a first-order meter shows at ``time_s`` of a staircase of ``levels``, exactly."""
    state, since, target, k = before, 0.0, before, 0
    seen = np.empty(len(time_s))
    for i, now in enumerate(time_s):
        while k < len(set_s) and set_s[k] <= now:
            state, since, target, k = _towards(state, target, set_s[k] - since, lag_s), set_s[k], levels[k], k + 1
        state, since = _towards(state, target, now - since, lag_s), now
        seen[i] = state
    return seen


def _towards(state: float, target: float, passed_s: float, lag_s: float) -> float:
    return target + (state - target) * float(np.exp(-passed_s / lag_s)) if lag_s > 0 else target


def estimates(case: Case, pairs: int, seed: int) -> Iterator[tuple[float, float] | None]:
    """Yield the error of the offset and its u (s) of every pair, None where it was refused."""
    rng = np.random.default_rng(seed)
    for _ in range(pairs):
        first, second, true = logs(case, rng)
        try:
            joined = join_logs(first, second, tolerance_s=0.5 * 0.9 * case.sample_s, lag_s=case.stated_lag_s,
                               max_offset_s=case.max_offset_s)  # fmt: skip
        except ReadingsError as error:
            if not error.what.startswith(("ambiguous", "no row", "no peak")):
                raise
            yield None
            continue
        yield joined.offset_s.n - true, joined.offset_s.s


def main(pairs: int) -> None:
    rows = []
    for seed, case in enumerate(CASES):
        told = [e for e in estimates(case, pairs, seed) if e is not None]
        refused = f"{100 * (1 - len(told) / pairs):.1f}"
        if not told:
            rows.append((case.about, refused, *["-"] * 6))
            continue
        error, u = np.array(told).T
        wrong = np.abs(error - case.shift_s) > WRONG_S
        near, u_near = error[~wrong], u[~wrong]
        rows.append((
            case.about, refused, f"{100 * wrong.mean():.2f}", f"{1e3 * near.mean():+.1f}", f"{1e3 * near.std():.1f}",
            f"{1e3 * np.median(u_near):.1f}", f"{100 * np.mean(np.abs(error) < u):.1f}",
            f"{100 * np.mean(np.abs(error) < 2 * u):.1f}",
        ))  # fmt: skip
        print(*rows[-1], sep=" | ", flush=True)
    heads = ("pairs of logs", "refused (%)", "wrong peak among the rest (%)", "bias (ms)",
             "standard deviation (ms)", "median u (ms)", "within 1 u (%)", "within 2 u (%)")  # fmt: skip
    about = (__doc__ or "") + (
        f"\n{pairs} pairs of each kind. Normal errors would lie within 1 u in 68.3 % and within 2 u in 95.4 %. Stamps\n"
        "cut to 1 s are all shifted alike, by half a second: their u says so. A lag that is not stated is no part of u."
    )
    write_table("clock_offset", heads, rows, about)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
