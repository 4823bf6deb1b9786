"""One fault put into a simulated file, what is asked of it, and whether the answer names the fault."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from aotf_lab.reading.sanity import Suspicion, suspicions, suspicions_between
from aotf_lab.reading.sanity.unfold import folded
from aotf_lab.simulate import SKERRY, efficiency_run, passband_scan
from aotf_lab.simulate.oscillator import DEMO_DOWN_V, DEMO_UP_V, REFERENCE_V, oscillator_sweep
from tests.benchmarks.sanity_bench import File, Random, efficiency, level, oscillator, scan, shown


@dataclass(frozen=True)
class Case:
    """What was asked, under what name the fault counts as found, what words must be there, and in which rows."""

    found: tuple[Suspicion, ...]
    what: str
    rows: tuple[int, ...] | None = None
    words: str = ""

    def judged(self) -> tuple[bool, bool]:
        """Return whether the fault was found and named right, and whether anything else was named too."""
        right = [s for s in self.found if self.what in f"{s.what} " and self.words in f"{s.found} {s.likely_cause}"]
        right = [s for s in right if self.rows is None or s.rows == self.rows]
        return bool(right), len(self.found) > len(right)


def asked(file: File, what: str, rows: object = None, words: str = "") -> Case:
    found = suspicions(file.readings(), **file.facts)
    where = None if rows is None else tuple(int(r) for r in np.sort(np.atleast_1d(rows)))
    return Case(found, what, where, words)


def stretch(rng: Random, size: int, least: int, most: int) -> np.ndarray:
    many = int(rng.integers(least, most + 1))
    first = int(rng.integers(0, size - many + 1))
    return np.arange(first, first + many)


def sweep(rng: Random) -> File:
    """The demo's sweep up and down, as the voltmeter shows it."""
    table = oscillator_sweep(rng, (REFERENCE_V, *DEMO_UP_V, *DEMO_DOWN_V, REFERENCE_V))
    return File(shown(table, {"drive_v": 4, "frequency_mhz": 4, "temperature_c": 2, "time_s": 0}))


def narrow_scan(rng: Random) -> File:
    """The demo's scan: 31 points over three passbands, with the head's lag."""
    line = SKERRY.lines[int(rng.integers(7))]
    table = passband_scan(rng, line, str(rng.choice(["up", "down"])))
    return File(shown(table, {"time_s": 1, "frequency_mhz": 4, "optical_power_mw": 4, "dark_power_mw": 4}))


def above_dc(factor: float, words: str) -> Callable[[Random], Case]:
    def case(rng: Random) -> Case:
        file = (efficiency if rng.random() < 0.5 else level)(rng)
        power = file.table["rf_power_w"].to_numpy()
        used = file.table["supply_v"].to_numpy() * file.facts["supply_a"]
        share = float(np.max(power / used))
        least = 1.1 / (factor * share)  # an amplifier of which the slip can be seen at all
        current = file.facts["supply_a"] * (1.0 / max(1.0, least))
        raised = file.table.assign(rf_power_w=factor * power).drop(columns="rf_level_vrms")
        rows = np.flatnonzero(factor * power > 1.05 * file.table["supply_v"].to_numpy() * current)
        return asked(file.with_table(raised, supply_a=current), "above the amplifier's DC", rows, words)

    return case


def as_dbm(rng: Random) -> Case:
    file = level(rng)
    power = 10.0 * np.log10(1e3 * file.table["rf_power_w"].to_numpy())
    rows = np.flatnonzero(power > 1.05 * file.table["supply_v"].to_numpy() * file.facts["supply_a"])
    table = file.table.assign(rf_power_w=power).drop(columns="rf_level_vrms")
    return asked(file.with_table(table), "above the amplifier's DC", rows, "dBm taken")


def two_powers(factor: float) -> Callable[[Random], Case]:
    def case(rng: Random) -> Case:
        line = SKERRY.lines[int(rng.integers(7))]
        tables = [efficiency_run(rng, line, np.linspace(0.05, 0.6, int(rng.integers(5, 15)))) for _ in range(2)]
        tables = [t.assign(rf_power_w=(t["rf_level_vrms"] * 10**1.5) ** 2 / 50.0) for t in tables]
        gain = float(np.exp(rng.normal(0.0, 0.06)))
        tables[1] = tables[1].assign(rf_power_w=tables[1]["rf_power_w"] * factor * gain).iloc[::2]
        named = {f"{k}.csv": File(t).readings(f"{k}.csv") for k, t in enumerate(tables)}
        return Case(suspicions_between(named), f" {factor:g} ")

    return case


