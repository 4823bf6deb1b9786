"""The one table of quantities: column name -> spoken name, unit, symbol.

Every table column, axis label and report heading takes its words from here.
"""

from __future__ import annotations

from dataclasses import dataclass

from aotf_lab.errors import AotfLabError

__all__ = ["QUANTITIES", "Quantity", "axis_label", "quantity"]


@dataclass(frozen=True)
class Quantity:
    """A measured or derived quantity in its bench unit.

    ``column`` is the name in tables and arguments, ``name`` the spoken name, ``unit`` the bench
    unit ("" when there is none), ``symbol`` the letter used in equations and on axes.
    """

    column: str
    name: str
    unit: str
    symbol: str


QUANTITIES: dict[str, Quantity] = {
    q.column: q
    for q in (
        Quantity("time_s", "Time", "s", "t"),
        Quantity("drive_v", "Drive voltage", "V", "V"),
        Quantity("supply_v", "Amplifier supply", "V", "Vs"),
        Quantity("supply_a", "Supply current", "A", "Is"),
        Quantity("frequency_mhz", "Frequency", "MHz", "f"),
        Quantity("sensitivity_mhz_per_v", "Sensitivity", "MHz/V", "df/dV"),
        Quantity("wavelength_nm", "Wavelength in vacuum", "nm", "λ"),
        Quantity("wavelength_air_nm", "Wavelength in air", "nm", "λ air"),
        Quantity("signal_v", "Voltage at the scope", "V", "u"),
        Quantity("rf_level_vrms", "RF level (rms)", "V", "U"),
        Quantity("forward_v", "Forward voltage", "V", "U+"),
        Quantity("reflected_v", "Reflected voltage", "V", "U-"),
        Quantity("rf_power_w", "RF power", "W", "P"),
        Quantity("optical_power_mw", "Optical power", "mW", "Φ"),
        Quantity("optical_power_dbm", "Optical power level", "dBm", "L"),
        Quantity("optical_level_db", "Relative optical level", "dB", "L rel"),
        Quantity("incident_power_mw", "Incident optical power", "mW", "Φ0"),
        Quantity("dark_power_mw", "Dark reading", "mW", "Φd"),
        Quantity("efficiency", "Diffraction efficiency", "", "η"),
        Quantity("temperature_c", "Temperature", "°C", "T"),
        Quantity("birefringence", "Effective birefringence", "", "B"),
        Quantity("velocity_m_s", "Acoustic velocity", "m/s", "v"),
        Quantity("passband_mhz", "Passband FWHM", "MHz", "Δf"),
        Quantity("spot_mm", "Spot from the undiffracted one", "mm", "y"),
        Quantity("distance_mm", "Distance to the screen", "mm", "L"),
        Quantity("separation_mrad", "Separation of the orders", "mrad", "θ"),
        Quantity("analyser_deg", "Angle of the analyser", "°", "α"),
        Quantity("x_mm", "On the screen, in the plane of the cut", "mm", "x"),
        Quantity("y_mm", "On the screen, across the plane of the cut", "mm", "y"),
        Quantity("position_mm", "Position of the edge", "mm", "x"),
        Quantity("modulation_khz", "Modulation frequency", "kHz", "fm"),
        Quantity("depth", "Depth of modulation", "", "m"),
        Quantity("most_v", "Detector at the most light", "V", "u max"),
        Quantity("least_v", "Detector at the least light", "V", "u min"),
    )
}


def quantity(column: str) -> Quantity:
    """Return the entry of ``column``.

    Raises ``AotfLabError`` when the table has no such column.

    >>> quantity("drive_v").unit
    'V'
    """
    if column not in QUANTITIES:
        raise AotfLabError(
            "no such quantity", found=column, allowed=", ".join(QUANTITIES), cure="use a listed column name"
        )
    return QUANTITIES[column]


def axis_label(column: str) -> str:
    """Return the axis label of ``column``: spoken name, symbol and unit.

    >>> axis_label("frequency_mhz")
    'Frequency f (MHz)'
    >>> axis_label("efficiency")
    'Diffraction efficiency η'
    """
    q = quantity(column)
    return f"{q.name} {q.symbol} ({q.unit})" if q.unit else f"{q.name} {q.symbol}"
