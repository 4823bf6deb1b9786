"""Which wavelength would put a suspected line right? Catalogue lines, slips of one digit, air taken for vacuum."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from aotf_lab.crystal.tuning.lines import LineTable
from aotf_lab.data import CatalogueLine, catalogue_lines
from aotf_lab.estimation.checks import z_limit
from aotf_lab.physics.air import air_to_vacuum, vacuum_to_air

__all__ = ["cures"]

_SLIPS_SHOWN, _LINES_SHOWN = 2, 4


def cures(
    lines: LineTable, row: int, wavelength_nm: float, u_nm: float, known: Sequence[CatalogueLine] = ()
) -> tuple[str, ...]:
    """Return, in words, what the wavelength of line ``row`` may really be.

    The other lines put it at ``wavelength_nm`` +- ``u_nm`` (vacuum). Slips of the pen come first, then lines of
    ``known``, then packaged catalogue lines, each kind by its distance; the wavelength of another line of the
    table is no cure.
    """
    stated, reach = float(lines.wavelength_nm[row]), z_limit() * u_nm
    slips = sorted(
        (abs(value - wavelength_nm), text)
        for value, text in _slips(stated, lines.media[row])
        if abs(value - wavelength_nm) <= reach < abs(value - stated)
    )
    others = np.delete(lines.wavelength_nm, row)
    catalogue = sorted(
        (line not in known, abs(line.wavelength_nm - wavelength_nm), f"{line.name} ({line.wavelength_nm:.2f} nm)")
        for line in (*known, *catalogue_lines())
        if abs(line.wavelength_nm - wavelength_nm) <= z_limit() * np.hypot(u_nm, line.u_wavelength_nm)
        and np.min(np.abs(others - line.wavelength_nm), initial=np.inf) > line.u_wavelength_nm + 1e-3
    )
    return (*(text for _, text in slips[:_SLIPS_SHOWN]), *(text for *_, text in catalogue[:_LINES_SHOWN]))


def _slips(stated_nm: float, medium: str) -> Iterator[tuple[float, str]]:
    """Yield vacuum wavelengths (nm) that a slip would turn into ``stated_nm``, each with its words.

    ``medium`` is the one in which the wavelength was written down, "" when that is unknown.
    """
    in_air = float(vacuum_to_air(stated_nm))
    if medium != "air":
        yield float(air_to_vacuum(stated_nm)), f"{stated_nm:.2f} nm, if that is the value in air"
        for text in _altered(f"{stated_nm:.2f}"):
            yield float(text), f"{text} nm in vacuum (one slip from {stated_nm:.2f})"
    if medium != "vacuum":
        yield in_air, f"{in_air:.2f} nm, if that is the value in vacuum"
        for text in _altered(f"{in_air:.2f}"):
            yield float(air_to_vacuum(float(text))), f"{text} nm in air (one slip from {in_air:.2f})"


def _altered(text: str) -> Iterator[str]:
    """Yield ``text`` with two neighbouring digits exchanged, then with one digit changed."""
    places = [i for i, c in enumerate(text) if c.isdigit()]
    for i, k in pairwise(places):
        if text[i] != text[k]:
            characters = list(text)
            characters[i], characters[k] = characters[k], characters[i]
            yield "".join(characters)
    for i in places:
        for digit in "0123456789":
            if digit != text[i] and not (i == 0 and digit == "0"):
                yield text[:i] + digit + text[i + 1 :]
