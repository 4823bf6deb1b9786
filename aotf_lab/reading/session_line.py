"""What a [[line]] of session.toml says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from aotf_lab.errors import SessionError
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.reading.lines import DEFAULT_U_WAVELENGTH_NM
from aotf_lab.reading.toml_section import Section
from aotf_lab.reading.wavelength_unit import RANGE_NM, found_nm, unit_slip

__all__ = ["LineFacts", "line_facts"]


@dataclass(frozen=True)
class LineFacts:
    """One laser line.

    ``wavelength_nm`` is in vacuum, ``stated_wavelength_nm`` as written, in ``medium``; both are None for a
    line to be found whose label is unknown. ``use``: an "anchor" calibrates the crystal, a line
    to "find" has its wavelength found from its frequency.
    """

    name: str
    wavelength_nm: float | None
    u_wavelength_nm: float
    medium: Literal["air", "vacuum"]
    use: Literal["anchor", "find"]
    stated_wavelength_nm: float | None


def line_facts(section: Section, material: str, assumed: list[str]) -> LineFacts:
    """Return the line that the section describes; what had to be assumed is added to ``assumed``.

    Raises ``SessionError`` for keys and values that are not understood, for a wavelength without
    its medium, and for one that cannot be in nm (for an anchor also by the range of ``material``).
    """
    name = section.text("name")
    use = section.choice("use", ("anchor", "find"), "anchor")
    in_air = section.has("wavelength_air_nm")
    key = "wavelength_air_nm" if in_air else "wavelength_nm"
    stated = section.number(key, **({} if use == "anchor" else {"default": None}), above=0)
    if stated is not None:
        _refuse_other_unit(section.title, key, stated, material if use == "anchor" else None)
    section.number("wavelength_nm" if in_air else "wavelength_air_nm", None)
    medium = section.choice("medium", ("air", "vacuum"), "air" if in_air else None)
    if in_air and (section.has("wavelength_nm") or medium != "air"):
        raise section.refuse(
            "wavelength_air_nm", "contradicted by wavelength_nm or medium", "one statement", "keep one"
        )
    if stated is not None and medium is None:
        raise section.refuse(
            "medium", "missing, and it decides the wavelength by 0.13 to 0.19 nm", "air, vacuum",
            'add medium = "air" (most labels and catalogues) or medium = "vacuum"',
        )  # fmt: skip
    u = section.number("u_wavelength_nm", None, above=0)
    section.close()
    if u is None and stated is not None:
        assumed.append(f"line {name}: u of the wavelength not stated: {DEFAULT_U_WAVELENGTH_NM:g} nm assumed")
    vacuum = float(air_to_vacuum(stated)) if stated is not None and medium == "air" else stated
    return LineFacts(name, vacuum, DEFAULT_U_WAVELENGTH_NM if u is None else u, medium or "vacuum", use, stated)


def _refuse_other_unit(where: str, key: str, stated: float, material: str | None) -> None:
    slip = unit_slip(stated, material)
    if slip:
        what, cure = slip
        raise SessionError(
            f"{key}: {what}", where=where, found=found_nm(stated),
            allowed=f"{RANGE_NM[0]:g} to {RANGE_NM[1]:g} nm", cure=cure,
        )  # fmt: skip
