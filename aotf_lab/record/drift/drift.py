"""What moves the bench over months, link by link, and when it must be calibrated anew."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from aotf_lab.errors import AotfLabError, ReadingsError, Said
from aotf_lab.estimation import Check
from aotf_lab.given import given, given_list, given_number
from aotf_lab.record.calibration import Calibration
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.drift.due import Due, Passband
from aotf_lab.record.drift.due_of import due_of, room_of
from aotf_lab.record.drift.history import Link, history_of_table
from aotf_lab.record.drift.link import LinkDrift, fit_link_drift
from aotf_lab.record.drift.records import crystal_history, known_coefficient, oscillator_history, passbands_of
from aotf_lab.record.folder import RecordFolder, record_folder
from aotf_lab.record.oscillator import OscillatorRecord

__all__ = ["Drift", "drift_of", "drift_of_tables"]


@dataclass(frozen=True, eq=False)
class Drift:
    """The drift of oscillator and crystal, made by ``drift_of`` or ``drift_of_tables``; None where records are few.

    ``lines`` are the passbands for which a calibration is due; ``missing`` says why a link is None.
    """

    oscillator: LinkDrift | None
    crystal: LinkDrift | None
    lines: Mapping[str, Passband]
    missing: Mapping[Link, str]

    @property
    def links(self) -> tuple[LinkDrift, ...]:
        """The links of which something is known."""
        return tuple(link for link in (self.oscillator, self.crystal) if link is not None)

    def due(
        self,
        loss_percent: float = 1.0,
        *,
        link: Link | None = None,
        temperature_swing_k: float | None = None,
        corrected: bool = False,
    ) -> Due:
        """Return when a new calibration is due: the first day on which more light may be lost than stated, at 95 %.

        ``link`` asks for one alone; None for set-points made of all links known. Temperatures stay within
        +-``temperature_swing_k`` of the last record's, or go about as they did at the records. With ``corrected`` the
        set-points are moved each day by the coefficient found and the temperature read.

        Raises ``AotfLabError`` for a loss not between 0 and 100 or a swing below zero, and without any line;
        ``ReadingsError`` for a link without enough records.
        """
        loss_percent = given_number(loss_percent, "loss_percent", "%")
        if not 0 < loss_percent < 100:
            raise AotfLabError("loss of light (%)", found=loss_percent, allowed="above 0, below 100", cure="take 1")
        if temperature_swing_k is not None:
            temperature_swing_k = given_number(temperature_swing_k, "temperature_swing_k", "K", at_least=0)
        if not self.lines:
            raise AotfLabError(
                "light lost without a passband", found=Said("no line with peak and width"), allowed="one or more",
                cure="keep a calibration of the crystal, or state lines",
            )  # fmt: skip
        if link is not None and link in self.missing:
            raise ReadingsError(
                f"when the {link} is due is not known", found=Said(self.missing[link]), allowed="2 records or more",
                cure="keep one more calibration",
            )  # fmt: skip
        asked = [d for d in self.links if link is None or d.history.link == link]
        rooms = [room_of(d, temperature_swing_k, corrected=corrected) for d in asked]
        return due_of(asked, rooms, self.lines, loss_percent)

    def __str__(self) -> str:
        said = [str(link) for link in self.links]
        return "\n".join([*said, *(f"Drift of the {link}: {why}" for link, why in self.missing.items())])

    def _repr_html_(self) -> str:
        said = [link._repr_html_() for link in self.links]
        return "".join([*said, *(f"<p>Drift of the {link}: {why}</p>" for link, why in self.missing.items())])


def drift_of(
    records: RecordFolder | str | os.PathLike[str] | Iterable[Calibration],
    *,
    name: str | None = None,
    drives_v: Sequence[float] | None = None,
    lines: str | Sequence[str] | None = None,
    u_temperature_k: float = 0.2,
) -> Drift:
    """Return the drift that kept calibrations show: a folder of them or its path, or oscillators and crystals in
    any order.

    ``name`` takes those of one name, needed where there are several oscillators or crystals. ``drives_v`` and ``lines``
    are where the links are compared; all that the records share by default. Temperatures are the records'
    ``conditions``, with the noise ``u_temperature_k``; coefficients measured within one day count beside the records.

    Raises ``ReadingsError`` where neither link has two records, for records of several names, and what the histories
    raise; ``RecordError`` for a folder without any.
    """
    records = record_folder(records) if isinstance(records, (str, os.PathLike)) else records
    u_temperature_k = given_number(u_temperature_k, "u_temperature_k", "K", at_least=0)
    if isinstance(records, RecordFolder) and not records.files:
        records.latest_oscillator(name)  # says what the folder holds instead
    kept = [file.record for file in records.files] if isinstance(records, RecordFolder) else _calibrations(records)
    oscillators = [r for r in kept if isinstance(r, OscillatorRecord) and name in (None, r.name)]
    crystals = [r for r in kept if isinstance(r, CrystalRecord) and name in (None, r.name)]
    found: dict[Link, LinkDrift] = {}
    if len(oscillators) > 1:
        history, check = oscillator_history(oscillators, drives_v)
        known = known_coefficient(oscillators, "mhz_per_k")
        found["oscillator"] = _with(fit_link_drift(history, known_per_k=known, u_temperature_k=u_temperature_k), check)
    if len(crystals) > 1:
        history, check = crystal_history(crystals, [lines] if isinstance(lines, str) else lines)
        known = known_coefficient(crystals, "relative_per_k")
        found["crystal"] = _with(fit_link_drift(history, known_per_k=known, u_temperature_k=u_temperature_k), check)
    passbands = passbands_of(max(crystals, key=lambda r: r.as_of)) if crystals else {}
    troubles = records.troubles.values() if isinstance(records, RecordFolder) else ()
    return _drift(found, passbands, {"oscillator": len(oscillators), "crystal": len(crystals)}, troubles)


def _calibrations(records: object) -> list[Calibration]:
    several = given_list(records, "records", "a folder of calibrations, or several of them", "name the folder")
    cure = "read each: read_record(file), or name their folder"
    return [given(record, Calibration, "one of records", "a kept calibration", cure) for record in several]


def drift_of_tables(
    *,
    oscillator: pd.DataFrame | None = None,
    crystal: pd.DataFrame | None = None,
    lines: Mapping[str, Passband] | None = None,
    known_mhz_per_k: tuple[float, float] | None = None,
    known_relative_per_k: tuple[float, float] | None = None,
    u_temperature_k: float = 0.2,
) -> Drift:
    """Return the drift from tables kept by hand: the oscillator at one drive, the crystal at the peak of one line.

    Columns ``date``, ``temperature_c``, ``frequency_mhz``, ``u_frequency_mhz``, one row a day. Known coefficients are
    (value, u). Raises ``ReadingsError`` for a missing column, or fewer than two rows in both.
    """
    found: dict[Link, LinkDrift] = {}
    counts = {"oscillator": 0, "crystal": 0}
    tables: tuple[tuple[Link, pd.DataFrame | None, tuple[float, float] | None], ...] = (
        ("oscillator", oscillator, known_mhz_per_k),
        ("crystal", crystal, known_relative_per_k),
    )
    for link, table, known in tables:
        if table is not None:
            counts[link] = len(table)
            if len(table) > 1:
                history = history_of_table(table, link)
                found[link] = fit_link_drift(history, known_per_k=known, u_temperature_k=u_temperature_k)
    return _drift(found, lines or {}, counts)


def _with(drift: LinkDrift, check: Check) -> LinkDrift:
    return replace(drift, checks=(*drift.checks, check))


def _drift(
    found: Mapping[Link, LinkDrift], lines: Mapping[str, Passband], counts: Mapping[str, int],
    troubles: Iterable[AotfLabError] = (),
) -> Drift:  # fmt: skip
    if not found:
        said = [", ".join(f"{n} of the {link}" for link, n in counts.items())]
        said += [f"cannot be used: {error}" for error in troubles]
        raise ReadingsError(
            "no drift from these records", found=Said("; ".join(said)),
            allowed="2 or more of one link", cure="keep a second calibration on another day",
        )  # fmt: skip
    links: tuple[Link, ...] = ("oscillator", "crystal")
    missing = {
        link: f"{counts[link] or 'no'} record{'' if counts[link] == 1 else 's'}, it takes two"
        for link in links
        if link not in found
    }
    return Drift(found.get("oscillator"), found.get("crystal"), lines, missing)
