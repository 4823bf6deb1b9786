"""Drift over simulated histories of kept calibrations: ``python -m tests.benchmarks.drift``.

Prints and writes results/drift.md. An argument sets the number of histories of each kind (1000).
"""

from __future__ import annotations

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
import pandas as pd

from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.coupled_waves import light_lost
from aotf_lab.record.drift import Drift, Passband, control_chart, drift_of_tables
from tests.benchmarks.table import markdown, write_table

START = date(2031, 3, 2)
LINE = Passband(64.0, 0.3)
U_TEMPERATURE_K = 0.1
LOSSES = {"crystal": 2.0, "oscillator": 10.0, "both": 10.0}


@dataclass(frozen=True)
class Kind:
    """A population of histories: how many records, whether a coefficient is known, whether they wander."""

    name: str
    records: int
    known: bool = False
    wander: bool = False


KINDS = (
    Kind("2 records, coefficients known", 2, known=True),
    Kind("3 records, coefficients known", 3, known=True),
    Kind("4 records", 4),
    Kind("6 records", 6),
    Kind("10 records", 10),
    Kind("20 records", 20),
    Kind("6 records that wander (random walk)", 6, wander=True),
    Kind("20 records that wander (random walk)", 20, wander=True),
)


@dataclass(frozen=True)
class Law:
    """How a link moves: per K and per day about 21 C and the first record, scatter between records, stated u."""

    base: float
    per_k: float
    per_day: float
    scatter: float
    u: float

    def trend(self, temperature_c: FloatArray, days: FloatArray) -> FloatArray:
        """Return where the link is (n,) without its scatter."""
        return np.asarray(self.base + self.per_k * (temperature_c - 21.0) + self.per_day * days)

    def rests(self, rng: np.random.Generator, days: FloatArray, kind: Kind) -> FloatArray:
        """Return the scatter between records (n,): new each time, or a walk by as much over the mean gap."""
        steps = self.scatter * rng.standard_normal(len(days))
        if not kind.wander:
            return steps
        return np.cumsum(steps * np.sqrt(np.diff(days, prepend=days[0]) * len(days) / np.ptp(days)))

    def later(self, rng: np.random.Generator, days: FloatArray, last: float, ahead: int, kind: Kind) -> float:
        """Return the scatter ``ahead`` days after the last record, which had ``last``."""
        step = float(self.scatter * rng.standard_normal())
        return last + step * (ahead * len(days) / np.ptp(days)) ** 0.5 if kind.wander else step


@dataclass
class Tally:
    """What the histories of one kind gave."""

    count: int = 0
    asked: Counter[str] = field(default_factory=Counter)
    inside: Counter[str] = field(default_factory=Counter)
    failed: Counter[str] = field(default_factory=Counter)
    judged: Counter[str] = field(default_factory=Counter)
    promised: Counter[str] = field(default_factory=Counter)
    lost: Counter[str] = field(default_factory=Counter)
    reach: Counter[str] = field(default_factory=Counter)
    ahead: dict[str, list[int]] = field(default_factory=dict)


@dataclass(frozen=True)
class Bench:
    """A bench with its own constants and the seasons of its room."""

    laws: dict[str, Law]
    season: tuple[float, float]
    swing_k: float

    def temperature_c(self, rng: np.random.Generator, days: FloatArray) -> FloatArray:
        """Return the room's temperature (n,) on ``days`` (n,)."""
        amplitude, phase = self.season
        wave = amplitude * np.sin(2 * np.pi * days / 365.25 + phase)
        return np.asarray(21.0 + wave + rng.uniform(-self.swing_k, self.swing_k, len(days)))


def new_bench(rng: np.random.Generator) -> Bench:
    """Return a bench: oscillator in MHz, crystal in MHz at the line."""
    f = LINE.frequency_mhz
    oscillator = Law(
        65.0, rng.uniform(-0.08, 0.08), rng.uniform(-5e-5, 5e-5), rng.uniform(0.002, 0.015), rng.uniform(0.001, 0.006)
    )
    crystal = Law(
        f,
        f * rng.uniform(3e-5, 6e-5),
        f * rng.uniform(-3e-8, 3e-8),
        f * rng.uniform(0, 2e-5),
        f * rng.uniform(1e-5, 4e-5),
    )
    return Bench({"oscillator": oscillator, "crystal": crystal}, (rng.uniform(1, 4), rng.uniform(0, 2 * np.pi)), 1.0)


