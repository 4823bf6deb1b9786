"""What a source makes at a port that loads it, and how late a port of one pole follows a sine.

A source is its open-circuit voltage E behind its own resistance Rs (Thevenin's theorem); into R it makes
V = E R / (R + Rs), the share R / (R + Rs). A display says what the source would make into a resistance that it assumes:
E itself where that is infinite, half of E where it is as large as Rs. A battery in series adds to E. Circuit theory:
Kirchhoff's two laws.
Functions also take numbers with uncertainty and give them back.
"""

from __future__ import annotations

import math
from typing import Any

from uncertainties import nominal_value, umath

from aotf_lab.physics.domain import as_values, require

__all__ = ["display_share", "load_share", "open_circuit_volts", "pole_delay_us", "port_volts"]


def load_share(source_ohm: Any, input_ohm: Any) -> Any:
    """Return the share (0 to 1) of the open-circuit voltage that stands at an input of ``input_ohm`` (inf: open).

    Raises ``AotfLabError`` for a resistance below zero, or an input of none.

    >>> round(load_share(50.0, 1000.0), 4)
    0.9524
    """
    source, load = as_values(float(nominal_value(source_ohm))), as_values(float(nominal_value(input_ohm)))
    require(source >= 0, source, "output resistance (ohm)", allowed="0 or more", cure="state that of the generator")
    require(load > 0, load, "input resistance (ohm)", allowed="above 0", cure="state that of the port")
    return 1.0 if math.isinf(float(load)) else input_ohm / (input_ohm + source_ohm)


def display_share(display_ohm: float, source_ohm: float) -> float:
    """Return what a display that assumes ``display_ohm`` shows, over the open-circuit voltage.

    >>> display_share(50.0, 50.0), display_share(math.inf, 50.0)
    (0.5, 1.0)
    """
    return float(load_share(source_ohm, display_ohm))


def port_volts(open_circuit_v: Any, source_ohm: Any, input_ohm: Any, bias_v: Any = 0.0) -> Any:
    """Return the volts at the port; ``bias_v`` is a battery in series.

    >>> round(port_volts(10.0, 50.0, 1000.0), 3)
    9.524
    """
    return (open_circuit_v + bias_v) * load_share(source_ohm, input_ohm)


def open_circuit_volts(port_v: Any, source_ohm: Any, input_ohm: Any, bias_v: Any = 0.0) -> Any:
    """Return the open-circuit volts that make ``port_v`` at the port; inverse of ``port_volts``.

    >>> round(open_circuit_volts(5.0, 50.0, 1000.0), 3)
    5.25
    """
    return port_v / load_share(source_ohm, input_ohm) - bias_v


def pole_delay_us(modulation_khz: float, bandwidth_khz: Any) -> Any:
    """Return by how much (us) a single pole of -3 dB at ``bandwidth_khz`` delays a sine of ``modulation_khz``.

    Its phase is -atan(fm / B), a time of atan(fm / B) / (2 pi fm): 1 / (2 pi B) where fm is low. Circuit theory.
    Raises ``AotfLabError`` for a modulation frequency not above zero.

    >>> round(pole_delay_us(180.0, 180.0), 4)
    0.6944
    """
    require(as_values(modulation_khz) > 0, as_values(modulation_khz), "modulation frequency (kHz)", allowed="above 0",
            cure="state the rate of the sine")  # fmt: skip
    return 1e3 * umath.atan(modulation_khz / bandwidth_khz) / (2.0 * math.pi * modulation_khz)
