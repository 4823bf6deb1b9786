"""Warm-up, Allan deviation and pushing over simulated logs: ``python -m tests.benchmarks.warm_up``.

Prints and writes results/warm_up.md. An argument sets the number of logs of each kind (1000).
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from aotf_lab.driver.stability import fit_pushing, fit_warm_up, stability
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.problem import FloatArray
from tests.benchmarks.table import markdown

RESULTS = Path(__file__).parent / "results" / "warm_up.md"
FWHM_MHZ = 0.3
SHARES = (0.01, 0.02, 0.05)
ROWS, STEP_S = 720, 10.0
JITTER_MHZ = 0.004
START_S = 20.0


@dataclass(frozen=True)
class Kind:
    """A population of logs: the random walk (MHz per root second), the second exponential, what is stated."""

    name: str
    walk: tuple[float, float]
    second: bool = False
    stated_mhz: float = JITTER_MHZ


KINDS = (
    Kind("white noise and random walk", (2e-5, 1e-4)),
    Kind("white noise alone", (0.0, 0.0)),
    Kind("two exponentials, white noise and random walk", (2e-5, 1e-4), second=True),
)


@dataclass
class Tally:
    """What the logs of one kind gave."""

    logs: int = 0
    inside: Counter[str] = field(default_factory=Counter)
    white: Counter[str] = field(default_factory=Counter)
    judged: Counter[str] = field(default_factory=Counter)
    late: Counter[float] = field(default_factory=Counter)
    promised: Counter[float] = field(default_factory=Counter)
    refused: Counter[float] = field(default_factory=Counter)
    over: list[float] = field(default_factory=list)
    failed: Counter[str] = field(default_factory=Counter)
    number: Counter[int] = field(default_factory=Counter)
    worth: list[float] = field(default_factory=list)


def one_log(rng: np.random.Generator, kind: Kind) -> tuple[pd.DataFrame, dict[str, float], Callable[[float], float]]:
    """Return a log, the truth by name, and the warm-up left at a time since power-on."""
    t = START_S + STEP_S * np.arange(ROWS)
    amplitude, tau = rng.choice([-1, 1]) * rng.uniform(0.15, 0.6), rng.uniform(480.0, 1200.0)
    small, fast = (amplitude * rng.uniform(0.15, 0.4), tau * rng.uniform(0.12, 0.3)) if kind.second else (0.0, tau)
    per_k, walk = rng.uniform(-0.08, 0.08), rng.uniform(*kind.walk)
    swing = rng.uniform(0.1, 0.3) * np.sin(2 * np.pi * t / rng.uniform(1500.0, 4000.0) + rng.uniform(0, 2 * np.pi))
    box = 22.0 + rng.uniform(-0.4, 0.4) * t / t[-1] + swing
    wander = np.cumsum(walk * STEP_S**0.5 * rng.standard_normal(ROWS))

    def left(time_s: float) -> float:
        return float(amplitude * np.exp(-time_s / tau) + small * np.exp(-time_s / fast))

    law = amplitude * np.exp(-t / tau) + small * np.exp(-t / fast)
    frequency = 66.0 + law + per_k * (box - 22.0) + wander + JITTER_MHZ * rng.standard_normal(ROWS)
    table = pd.DataFrame(
        {
            "time_s": t - START_S,
            "frequency_mhz": frequency,
            "u_frequency_mhz": kind.stated_mhz,
            "temperature_c": box + 0.03 * rng.standard_normal(ROWS),
        }
    )
    truth = {
        "settled frequency": 66.0 + per_k * (float(box.mean()) - 22.0) + float(wander[-1]),
        "warm-up in all": amplitude + small,
        "longest time constant": tau,
        "kHz/K": per_k,
    }
    return table, truth, left


def judge(tally: Tally, table: pd.DataFrame, truth: dict[str, float], left: Callable[[float], float]) -> None:
    """Fit one log and count what held."""
    tally.logs += 1
    w = fit_warm_up(table, started_s=START_S)
    found = {
        "settled frequency": w.final_mhz,
        "warm-up in all": w.drift_mhz,
        "longest time constant": w.time_constant_s,
        "kHz/K": w.temperature_mhz_per_k,
    }
    tally.number[len(w.shifts_mhz)] += 1
    tally.worth.append(w.worth)
    tally.failed.update({c.name for c in w.fit.failed})
    for name, value in found.items():
        if value is not None:
            low, high = w.fit.interval(value)
            tally.judged[name] += 1
            tally.inside[name] += low <= truth[name] <= high
    naive = w.final_mhz.s * (w.worth / len(table)) ** 0.5
    tally.white["settled frequency"] += abs(w.final_mhz.n - truth["settled frequency"]) <= 1.96 * naive
    for share in SHARES:
        try:
            wait = w.wait_s(share, FWHM_MHZ)
        except ReadingsError:
            tally.refused[share] += 1
            continue
        tally.promised[share] += 1
        tally.late[share] += abs(left(wait)) > share * FWHM_MHZ * (1 + 1e-9) and wait > START_S
        needed = next((t for t in np.arange(START_S, 7210.0, 5.0) if abs(left(float(t))) <= share * FWHM_MHZ), np.nan)
        if share == SHARES[0] and np.isfinite(needed) and needed > START_S:
            tally.over.append(wait / needed)


def tally_of(kind: Kind, logs: int, seed: int) -> Tally:
    """Return the tally of ``logs`` logs of one kind."""
    rng, tally = np.random.default_rng(seed), Tally()
    for _ in range(logs):
        judge(tally, *one_log(rng, kind))
    return tally


def law_rows(tallies: dict[str, Tally]) -> list[list[object]]:
    """Return the rows of coverage."""
    rows: list[list[object]] = []
    for name, t in tallies.items():
        share = [f"{t.inside[q] / t.judged[q]:.3f}" for q in t.judged]
        white = f"{t.white['settled frequency'] / t.logs:.3f}"
        told = ", ".join(f"{n}: {c / t.logs:.3f}" for n, c in sorted(t.number.items()))
        rows.append([name, t.logs, *share, white, f"{np.median(t.worth):.0f}", told])
    return rows


def wait_rows(tallies: dict[str, Tally]) -> list[list[object]]:
    """Return the rows of the waits."""
    rows: list[list[object]] = []
    for name, t in tallies.items():
        late = [f"{t.late[s] / max(t.promised[s], 1):.3f} of {t.promised[s]}" for s in SHARES]
        rows.append([name, *late, t.refused[SHARES[0]], f"{np.median(t.over):.3f}"])
    return rows


def allan_inside(logs: int, seed: int, *, walk: bool) -> tuple[FloatArray, FloatArray]:
    """Return the averaging times (s) and the share of 95 % intervals that hold the true Allan deviation."""
    rng = np.random.default_rng(seed)
    inside: FloatArray | float = 0.0
    for _ in range(logs):
        noise = rng.standard_normal(ROWS)
        f = 66.0 + 1e-4 * (np.cumsum(noise) if walk else noise)
        s = stability(f, rate_hz=1.0 / STEP_S)
        m = np.round(s.tau_s / STEP_S)
        true = 1e-4 / s.frequency_mhz * np.sqrt((2 * m**2 + 1) / (6 * m) if walk else 1 / m)
        inside = inside + ((s.allan.low <= true) & (true <= s.allan.high))
    return s.tau_s, np.asarray(inside) / logs


def pushing_inside(logs: int, seed: int) -> float:
    """Return the share of 95 % intervals that hold the true pushing: 17 readings, 15 V in every other one."""
    rng = np.random.default_rng(seed)
    supply = np.array([15, 14.5, 15, 15.5, 15, 14.5, 15, 15.5, 15, 14.75, 15, 15.25, 15, 14.5, 15, 15.5, 15])
    time_s = 30.0 * np.arange(len(supply))
    held = 0
    for _ in range(logs):
        slope, drift, walk = rng.uniform(-1.0, 1.0), rng.uniform(-1e-5, 1e-5), rng.uniform(0, 3e-4)
        wander = np.cumsum(walk * 30.0**0.5 * rng.standard_normal(len(supply)))
        f = 66.0 + slope * (supply - 15) + drift * time_s + wander + JITTER_MHZ * rng.standard_normal(len(supply))
        p = fit_pushing(pd.DataFrame({"time_s": time_s, "supply_v": supply, "frequency_mhz": f}))
        low, high = p.fit.interval(p.mhz_per_v)
        held += low <= slope <= high
    return held / logs


HEADS = (
    "logs of 2 h, 720 readings", "number", "settled frequency", "warm-up in all", "longest time constant", "kHz/K",
    "settled frequency, u of white noise", "median worth of 720 readings", "exponentials taken",
)  # fmt: skip


ABOUT = """\
Every log with its own constants: 0.15 to 0.6 MHz of either sign, 8 to 20 min, within 80 kHz/K, a box that moves by
tenths of K, a thermometer with 0.03 K of noise, jitter 4 kHz, random walk 0.02 to 0.1 kHz per root second (1.2 to 6 kHz
in an hour); the second exponential has 0.15 to 0.4 of the first's amplitude and 0.12 to 0.3 of its time constant.
Intervals are for 95 %. Where a second exponential does not show, the constants and the wait are those of one alone."""


def main(logs: int) -> None:
    """Run everything, print it and write it."""
    tallies = {kind.name: tally_of(kind, logs, 101 + k) for k, kind in enumerate(KINDS)}
    names = sorted({n for t in tallies.values() for n in t.failed} - {"slow drift"})
    alarms = [[n, *(f"{t.failed[n] / t.logs:.4f}" for t in tallies.values())] for n in names]
    drift = ["slow drift (none is there)", *(f"{t.failed['slow drift'] / t.logs:.4f}" for t in tallies.values())]
    tau, white = allan_inside(logs, 201, walk=False)
    _, walk = allan_inside(logs, 202, walk=True)
    allan = [[f"{s:.0f}", f"{a:.3f}", f"{b:.3f}"] for s, a, b in zip(tau, white, walk, strict=True)]
    late = [f"later than promised, {s:g} of {FWHM_MHZ:g} MHz" for s in SHARES]
    text = "\n\n".join(
        [
            "# Warm-up and stability: simulated logs",
            ABOUT,
            "## Share of intervals that hold the truth. Demand: at least 0.93",
            markdown(HEADS, law_rows(tallies)),
            "## How long to wait. Demand: more warm-up left than promised in 0.05 of the logs at most",
            markdown(
                ["logs", *late, "refused at 0.01", "wait over what was needed, median at 0.01"], wait_rows(tallies)
            ),
            "## Checks that failed although nothing was wrong (0.002 each by design)",
            markdown(["check", *tallies], [drift, *alarms]),
            "## Overlapping Allan deviation of 720 readings: share of 95 % intervals that hold the truth",
            markdown(["averaging time, s", "white frequency noise", "random walk of the frequency"], allan),
            "## Pushing: 17 readings with returns to the reference, drift and random walk",
            f"Share of 95 % intervals of MHz/V that hold the truth, {logs} runs: {pushing_inside(logs, 301):.3f}",
        ]
    )
    print(text)
    RESULTS.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
