"""What is told of a sweep beforehand: where lines are to be expected, and how strong the oscillator's harmonics are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.cut import Cut
from aotf_lab.crystal.tuning.curve import Tuning
from aotf_lab.errors import OutOfRangeError, ReadingsError
from aotf_lab.estimation.checks import z_limit
from aotf_lab.physics.phase_matching import phase_matched_frequency

__all__ = ["Expected", "Harmonic", "expected"]

ASSUMED_LINES = 7.0
"""How many lines a bench has, where it is not told (no source: a plain guess, and it weighs little)."""

ORDERS = (2, 3)
U_LEVEL_DB = 3.0
WEAKEST_DBC, STRONGEST_DBC = -60.0, -8.0
"""Harmonics of an amplifier without a filter lie between these (common practice, no source)."""


_Place = tuple[float, float]
"""A frequency with its u (MHz)."""


@dataclass(frozen=True)
class Harmonic:
    """The level of a harmonic (dBc) with its u; ``told`` is false where only the two limits are known."""

    order: int
    level_dbc: float
    u_db: float
    told: bool


@dataclass(frozen=True)
class Expected:
    """Frequencies (MHz) with u of lines by name, how many lines there are, and each harmonic's level.

    ``second_mhz`` is by how much the peak of the other polarisation would lie higher, by line, for the told cut.
    """

    lines: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    count: float = ASSUMED_LINES
    told: bool = False
    harmonics: tuple[Harmonic, ...] = ()
    second_mhz: Mapping[str, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def expected(
    lines: Mapping[str, UFloat | float] | None,
    tuning: Tuning | Cut | None,
    harmonics: Mapping[int, UFloat | float] | None,
    scanned: Mapping[str, UFloat] | None = None,
) -> Expected:
    """Return what is to be expected; see ``fit_hunt``.

    Raises ``ReadingsError`` for a wavelength that is not above zero, and for a harmonic below the second or with a
    level not below 0 dBc.
    """
    made = tuple(_harmonic(order, (harmonics or {}).get(order)) for order in sorted({*ORDERS, *(harmonics or {})}))
    if not lines and not scanned:
        return Expected(harmonics=made)
    names = {*(lines or {}), *(scanned or {})}
    found: dict[str, _Place] = {}
    second: dict[str, float] = {}
    notes: list[str] = []
    for name, wavelength in (lines or {}).items():
        nm, u_nm = _split(wavelength)
        if not nm > 0:
            raise ReadingsError(
                f"wavelength of line {name}", found=nm, allowed="above 0 nm", cure="give the vacuum wavelength in nm"
            )
        if tuning is None:
            continue
        try:
            value = tuning.frequency(nm)
            slope = float(tuning.frequency(nm * 1.0001).n - value.n) / (nm * 1e-4)
        except OutOfRangeError as error:
            notes.append(f"line {name}: {error}")
            continue
        found[name] = float(value.n), float(np.hypot(value.s, slope * u_nm))
        if isinstance(tuning, Cut):
            second[name] = _second(tuning, nm)
    for name, centre in (scanned or {}).items():
        found[name], note = _better_known(name, centre, found.get(name))
        notes += note
    return Expected(found, float(len(names)), len(found) == len(names), made, second, tuple(notes))


def _better_known(name: str, centre: UFloat, by_label: _Place | None) -> tuple[_Place, list[str]]:
    """Return where a scanned line lies: the better known of scan and label, and that of its label where they differ.

    Never both together: a scan that helps to make the tuning curve would count twice.
    """
    own = float(centre.n), float(centre.s)
    if by_label is None:
        return own, []
    apart, u = own[0] - by_label[0], float(np.hypot(own[1], by_label[1]))
    if abs(apart) > z_limit() * u:
        return by_label, [
            f"line {name}: scanned {1e3 * apart:.0f} kHz from where its wavelength is expected, limit "
            f"{1e3 * z_limit() * u:.0f}; its scan is not used here"
        ]
    return (own if own[1] < by_label[1] else by_label), []


def _split(value: UFloat | float) -> tuple[float, float]:
    return (float(value.n), float(value.s)) if isinstance(value, UFloat) else (float(value), 0.0)


def _harmonic(order: int, level: UFloat | float | None) -> Harmonic:
    if level is None:
        return Harmonic(order, 0.5 * (WEAKEST_DBC + STRONGEST_DBC), 0.0, told=False)
    dbc, u = _split(level)
    if order < ORDERS[0] or not dbc < 0:
        raise ReadingsError(
            f"level of harmonic {order}", found=f"{dbc:g} dBc", allowed="order 2 or more, below 0 dBc",
            cure="give {2: -19.0, 3: -24.0}, say: dB relative to the fundamental",
        )  # fmt: skip
    return Harmonic(order, dbc, float(np.hypot(u, U_LEVEL_DB)), told=True)


def _second(cut: Cut, wavelength_nm: float) -> float:
    """Return how much higher (MHz) the extraordinary ray is in tune at the same incidence and sound."""
    angles = (wavelength_nm, cut.incidence_deg.n, cut.acoustic_angle_deg.n, cut.velocity_m_s.n, cut.law.material)
    other = phase_matched_frequency(*angles, incident="extraordinary")
    return float(other) - float(phase_matched_frequency(*angles))
