"""The invented bench months later: a short check on day 120, and the day on which its amplifier was exchanged."""

from __future__ import annotations

import os
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.simulate.amplifier import level_readings
from aotf_lab.simulate.light import CRYSTAL_TEMPERATURE_C, efficiency_run, passband_scan
from aotf_lab.simulate.oscillator import REFERENCE_V, oscillator_sweep
from aotf_lab.simulate.raw_files import EFFICIENCY_COLUMNS, LEVEL_COLUMNS, SCAN_COLUMNS, SWEEP_COLUMNS, SWING_COLUMNS
from aotf_lab.simulate.session_text import session_text
from aotf_lab.simulate.text import csv_text
from aotf_lab.simulate.truth import SKERRY, AmplifierTruth, BenchTruth
from aotf_lab.simulate.write import DEMO_SEED, write_session

__all__ = ["LATER_DAYS", "NEW_AMPLIFIER", "LaterDay", "at_crystal_temperature", "simulate_later"]

NEW_AMPLIFIER = AmplifierTruth(
    gain_w_per_v2=0.0185, threshold_v=2.4, bow_db=1.3, bow_centre_mhz=66.0, ripple_db=0.25, ripple_mhz=4.4,
    harmonics_dbc=((2, -23.0), (3, -21.0)), quiescent_a=0.045,
)  # fmt: skip
"""The amplifier that took the place of the first: more gain, another ripple, other harmonics (invented)."""


@dataclass(frozen=True)
class LaterDay:
    """What was measured on one later day, and in what state the bench was.

    ``box_c`` is the oscillator's own temperature (its box is warmer than the room), ``crystal_c`` the crystal's.
    ``supplies_v`` are the supplies of a new run of power against supply, empty for none; ``drive_ratios`` those of
    an efficiency run by line.
    """

    day: int
    date: str
    note: str
    box_c: float
    crystal_c: float
    drives_v: tuple[float, ...]
    scanned: tuple[str, ...] = ("D",)
    truth: BenchTruth = SKERRY
    supplies_v: tuple[float, ...] = ()
    drive_ratios: tuple[tuple[str, tuple[float, ...]], ...] = ()


LATER_DAYS = {
    day.day: day
    for day in (
        LaterDay(120, "2026-07-14", "two-minute check before the lesson; room at 19.5 C, heating off", 19.9, 19.5,
                 (2.5, REFERENCE_V, 11.4)),
        LaterDay(410, "2027-04-30", "amplifier burnt out, another in its place; room at 23.4 C", 23.8, 24.0,
                 (REFERENCE_V, 10.6), truth=replace(SKERRY, amplifier=NEW_AMPLIFIER),
                 supplies_v=(3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 8.5),
                 drive_ratios=(("E", (0.08, 0.2, 0.4, 0.6, 0.8, 1.0, 1.25)),)),
    )
}  # fmt: skip
"""The later days of the demo bench, by their number since the first session."""

_BAND_MHZ = tuple(float(f) for f in range(44, 97, 2))
_BAND_SUPPLY_V, _SUPPLY_FREQUENCY_MHZ = 6.5, 64.0


def at_crystal_temperature(truth: BenchTruth, crystal_c: float) -> BenchTruth:
    """Return the bench with its crystal at ``crystal_c``: readings of light are made at one fixed temperature of it.

    Only the difference to the reference temperature counts, so the reference moves by as much the other way.
    """
    reference = truth.crystal.reference_temperature_c + CRYSTAL_TEMPERATURE_C - crystal_c
    return replace(truth, crystal=replace(truth.crystal, reference_temperature_c=reference))


def simulate_later(folder: str | os.PathLike[str], day: int, seed: int = DEMO_SEED) -> Path:
    """Write the raw files of one of ``LATER_DAYS`` and its session.toml into ``folder``; return the folder.

    The same arguments write the same bytes. Raises ``AotfLabError`` for a day without measurements, and as
    ``simulate_session`` where the folder cannot be used.
    """
    if day not in LATER_DAYS:
        raise AotfLabError(
            "no measurements on this day of the simulated bench", found=day,
            allowed=Said(", ".join(map(str, LATER_DAYS))), cure="name one of these days",
        )  # fmt: skip
    later = LATER_DAYS[day]
    truth = at_crystal_temperature(later.truth, later.crystal_c)
    files = dict(_files(later, truth, seed))
    used = tuple(line for line in truth.lines if line.name in {*later.scanned, *dict(later.drive_ratios)})
    note = f"invented demo bench on {later.date}, day {day}: {later.note}"
    text = session_text(files, replace(truth, lines=used), note=note, crystal_c=later.crystal_c, date=later.date)
    return write_session(folder, files, text)


def _files(later: LaterDay, truth: BenchTruth, seed: int) -> Iterator[tuple[str, str]]:
    """Yield name and text of each raw file; each draws its errors from a stream of its own."""

    def stream(file: str) -> np.random.Generator:
        return np.random.default_rng([seed, later.day, zlib.crc32(file.encode())])

    name = "vco_check.csv"
    sweep = oscillator_sweep(stream(name), later.drives_v, truth, temperature_c=later.box_c)
    yield name, csv_text(f"oscillator on for 105 min on {later.date}", sweep, SWEEP_COLUMNS)
    for line in later.scanned:
        for direction in ("up", "down"):
            name = f"scan_{line}_{direction}.csv"
            scan = passband_scan(stream(name), truth.line(line), direction, truth)
            note = f"line {line} on {later.date}, stepped {direction} without waiting for the head"
            yield name, csv_text(note, scan, SCAN_COLUMNS)
    if later.supplies_v:
        yield from _levels(later, truth, stream("level_over_band.csv"), stream("supply_to_power.csv"))
    for line, ratios in later.drive_ratios:
        name = f"efficiency_{line}.csv"
        run = efficiency_run(stream(name), truth.line(line), ratios, truth)
        yield name, csv_text(f"line {line} on its peak on {later.date}, supply raised", run, EFFICIENCY_COLUMNS)


def _levels(
    later: LaterDay, truth: BenchTruth, band_rng: np.random.Generator, supply_rng: np.random.Generator
) -> Iterator[tuple[str, str]]:
    note = f"new amplifier on {later.date} into the dummy load, scope behind the pad"
    band = level_readings(band_rng, _BAND_SUPPLY_V, _BAND_MHZ, truth)
    yield "level_over_band.csv", csv_text(note, band, LEVEL_COLUMNS)
    supplies = level_readings(supply_rng, later.supplies_v, _SUPPLY_FREQUENCY_MHZ, truth, swing=True)
    yield "supply_to_power.csv", csv_text(f"{note}, read peak to peak", supplies, SWING_COLUMNS)
