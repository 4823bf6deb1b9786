"""The lines that the peaks may be: own lines of the bench, lines in reach, and lines too close to be told apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aotf_lab.data import CatalogueLine, catalogue_lines
from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.indices import optical_range_nm
from aotf_lab.reading.readings import Readings

__all__ = ["Candidates", "candidates", "own_lines"]


@dataclass(frozen=True)
class Candidates:
    """Lines by rising vacuum wavelength; ``notes`` say which were put together or left aside."""

    lines: tuple[CatalogueLine, ...]
    notes: tuple[str, ...]

    @property
    def wavelength_nm(self) -> FloatArray:
        """Vacuum wavelengths (n,) in nm."""
        return np.array([line.wavelength_nm for line in self.lines])

    @property
    def u_wavelength_nm(self) -> FloatArray:
        """Their standard uncertainties (n,) in nm."""
        return np.array([line.u_wavelength_nm for line in self.lines])

    def place(self, line: CatalogueLine | None) -> int | None:
        """Return which of the lines ``line`` is, or is counted with; None when it is none of them."""
        if line is None:
            return None
        if line in self.lines:
            return self.lines.index(line)
        gaps = np.abs(self.wavelength_nm - line.wavelength_nm)
        near = int(np.argmin(gaps))
        return near if gaps[near] <= self.lines[near].u_wavelength_nm else None


def own_lines(readings: Readings) -> list[CatalogueLine]:
    """Return the lines of a bench's own table (``wavelength_nm``, ``u_wavelength_nm``, ``label``) for a catalogue.

    Frequencies, if there are any, are not looked at. Raises ``ReadingsError`` for a missing column or a u that
    is not above zero.
    """
    readings.require("wavelength_nm", "u_wavelength_nm")
    table = readings.table
    nm, u_nm = (table[c].to_numpy(dtype=float) for c in ("wavelength_nm", "u_wavelength_nm"))
    names = [str(n) for n in table["label"]] if "label" in table.columns else [f"{w:.2f} nm" for w in nm]
    return [
        CatalogueLine(name, float(w), float(u), source=readings.place(row), provenance="stated by the bench")
        for row, (name, w, u) in enumerate(zip(names, nm, u_nm, strict=True))
    ]


def candidates(
    catalogue: Sequence[CatalogueLine] | None, material: str, apart_nm: float, extrapolate: bool = False
) -> Candidates:
    """Return the lines of ``catalogue`` (None: the packaged one) within the published dispersion of ``material``,
    or wherever they lie with ``extrapolate``.

    Lines closer to each other than ``apart_nm``, known better than that, count as one. Raises ``ReadingsError``
    for a line without wavelength or u above zero, and when no line is left.
    """
    lines = sorted(catalogue_lines() if catalogue is None else catalogue, key=lambda line: line.wavelength_nm)
    for line in lines:
        if not (line.wavelength_nm > 0 and line.u_wavelength_nm > 0 and np.isfinite(line.u_wavelength_nm)):
            raise ReadingsError(
                f"line {line.name} has no wavelength with its uncertainty", where=line.source,
                found=Said(f"{line.wavelength_nm:g} +- {line.u_wavelength_nm:g} nm"),
                allowed="a vacuum wavelength and a standard uncertainty above zero, in nm",
                cure="state both; a diode that is known by its label only has a u of 3 nm",
            )  # fmt: skip
    low, high = optical_range_nm(material)
    inside = [line for line in lines if extrapolate or low <= line.wavelength_nm <= high]
    if not inside:
        raise ReadingsError(
            "no line of the catalogue lies where the crystal's dispersion is published", found=len(lines),
            allowed=f"lines of {low:g} to {high:g} nm (vacuum) for {material}",
            cure="give the lines that the peaks may be, in nm in vacuum; or extrapolate=True, with widened=10",
        )  # fmt: skip
    aside = len(lines) - len(inside)
    notes = [f"{aside} lines outside {low:g} to {high:g} nm were left aside"] if aside else []
    merged = [_as_one(group) for group in _groups(inside, apart_nm)]
    if len(merged) < len(inside):
        notes.append(
            f"{len(inside)} lines are {len(merged)} for this filter: those within {apart_nm:.2g} nm count as one"
        )
    return Candidates(tuple(merged), tuple(notes))


def _groups(lines: Sequence[CatalogueLine], apart_nm: float) -> list[list[CatalogueLine]]:
    """Return runs of lines whose neighbours cannot be told apart; a badly known line stands alone."""
    groups: list[list[CatalogueLine]] = []
    sharp = None
    for line in lines:
        if line.u_wavelength_nm > apart_nm:
            groups.append([line])
        elif sharp is not None and line.wavelength_nm - sharp[0].wavelength_nm < apart_nm:
            sharp.append(line)
        else:
            sharp = [line]
            groups.append(sharp)
    return groups


def _as_one(group: Sequence[CatalogueLine]) -> CatalogueLine:
    """Return one line for a group: their mean, with a u that holds them all."""
    first = group[0]
    if len(group) == 1:
        return first
    nm = [line.wavelength_nm for line in group]
    half = (nm[-1] - nm[0]) / 2
    return CatalogueLine(
        name=f"{first.name} (or {len(group) - 1} within {max(2 * half, 1e-3):.1g} nm)",
        wavelength_nm=nm[0] + half,
        u_wavelength_nm=float(np.hypot(half, min(line.u_wavelength_nm for line in group))),
        source=first.source,
        provenance=first.provenance,
        note="also " + ", ".join(line.name for line in group[1:]),
    )
