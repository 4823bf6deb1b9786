"""The calibrations that a set-point is composed of, side by side and each replaceable."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from inspect import getattr_static
from numbers import Real
from typing import Any, Protocol

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal import EfficiencyLines, Scan, Tuning
from aotf_lab.crystal.modulator.modulator import Modulator
from aotf_lab.driver import Vco
from aotf_lab.driver.level import Level, SafeSupply
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.given import given_list, given_number
from aotf_lab.physics.coupled_waves import light_lost
from aotf_lab.planning.assumed_driver import AssumedDriver

__all__ = ["Curves", "Doubt", "HasCurves", "curves_of", "light_lost_percent", "line_peak", "wanted_lines"]

_FIRST_NULL = 1.1
"""In FWHM from the peak: coupled waves have it from 1.08 (full diffraction) to 1.13 (weak drive)."""


@dataclass(frozen=True)
class Doubt:
    """What stands against a line, in words; ``grave`` when its set-point must wait until that is cleared up."""

    words: str
    grave: bool


@dataclass(frozen=True)
class Curves:
    """What is known of a bench; None or empty where it was not measured.

    ``scans`` are the measured passbands by line name, ``rated_rf_power_w`` the crystal's rated RF
    power (CW, at the connector) from its own papers. ``level`` is the amplifier, ``safe`` its highest supply that
    is sure to keep the crystal below that rating. ``doubts`` says what stands against a line,
    ``missing`` why a curve ("vco", "tuning", "efficiency") is None. ``modulators`` stand in place of scans and tuning
    curve where the crystal is a plain modulator.
    """

    vco: Vco | None = None
    tuning: Tuning | None = None
    efficiency: EfficiencyLines | None = None
    scans: Mapping[str, Scan] = field(default_factory=dict)
    rated_rf_power_w: float | None = None
    doubts: Mapping[str, Doubt] = field(default_factory=dict)
    missing: Mapping[str, str] = field(default_factory=dict)
    level: Level | None = None
    safe: SafeSupply | None = None
    modulators: Mapping[str, Modulator] = field(default_factory=dict)

    @cached_property
    def assumed_driver(self) -> AssumedDriver:
        """What is assumed of the driver where it was not measured, for all that is planned with these curves."""
        return AssumedDriver()

    def why_missing(self, part: str) -> str:
        """Return what went wrong with ``part`` and what was found there; "" where nothing did.

        An error in which this is told has its own allowed and cure.

        >>> Curves(missing={"level": "a.csv: no rows; found 0; allowed: 4 or more; measure them"}).why_missing("level")
        'a.csv: no rows: 0'
        """
        return self.missing.get(part, "").split("; allowed: ")[0].replace("; found ", ": ", 1)

    def fwhm_mhz(self, frequency_mhz: float) -> float | None:
        """Return the passband's FWHM near ``frequency_mhz``: between the measured ones, or the nearest."""
        pairs = [(s.centre_mhz.n, s.fwhm_mhz.n) for s in self.scans.values()]
        pairs = sorted(pairs + [(m.carrier_mhz.n, m.bandwidth_mhz.n) for m in self.modulators.values()])
        if not pairs:
            return None
        centres, widths = np.array(pairs).T
        return float(np.interp(frequency_mhz, centres, widths))


class HasCurves(Protocol):
    """Anything with curves and lines of its own, such as an open session."""

    @property
    def curves(self) -> Curves:
        """All curves that could be computed."""

    @property
    def wavelengths_nm(self) -> Mapping[str, UFloat | float | None]:
        """Vacuum wavelength (nm) of each line by name."""


def curves_of(source: Curves | HasCurves) -> tuple[Curves, Mapping[str, UFloat | float | None]]:
    """Return the curves of ``source``, and the wavelengths (nm) of the lines that it has of its own.

    Raises ``AotfLabError`` for anything that has no curves, such as the path of a session.
    """
    if isinstance(source, Curves):
        return source, {}
    if getattr_static(source, "curves", None) is None:
        kept = "; kept calibrations go into kept_set_points" if hasattr(source, "as_of") else ""
        raise AotfLabError(
            "source of another kind", found=Said(f"an object of the kind {type(source).__name__}"),
            allowed="an open session, or Curves", cure=f"open the session's folder first: open_session(folder){kept}",
        )  # fmt: skip
    return source.curves, source.wavelengths_nm


def wanted_lines(
    lines: str | float | Mapping[str, UFloat | float | None] | Iterable[float | str] | None,
    own: Mapping[str, UFloat | float | None],
    curves: Curves,
) -> dict[str, UFloat | float | None]:
    """Return name -> vacuum wavelength (nm) of the lines asked for; None stands for all that there are.

    ``lines`` maps names to wavelengths, or lists wavelengths, or names of ``own`` or of scanned lines; one alone needs
    no list. Raises ``AotfLabError`` for a name that is no line and a wavelength that is no number above zero.
    """
    if lines is None:
        return dict(own) or dict.fromkeys(curves.scans)
    if isinstance(lines, Mapping):
        return {name: None if nm is None else _wavelength(nm, name) for name, nm in lines.items()}
    several = [lines] if isinstance(lines, str | Real | UFloat) else lines
    allowed, cure = "names of lines, wavelengths (nm), or a table of both", 'write ["D", "E"], or {"new": 589.1}'
    wanted: dict[str, UFloat | float | None] = {}
    for line in given_list(several, "lines", allowed, cure):
        if not isinstance(line, str):
            nm = _wavelength(line, "a line")
            wanted[f"{nm:g} nm"] = nm
        elif line in own or line in curves.scans:
            wanted[line] = own.get(line)
        else:
            known = ", ".join(dict.fromkeys([*own, *curves.scans])) or "none"
            raise AotfLabError(
                "no such line", found=line, allowed=f"one of {known}", cure="name a line or a wavelength"
            )
    return wanted


def _wavelength(nm: object, line: str) -> Any:
    return given_number(nm, f"wavelength of {line}", "nm", above=0, with_u=True)


def line_peak(curves: Curves, name: str, wavelength_nm: UFloat | float | None) -> tuple[UFloat | float | None, UFloat]:
    """Return the wavelength (nm) of a line and its frequency (MHz): its own scan's peak, else by the tuning curve.

    Raises ``AotfLabError`` when neither is there, ``OutOfRangeError`` beyond the tuning curve.
    """
    if name in curves.scans:
        frequency = curves.scans[name].centre_mhz
        if wavelength_nm is None and curves.tuning is not None:
            low, high = curves.tuning.range_mhz
            wavelength_nm = curves.tuning.wavelength(frequency) if low <= frequency.n <= high else None
        return wavelength_nm, frequency
    if curves.tuning is None or wavelength_nm is None:
        raise AotfLabError(
            "the frequency of this line is not known", where=name,
            found=Said("neither a scan of it nor a tuning curve with its wavelength"),
            allowed="one of the two", cure="scan the line, or state its wavelength",
        )  # fmt: skip
    return wavelength_nm, curves.tuning.frequency(wavelength_nm)


def light_lost_percent(error_mhz: float, fwhm_mhz: float) -> float:
    """Return the share of light (percent) lost, at most, to an error up to ``error_mhz`` in a passband of ``fwhm_mhz``.

    It never falls as the error grows: beyond the first null all light counts as lost, whatever a sidelobe gives back.

    >>> round(light_lost_percent(0.06, 0.3), 1), light_lost_percent(0.6, 0.3)
    (9.9, 100.0)
    """
    return 100.0 if abs(error_mhz) > _FIRST_NULL * fwhm_mhz else 100 * float(light_lost(error_mhz / fwhm_mhz))
