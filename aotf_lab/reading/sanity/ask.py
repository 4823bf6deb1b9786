"""Ask every cause that applies to one table, or to several."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from aotf_lab.given import given_table
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.alias import aliased
from aotf_lab.reading.sanity.clock_order import disordered_time
from aotf_lab.reading.sanity.copied_rows import copied_rows
from aotf_lab.reading.sanity.counts import false_counts
from aotf_lab.reading.sanity.frozen import METERS, frozen_meters
from aotf_lab.reading.sanity.mixed_units import mixed_frequency_units
from aotf_lab.reading.sanity.power_ratio import power_columns_differ, power_files_differ
from aotf_lab.reading.sanity.rf_power_limit import rf_above_dc
from aotf_lab.reading.sanity.same_file import same_readings
from aotf_lab.reading.sanity.saturated import saturated_meters
from aotf_lab.reading.sanity.suspicion import Suspicion
from aotf_lab.reading.sanity.wavelengths import wavelength_units
from aotf_lab.reading.sanity.wrong_digits import wrong_digits

__all__ = ["suspicions", "suspicions_between"]


def suspicions(
    readings: Readings,
    *,
    supply_a: float | None = None,
    load_ohm: float = 50.0,
    pad_db: float = 0.0,
    probe: float = 1.0,
    sample_rate_mhz: float | None = None,
    band_mhz: tuple[float, float] | None = None,
    material: str | None = None,
) -> tuple[Suspicion, ...]:
    """Return what looks wrong in ``readings``, with the cause of each; () where nothing does.

    ``readings`` is what any ``read_...`` returned: columns in bench units, of which a cause asks those that it knows.
    Several files joined in one table are asked one by one, each in the order of its file; ``rows`` of a suspicion
    count in the joined table, from 0. Facts that a cause needs, left out where nobody stated them:

    - ``supply_a``: the largest DC current of the amplifier (A); with column ``supply_v`` it bounds the RF
      power. A column ``supply_a``, where there is one, goes before it.
    - ``load_ohm`` (ohm), ``pad_db`` (dB before the scope), ``probe`` (its factor on volts): what turns a level of the
      scope into power, to compare a level and a power that stand side by side in the file.
    - ``sample_rate_mhz``: samples per microsecond of the scope or card from whose traces ``frequency_mhz`` was
      taken. Leave it out for a counter, which cannot alias.
    - ``band_mhz``: lowest and highest frequency (MHz) that the oscillator can make, to choose among true frequencies.
    - ``material``: the crystal, "TeO2" say, to doubt a wavelength in Angstrom.

    Where a cause is judged by scatter, a false alarm has the chance ``SIGNIFICANCE``; how often each is found and how
    often a sound file is doubted is measured in the benchmark "sanity". The sources stand with each cause in this
    folder. Raises ``MaterialError`` for a crystal without packaged indices.
    """
    found: list[Suspicion] = []
    for rows, part in _files(readings):
        copies = copied_rows(part)
        of_numbers = _of_numbers(part, sample_rate_mhz, band_mhz)
        for suspicion in (
            *rf_above_dc(part, supply_a=supply_a),
            *power_columns_differ(part, load_ohm=load_ohm, pad_db=pad_db, probe=probe),
            *of_numbers,
            *saturated_meters(part),
            *copies,
            *disordered_time(part, {row for s in copies for row in s.rows}),
            *wavelength_units(part, material),
        ):
            found.append(replace(suspicion, rows=tuple(int(rows[r]) for r in suspicion.rows)))
    return tuple(found)


def suspicions_between(named: Mapping[str, Readings]) -> tuple[Suspicion, ...]:
    """Return what looks wrong when several tables are laid side by side; () where nothing does.

    ``named`` maps a name, by which the text speaks of it, to what any ``read_...`` returned. Asked are, for each pair:
    the same file used twice, a part of one file copied into another, and RF powers (W) that differ by a named factor
    at the same supply (V) and frequency (MHz). ``rows`` of a suspicion count from 0 in the table named last. Chance
    alone makes the readings of a pair agree in ``SIGNIFICANCE`` of such sets of tables. Raises ``AotfLabError`` for
    anything but a table of names.
    """
    items = list(given_table(named, "named", "names and readings", "write {name: readings}").items())
    pairs = [(a, b) for k, a in enumerate(items) for b in items[k + 1 :]]
    found: list[Suspicion] = []
    for (name, first), (other, second) in pairs:
        same = same_readings(first, second, (name, other), comparisons=len(pairs))
        found += same or power_files_differ(first, second)
    return tuple(found)


def _of_numbers(
    readings: Readings, sample_rate_mhz: float | None, band_mhz: tuple[float, float] | None
) -> tuple[Suspicion, ...]:
    """Return what is wrong with single numbers: each cause is asked only of rows that none before it explains."""
    frozen = frozen_meters(readings, ("frequency_mhz", "drive_v"))
    explained = {row for s in frozen for row in s.rows}
    folded = aliased(readings, sample_rate_mhz=sample_rate_mhz, band_mhz=band_mhz, explained=explained)
    explained |= {row for s in folded for row in s.rows}
    scaled = false_counts(readings, explained) + mixed_frequency_units(readings, explained)
    explained |= {row for s in scaled for row in s.rows}
    light = tuple(c for c in METERS if c not in ("frequency_mhz", "drive_v"))
    return frozen + folded + scaled + wrong_digits(readings, explained) + frozen_meters(readings, light)


def _files(readings: Readings) -> Iterator[tuple[np.ndarray, Readings]]:
    """Yield the row positions and the readings of each file of a joined table."""
    table = readings.table
    if "file" not in table.columns or table["file"].nunique() < 2:
        yield np.arange(len(table)), readings
        return
    for name, part in table.groupby("file", sort=False):
        yield (
            np.flatnonzero((table["file"] == name).to_numpy()),
            Readings(
                part.reset_index(drop=True),
                readings.common,
                tuple(r for r in readings.receipts if r.file == name),
                tuple(s for s in readings.sources if s.name == name),
            ),
        )
