"""From an amplitude at the scope's input to the power of the fundamental in the load."""

from __future__ import annotations

from uncertainties import UFloat

from aotf_lab.estimation.causes import CommonError
from aotf_lab.physics.rf import attenuation_factor
from aotf_lab.reading.accuracy import shared
from aotf_lab.reading.instruments import POWER_SCALE_UNSTATED, Instruments
from aotf_lab.reading.scope import PER_DB

__all__ = ["bandwidth_loss", "fundamental_power", "scale_of_power"]


def bandwidth_loss(frequency_mhz: float, instruments: Instruments) -> float:
    """Return the factor by which the scope shows too little power at ``frequency_mhz``: a single pole, 1 if unknown."""
    bandwidth = instruments.scope.bandwidth_mhz
    return 1.0 if bandwidth is None else 1.0 + (frequency_mhz / bandwidth) ** 2


def scale_of_power(instruments: Instruments) -> tuple[CommonError, ...]:
    """Return the errors that every power from a trace shares with those from a level read off the same scope."""
    common = shared(instruments, "scope gain", "rf_power_w", sensitivity=2.0)
    common += shared(instruments, "pad", "rf_power_w", sensitivity=PER_DB)
    common += shared(instruments, "load", "rf_power_w", sensitivity=-1.0)
    common += () if instruments.scope.bandwidth_mhz else shared(instruments, "scope bandwidth", "rf_power_w")
    return common + shared(instruments, POWER_SCALE_UNSTATED, "rf_power_w")


def fundamental_power(amplitude_v: UFloat, frequency_mhz: float, instruments: Instruments) -> UFloat:
    """Return the power (W) of the fundamental in the load from its amplitude (V, zero to peak) at the scope.

    P = (A / sqrt 2 * probe * 10^(pad / 20))^2 / load * (1 + (f / bandwidth)^2), with the shared errors of the scale.
    """
    scope = instruments.scope
    probe = 1.0 if scope.probe is None else scope.probe
    factor = probe**2 * float(attenuation_factor(scope.pad_db or 0.0)) * bandwidth_loss(frequency_mhz, instruments)
    power = amplitude_v**2 / 2.0 / instruments.load_ohm * factor
    for error in scale_of_power(instruments):
        power = error.applied_to(power)
    return power
