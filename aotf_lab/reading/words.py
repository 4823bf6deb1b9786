"""The ordinary words of bench tables: which column a spoken heading means."""

from __future__ import annotations

import re

from aotf_lab.quantities import QUANTITIES

__all__ = [
    "BENCH_NAMES",
    "NUMBER_COLUMNS",
    "TEXT_COLUMNS",
    "UNDECIDED",
    "UNIT_DECIDES",
    "is_computed",
    "other_quantity",
    "plain_words",
    "word_meaning",
]

TEXT_COLUMNS = ("label", "medium", "direction", "load", "range")

_DERIVED = ("sensitivity_mhz_per_v", "birefringence", "velocity_m_s", "separation_mrad")
_EXTRA = ("rf_level_dbm", "wavelength_stated_nm")
NUMBER_COLUMNS: tuple[str, ...] = tuple(c for c in (*QUANTITIES, *_EXTRA) if c not in _DERIVED)
"""Columns that hold numbers: those of ``quantities.py`` that an instrument can show, a level in dBm
(``rf_level_dbm``) and a wavelength whose heading does not say the medium (``wavelength_stated_nm``)."""

UNDECIDED = "undecided"
"""The meaning of a word that two quantities share."""

_WORDS: dict[str, tuple[str, ...]] = {
    "drive_v": (
        "drive", "drive voltage", "drive volts", "control", "control voltage", "tuning", "tuning voltage",
        "tune voltage", "set voltage", "vco voltage", "vco drive", "vtune", "v tune", "v drive",
        "oscillator port", "port voltage", "steuerspannung", "abstimmspannung", "stellspannung",
    ),
    "supply_v": ("supply", "supply voltage", "amplifier supply", "amplifier supply voltage", "v supply", "vs",
                 "versorgung", "versorgungsspannung", "betriebsspannung"),
    "supply_a": ("supply current", "amplifier current", "amplifier supply current", "dc current"),
    "frequency_mhz": ("frequency", "freq", "counter", "counter frequency", "rf frequency", "centre", "center", "f",
                      "centre frequency", "center frequency", "peak frequency", "drive frequency", "frequenz", "zähler",
                      "mittenfrequenz", "fréquence"),
    "signal_v": ("signal", "trace", "waveform", "scope voltage", "signal voltage"),
    "forward_v": ("forward", "forward voltage", "incident voltage"),
    "reflected_v": ("reflected", "reflected voltage", "reverse voltage"),
    "rf_level_vrms": ("level", "rf level", "scope", "scope level", "rf voltage", "rf amplitude", "pegel", "hf pegel"),
    "rf_power_w": ("rf power", "drive power", "rf drive power", "power into crystal", "hf leistung"),
    "optical_power_mw": ("optical power", "power meter", "diffracted", "diffracted power", "diffracted light", "light",
                         "optische leistung", "lichtleistung", "gebeugt", "gebeugte leistung", "gebeugtes licht"),
    "incident_power_mw": ("incident", "incident power", "incident optical power", "incident light", "reference",
                          "reference power", "undiffracted power without rf", "einfallend", "einfallende leistung",
                          "einfallendes licht"),
    "dark_power_mw": ("dark", "dark reading", "dark power", "background", "zero reading", "dunkel", "dunkelwert",
                      "dunkelleistung"),
    "efficiency": ("efficiency", "diffraction efficiency", "wirkungsgrad", "beugungswirkungsgrad"),
    "time_s": ("time", "elapsed", "elapsed time", "t", "clock", "clock time", "timestamp", "time stamp", "datetime",
               "date time", "date/time", "date and time", "local time", "time of day", "utc", "utc time",
               "zeit", "uhrzeit", "datum uhrzeit", "heure", "temps"),
    "temperature_c": ("temperature", "temp", "box temperature", "crystal temperature", "temperatur", "température"),
    "wavelength_stated_nm": ("wavelength", "lambda", "line wavelength", "wellenlänge", "longueur d'onde"),
    "wavelength_nm": ("wavelength in vacuum", "vacuum wavelength", "wavelength vacuum", "wavelength in vac",
                      "wavelength vac", "vac wavelength", "lambda in vacuum", "lambda vacuum", "lambda vac",
                      "wellenlänge im vakuum", "vakuumwellenlänge"),
    "wavelength_air_nm": ("wavelength in air", "air wavelength", "wavelength air", "lambda in air", "lambda air",
                          "wellenlänge in luft"),
    "spot_mm": ("spot position", "diffracted spot", "spot separation", "spot on screen", "spot on the screen",
                "distance between spots", "distance of the spots", "deflection on the screen"),
    "distance_mm": ("screen distance", "distance to screen", "distance to the screen", "crystal to screen",
                    "crystal to the screen"),
    "analyser_deg": ("analyser", "analyzer", "analyser angle", "analyzer angle", "angle of the analyser",
                     "polariser angle", "polarizer angle", "rotator angle"),
    "position_mm": ("knife", "knife edge", "knife position", "knife edge position", "edge position", "blade position",
                    "stage position", "razor blade"),
    "modulation_khz": ("modulation", "modulation frequency", "modulated at", "frequency of modulation"),
    "depth": ("depth", "modulation depth", "depth of modulation"),
    "most_v": ("most", "most light", "light at most", "light max", "light maximum", "maximum", "max"),
    "least_v": ("least", "least light", "light at least", "light min", "light minimum", "minimum"),
    "label": ("label", "line", "name", "laser", "linie", "bezeichnung"),
    "medium": ("medium", "air or vacuum"),
    "load": ("load", "connected", "connected to", "terminated by"),
    "range": ("range", "meter range", "power meter range", "range of the power meter"),
    "direction": ("direction", "sweep", "sweep direction", "up/down", "up or down", "richtung"),
    UNDECIDED: ("voltage", "volts", "power", "value", "reading", "spannung", "leistung", "wert"),
}  # fmt: skip
UNIT_DECIDES: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(("rf", "rf drive", "rf out", "rf output"), ("rf_power_w", "rf_level_vrms", "frequency_mhz")),
    **dict.fromkeys(("spot", "deflection", "displacement", "separation"), ("spot_mm",)),
    **dict.fromkeys(("distance", "screen", "screen at", "throw"), ("distance_mm",)),
    **dict.fromkeys(("angle", "rotator", "rotation", "polariser", "polarizer", "winkel"), ("analyser_deg",)),
    **dict.fromkeys(("detector", "photodiode", "photodetector", "light detector"), ("signal_v", "optical_power_mw")),
    **dict.fromkeys(("position", "edge", "blade", "stage", "micrometer", "x"), ("position_mm",)),
}
"""Word -> the columns that it can mean, of kinds of unit that have nothing in common: the unit decides. Without such
a unit the heading means nothing."""

