"""Packaged tables, each row with its source and provenance, and the catalogue of known lines.

``provenance`` says how a row came here: ``read`` in a listing or paper, ``memory`` (recalled, so
to be treated with more doubt), ``computed`` or ``derived`` from another row.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

from aotf_lab.errors import AotfLabError

__all__ = ["ASSUMED_U_NM", "PACKAGED_TABLES", "CatalogueLine", "catalogue_lines", "read_packaged_table"]

PACKAGED_TABLES = (
    "dispersion", "acoustic_velocity", "elastic_constants", "rotatory_power", "wavelength_standards", "lamp_lines",
)  # fmt: skip

ASSUMED_U_NM = 0.001
"""Standard uncertainty taken for a catalogue line whose listing states none (nm)."""


@lru_cache
def _rows(name: str) -> tuple[dict[str, str], ...]:
    text = (files("aotf_lab.data") / f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def read_packaged_table(name: str) -> list[dict[str, str]]:
    """Return the rows of a packaged table as text, one dict per row, in file order.

    Raises ``AotfLabError`` when there is no table of that name.

    >>> [row["ray"] for row in read_packaged_table("dispersion") if row["material"] == "TeO2"]
    ['o', 'e']
    """
    if name not in PACKAGED_TABLES:
        raise AotfLabError(
            "no such packaged table", found=name, allowed=", ".join(PACKAGED_TABLES), cure="use one of these names"
        )
    return [dict(row) for row in _rows(name)]


@dataclass(frozen=True)
class CatalogueLine:
    """A laser or lamp line of known vacuum wavelength (nm), with its standard uncertainty (nm).

    ``note`` says when the uncertainty is assumed rather than listed, and repeats the listing's comment.
    """

    name: str
    wavelength_nm: float
    u_wavelength_nm: float
    source: str
    provenance: str
    note: str = ""


def _line(name: str, row: dict[str, str], comment: str) -> CatalogueLine:
    listed = row["u_vac_nm"].strip()
    assumed = "" if listed else f"no uncertainty listed: u = {ASSUMED_U_NM} nm assumed"
    return CatalogueLine(
        name=name,
        wavelength_nm=float(row["vac_nm"]),
        u_wavelength_nm=float(listed) if listed else ASSUMED_U_NM,
        source=row["source"],
        provenance=row["provenance"],
        note="; ".join(part for part in (assumed, comment) if part),
    )


def catalogue_lines() -> list[CatalogueLine]:
    """Return the packaged laser and lamp lines, ordered by vacuum wavelength.

    Each holds its wavelength (nm) with u, and the source of both.

    >>> next(line.name for line in catalogue_lines() if abs(line.wavelength_nm - 632.9908) < 1e-6)
    'He-Ne unstabilised 632.99 vac'
    """
    lasers = [_line(f"{r['laser']} {r['label_nm']}", r, r["comment"]) for r in _rows("wavelength_standards")]
    lamps = [_line(f"{r['atom']} lamp {r['transition']}", r, "") for r in _rows("lamp_lines")]
    return sorted(lasers + lamps, key=lambda line: line.wavelength_nm)