def judge(rng: np.random.Generator, kind: Kind, tally: Tally) -> None:
    """Simulate one history, ask for its drift and count what held."""
    bench = new_bench(rng)
    span = rng.uniform(200, 1000)
    days = np.unique(np.round(np.concatenate([[0.0, span], rng.uniform(1, span, kind.records - 2)])))
    if len(days) < kind.records:
        return
    truth_c = bench.temperature_c(rng, days)
    read_c = truth_c + U_TEMPERATURE_K * rng.standard_normal(len(days))
    rests, tables, known = {}, {}, {}
    for link, law in bench.laws.items():
        rests[link] = law.rests(rng, days, kind)
        read = law.trend(truth_c, days) + rests[link] + law.u * rng.standard_normal(len(days))
        dates = [START + timedelta(days=int(d)) for d in days]
        tables[link] = pd.DataFrame(
            {"date": dates, "temperature_c": read_c, "frequency_mhz": read, "u_frequency_mhz": law.u}
        )
        scale = 1.0 if link == "oscillator" else LINE.frequency_mhz
        u = 0.04 * abs(law.per_k) + 0.001 * scale / 64.0
        known[link] = ((law.per_k + u * rng.standard_normal()) / scale, u / scale) if kind.known else None
    drift = drift_of_tables(
        oscillator=tables["oscillator"], crystal=tables["crystal"], lines={"E": LINE},
        known_mhz_per_k=known["oscillator"], known_relative_per_k=known["crystal"], u_temperature_k=U_TEMPERATURE_K,
    )  # fmt: skip
    tally.count += 1
    count_terms(tally, drift, bench)
    count_due(rng, tally, drift, bench, kind, days, read_c, tables, {n: float(r[-1]) for n, r in rests.items()})


def count_terms(tally: Tally, drift: Drift, bench: Bench) -> None:
    """Count the intervals that hold the truth, and the checks that failed."""
    for link in drift.links:
        name = link.history.link
        scale = 1.0 if name == "oscillator" else LINE.frequency_mhz
        law = bench.laws[name]
        for term, truth in (("per_k", law.per_k / scale), ("per_day", law.per_day / scale)):
            if term in link.terms:
                low, high = link.interval(term)
                tally.asked[f"{name} {term}"] += 1
                tally.inside[f"{name} {term}"] += low <= truth <= high
        for check in link.checks:
            tally.judged[check.name] += 1
            tally.failed[check.name] += not check.passed


def count_due(
    rng: np.random.Generator, tally: Tally, drift: Drift, bench: Bench, kind: Kind, days: FloatArray,
    read_c: FloatArray, tables: dict[str, pd.DataFrame], last: dict[str, float],
) -> None:  # fmt: skip
    """Ask for each due day, and use the set-points of the last record on the last day that was promised."""
    for asked, loss in LOSSES.items():
        link = None if asked == "both" else asked
        due = drift.due(loss, link=link, corrected=True)  # type: ignore[arg-type]
        if due.date is None:
            continue
        tally.promised[asked] += 1
        tally.reach[asked] += due.reach
        ahead = (due.date - due.last).days - 1
        tally.ahead.setdefault(asked, []).append(ahead)
        day = np.array([days[-1] + ahead])
        now_c = bench.temperature_c(rng, day)
        seen_c = float(now_c[0]) + U_TEMPERATURE_K * rng.standard_normal()
        error = 0.0
        for sign, part in ((1.0, drift.oscillator), (-1.0, drift.crystal)):
            if part is None or (link is not None and part.history.link != link):
                continue
            name = part.history.link
            scale = 1.0 if name == "oscillator" else LINE.frequency_mhz
            used = float(tables[name]["frequency_mhz"].iloc[-1])
            per_k = scale * part.per_k.n if part.per_k is not None else 0.0
            law = bench.laws[name]
            now = float(law.trend(now_c, day)[0]) + law.later(rng, days, last[name], ahead, kind)
            error += sign * (now - used - per_k * (seen_c - float(read_c[-1])))
        tally.lost[asked] += 100 * float(light_lost(error / LINE.fwhm_mhz)) > loss