_OTHER_QUANTITIES = frozenset(
    ("heater", "heating", "heizung", "bias", "battery", "fan", "dc", "noise", "rauschen", "background", "reference",
     "beat", "lo", "gate", "rate", "repetition", "chopper", "modulation", "clock", "sampling", "error",
     "fehler", "change", "delta", "difference", "differenz", "deviation", "abweichung", "drift", "shift", "offset",
     "detuning", "residual", "limit", "threshold", "trigger", "span", "step", "range", "width", "fwhm", "linewidth",
     "bandwidth", "resolution", "sd", "std", "stdev", "sigma", "supply", "versorgung", "nominal",
     "target", "expected", "calculated", "fit", "model")
)  # fmt: skip
"""Words that say another quantity than the one read for, a difference from it, or what a set-up was told."""

_AGAINST = {
    "optical_power_mw": frozenset(("rf", "hf", "forward", "reflected", "drive", "driver", "electrical", "amplifier")),
    "drive_v": frozenset(("photodiode", "detector", "amplifier", "laser")),
}
"""Words that say another quantity than this one alone: watts at the amplifier are no light."""

_COMPUTED = re.compile(r"(?:\s[-+\u2212]\s*|[*\u00d7/]\s*|\s[xX]\s*)[0-9]|\u0394|\u2206|[0-9]\s*[*\u00d7]\s")
_MEANING = {word: column for column, words in _WORDS.items() for word in words}