def false_factor(factor: float, what: str, least: int, most: int) -> Callable[[Random], Case]:
    def case(rng: Random) -> Case:
        file = oscillator(rng) if rng.random() < 0.5 else narrow_scan(rng)
        rows = stretch(rng, len(file.table), least, min(most, len(file.table) // 4))
        wrong = file.table["frequency_mhz"].to_numpy()[rows] * factor
        case_file = file.changed("frequency_mhz", rows, wrong)
        return asked(replace(case_file, facts={}), what, rows)

    return case


def scattered_units(rng: Random) -> Case:
    file = oscillator(rng)
    rows = np.flatnonzero(rng.random(len(file.table)) < 0.3)
    rows = rows if rows.size else np.array([3])
    wrong = file.table["frequency_mhz"].to_numpy()[rows] * 1e3
    return asked(file.changed("frequency_mhz", rows, wrong), "MHz and kHz are mixed", rows)


def alias(told: bool) -> Callable[[Random], Case]:
    def case(rng: Random) -> Case:
        file = sweep(rng)
        true = file.table["frequency_mhz"].to_numpy()
        rate = float(rng.uniform(100.0, 172.0))  # the fold lies within the sweep, 7 MHz from its ends
        while np.min(np.abs(true - 0.5 * rate)) < 0.3:  # a reading on the fold lies on both sides of it
            rate = float(rng.uniform(100.0, 172.0))
        wrong = np.round(folded(true, rate), 4)
        rows = np.flatnonzero(np.abs(wrong - true) > 1e-3)
        table = file.table.assign(frequency_mhz=wrong)
        if not told:
            case = asked(file.with_table(table), "looks folded, as an alias")
            fold = next((s for s in case.found if case.what in s.what), None)
            good = fold is not None and len(set(fold.rows) ^ set(rows.tolist())) <= 1
            return replace(case, rows=fold.rows if good and fold is not None else (-1,))
        named = ", ".join(
            f"{rate * round(true[r] / rate) + np.sign(true[r] - rate * round(true[r] / rate)) * wrong[r]:.7g} MHz"
            for r in rows[:6]
        )
        return asked(file.with_table(table, sample_rate_mhz=rate), "the frequency is an alias", rows, f"true {named}")

    return case


def frozen(column: str, least: int, most: int) -> Callable[[Random], Case]:
    def case(rng: Random) -> Case:
        file = narrow_scan(rng) if column == "optical_power_mw" or rng.random() < 0.5 else sweep(rng)
        if column in ("drive_v", "temperature_c"):
            file = sweep(rng)
        rows = 2 + stretch(rng, len(file.table) - 4, least, most)
        value = file.table[column].iloc[rows[0]]
        if column == "optical_power_mw" and value < 0.1 * file.table[column].max():
            return case(rng)
        changed = file.changed(column, rows, value)
        if value == changed.table[column].max() and column == "optical_power_mw":  # over-range looks the same
            return case(rng)
        run = rows.tolist()
        while run[-1] + 1 < len(file.table) and file.table[column].iloc[run[-1] + 1] == value:
            run.append(run[-1] + 1)
        while run[0] > 0 and file.table[column].iloc[run[0] - 1] == value:
            run.insert(0, run[0] - 1)
        return asked(changed, "a frozen meter", run)

    return case


def saturated(rng: Random) -> Case:
    while True:
        file = narrow_scan(rng)
        light = file.table["optical_power_mw"].to_numpy()
        top = float(np.round(light.max() * rng.uniform(0.5, 0.9), 4))
        rows = np.flatnonzero(light >= top)
        if rows.size >= 3:
            return asked(file.changed("optical_power_mw", rows, top), "over-range without a mark", rows)


def same_file(rng: Random) -> Case:
    file = [oscillator, scan, efficiency, level][rng.integers(4)](rng)
    one = file.readings("a.csv")
    return Case(suspicions_between({"a.csv": one, "b.csv": replace(one)}), "the same file is used twice")


def same_readings(rng: Random) -> Case:
    file = [sweep, narrow_scan, efficiency][rng.integers(3)](rng)
    named = {name: file.readings(name) for name in ("a.csv", "b.csv")}
    return Case(suspicions_between(named), "two files hold the same readings")


def part_copied(rng: Random) -> Case:
    make = [sweep, narrow_scan, efficiency][rng.integers(3)]
    one = make(rng)
    two = _again(rng, one, make)
    many = min(5, len(two.table) - 1)
    rows, source = stretch(rng, len(two.table), many, many), stretch(rng, len(one.table), many, many)
    table = two.table.copy()
    for column in table.columns.drop("time_s", errors="ignore"):
        table.loc[table.index[rows], column] = one.table[column].to_numpy()[source]
    named = {"a.csv": one.readings("a.csv"), "b.csv": File(table).readings("b.csv")}
    return Case(suspicions_between(named), "a part of one file", tuple(rows.tolist()))


def _again(rng: Random, one: File, make: Callable[[Random], File]) -> File:
    other = make(rng)
    while list(other.table.columns) != list(one.table.columns):
        other = make(rng)
    return other


def copied(with_time: bool, least: int, most: int) -> Callable[[Random], Case]:
    def case(rng: Random) -> Case:
        file = sweep(rng) if rng.random() < 0.5 else narrow_scan(rng)
        source = stretch(rng, len(file.table), least, most)
        at = int(rng.integers(source[-1] + 1, len(file.table) + 1))
        block = file.table.iloc[source]
        table = pd.concat([file.table.iloc[:at], block, file.table.iloc[at:]], ignore_index=True)
        if not with_time:
            table = table.drop(columns="time_s")
        return asked(file.with_table(table), "rows stand twice", np.arange(at, at + source.size))

    return case


def reversed_time(rng: Random) -> Case:
    file = sweep(rng) if rng.random() < 0.5 else narrow_scan(rng)
    return asked(file.with_table(file.table.iloc[::-1].reset_index(drop=True)), "time runs backwards")


def restarted(rng: Random) -> Case:
    file = sweep(rng) if rng.random() < 0.5 else narrow_scan(rng)
    at = int(rng.integers(2, len(file.table) - 1))
    time = file.table["time_s"].to_numpy().copy()
    time[at:] -= time[at] - time[0]
    return asked(file.with_table(file.table.assign(time_s=time)), "time steps back", at)
