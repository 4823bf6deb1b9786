"""Refractive index of air, and wavelengths in vacuum and in air.

``air_index``: Ciddor, Appl. Opt. 35, 1566 (1996), with the saturation vapour pressure of IAPWS-IF97 (as in the
NIST engineering metrology calculator), which holds from 0 to 100 C. ``standard_air_index``:
Peck & Reeder, J. Opt. Soc. Am. 62, 958 (1972), dry air at 15 C and 101325 Pa, the air of most line lists.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.physics.domain import Values, as_values, require

__all__ = ["air_index", "air_to_vacuum", "saturation_vapour_pressure_pa", "standard_air_index", "vacuum_to_air"]

_KELVIN = 273.15
_GAS_CONSTANT = 8.314510
_VAPOUR_MOLAR_MASS = 0.018015


def saturation_vapour_pressure_pa(temperature_c: ArrayLike) -> Values:
    """Return the pressure (Pa) of saturated water vapour at 0 to 100 C (IAPWS-IF97, region 4).

    Raises ``AotfLabError`` outside 0 to 100 C.

    >>> round(float(saturation_vapour_pressure_pa(20.0)), 1)
    2339.2
    """
    celsius = as_values(temperature_c)
    require(
        (celsius >= 0) & (celsius <= 100), celsius, "air temperature (C) outside the vapour pressure's range",
        allowed="0 to 100 C", cure="give the temperature of the air in degrees Celsius",
    )  # fmt: skip
    kelvin = celsius + _KELVIN
    w = kelvin - 0.23855557567849 / (kelvin - 650.17534844798)
    a = w**2 + 1167.0521452767 * w - 724213.16703206
    b = -17.073846940092 * w**2 + 12020.824702470 * w - 3232555.0322333
    c = 14.915108613530 * w**2 - 4823.2657361591 * w + 405113.40542057
    return 1e6 * (2.0 * c / (-b + np.sqrt(b**2 - 4.0 * a * c))) ** 4


def _compressibility(kelvin: Values, pressure_pa: Values, vapour_fraction: Values) -> Values:
    """Return Z of moist air (BIPM 1981/91, in the appendix of Ciddor 1996)."""
    t, x, ratio = kelvin - _KELVIN, vapour_fraction, pressure_pa / kelvin
    first = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2 + (5.707e-6 - 2.051e-8 * t) * x
    first = first + (1.9898e-4 - 2.376e-6 * t) * x**2
    return 1.0 - ratio * first + ratio**2 * (1.83e-11 - 0.765e-8 * x**2)


def _density(kelvin: ArrayLike, pressure_pa: ArrayLike, vapour_fraction: ArrayLike, dry_molar_mass: Values) -> Values:
    """Return the density (kg/m3) of moist air, Ciddor 1996, eq. 4."""
    t, p, x = as_values(kelvin), as_values(pressure_pa), as_values(vapour_fraction)
    molar_mass = dry_molar_mass * (1.0 - x) + _VAPOUR_MOLAR_MASS * x
    return p * molar_mass / (_compressibility(t, p, x) * _GAS_CONSTANT * t)


def air_index(
    wavelength_vacuum_nm: ArrayLike,
    temperature_c: ArrayLike = 20.0,
    pressure_pa: ArrayLike = 101325.0,
    humidity_percent: ArrayLike = 50.0,
    co2_ppm: ArrayLike = 450.0,
) -> Values:
    """Return the phase refractive index of moist air; the arguments broadcast.

    Vacuum wavelength in nm (300 to 1690), temperature in C (0 to 100), pressure in Pa, relative
    humidity in percent, CO2 in parts per million. Raises ``AotfLabError`` for a humidity outside 0 to 100 % or a
    temperature outside 0 to 100 C. Source: see the module.

    >>> round(float(air_index(633.0, humidity_percent=20.0)), 8)
    1.00027163
    """
    humidity, celsius, pressure = as_values(humidity_percent), as_values(temperature_c), as_values(pressure_pa)
    co2, wave2 = as_values(co2_ppm), (1e3 / as_values(wavelength_vacuum_nm)) ** 2
    require(
        (humidity >= 0) & (humidity <= 100), humidity, "relative humidity (%) that air cannot have",
        allowed="0 to 100 %", cure="give the relative humidity in percent",
    )  # fmt: skip
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * celsius**2
    vapour = humidity / 100.0 * enhancement * saturation_vapour_pressure_pa(celsius) / pressure
    dry = 1e-8 * (5792105.0 / (238.0185 - wave2) + 167917.0 / (57.362 - wave2)) * (1.0 + 5.34e-7 * (co2 - 450.0))
    moist = 1.022e-8 * (295.235 + 2.6422 * wave2 - 0.032380 * wave2**2 + 0.004028 * wave2**3)
    molar_mass = 1e-3 * (28.9635 + 12.011e-6 * (co2 - 400.0))
    kelvin = celsius + _KELVIN
    total = _density(kelvin, pressure, vapour, molar_mass)
    share = vapour * _VAPOUR_MOLAR_MASS / (vapour * _VAPOUR_MOLAR_MASS + (1.0 - vapour) * molar_mass)
    dry_density = (1.0 - share) * total / _density(288.15, 101325.0, 0.0, molar_mass)
    vapour_density = share * total / _density(293.15, 1333.0, 1.0, molar_mass)
    return 1.0 + dry_density * dry + vapour_density * moist


def standard_air_index(wavelength_vacuum_nm: ArrayLike) -> Values:
    """Return the index of dry standard air (15 C, 101325 Pa) at vacuum wavelength(s) in nm (185 to 1700).

    Peck & Reeder 1972, their two-term formula.

    >>> round(float(standard_air_index(632.9908)), 8)
    1.00027652
    """
    wave2 = (1e3 / as_values(wavelength_vacuum_nm)) ** 2
    return 1.0 + 1e-8 * (5791817.0 / (238.0185 - wave2) + 167909.0 / (57.362 - wave2))


def vacuum_to_air(wavelength_nm: ArrayLike, index: Callable[[ArrayLike], Values] = standard_air_index) -> Values:
    """Return the wavelength in air (nm) of vacuum wavelength(s) in nm.

    ``index`` gives the index of the air against vacuum wavelength; for the air of a laboratory use
    ``functools.partial(air_index, temperature_c=22.5, ...)``.

    >>> round(float(vacuum_to_air(632.9908)), 4)
    632.8158
    """
    return as_values(wavelength_nm) / index(wavelength_nm)


def air_to_vacuum(wavelength_air_nm: ArrayLike, index: Callable[[ArrayLike], Values] = standard_air_index) -> Values:
    """Return the vacuum wavelength (nm) of wavelength(s) in air in nm; ``index`` as for ``vacuum_to_air``.

    Iterated: dn/dlambda moves the answer by a factor of about 1e-5 a turn, so four turns leave rounding only.

    >>> round(float(air_to_vacuum(632.8158)), 4)
    632.9908
    """
    in_air = as_values(wavelength_air_nm)
    vacuum = in_air
    for _ in range(4):
        vacuum = in_air * index(vacuum)
    return vacuum
