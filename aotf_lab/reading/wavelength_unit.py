"""Whether a wavelength was stated in nm, or slipped in as m, um or Angstrom."""

from __future__ import annotations

from aotf_lab.errors import Said
from aotf_lab.physics.indices import optical_range_nm

__all__ = ["RANGE_NM", "found_nm", "likely_unit", "unit_slip"]

RANGE_NM = (150.0, 20000.0)
"""No acousto-optic crystal works outside (common practice, no source)."""

_LIKELY_NM = (350.0, 5000.0)
_NM_PER_UNIT = {"um": 1e3, "m": 1e9, "Angstrom": 0.1}
_FAR = 3.0
"""A wavelength this many times above the crystal's packaged range is doubted when Angstrom explains it."""


def unit_slip(wavelength_nm: float, material: str | None = None) -> tuple[str, str] | None:
    """Return (what is wrong, cure) of a number that is no wavelength in nm, None when it may be one.

    With ``material`` a number far outside the packaged range of that crystal, which read in
    Angstrom lies inside it, is no wavelength in nm either.

    >>> unit_slip(0.58896)
    ('outside 150 to 20000 nm: looks like um', 'write it in nm: 588.96')
    >>> unit_slip(5889.6, "TeO2")
    ('far outside 400 to 1000 nm of TeO2: looks like Angstrom', 'write it in nm: 588.96')
    >>> unit_slip(588.96, "TeO2")
    """
    unit = likely_unit(wavelength_nm, material)
    low, high = RANGE_NM
    if not low <= wavelength_nm <= high:
        beyond = f"outside {low:g} to {high:g} nm"
        if unit is None:
            return beyond, "write it in nm"
        return f"{beyond}: looks like {unit[0]}", _cure(wavelength_nm * unit[1])
    if unit is None or material is None:
        return None
    first, last = optical_range_nm(material)
    return (
        f"far outside {first:g} to {last:g} nm of {material}: looks like {unit[0]}",
        _cure(wavelength_nm * unit[1]),
    )


def likely_unit(wavelength_nm: float, material: str | None = None) -> tuple[str, float] | None:
    """Return (unit, nm per unit) in which the number is a wavelength, None when it may be nm or is none at all.

    >>> likely_unit(5.8896e-7), likely_unit(5889.6, "TeO2"), likely_unit(5889.6)
    (('m', 1000000000.0), ('Angstrom', 0.1), None)
    """
    low, high = RANGE_NM
    if not low <= wavelength_nm <= high:
        for unit, factor in _NM_PER_UNIT.items():
            if _LIKELY_NM[0] <= wavelength_nm * factor <= _LIKELY_NM[1]:
                return unit, factor
        return None
    if material is None:
        return None
    first, last = optical_range_nm(material)
    in_angstrom = wavelength_nm * _NM_PER_UNIT["Angstrom"]
    if wavelength_nm > _FAR * last and first <= in_angstrom <= last:
        return "Angstrom", _NM_PER_UNIT["Angstrom"]
    return None


def found_nm(wavelength_nm: float) -> Said:
    """Return the wavelength as an error shows it."""
    return Said(f"{wavelength_nm:.10g} nm")


def _cure(in_nm: float) -> str:
    return f"write it in nm: {in_nm:.7g}"
