"""What session.toml says of one file, against its rows: direction, line, frequencies, temperature, RF power."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from aotf_lab.reading.sanity.suspicion import lines_of
from aotf_lab.session.contradictions.contradiction import Contradiction, ReadFile

__all__ = ["against_rows"]

_AGAINST = 0.8
"""Share of steps the other way from which a run went the other way."""

_APART_C = 2.0
"""Difference of temperatures that is no reading error (common practice, no source); 6 kHz of a line at 64 MHz."""

_OVER_RATED = 1.2
"""An amplifier gives somewhat more than its rating (common practice, no source), not this much more."""

_STILL_MHZ = 0.01
"""A scan that spans less has not moved: passbands are some 0.1 MHz wide and more (common practice, no source)."""


def against_rows(read: ReadFile) -> Iterator[Contradiction]:
    """Yield what the rows of one file contradict."""
    yield from _direction_words(read)
    yield from _direction_steps(read)
    yield from _labels(read)
    yield from _still(read)
    yield from _temperature(read)
    yield from _power(read)


def _direction_words(read: ReadFile) -> Iterator[Contradiction]:
    stated = read.file.direction
    if not read.own_direction or stated is None or not read.has("direction"):
        return
    words = read.readings.table["direction"]
    rows = np.flatnonzero(~words.isin(["", stated]).to_numpy())
    if rows.size:
        yield Contradiction(
            "the rows give another direction", lines_of(read.readings, rows.tolist()),
            f"{words.iloc[int(rows[0])]} in {rows.size} of {len(words)} rows", f'direction = "{stated}"',
            "leave direction out of session.toml where the file gives it, or correct it", True,
        )  # fmt: skip


def _direction_steps(read: ReadFile) -> Iterator[Contradiction]:
    stated = read.file.direction
    column = next((c for c in ("drive_v", "frequency_mhz") if read.has(c)), "")
    if stated is None or not column or read.file.purpose not in ("scan", "oscillator"):
        return
    table = read.readings.table
    order = np.argsort(table["time_s"].to_numpy(dtype=float), kind="stable") if read.has("time_s") else slice(None)
    values = table[column].to_numpy(dtype=float)[order]
    u = table[f"u_{column}"].to_numpy(dtype=float)[order] if read.has(f"u_{column}") else np.zeros(len(values))
    steps = np.diff(values)
    steps = steps[np.abs(steps) > np.nan_to_num(u[1:])]
    wrong = int(np.sum(steps < 0) if stated == "up" else np.sum(steps > 0))
    if steps.size >= 3 and wrong >= _AGAINST * steps.size:
        yield Contradiction(
            "the readings run the other way", read.name,
            f"{wrong} of {steps.size} steps of {column} {'downwards' if stated == 'up' else 'upwards'}, from "
            f"{values[0]:.6g} to {values[-1]:.6g}",
            f'direction = "{stated}"', "correct direction: it gives the meter's lag its sign", True,
        )  # fmt: skip


def _labels(read: ReadFile) -> Iterator[Contradiction]:
    stated = read.file.line
    if stated is None or not read.has("label"):
        return
    others = [line.name for line in read.facts.lines if line.name != stated]
    labels = read.readings.table["label"].astype(str)
    rows = [k for k, label in enumerate(labels) if not _names(label, stated) and any(_names(label, o) for o in others)]
    if rows:
        yield Contradiction(
            "rows of another line", lines_of(read.readings, rows),
            f"label {labels.iloc[rows[0]]!r} in {len(rows)} rows", f'line = "{stated}"',
            "correct line, or give the rows of each line a file of their own", True,
        )  # fmt: skip


def _names(label: str, line: str) -> bool:
    return re.search(rf"(?<!\w){re.escape(line)}(?!\w)", label) is not None


def _still(read: ReadFile) -> Iterator[Contradiction]:
    if read.file.purpose != "scan" or not read.has("frequency_mhz"):
        return
    values = read.readings.table["frequency_mhz"].to_numpy(dtype=float)
    span = float(np.ptp(values))
    if len(values) > 1 and span < _STILL_MHZ:
        yield Contradiction(
            "a scan in which the frequency stands still", read.name,
            f"{len(values)} rows within {1e3 * span:.3g} kHz of {values.mean():.6g} MHz", 'purpose = "scan"',
            "name the file that was scanned; this one may be of another purpose",
        )  # fmt: skip


def _temperature(read: ReadFile) -> Iterator[Contradiction]:
    stated = read.facts.crystal.temperature_c
    if stated is None or read.file.purpose not in ("scan", "efficiency", "lines") or not read.has("temperature_c"):
        return
    shown = read.readings.table["temperature_c"].dropna().to_numpy(dtype=float)
    if shown.size and abs(float(np.median(shown)) - stated) > _APART_C:
        yield Contradiction(
            "another temperature", read.name, f"{np.median(shown):.1f} degC in the middle of {shown.size} readings",
            f"[crystal] temperature_c = {stated:g}",
            "correct it; if the column is not of the crystal, map it to not_used",
        )  # fmt: skip


def _power(read: ReadFile) -> Iterator[Contradiction]:
    if not read.has("rf_power_w"):
        return
    power = np.nan_to_num(read.readings.table["rf_power_w"].to_numpy(dtype=float))
    row = int(np.argmax(power))
    rated, output = read.facts.crystal.rated_rf_power_w, read.facts.amplifier.rated_output_w
    found = f"{power[row]:.3g} W of RF power"
    if rated is not None and power[row] > rated and read.file.purpose in ("efficiency", "scan"):
        yield Contradiction(
            "the crystal was driven above its rating", read.readings.place(row), found,
            f"[crystal] rated_rf_power_w = {rated:g}",
            "check pad and probe; if the power is right do not go there again, and look at the crystal",
        )  # fmt: skip
    if output is not None and power[row] > _OVER_RATED * output:
        yield Contradiction(
            "more RF power than the amplifier can give", read.readings.place(row), found,
            f"[amplifier] rated_output_w = {output:g}", "check pad, probe, load, and whether volts are peak-to-peak",
        )  # fmt: skip