def chart_alarms(charts: int, records: int, *, shift: float = 0.0) -> tuple[float, float]:
    """Return the share of charts of normal values, the last quarter shifted by so many sigma, with a value outside."""
    rng, alarms = np.random.default_rng(901 + records), np.zeros(2)
    dates = [START + timedelta(days=k) for k in range(records)]
    for _ in range(charts):
        values = rng.standard_normal(records)
        values[-(records // 4) :] += shift
        first = records - records // 4
        for k, kind in enumerate(("individuals", "ewma")):
            chart = control_chart(dates, values, kind=kind, baseline=first)  # type: ignore[arg-type]
            alarms[k] += bool(set(chart.beyond) & set(dates[first:]))
    return float(alarms[0] / charts), float(alarms[1] / charts)


ABOUT = f"""\
Each history is a bench of its own: records on irregular days over 200 to 1,000 days in a room with seasons of +-1 to
4 K and days of +-1 K, a thermometer with {U_TEMPERATURE_K:g} K of noise. Oscillator: within 80 kHz/K, within 50 Hz a
day, scatter between records 2 to 15 kHz, stated u 1 to 6 kHz. Crystal at {LINE.frequency_mhz:g} MHz: 30 to 60 ppm/K,
within 0.03 ppm a day, scatter up to 20 ppm, stated u 10 to 40 ppm. Known coefficients have u of 4 % and 1 kHz/K.
Share of 95 % intervals that hold the truth; demand: 0.93 or more. The ageing of an oscillator that only wanders falls
short of it: a walk's trend and its wander look alike. Its due days are kept all the same."""

DUE_HEADS = ("history", "link and loss", "promised", "lost more", "days ahead, median", "set by the history's length")
CHART_HEADS = (
    "records", "individuals, steady", "EWMA, steady", "individuals, moved by 1.5 sigma", "EWMA, moved by 1.5 sigma"
)  # fmt: skip
TERMS = ("oscillator per_k", "oscillator per_day", "crystal per_k", "crystal per_day")


def share(part: float, whole: float) -> str:
    """Return a share, or a dash where nothing was asked."""
    return f"{part / whole:.3f}" if whole else "-"


def main(histories: int) -> None:
    """Run everything, print it and write it."""
    tallies = {}
    for k, kind in enumerate(KINDS):
        rng, tally = np.random.default_rng(501 + k), Tally()
        while tally.count < histories:
            judge(rng, kind, tally)
        tallies[kind.name] = tally
    coverage = [[n, t.count, *(share(t.inside[q], t.asked[q]) for q in TERMS)] for n, t in tallies.items()]
    due = [
        [
            name, f"{asked}, {loss:g} %", t.promised[asked], share(t.lost[asked], t.promised[asked]),
            f"{np.median(t.ahead[asked]):.0f}" if t.ahead.get(asked) else "-", share(t.reach[asked], t.promised[asked]),
        ]
        for name, t in tallies.items()
        for asked, loss in LOSSES.items()
    ]  # fmt: skip
    checks = sorted({c for t in tallies.values() for c in t.judged})
    failed = [[c, *(share(t.failed[c], t.judged[c]) for t in tallies.values())] for c in checks]
    charts = []
    for records in (12, 20, 40):
        quiet, moved = chart_alarms(histories, records), chart_alarms(histories, records, shift=1.5)
        charts.append([records, *(f"{x:.3f}" for x in (*quiet, *moved))])
    later = "\n\n".join(
        [
            "## Set-points of the last record, corrected for temperature, on the last day that was promised",
            "Demand: more light than stated lost in 0.05 of the histories at most.",
            markdown(DUE_HEADS, due),
            "## Share of checks that failed",
            "They judge the readings: temperatures too close together, or in step with the days.",
            markdown(["check", *tallies], failed),
            "## Control charts: share with a value outside among the last quarter, limits from the records before",
            markdown(CHART_HEADS, charts),
            "## Coverage",
        ]
    )  # fmt: skip
    write_table("drift", ["history", "number", *TERMS], coverage, f"{ABOUT}\n\n{later}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