BENCH_NAMES: dict[str, tuple[str, str]] = {
    **{c: (c, "") for c in TEXT_COLUMNS},
    **{c: (c, "") for c in NUMBER_COLUMNS},
    "wavelength_vacuum_nm": ("wavelength_nm", "nm"),
    "drive_mv": ("drive_v", "mV"), "supply_mv": ("supply_v", "mV"),
    "frequency_hz": ("frequency_mhz", "Hz"), "frequency_khz": ("frequency_mhz", "kHz"),
    "frequency_ghz": ("frequency_mhz", "GHz"),
    "rf_level_mvrms": ("rf_level_vrms", "mVrms"), "rf_level_vpp": ("rf_level_vrms", "Vpp"),
    "rf_level_mvpp": ("rf_level_vrms", "mVpp"), "rf_power_dbm": ("rf_power_w", "dBm"),
    "optical_power_w": ("optical_power_mw", "W"), "optical_power_uw": ("optical_power_mw", "uW"),
    "incident_power_w": ("incident_power_mw", "W"), "incident_power_uw": ("incident_power_mw", "uW"),
    "dark_power_w": ("dark_power_mw", "W"), "dark_power_uw": ("dark_power_mw", "uW"),
    "spot_um": ("spot_mm", "um"), "spot_cm": ("spot_mm", "cm"),
    "distance_cm": ("distance_mm", "cm"), "distance_m": ("distance_mm", "m"),
    "analyser_rad": ("analyser_deg", "rad"), "analyser_mrad": ("analyser_deg", "mrad"),
    "position_um": ("position_mm", "um"), "position_cm": ("position_mm", "cm"),
    "modulation_hz": ("modulation_khz", "Hz"), "modulation_mhz": ("modulation_khz", "MHz"),
    "most_mv": ("most_v", "mV"), "least_mv": ("least_v", "mV"), "time_us": ("time_s", "us"),
    "time_ms": ("time_s", "ms"), "time_min": ("time_s", "min"), "time_h": ("time_s", "h"),
}  # fmt: skip
"""Heading written as a name -> (column, unit of the heading; "" where the column's own unit)."""


def plain_words(text: str) -> str:
    """Return ``text`` in lower case, with brackets, underscores and hyphens as single blanks.

    >>> plain_words(" Drive_voltage (set) ")
    'drive voltage set'
    """
    return re.sub(r"[\s_\-\[\]():.]+", " ", text.replace("λ", "lambda").lower()).strip()


def word_meaning(text: str) -> str:
    """Return the column that the words mean, ``UNDECIDED`` when two share them, "" when unknown.

    >>> word_meaning("Tuning voltage"), word_meaning("Voltage"), word_meaning("Mood")
    ('drive_v', 'undecided', '')
    """
    return _MEANING.get(plain_words(text), "")


def is_computed(words: str) -> bool:
    """Return whether the words of a heading hold a calculation: "f - 64" is no reading of f, nor its 64th repeat.

    >>> is_computed("f - 64"), is_computed("Counter/8"), is_computed("Drive x10"), is_computed("CH-1 run 2")
    (True, True, True, False)
    """
    return bool(_COMPUTED.search(words))


def other_quantity(words: str, column: str) -> str:
    """Return what in the words of a heading keeps it from being a reading of ``column``, "" for nothing.

    >>> other_quantity("Heater voltage", "drive_v"), other_quantity("RF", "optical_power_mw")
    ('heater', 'rf')
    >>> other_quantity("Spannung", "drive_v")
    ''
    """
    if is_computed(words):
        return words
    against = _OTHER_QUANTITIES | _AGAINST.get(column, frozenset())
    return next((word for word in plain_words(words).split() if word in against), "")
