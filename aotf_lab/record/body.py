"""A kept calibration as a table of plain values, and back: the present schema."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.errors import RecordError
from aotf_lab.estimation.checks import Check
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.source import SourceFile
from aotf_lab.record.calibration import Update
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.fields import Fields
from aotf_lab.record.kept_efficiency import DrivenLine, KeptEfficiency
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.stored import StoredNumbers

__all__ = ["CRYSTAL", "OSCILLATOR", "SCHEMA", "body_of", "crystal_from", "oscillator_from"]

OSCILLATOR, CRYSTAL = "aotf_lab oscillator calibration", "aotf_lab crystal calibration"
SCHEMA = 2

_VOLTMETER = ("u_gain", "u_offset_v")
"""Of an oscillator's voltmeter; files written before these were kept have none."""


def body_of(record: OscillatorRecord | CrystalRecord) -> dict[str, Any]:
    """Return ``record`` as plain values, without the head of the file; names in order where order means nothing."""
    own = _oscillator(record) if isinstance(record, OscillatorRecord) else _crystal(record)
    return {
        "in_words": _in_words(record),
        "name": record.name,
        "measured": record.measured,
        **own,
        "conditions": _by_name(record.conditions),
        "coefficients": {name: list(pair) for name, pair in sorted(record.coefficients.items())},
        "numbers": _numbers(record.numbers),
        "updates": [
            {"date": u.date, "words": u.words, "shift_mhz": u.shift_mhz, "u_shift_mhz": u.u_shift_mhz}
            | ({"made_of": _files(u.made_of)} if u.made_of else {})
            for u in record.updates
        ],
        "checks": [
            {"name": c.name, "passed": bool(c.passed), "detail": c.detail}
            | ({} if c.at_stake_mhz is None else {"at_stake_mhz": float(c.at_stake_mhz)})
            for c in record.checks
        ],
        "made_of": _files(record.made_of),
        "versions": dict(sorted(record.versions.items())),
    }


def _in_words(record: OscillatorRecord | CrystalRecord) -> list[str]:
    """Return what ``record`` says, a row a line however wide: a file is the same from any terminal."""
    table = record.rows()
    width = 2 + max(len(name) for name, _ in table)
    rows = [f"  {name:<{width}}{value}" for name, value in table]
    return "\n".join([record.title, *rows, *(f"  {s}" for s in (*record.updates, *record.failed))]).splitlines()


def _oscillator(record: OscillatorRecord) -> dict[str, Any]:
    return {
        "u_reading_mhz": float(record.u_reading_mhz),
        "coverage_factor": float(record.coverage_factor),
        **{key: float(u) for key in _VOLTMETER if (u := getattr(record, key)) is not None},
        **({"voltmeter": record.voltmeter} if record.voltmeter else {}),
        "drive_v": _list(record.drive_v),
    }


def _crystal(record: CrystalRecord) -> dict[str, Any]:
    return {
        "rated_rf_power_w": record.rated_rf_power_w,
        **({} if record.efficiency is None else {"efficiency": _efficiency(record.efficiency)}),
        "anchored_nm": None if record.anchored_nm is None else _list(record.anchored_nm),
        "lines_nm": {name: float(nm) if np.isfinite(nm) else None for name, nm in record.lines.items()},
        "coverage_factors": _by_name(record.coverage_factors),
        "wavelengths_nm": _list(record.wavelengths_nm),
    }


def _efficiency(kept: KeptEfficiency) -> dict[str, Any]:
    if kept.missing:
        return {"missing": kept.missing}
    lines = {
        name: {"wavelength_nm": line.wavelength_nm, "driven_w": float(line.driven_w), "level": line.level}
        for name, line in sorted(kept.lines.items())
    }
    return {"level": kept.level, "lines": lines}


def _numbers(numbers: StoredNumbers) -> dict[str, Any]:
    whole = 0.5 * (numbers.rest + numbers.rest.T)
    return {
        "values": dict(zip(numbers.names, _list(numbers.values), strict=True)),
        "causes": {key: _list(effect) for key, effect in sorted(numbers.causes.items())},
        "rest_name": numbers.rest_name,
        "rest_to_diagonal": [_list(row[: k + 1]) for k, row in enumerate(whole)],
    }


