"""Refractive indices of uniaxial acousto-optic crystals, from published Sellmeier fits.

Sources, one per row of ``aotf_lab/data/dispersion.csv``: TeO2 (paratellurite) Uchida, Phys. Rev. B 4,
3736 (1971); LiNbO3 congruent Zelmon, Small, Jundt, J. Opt. Soc. Am. B 14, 3319 (1997); quartz Ghosh,
Opt. Commun. 163, 95 (1999). All at room temperature. Optical activity is not in these indices.
The TeO2 fit was made to wavelengths of spectral lines in air; reading them as vacuum wavelengths
moves n by less than 1e-4 in the visible, far below the 7e-4 by which the fit misses the measurements.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.data import read_packaged_table
from aotf_lab.errors import MaterialError, Said
from aotf_lab.physics.domain import Values, as_values

__all__ = ["birefringence", "extraordinary_index", "known_materials", "optical_range_nm", "ordinary_index"]


@dataclass(frozen=True)
class _Sellmeier:
    """n^2 = constant + sum B L^2 / (L^2 - pole^2), L and the poles in um."""

    constant: float
    strengths: tuple[float, ...]
    poles_um: tuple[float, ...]
    low_nm: float
    high_nm: float

    def index(self, wavelength_nm: Values, pole_shift_nm: float) -> Values:
        """Return n; the longest ultraviolet pole is moved by ``pole_shift_nm``."""
        square_um = (wavelength_nm * 1e-3) ** 2
        moved = max(pole for pole in self.poles_um if pole < self.low_nm * 1e-3) if pole_shift_nm else None
        total = self.constant + np.zeros_like(square_um)
        for strength, pole in zip(self.strengths, self.poles_um, strict=True):
            shifted = pole + pole_shift_nm * 1e-3 if pole == moved else pole
            total = total + strength * square_um / (square_um - shifted**2)
        return np.sqrt(total)


def _parse(row: dict[str, str]) -> _Sellmeier:
    terms = [(float(row[f"B{k}"]), float(row[f"C{k}_um"])) for k in (1, 2, 3) if row[f"B{k}"]]
    squared_already = "already in um^2" in row["form"]
    low_um, high_um = (float(end) for end in row["range_um"].split("-"))
    return _Sellmeier(
        constant=1.0 + float(row["c0"]),
        strengths=tuple(b for b, _ in terms),
        poles_um=tuple(c**0.5 if squared_already else c for _, c in terms),
        low_nm=low_um * 1e3,
        high_nm=high_um * 1e3,
    )


@lru_cache
def _fits() -> dict[tuple[str, str], _Sellmeier]:
    return {(row["material"], row["ray"]): _parse(row) for row in read_packaged_table("dispersion")}


def known_materials() -> tuple[str, ...]:
    """Return the names of the crystals with packaged indices.

    >>> known_materials()
    ('TeO2', 'LiNbO3 congruent', 'quartz')
    """
    return tuple(dict.fromkeys(material for material, _ in _fits()))


def _fit(material: str, ray: str) -> _Sellmeier:
    if (material, ray) not in _fits():
        raise MaterialError(
            "no packaged refractive indices for this crystal",
            found=material,
            allowed=", ".join(known_materials()),
            cure="use one of these names, or add published constants to dispersion.csv",
        )
    return _fits()[material, ray]


def optical_range_nm(material: str = "TeO2") -> tuple[float, float]:
    """Return the shortest and longest vacuum wavelength (nm) of the published index fit.

    Raises ``MaterialError`` for an unknown crystal.

    >>> optical_range_nm("TeO2")
    (400.0, 1000.0)
    """
    fit = _fit(material, "o")
    return fit.low_nm, fit.high_nm


def _index(wavelength_nm: ArrayLike, material: str, ray: str, pole_shift_nm: float, extrapolate: bool) -> Values:
    fit = _fit(material, ray)
    wavelengths = as_values(wavelength_nm)
    outside = ~((wavelengths >= fit.low_nm) & (wavelengths <= fit.high_nm))
    if not extrapolate and outside.any():
        raise MaterialError(
            f"wavelength outside the published index fit of {material}",
            found=Said(f"{wavelengths[outside].flat[0]:.6g} nm"),
            allowed=f"{fit.low_nm:g} to {fit.high_nm:g} nm",
            cure="check the unit (vacuum nm), or ask for extrapolate=True and distrust the result",
        )
    return fit.index(wavelengths, pole_shift_nm)


def ordinary_index(wavelength_nm: ArrayLike, material: str = "TeO2", *, extrapolate: bool = False) -> Values:
    """Return n_o at the vacuum wavelength(s) in nm, in the shape of the argument.

    Raises ``MaterialError`` for an unknown crystal, or outside the range of the published fit
    unless ``extrapolate``. Source: see the module.

    >>> round(float(ordinary_index(632.8)), 4)
    2.2597
    """
    return _index(wavelength_nm, material, "o", 0.0, extrapolate)


def extraordinary_index(
    wavelength_nm: ArrayLike, material: str = "TeO2", *, pole_shift_nm: float = 0.0, extrapolate: bool = False
) -> Values:
    """Return the principal n_e at the vacuum wavelength(s) in nm, in the shape of the argument.

    ``pole_shift_nm`` moves the longest ultraviolet pole of the published fit: a way to ask what a
    small error of that fit would do. Errors and source as for ``ordinary_index``.

    >>> round(float(extraordinary_index(632.8)), 4)
    2.4125
    """
    return _index(wavelength_nm, material, "e", pole_shift_nm, extrapolate)


def birefringence(
    wavelength_nm: ArrayLike, material: str = "TeO2", *, pole_shift_nm: float = 0.0, extrapolate: bool = False
) -> Values:
    """Return n_e - n_o at the vacuum wavelength(s) in nm; arguments and errors as for ``extraordinary_index``.

    >>> round(float(birefringence(632.8)), 4)
    0.1529
    """
    extraordinary = extraordinary_index(wavelength_nm, material, pole_shift_nm=pole_shift_nm, extrapolate=extrapolate)
    return extraordinary - ordinary_index(wavelength_nm, material, extrapolate=extrapolate)
