"""The quantities whose uncertainty is to shrink, each a number that carries its causes of error."""

from __future__ import annotations

from dataclasses import dataclass

from uncertainties import UFloat

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.given import given
from aotf_lab.planning.curves import Curves, HasCurves, curves_of, light_lost_percent, line_peak, wanted_lines

__all__ = ["Wanted", "all_settings", "power_of_safe_supply", "saturation_of", "setting_of", "wavelength_of"]

FACTOR = 1.96
"""Of the 95 % interval of a predicted uncertainty."""


@dataclass(frozen=True)
class Wanted:
    """A quantity ``value`` in ``unit``; several are weighed by u over ``scale`` (FWHM of a setting, else the value).

    ``fwhm_mhz`` is that of the line's passband where the quantity is an error of frequency, else None.
    """

    name: str
    value: UFloat
    unit: str
    scale: float
    fwhm_mhz: float | None = None

    def light_lost_percent(self, u: float) -> float | None:
        """Return the light (percent) lost at the 95 % limit of an error of standard uncertainty ``u``."""
        return None if self.fwhm_mhz is None else light_lost_percent(FACTOR * u, self.fwhm_mhz)


def setting_of(source: Curves | HasCurves, line: str) -> Wanted:
    """Return the frequency that a line's drive voltage makes less the frequency wanted, in MHz.

    Raises ``AotfLabError`` without an oscillator curve or for a line of unknown frequency, ``OutOfRangeError`` where
    the oscillator does not reach it.
    """
    _require_name(line)
    curves, own = curves_of(source)
    if curves.vco is None:
        raise _missing("oscillator curve", curves.missing.get("vco", "it was not measured"), line)
    wavelength = wanted_lines([line], own, curves)[line]
    frequency = line_peak(curves, line, wavelength)[1]
    setting = curves.vco.frequency(curves.vco.drive(frequency).n) - frequency
    fwhm = curves.fwhm_mhz(frequency.n)
    return Wanted(f"setting of line {line}", setting, "MHz", fwhm or 0.3, fwhm)


def all_settings(source: Curves | HasCurves) -> tuple[Wanted, ...]:
    """Return the setting of every line that can be set; raises as the first one that cannot where none can."""
    curves, own = curves_of(source)
    found, why = [], None
    for line in wanted_lines(None, own, curves):
        try:
            found.append(setting_of(source, line))
        except AotfLabError as error:
            why = why or error
    if not found:
        raise why or _missing("line", "no line is named and none was scanned", "")
    return tuple(found)


def saturation_of(source: Curves | HasCurves, line: str) -> Wanted:
    """Return the saturation power of a line in true W; raises ``AotfLabError`` where efficiency does not tell it."""
    _require_name(line)
    curves, own = curves_of(source)
    if curves.efficiency is None:
        raise _missing("efficiency curve", curves.missing.get("efficiency", "it was not measured"), line)
    if line in curves.efficiency.wavelengths_nm:
        nm = curves.efficiency.wavelengths_nm[line]
    else:
        stated = line_peak(curves, line, wanted_lines([line], own, curves)[line])[0]
        if stated is None:
            raise _missing("wavelength", "neither stated nor found", line)
        nm = float(getattr(stated, "n", stated))
    power = curves.efficiency.saturation_power_w(nm)
    return Wanted(f"saturation power of line {line}", power, "W", float(power.n))


def power_of_safe_supply(source: Curves | HasCurves) -> Wanted:
    """Return the RF power (W) at the hottest frequency at the safe supply: the better known, the higher that supply.

    Raises ``AotfLabError`` where there is no safe supply.
    """
    curves, _ = curves_of(source)
    if curves.level is None or curves.safe is None:
        raise _missing("safe supply", "the level over band and supply was not measured", "")
    power = curves.level.rf_power(curves.safe.supply_v, curves.safe.at_mhz)
    return Wanted("RF power at the safe supply", power, "W", float(power.n))


def wavelength_of(source: Curves | HasCurves, line: str) -> Wanted:
    """Return the wavelength (nm) found from a scanned line's peak; weighed by u over 1 nm.

    In vacuum. Raises ``AotfLabError`` without a tuning curve or a scan of ``line``.
    """
    _require_name(line)
    curves, _ = curves_of(source)
    if curves.tuning is None or line not in curves.scans:
        raise _missing("tuning curve with a scan of this line", "one of the two is missing", line)
    return Wanted(f"wavelength of line {line}", curves.tuning.wavelength(curves.scans[line].centre_mhz), "nm", 1.0)


def _require_name(line: object) -> None:
    given(line, str, "line", "the name of one line", 'name one, such as "D"')


def _missing(what: str, why: str, where: str) -> AotfLabError:
    return AotfLabError(
        f"no {what}, so there is no uncertainty to shrink", where=where, found=Said(why), allowed="a fitted curve",
        cure="measure it first; plan_session says how many readings and where",
    )  # fmt: skip