def _list(values: ArrayLike) -> list[float]:
    return [float(v) for v in np.asarray(values, dtype=float)]


def _files(sources: Iterable[SourceFile]) -> list[dict[str, Any]]:
    return [{"name": s.name, "sha256": s.sha256, "size_bytes": s.size_bytes} for s in sources]


def _files_from(fields: Fields) -> tuple[SourceFile, ...]:
    return tuple(SourceFile(s.text("name"), s.text("sha256"), s.whole("size_bytes")) for s in fields.tables("made_of"))


def _by_name(numbers: Mapping[str, float]) -> dict[str, float]:
    return {name: float(value) for name, value in sorted(numbers.items())}


def oscillator_from(fields: Fields) -> OscillatorRecord:
    """Return the oscillator's calibration. Raises ``RecordError`` for what is missing or of a wrong kind."""
    return OscillatorRecord(
        drive_v=fields.row("drive_v"),
        u_reading_mhz=fields.number("u_reading_mhz"),
        coverage_factor=fields.number("coverage_factor"),
        u_gain=fields.maybe("u_gain"),
        u_offset_v=fields.maybe("u_offset_v"),
        voltmeter=fields.text("voltmeter") if "voltmeter" in fields.body else "",
        **_common(fields),
    )


def crystal_from(fields: Fields) -> CrystalRecord:
    """Return the crystal's calibration. Raises ``RecordError`` for what is missing or of a wrong kind."""
    return CrystalRecord(
        wavelengths_nm=fields.row("wavelengths_nm"),
        lines=fields.numbers("lines_nm"),
        rated_rf_power_w=fields.maybe("rated_rf_power_w"),
        anchored_nm=None if fields.body.get("anchored_nm") is None else fields.pair("anchored_nm"),
        coverage_factors=fields.numbers("coverage_factors"),
        efficiency=_efficiency_from(fields.table("efficiency")) if "efficiency" in fields.body else None,
        **_common(fields),
    )


def _efficiency_from(fields: Fields) -> KeptEfficiency:
    if "missing" in fields.body:
        return KeptEfficiency(missing=fields.text("missing"))
    table = fields.table("lines")
    lines = {name: table.table(name) for name in table.body}
    return KeptEfficiency(
        fields.text("level"),
        {n: DrivenLine(f.maybe("wavelength_nm"), f.number("driven_w"), f.text("level")) for n, f in lines.items()},
    )


def _common(fields: Fields) -> dict[str, Any]:
    return {
        "name": fields.text("name"),
        "measured": fields.text("measured"),
        "numbers": _numbers_from(fields.table("numbers")),
        "conditions": fields.numbers("conditions"),
        "coefficients": fields.pairs("coefficients"),
        "made_of": _files_from(fields),
        "versions": fields.texts("versions"),
        "checks": tuple(
            Check(c.text("name"), c.flag("passed"), c.text("detail"), c.maybe("at_stake_mhz"))
            for c in fields.tables("checks")
        ),
        "updates": tuple(
            Update(
                u.text("date"),
                u.text("words"),
                u.number("shift_mhz"),
                u.number("u_shift_mhz"),
                _files_from(u) if "made_of" in u.body else (),
            )
            for u in fields.tables("updates")
        ),
    }


def _numbers_from(fields: Fields) -> StoredNumbers:
    values = fields.numbers("values")
    rest = _whole(fields.rows("rest_to_diagonal"), f"{fields.where}, rest_to_diagonal")
    return StoredNumbers(
        tuple(values), np.array(list(values.values())), fields.rows_by_name("causes"), rest, fields.text("rest_name")
    )


def _whole(rows: tuple[FloatArray, ...], where: str) -> FloatArray:
    """Return the covariance (n, n) whose row k has k + 1 numbers in ``rows``."""
    whole = np.zeros((len(rows), len(rows)))
    for k, row in enumerate(rows):
        if len(row) != k + 1:
            raise RecordError(
                "a row of the covariance of a wrong length", where=f"{where}, row {k + 1}", found=len(row),
                allowed=f"{k + 1} numbers, up to the diagonal", cure="take the file as it was written",
            )  # fmt: skip
        whole[k, : k + 1] = whole[: k + 1, k] = row
    return whole
